"""Ground that geometry engines stumble over: the lot is measured or named, its neighbors stay as they are.

A mid-block lot whose answer is worked by hand stands beside each odd one, on the same plane.
"""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
from shapely.affinity import rotate, translate

from scanner.pipeline import open_store, publish_scan, read_book, scan
from scanner.plane.frame import to_degrees, to_feet

TODAY = date(2027, 3, 1)
MILE_FT = 5_280.0
PLACES = {
    "prairie": "-98.75,41.25",
    "far north": "25.25,70.25",
    "by the date line": "179.75,-17.25",
    "across the date line": "179.75,-17.25",
}

LOT = shapely.box(0, 0, 80, 120)
HOUSE = shapely.box(20, 35, 60, 65)
BOW_TIE = shapely.Polygon([(20, 35), (60, 65), (60, 35), (20, 65)])
SPIKE = shapely.Polygon(
    [(0, 0), (80, 0), (80, 60), (400, 60.0001), (80, 60.0002), (80, 120), (0, 120)]
)
DOUBLED = shapely.Polygon(
    [(0, 0), (0, 0), (40, 0), (40, 0), (80, 0), (80, 120), (80, 120), (0, 120)]
)
TOUCHING = shapely.Polygon(
    [(0, 0), (80, 0), (80, 120), (0, 120)],
    [[(0, 60), (20, 70), (20, 50)], [(20, 70), (30, 90), (40, 70)]],
)
ODD = {
    "sound": (LOT, HOUSE),
    "sliver": (shapely.box(0, 0, 80, 0.001), HOUSE),
    "spike": (SPIKE, HOUSE),
    "bow-tie house": (LOT, BOW_TIE),
    "bow-tie lot": (shapely.Polygon([(0, 0), (80, 120), (80, 0), (0, 120)]), HOUSE),
    "holes that touch": (TOUCHING, HOUSE),
    "doubled corners": (DOUBLED, HOUSE),
    "a tenth of a square foot": (shapely.box(0, 0, 0.5, 0.2), shapely.box(0.1, 0.1, 0.2, 0.15)),
    "ten square miles": (shapely.box(0, 0, 2 * MILE_FT, 5 * MILE_FT), HOUSE),
    "a coarse grid": (shapely.set_precision(rotate(LOT, 3), 25), shapely.set_precision(rotate(HOUSE, 3), 25)),
}  # fmt: skip


CASES = [
    *((name, "prairie") for name in ODD if name != "sound"),
    *((name, place) for name in ("bow-tie house", "spike") for place in ("far north", "by the date line")),
    ("sound", "across the date line"),
]  # fmt: skip


def feature(kind: str, shape: shapely.Geometry, place: str, **told: str) -> dict[str, object]:
    """Write a shape [ft] of a plane as it stands in a file; across the date line, with x = 40 on it."""
    frame = PLACES[place]
    line_ft = to_feet(np.array([shapely.Point(180, -17.25)]), frame)[0].x
    shape = translate(shape, line_ft - 40) if place == "across the date line" else shape
    degrees = to_degrees(np.array([shape]), frame)[0]
    return {"type": "Feature", "properties": {"kind": kind, **told}, "geometry": json.loads(shapely.to_geojson(degrees))}  # fmt: skip


def scan_beside(folder: Path, place: str, name: str) -> tuple[pd.DataFrame, set[str]]:
    """Scan an odd lot A beside the sound lot B: beds, and the clients of whom something is said."""
    odd_lot, odd_house = ODD[name]
    off = 200.0
    street = shapely.box(-200, -40, off if place == "across the date line" else 600, -10)
    features = [
        feature("property", odd_lot, place, client_id="A"),
        feature("house", odd_house, place, client_id="A"),
        feature("property", translate(LOT, -off), place, client_id="B"),
        feature("house", translate(HOUSE, -off), place, client_id="B"),
        feature("drive", shapely.box(10 - off, -10, 30 - off, 35), place),
        feature("street", translate(street, -off), place),
    ]
    (folder / "sites").mkdir(parents=True)
    (folder / "sites" / "lots.geojson").write_text(
        json.dumps({"type": "FeatureCollection", "features": features})
    )
    (folder / "clients.csv").write_text("client_id,name\nA,Odd\nB,Sound\n")
    with open_store(folder) as store:
        found = scan(read_book(folder, store=store), today=TODAY, store=store)
        publish_scan(found, folder / "out")
        told = pd.concat([found.problems["client_id"], found.left_out["client_id"]])
        return found.table("beds"), set(told)


@pytest.mark.parametrize(("name", "place"), CASES)
def test_an_odd_lot_is_measured_or_named_and_its_neighbor_is_as_it_is(
    tmp_path: Path, name: str, place: str
) -> None:
    beds, named = scan_beside(tmp_path / "book", place, name)
    sound = beds[(beds["client_id"] == "B") & (beds["skip_reason"] == "")].set_index("bed_id")
    # mid-block: 50 ft of curb right of the drive, 30 ft of wall beside it, 4 ft deep
    assert sound["edge_ft"].round(1).to_dict() == {"B-curb-2": 50.0, "B-house-1": 30.0}
    assert sound["area_ft2"].round(0).to_dict() == {"B-curb-2": 200.0, "B-house-1": 120.0}
    own = beds[beds["client_id"] == "A"]
    assert len(own) or "A" in named
    if place == "across the date line":
        assert (len(own), "A" in named) == (0, True)
    assert shapely.is_valid(own["geometry"].to_numpy()).all()
    assert (own.loc[own["skip_reason"] == "", "area_ft2"] >= 40).all()
    written = json.loads((tmp_path / "book" / "out" / "candidates.geojson").read_text())["features"]
    assert len(written) == len(beds)
