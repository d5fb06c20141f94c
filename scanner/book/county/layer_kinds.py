"""The kinds of county layers: what each is called, and what its features are drawn as."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from scanner.book.county.sources import Source


@dataclass(frozen=True)
class Kind:
    """A kind of layer."""

    name: str  # kind of site feature that it becomes
    option: str  # what people call the layer, and the option that names it
    shapes: tuple[str, ...]  # what its features may be drawn as, usual one first


PROPERTY = Kind("property", "parcels", ("areas",))
HOUSE = Kind("house", "houses", ("areas",))
STREET = Kind("street", "streets", ("areas", "lines"))
CENTERLINE = Kind("street_centerline", "centerlines", ("lines",))
SIDEWALK = Kind("sidewalk", "sidewalks", ("areas", "lines"))

KINDS = (
    PROPERTY,
    HOUSE,
    STREET,
    CENTERLINE,
    SIDEWALK,
    Kind("drive", "drives", ("areas",)),
    Kind("walk", "walks", ("areas",)),
    Kind("patio", "patios", ("areas",)),
    Kind("water", "water", ("areas",)),
    Kind("easement", "easements", ("areas",)),
    Kind("tree", "trees", ("points",)),
    Kind("hydrant", "hydrants", ("points",)),
)


@dataclass(frozen=True)
class Pick:
    """Which features of a kind's layers are used: those whose column holds a value."""

    kind: str
    column: str
    value: str


@dataclass(frozen=True)
class County:
    """The layers of a county or city, as they are named on the command line."""

    sources: Mapping[str, tuple[Source, ...]]  # layers by kind; ``property`` is there
    parcel_id: str = ""  # columns of the parcel layers; blank where there is none
    parcel_address: str = ""
    year_built: str = ""
    picks: tuple[Pick, ...] = ()  # which features are used; a kind without one is used whole
    # paved width of a street known by its centerline where no column says it [ft]
    street_width_ft: float | None = None
    sidewalk_width_ft: float | None = None  # width of a sidewalk known by its centerline [ft]
