"""A lot's result hangs on its own window alone: not on the block, the order or other lots."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely
from shapely import Polygon, box

from scanner.ground.gather import gather
from scanner.ground.kinds import CURB, HOUSE
from scanner.ground.setting.strips import find_strips
from scanner.ground.survey import survey_block
from tests.sites import Drawing, clients_of, features_of, rules_of_cases, street_south

RULES = rules_of_cases(default_opening_ft=24.0)


def street_of_lots(count: int = 9) -> Drawing:
    """Lots along a street, some with drive, walk, lawn; a nobody's lot between; leaning fronts."""
    drawing = Drawing().add("street", shapely.segmentize(street_south(-10, -200, 1000), 17.0), "")
    drawing = drawing.add("sidewalk", box(-200, -5, 1000, -1), "")
    for at in range(count):
        west, client = 70.0 * at, f"C{at}"
        lean = 3.0 if at % 2 else 0.0
        lot = Polygon([(west, lean), (west + 70, 3.0 - lean), (west + 70, 110), (west, 110)])
        drawing = drawing.add("property", lot, "" if at == 4 else client)
        drawing = drawing.add("house", box(west + 15, 40, west + 55, 70), "" if at == 4 else client)
        if at % 3:
            drawing = drawing.add("drive", box(west + 16, -10, west + 28, 40), "")
        if at % 3 == 2:
            drawing = drawing.add("lawn", box(west + 1, 4, west + 69, 109), client)
        drawing = drawing.add("tree", shapely.Point(west + 60, -7), "", dbh_in=9.0)
    return drawing


def beds_in_blocks(features, clients, blocks):
    """Beds of lots that were surveyed block by block, as text, by name."""
    tables = [
        survey_block(features, np.array(ids, object), clients, rules=RULES).beds for ids in blocks
    ]
    beds = pd.concat(tables, ignore_index=True).sort_values("bed_id", ignore_index=True)
    shapes = shapely.to_wkb(beds["geometry"].to_numpy(), hex=True)
    columns = [
        "bed_id",
        "skip_reason",
        "edge_ft",
        "area_ft2",
        "bed_line_ft",
        "cautions",
        "turf_left_ft2",
    ]
    return [*zip(shapes, *(beds[name] for name in columns), strict=True)]


@pytest.fixture(scope="module")
def town():
    drawing = street_of_lots()
    return features_of(drawing), clients_of(drawing)


def test_any_blocks_and_any_order_of_features_give_the_same_bytes(town):
    features, clients = town
    ids = clients["client_id"].tolist()
    whole = beds_in_blocks(features, clients, [ids])
    assert len(whole) > 15
    assert beds_in_blocks(features, clients, [[one] for one in ids]) == whole
    assert beds_in_blocks(features, clients, [ids[5:], ids[:5]]) == whole
    shuffled = features.sample(frac=1.0, random_state=4).reset_index(drop=True)
    assert beds_in_blocks(shuffled, clients, [ids]) == whole


def test_features_beyond_the_reach_of_fronts_change_no_byte(town):
    features, clients = town
    near = features[
        features.intersects(features[features["client_id"] == "C0"].union_all().buffer(0.0012))
    ]
    assert len(near) < len(features)
    one = beds_in_blocks(features, clients, [["C0"]])
    assert beds_in_blocks(near.reset_index(drop=True), clients, [["C0"]]) == one


def strips_of(drawing, client_ids):
    clients = clients_of(drawing)
    block = gather(features_of(drawing), np.array(client_ids, object), clients, rules=RULES)
    return block, find_strips(block, block.parts, rules=RULES)


def test_a_neighbors_claim_counts_whether_or_not_he_is_asked_for():
    one = Polygon([(-60, 0), (0, 6), (0, 100), (-60, 100)])
    two = Polygon([(0, 6), (60, 0), (60, 100), (0, 100)])
    drawing = (
        Drawing().add("property", one, "A").add("property", two, "B").add("street", street_south(-8), "")
    )  # fmt: skip
    block, strips = strips_of(drawing, ["A", "B"])
    alone, own = strips_of(drawing, ["A"])
    assert (block.count, alone.count) == (2, 1)
    assert alone.lots.client_id.tolist() == ["A", "B"]
    assert own[0].wkb == strips[0].wkb


def test_pieces_that_touch_are_one():
    drawing = (
        Drawing()
        .add("property", box(0, 0, 80, 100))
        .add("house", box(20, 40, 45, 70))
        .add("house", box(45.04, 44, 62, 70))
        .add("street", box(-100, -30, 40, 0), "")
        .add("street", box(40, -30, 200, 0), "")
    )
    block, _ = strips_of(drawing, ["A"])
    assert len(block.parts.of(HOUSE).lot) == 1
    (street,) = block.parts.of(CURB).shape
    assert street.area == pytest.approx(300 * 30, abs=0.5)


def test_street_pieces_a_foot_apart_have_one_curb():
    drawing = (
        Drawing()
        .add("property", box(0, 0, 80, 100))
        .add("street", box(-100, -30, 40, -8), "")
        .add("street", box(41, -30, 200, -8), "")
    )
    _, strips = strips_of(drawing, ["A"])
    assert strips[0].area == pytest.approx(80 * 8, abs=0.1)


def test_a_client_whose_outline_comes_in_two_parts_has_one_lot():
    drawing = (
        Drawing()
        .add("property", box(0, 0, 40, 100))
        .add("property", box(40, 0, 80, 100))
        .add("street", street_south(-8), "")
    )
    block, strips = strips_of(drawing, ["A"])
    assert block.lots.outline[0].area == pytest.approx(8000, abs=0.1)
    assert strips[0].area == pytest.approx(640, abs=0.1)
