"""What stands on the ground of a book: each kind of site feature once, with all that the rooms say of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class FeatureKind:
    """One kind of site feature."""

    name: str  # name in columns: ``kind``
    words: str  # what its button on the tracing page says
    key: str  # letter that picks it there
    group: str  # heading that it stands under there
    drawn_as: Literal["area", "line", "point"] = "area"  # area, line or point
    # whether a shape drawn for a client carries the client's id. What neighbors share (a
    # street, a hydrant) serves every lot within reach and carries none
    is_own: bool = True
    # what it counts as where two files may have drawn it: a garage of one file may be a house of
    # another. Blank: it is drawn in stretches that complete each other
    thing: str = ""
    # what people call a county layer of it, and the option that names it; blank: no county gives it
    option: str = ""
    is_widened: bool = False  # whether a county may give an area as lines, which are widened then

    @property
    def shapes(self) -> tuple[str, ...]:
        """What a county may draw its features as, usual one first."""
        return (f"{self.drawn_as}s", "lines") if self.is_widened else (f"{self.drawn_as}s",)


SITE_KINDS = {
    kind.name: kind
    for kind in (
        FeatureKind("property", "Lot outline", "O", "The lot", thing="lot", option="parcels"),
        FeatureKind("lawn", "Lawn", "L", "The lot"),
        FeatureKind("house", "House", "H", "The lot", thing="building", option="houses"),
        FeatureKind("outbuilding", "Shed or garage", "B", "The lot", thing="building"),
        FeatureKind("street", "Street", "S", "Paved", is_own=False, option="streets", is_widened=True),
        FeatureKind("sidewalk", "Sidewalk", "W", "Paved", is_own=False, option="sidewalks", is_widened=True),
        FeatureKind("drive", "Drive", "D", "Paved", thing="drive", option="drives"),
        FeatureKind("walk", "Walk", "K", "Paved", thing="walk", option="walks"),
        FeatureKind("patio", "Patio", "P", "Paved", thing="patio", option="patios"),
        FeatureKind("street_centerline", "Street middle", "C", "Paved", "line", is_own=False, option="centerlines"),
        FeatureKind("bed", "Old bed", "G", "Other ground"),
        FeatureKind("water", "Water", "A", "Other ground", is_own=False, option="water"),
        FeatureKind("easement", "Easement", "N", "Other ground", is_own=False, option="easements"),
        FeatureKind("wildfire_area", "Wildfire area", "F", "Other ground", is_own=False),
        FeatureKind("edge", "Lawn edge", "E", "Lines and marks", "line"),
        FeatureKind("tree", "Tree", "T", "Lines and marks", "point", is_own=False, option="trees"),
        FeatureKind("hydrant", "Hydrant", "Y", "Lines and marks", "point", is_own=False, option="hydrants"),
        FeatureKind("mailbox", "Mailbox", "M", "Lines and marks", "point", is_own=False),
        FeatureKind("utility", "Meter or pole", "U", "Lines and marks", "point", is_own=False),
    )
}  # fmt: skip

FEATURE_KINDS = tuple(SITE_KINDS)

PAVED = tuple(
    kind.name for kind in SITE_KINDS.values() if (kind.group, kind.drawn_as) == ("Paved", "area")
)
