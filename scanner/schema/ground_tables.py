"""Tables of the ground room: lots, edges, beds, and what a page draws of them."""

from __future__ import annotations

from scanner.schema.columns import (
    EDGE_SOURCES,
    LAWN_SOURCES,
    SKIP_REASONS,
    TableSchema,
    flag_column,
    number_column,
    select,
    shape_column,
    text_column,
    word_column,
)
from scanner.schema.edge_kinds import ALONG
from scanner.schema.feature_kinds import FEATURE_KINDS, PAVED

LOTS = TableSchema("lots", "One row a lot that has an outline: its ground.", {
    "client_id": text_column("client whose lot it is", unique=True),
    "frame": text_column("plane that the shapes lie in: longitude and latitude of its center"),
    "outline": shape_column("the lot's outline"),
    "strip": shape_column("frontage strip outside the outline that the client mows"),
    "lawn": shape_column("turf, all built, planted and wet ground taken out"),
    "lawn_source": word_column("how the lawn is known; blank: no lawn", LAWN_SOURCES),
    "lawn_ft2": number_column("ft2", "area of the turf"),
})  # fmt: skip

EDGES = TableSchema("edges", "Lawn-to-hardscape edges, one row a whole chain, lawn on the left.", {
    "client_id": text_column("client whose edge it is"),
    "along": word_column("what it runs along", ALONG),
    "face": text_column("house faces that it takes in; blank along other things"),
    "edge_source": word_column("how the edge is known", EDGE_SOURCES),
    "edge_ft": number_column("ft", "length of the edge"),
    "geometry": shape_column("the edge"),
})  # fmt: skip

LOT_LIST = TableSchema(
    "lot_list",
    "Every lot of a book without its shapes.",
    select(LOTS, "client_id lawn_source lawn_ft2"),
)

_BED_COLUMNS = {
    "bed_id": text_column("client, what it runs along and number: C0042-curb-1"),
    "client_id": text_column("client on whose lot it lies"),
    "along": word_column("what it runs along", ALONG),
    "face": text_column("house faces that it takes in, joined by +; blank along other things"),
    "frame": text_column("plane that the shapes lie in; blank: measured on foot, lies nowhere"),
    "lawn_source": word_column("how the lawn is known", LAWN_SOURCES),
    "edge_source": word_column("how the edge is known", EDGE_SOURCES),
    "skip_reason": word_column("why it is not offered; blank: offered", (*SKIP_REASONS, "")),
    "edge_ft": number_column("ft", "edge whose inward normal meets the bed"),
    "area_ft2": number_column("ft2", "area, absorbed turf included"),
    "mean_depth_ft": number_column("ft", "area over edge"),
    "bed_line_ft": number_column("ft", "lawn-side border, the side that needs edging"),
    "absorbed_ft2": number_column("ft2", "turf taken in because no mower fits there any more"),
    "right_of_way_ft2": number_column("ft2", "part outside the outline"),
    "low_plant_ft2": number_column("ft2", "part in sight triangles, low plants only"),
    "plant_free_ft2": number_column("ft2", "part kept free of plants round things to keep clear of"),
    "trim_ft": number_column("ft", "turf contact with hardscape, walls and fences that goes away"),
    "turf_left_ft2": number_column("ft2", "turf of the lot that stays", known=False),
    "turf_left_width_ft": number_column("ft", "10th percentile of the turf's width off the bed line", known=False),
    "wall_strip_ft2": number_column("ft2", "part within the clear distance of a wall: gravelled, not dug, not planted"),
    "hand_dig_ft2": number_column("ft2", "part where only hand digging is right (roots, utilities, hydrants)"),
    "is_wildfire": flag_column("lies in a mapped high-hazard wildfire area: gravel only"),
    "is_opening_guessed": flag_column("the place of the drive is a guess"),
    "cautions": text_column("what to watch out for, in words"),
    "geometry": shape_column("the bed, absorbed turf included"),
    "plantable": shape_column("ground of the bed where plants may stand"),
    "edge": shape_column("the edge that the bed lies along: plant rows run parallel to it"),
    "low_ground": shape_column("part in sight triangles", required=False),
}  # fmt: skip

BEDS = TableSchema("beds", "Beds found, one row each, skipped ones too; each kind as if it alone were built.",
              _BED_COLUMNS, unique=("bed_id",))  # fmt: skip

BED_LIST = TableSchema(
    "bed_list",
    "Every bed of a book without its shapes: what ranking, log and totals ask of it.",
    select(
        BEDS,
        "bed_id client_id along edge_source skip_reason edge_ft area_ft2 absorbed_ft2 "
        "right_of_way_ft2 trim_ft turf_left_width_ft is_opening_guessed",
    ),
)

OFFER_BEDS = TableSchema(
    "offer_beds",
    "Beds as they lie in an offer. Offer `bed_id` sells that bed alone; another offer has the ids of its beds, joined by +.",
    {"offer_id": text_column("offer that the bed is drawn for"), **_BED_COLUMNS},
    unique=("offer_id", "bed_id"),
)

_DRAWN = {
    "property": ("outline", "strip"), "street_centerline": (), "bed": ("old_bed",), "edge": ("edge", "bed"),
}  # fmt: skip
"""Layers that are not called as the kind of feature is."""

LAYERS = tuple(layer for kind in FEATURE_KINDS for layer in _DRAWN.get(kind, (kind,)))

PLAN_LAYERS = (
    "outline", *PAVED, "house", "outbuilding", "neighbor", "old_bed", "water", "kept_clear", "thing",
)  # fmt: skip

SHAPES = TableSchema("shapes", "Everything that a page draws of a scan, WGS 84 longitude and latitude.", {
    "layer": word_column("what is drawn", LAYERS),
    "client_id": text_column("client on whose lot it is drawn"),
    "ref": text_column("bed_id of a bed, `along` of an edge, `what` of a utility, else blank"),
    "geometry": shape_column("the shape, cut to the lot's surroundings", "degrees"),
})  # fmt: skip

PLAN_SHAPES = TableSchema("plan_shapes", "What a plan of a lot is drawn from, in the plane of its beds.", {
    "client_id": text_column("client whose lot is drawn"),
    "layer": word_column("what it is; neighbor: other people's buildings", PLAN_LAYERS),
    "what": text_column("which limit or thing; a drive that nobody drew is guessed; else blank"),
    "geometry": shape_column("the shape; of a thing the circle kept clear round it"),
})  # fmt: skip
