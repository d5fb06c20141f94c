"""What an edge of the lawn can run along: each kind once, with all that the program says and asks of it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class EdgeKind:
    """One kind of edge."""

    name: str  # name in columns: ``along``
    layer: str  # kind of site feature that it bounds; blank: drawn as a line only
    words: str  # how a sentence names what it runs along
    question: str = ""  # what a crew is asked about turf there; a yes has seen it. Blank: nothing.
    # whether a no to that question denies the edge. Whoever stands at the street and sees turf up
    # to the curb has seen both sides of the sidewalk; whoever sees none has not.
    is_denied_by_no: bool = False
    condition: str = ""  # what a crew is asked about how the edge looks; blank: nothing
    # whether it lies between house and street, where a bed leaves a strip of turf behind it and a
    # machine gets at it without a gate
    is_street_side: bool = False


EDGE_KINDS = {
    kind.name: kind
    for kind in (
        EdgeKind("curb", "street", "the curb", "turf to curb", is_denied_by_no=True,
                 condition="curb condition", is_street_side=True),
        EdgeKind("house", "house", "the house wall", "turf to house", is_denied_by_no=True,
                 condition="house condition"),
        EdgeKind("sidewalk", "sidewalk", "the sidewalk", "turf to curb", is_street_side=True),
        EdgeKind("drive", "drive", "the drive"),
        EdgeKind("walk", "walk", "the walk"),
        EdgeKind("patio", "patio", "the patio"),
        EdgeKind("fence", "", "the fence"),
    )
}  # fmt: skip
"""By name, in the order in which beds take ground."""

ALONG = tuple(EDGE_KINDS)

STREET_SIDE = tuple(kind.name for kind in EDGE_KINDS.values() if kind.is_street_side)
