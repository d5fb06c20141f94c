"""What is kept clear at the beds of a plan, numbered, each with its reason."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from scanner.schema.documents import LocalRules

Shapes = NDArray[Any]

LEAST_FT2 = 0.5
"""Less ground than this under a limit is not worth a number; a caution says as much."""
NEAR_FT = 0.1
"""A bed that ends this near to a thing's circle lies at it."""
SAME_SHARE = 0.7
"""A triangle that lies so far within another says nothing new: a drive and its flare have one each."""
BESIDE = ("barred", "ramp")
"""Ground that is taken out of beds: it lies beside them."""
WITHIN = ("step_out", "wall", "roots", "wildfire")
"""Drawn within the beds alone."""

SENTENCES = {
    "drive": "Drive: low plants only, {triangle_plant_in:g} in at most, so that you see who is coming when you back out.",
    "corner": (
        "Street corner: low plants only, {triangle_plant_in:g} in at most, in {corner_triangle_ft:g} ft of the corner, "
        "so that drivers see across it."
    ),
    "hydrant": "Hydrant: no plants within {hydrant_ft:g} ft, so that it is found and reached; we dig by hand there.",
    "mailbox": "Mailbox: no plants within {mailbox_ft:g} ft, so that the carrier reaches it.",
    "tree": "Tree: no plants within {trunk_ft:g} ft of the trunk, mulch kept off the bark; we dig by hand there.",
    "gas_meter": "Gas meter: no plants within {gas_meter_ft:g} ft; we dig by hand there.",
    "electric_meter": "Electric meter: no plants within {electric_meter_ft:g} ft; we dig by hand there.",
    "water_meter": "Water meter: no plants within {water_meter_ft:g} ft; we dig by hand there.",
    "pole": "Utility pole: no plants within {pole_ft:g} ft; we dig by hand there.",
    "transformer": "Utility box: the bed stays {transformer_ft:g} ft away, so that its doors open; no digging there.",
    "step_out": "{step_out_in:g} in along the curb: no plants, so that people can step out of parked cars.",
    "wall": (
        "House wall: the first {wall_clear_in:g} in gravel, no trench, no plants, no wood mulch; the soil there may be "
        "treated against termites."
    ),
    "roots": "Tree roots: we dig by hand there, cut no large root and do not till.",
    "barred": "Easement: no digging there without leave.",
    "ramp": "The curb's turn at the corner stays free for its ramps: no digging there.",
    "wildfire": "Mapped wildfire area: gravel only, nothing that burns within 5 ft of a wall.",
}  # fmt: skip
"""Why ground is kept clear, in the order of the numbers; distances are those of the local rules."""


class Kept(NamedTuple):
    """One reason to keep ground clear: its number, its sentence, and the shapes that it has at the beds [ft]."""

    number: int
    what: str
    sentence: str
    shapes: Shapes
    beds: NDArray[np.int64]  # which bed each shape belongs to, its row

    @property
    def brief(self) -> str:
        """The same without its reason."""
        return self.sentence.partition(", so that")[0].partition("; the soil")[0].rstrip(".") + "."


def find_kept(
    beds: Shapes, shapes: Shapes, what: Shapes, is_thing: Shapes, streets: Shapes, rules: LocalRules
) -> list[Kept]:
    """Find the limits that bear on some beds, out of those of their lot; low ground ends at the street."""
    street = shapely.union_all(streets)
    found = list[Kept]()
    for name, sentence in SENTENCES.items():
        some = shapes[what == name]
        some = shapely.difference(some, street) if name in ("drive", "corner") else some
        pairs = [
            (shape, bed)
            for bed, ground in enumerate(beds)
            for shape in _touching(some, ground, name, is_thing=bool(is_thing[what == name].any()))
        ]
        if name not in WITHIN:
            pairs = _once(pairs)
        if pairs:
            kept_shapes = np.array([shape for shape, _ in pairs], object)
            bed_rows = np.array([bed for _, bed in pairs])
            told = sentence.format(**rules.setbacks.model_dump())
            found.append(Kept(len(found) + 1, name, told, kept_shapes, bed_rows))
    return found


def _once(pairs: list[tuple[Any, int]]) -> list[tuple[Any, int]]:
    """Draw a shape that bears on two beds once, and of those that nearly cover each other the largest."""
    kept = list[tuple[Any, int]]()
    for shape, bed in sorted(pairs, key=lambda pair: (-pair[0].area, pair[1])):
        if all(shape.intersection(other).area < SAME_SHARE * shape.area for other, _ in kept):
            kept.append((shape, bed))
    return kept


def _touching(shapes: Shapes, bed: shapely.Geometry, name: str, *, is_thing: bool) -> Shapes:
    """Give the shapes of a limit that bear on a bed; those drawn within beds are cut to it."""
    if is_thing or name in BESIDE:
        return shapes[shapely.dwithin(shapes, bed, NEAR_FT)]
    parts = shapely.intersection(shapes, bed)
    bears = shapely.area(parts) > LEAST_FT2
    if name in WITHIN:
        whole = shapely.union_all(parts[bears])
        return np.array([whole] if bears.any() else [], object)
    return shapes[bears]
