"""
Cautions of each bed, in words: what a crew or a client must mind.

Local codes and licensed practice go before any of them.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.ground.setting.limits import BARRED, RAMP, Limits
from scanner.plane.segments import join
from scanner.schema.documents import LocalRules

THINGS = {
    "hydrant": "hydrant: no plants within {hydrant_ft:g} ft, nothing before its outlets, dig by hand",
    "mailbox": "mailbox: no plants within {mailbox_ft:g} ft, keep it in reach of the carrier",
    "tree": "tree trunk: no plants within {trunk_ft:g} ft, mulch kept off the bark, dig by hand",
    "gas_meter": "gas meter: no plants within {gas_meter_ft:g} ft, dig by hand",
    "electric_meter": "electric meter: no plants within {electric_meter_ft:g} ft, dig by hand",
    "water_meter": "water meter: no plants within {water_meter_ft:g} ft, dig by hand",
    "pole": "utility pole: no plants within {pole_ft:g} ft, dig by hand",
    "transformer": "transformer: bed kept {transformer_ft:g} ft away, never dig there",
}
"""What to mind near each thing; distances are those of the local rules."""

WALL_SENTENCE = (
    "first {wall_clear_in:g} in at the wall: gravel only, no plants, no wood mulch, no trench, since "
    "soil there may be treated against termites; the ground must fall away from the wall and stay below the siding"
)
"""What to mind at a wall, drawn or measured on foot."""

SENTENCES = {
    "right of way": "in the right-of-way: ask the city whether a permit is needed",
    "opening guessed": "no drive is drawn at the curb: its place is a guess, look before you quote",
    "no street": "no street is known here: every wall was taken, look which ones face it",
    "sight triangle": (
        "sight triangle ({corner_triangle_ft:g} ft from the {corner_line} at corners, {drive_triangle_ft:g} ft "
        "from the {drive_line} at drives): plants no taller than {triangle_plant_in:g} in above {height_from}"
    ),
    "curb": (
        "along the curb: plants no taller than {curb_plant_in:g} in; work there behind cones, in class 2 vests"
    ),
    "step out": "cars park here: {step_out_in:g} in along the curb kept free to step out",
    "wall": WALL_SENTENCE,
    "roots": "tree roots: dig by hand, cut no large root, no tilling, keep the grade",
    "removed": "easement or utility box beside the bed: no digging there without leave",
    "ramp": "the curb's turn at the corner stays free for its ramps: no digging there",
    "wildfire": "mapped wildfire area: gravel only, nothing that burns within 5 ft of a wall",
}
"""
What to mind and when, in the order told; distances are those of the local rules. A job at a curb is
short-term work beside traffic: cones stay (FHWA, maintenance of signs, ch. VI), vests are class 2 or 3
(23 CFR 634).
"""

LEAST_FT2 = 0.5
"""Less ground than this under a limit is not worth a sentence."""

NEAR_FT = 0.1
"""A bed that ends this near to a thing's circle lies at it."""


def word_cautions(
    beds: pd.DataFrame, limits: Limits, *, is_known: np.ndarray, rules: LocalRules
) -> np.ndarray:
    """
    Write the cautions of each bed: sentences joined by ``"; "``, aligned with `beds`.

    `beds` has the columns of table `BEDS`, ``lot``, and what `Limits.measure` gives; `is_known`:
    whether each lot has a street in reach.
    """
    distances = rules.setbacks.model_dump() | {
        "corner_line": rules.sight_corner_from.replace("_", " "),
        "drive_line": rules.sight_drive_from.replace("_", " "),
        "height_from": rules.sight_height_from,
    }
    lists: list[list[str]] = [[] for _ in range(len(beds))]
    applies = _applies(beds, limits, is_known)
    for name, sentence in SENTENCES.items():
        told = sentence.format(**distances)
        for at in np.flatnonzero(applies[name]).tolist():
            lists[at].append(told)
    told_of = {name: sentence.format(**distances) for name, sentence in THINGS.items()}
    for at, name in _things_near(beds, limits.circles):
        lists[at].append(told_of[name])
    for words in lists:
        words.append(rules.locating)
    return np.array(["; ".join(words) for words in lists], dtype=object)


def _applies(beds: pd.DataFrame, limits: Limits, is_known: np.ndarray) -> dict[str, np.ndarray]:
    """Tell which sentence holds for which beds."""
    lot, shapes = beds["lot"].to_numpy(), beds["geometry"].to_numpy()
    along = beds["along"].to_numpy()

    def holds(name: str) -> np.ndarray:
        return beds[name].to_numpy() > LEAST_FT2

    return {
        "right of way": holds("right_of_way_ft2"),
        "opening guessed": beds["is_opening_guessed"].to_numpy(),
        "no street": (along == "house") & ~is_known[lot],
        "sight triangle": holds("low_plant_ft2"),
        "curb": along == "curb",
        "step out": holds("step_out_ft2"),
        "wall": holds("wall_strip_ft2"),
        "roots": holds("roots_ft2"),
        "removed": limits.reaches(shapes, lot, BARRED),
        "ramp": limits.reaches(shapes, lot, RAMP),
        "wildfire": beds["is_wildfire"].to_numpy(),
    }


def _things_near(beds: pd.DataFrame, circles: pd.DataFrame) -> list[tuple[int, str]]:
    """Pair beds with the kinds of things whose circle they meet, each kind once."""
    lot, near = beds["lot"].to_numpy(), circles["lot"].to_numpy()
    bed, circle = join(lot, near)
    places = shapely.points(circles[["x_ft", "y_ft"]].to_numpy(float))
    apart_ft = shapely.distance(beds["geometry"].to_numpy()[bed], places[circle])
    met = apart_ft <= circles["radius_ft"].to_numpy()[circle] + NEAR_FT
    names = circles["what"].to_numpy()[circle[met]]
    return sorted(set(zip(bed[met].tolist(), names.tolist(), strict=True)))
