"""The layers of a county: the kinds that one may give, and what is named of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from scanner.book.county.sources import Source
from scanner.schema.feature_kinds import SITE_KINDS

PROPERTY, HOUSE, STREET, CENTERLINE, SIDEWALK = (
    SITE_KINDS[name] for name in ("property", "house", "street", "street_centerline", "sidewalk")
)

KINDS = tuple(kind for kind in SITE_KINDS.values() if kind.option)


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
