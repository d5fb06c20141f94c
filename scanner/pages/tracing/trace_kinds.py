"""What can be drawn: each kind of site feature with its words, its key and its group."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

DrawnAs = Literal["area", "line", "point"]


@dataclass(frozen=True)
class TraceKind:
    """One kind of site feature as the tracing page offers it."""

    kind: str  # name in the file, one of the feature kinds
    key: str  # letter that picks it
    words: str  # what its button says
    group: str  # heading that it stands under
    drawn_as: DrawnAs = "area"  # area, line or point
    # whether a shape drawn for a client carries the client's id. What neighbors share (a
    # street, a hydrant) serves every lot within reach and carries none
    is_own: bool = True


TRACE_KINDS = (
    TraceKind("property", "O", "Lot outline", "The lot"),
    TraceKind("lawn", "L", "Lawn", "The lot"),
    TraceKind("house", "H", "House", "The lot"),
    TraceKind("outbuilding", "B", "Shed or garage", "The lot"),
    TraceKind("drive", "D", "Drive", "Paved"),
    TraceKind("walk", "K", "Walk", "Paved"),
    TraceKind("patio", "P", "Patio", "Paved"),
    TraceKind("sidewalk", "W", "Sidewalk", "Paved", is_own=False),
    TraceKind("street", "S", "Street", "Paved", is_own=False),
    TraceKind("street_centerline", "C", "Street middle", "Paved", "line", is_own=False),
    TraceKind("edge", "E", "Lawn edge", "Lines and marks", "line"),
    TraceKind("tree", "T", "Tree", "Lines and marks", "point", is_own=False),
    TraceKind("hydrant", "Y", "Hydrant", "Lines and marks", "point", is_own=False),
    TraceKind("mailbox", "M", "Mailbox", "Lines and marks", "point", is_own=False),
    TraceKind("utility", "U", "Meter or pole", "Lines and marks", "point", is_own=False),
    TraceKind("bed", "G", "Old bed", "Other ground"),
    TraceKind("water", "A", "Water", "Other ground", is_own=False),
    TraceKind("easement", "N", "Easement", "Other ground", is_own=False),
    TraceKind("wildfire_area", "F", "Wildfire area", "Other ground", is_own=False),
)
"""In the order of the buttons."""
