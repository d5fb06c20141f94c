"""Beds that are there already."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely import affinity, box

from scanner.ground.record.old_beds import list_old_beds
from scanner.plane import frame as frames
from scanner.schema.log_tables import STORED_BEDS
from scanner.schema.tables import check_table
from tests.answers import answers
from tests.sites import HERE, Drawing, features_of


def stored(*rows):
    """Stored beds (name, client, day built, shape in the drawing's feet)."""
    shapes = np.array([affinity.translate(shape, 5000, 3000) for *_, shape in rows], dtype=object)
    table = gpd.GeoDataFrame(
        {
            "bed_id": [row[0] for row in rows], "client_id": [row[1] for row in rows],
            "along": "curb", "area_ft2": [shapely.area(row[3]) for row in rows],
            "last_seen": "2027-03-01", "built_on": [row[2] for row in rows],
        },
        geometry=frames.to_degrees(shapes, HERE), crs="EPSG:4326",
    )  # fmt: skip
    return check_table(table, STORED_BEDS)


LOTS = Drawing().add("property", box(0, 0, 80, 100), "A").add("property", box(80, 0, 160, 100), "B")


def test_built_drawn_and_seen():
    drawing = LOTS.add("bed", box(100, 0, 130, 4), "")
    beds = list_old_beds(
        features_of(drawing),
        stored(
            ("A-curb-1", "A", "2027-05-12", box(0, 0, 60, 4)),
            ("A-curb-2", "A", "", box(64, 0, 80, 4)),
        ),
        answers(("A", "has bed", "yes"), ("C", "has bed", "yes"), ("D", "has bed", "no")),
    )
    assert beds["client_id"].tolist() == ["A", "B", "C"]
    assert beds["known_from"].tolist() == ["built", "drawn", "seen"]
    assert beds["area_ft2"].tolist() == pytest.approx([240, 120, np.nan], abs=0.01, nan_ok=True)


def test_a_built_bed_that_was_drawn_later_counts_once():
    drawing = LOTS.add("bed", box(0, 0.2, 60, 4.2), "")
    beds = list_old_beds(
        features_of(drawing), stored(("A-curb-1", "A", "2027-05-12", box(0, 0, 60, 4))), answers()
    )
    assert beds["bed_id"].tolist() == ["A-curb-1"]


def test_a_bed_lies_on_the_lot_that_holds_most_of_it_or_on_none():
    drawing = LOTS.add("bed", box(70, 10, 95, 14), "").add("bed", box(300, 0, 310, 9), "")
    beds = list_old_beds(features_of(drawing), stored(), answers())
    assert beds["client_id"].tolist() == ["B", ""]


def test_a_bed_that_names_its_client_is_theirs():
    drawing = LOTS.add("bed", box(0, -6, 40, -2), "A")
    beds = list_old_beds(features_of(drawing), stored(), answers())
    assert beds["client_id"].tolist() == ["A"]
