"""
Cautions of each bed, in words: what a crew or a client must mind.

Local codes and licensed practice go before any of them.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.ground.bed.setbacks import Setbacks
from scanner.schema.documents import LocalRules

THINGS = {
    "hydrant": "hydrant: no plants within {hydrant_ft:g} ft, dig by hand",
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
    "first {wall_clear_in:g} in at the wall: gravel only, no plants, no wood mulch, no trench; "
    "the ground must fall away from the wall and stay below the siding"
)
"""What to mind at a wall, drawn or measured on foot."""

SENTENCES = {
    "right of way": "in the right-of-way: ask the city whether a permit is needed",
    "opening guessed": "no drive is drawn at the curb: its place is a guess, look before you quote",
    "no street": "no street is known here: every wall was taken, look which ones face it",
    "sight triangle": "sight triangle: plants no taller than {triangle_plant_in:g} in there",
    "curb": "along the curb: plants no taller than {curb_plant_in:g} in",
    "step out": "cars park here: {step_out_in:g} in along the curb kept free to step out",
    "wall": WALL_SENTENCE,
    "roots": "tree roots: dig by hand, no tilling, keep the grade",
    "removed": "easement or utility box beside the bed: no digging there without leave",
    "wildfire": "mapped wildfire area: gravel only, nothing that burns near a wall",
}
"""What to mind and when, in the order told; distances are those of the local rules."""

LEAST_FT2 = 0.5
"""Less ground than this under a limit is not worth a sentence."""


def word_cautions(
    beds: pd.DataFrame, setbacks: Setbacks, is_street_known: np.ndarray, *, rules: LocalRules
) -> np.ndarray:
    """
    Write the cautions of each bed.

    Parameters
    ----------
    beds
        Columns of table `BEDS` but `cautions`, and ``site``.
    setbacks
        Limits of the sites.
    is_street_known
        Whether each bed's site has a street in reach, aligned with `beds`.
    rules
        Distances [ft, in].

    Returns
    -------
    cautions
        Sentences joined by ``"; "``, aligned with `beds`.
    """
    distances = rules.setbacks
    row, geometry = beds["site"].to_numpy(), beds["geometry"].to_numpy()
    near = shapely.buffer(geometry, 0.1)
    applies = _applies(beds, near, setbacks, is_street_known)
    lists: list[list[str]] = [[] for _ in range(len(beds))]
    for name, sentence in SENTENCES.items():
        for at in np.flatnonzero(applies[name]).tolist():
            lists[at].append(sentence.format(**distances.model_dump()))
    for at, name in _things_near(near, row, setbacks.circles):
        lists[at].append(THINGS[name].format(**distances.model_dump()))
    return np.array(["; ".join(words) for words in lists], dtype=object)


def _applies(
    beds: pd.DataFrame, near: np.ndarray, setbacks: Setbacks, is_street_known: np.ndarray
) -> dict[str, np.ndarray]:
    """Tell which sentence holds for which beds."""
    row, geometry = beds["site"].to_numpy(), beds["geometry"].to_numpy()
    along = beds["along"].to_numpy()

    def reaches(ground: np.ndarray) -> np.ndarray:
        return shapely.area(shapely.intersection(geometry, ground[row])) > LEAST_FT2

    return {
        "right of way": beds["right_of_way_ft2"].to_numpy() > LEAST_FT2,
        "opening guessed": beds["is_opening_guessed"].to_numpy(),
        "no street": (along == "house") & ~is_street_known,
        "sight triangle": beds["low_plant_ft2"].to_numpy() > LEAST_FT2,
        "curb": along == "curb",
        "step out": reaches(setbacks.step_out),
        "wall": beds["wall_strip_ft2"].to_numpy() > LEAST_FT2,
        "roots": reaches(setbacks.roots),
        "removed": shapely.intersects(near, setbacks.removed[row]),
        "wildfire": beds["is_wildfire"].to_numpy(),
    }


def _things_near(near: np.ndarray, row: np.ndarray, circles: pd.DataFrame) -> list[tuple[int, str]]:
    """Pair beds with the kinds of things whose circle they meet, each kind once."""
    tree = shapely.STRtree(circles["geometry"].to_numpy())
    bed, circle = tree.query(near, predicate="intersects")
    same = circles["site"].to_numpy()[circle] == row[bed]
    names = circles["what"].to_numpy()[circle[same]]
    return sorted(set(zip(bed[same].tolist(), names.tolist(), strict=True)))
