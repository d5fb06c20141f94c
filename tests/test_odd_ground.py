"""Ground that geometry engines stumble over: the lot is measured or named, its neighbors stay as they are.

A mid-block lot whose answer is worked by hand stands beside each odd one. All pairs are one book.
"""

from __future__ import annotations

import json
from datetime import date

import numpy as np
import pandas as pd
import pytest
import shapely
from shapely.affinity import rotate, translate

from scanner.pipeline import open_store, publish_scan, read_book, scan
from scanner.plane.frame import to_degrees, to_feet

TODAY = date(2027, 3, 1)
MILE_FT = 5_280.0
APART_FT = 3_000.0  # from pair to pair, far beyond what a lot sees; the lot of ten square miles stands last
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
    "a coarse grid": (shapely.set_precision(rotate(LOT, 3), 25), shapely.set_precision(rotate(HOUSE, 3), 25)),
    "ten square miles": (shapely.box(0, 0, 2 * MILE_FT, 5 * MILE_FT), HOUSE),
}  # fmt: skip


CASES = [
    *((name, "prairie") for name in ODD if name != "sound"),
    *((name, place) for name in ("bow-tie house", "spike") for place in ("far north", "by the date line")),
    ("sound", "across the date line"),
]  # fmt: skip


def feature(kind: str, shape: shapely.Geometry, at: int, **told: str) -> dict[str, object]:
    """Write a shape [ft] of one pair as it stands in a file; across the date line, with x = 40 on it."""
    _, place = CASES[at]
    frame = PLACES[place]
    line_ft = to_feet(np.array([shapely.Point(180, -17.25)]), frame)[0].x - 40
    shape = translate(shape, line_ft if place == "across the date line" else at * APART_FT)
    degrees = to_degrees(np.array([shape]), frame)[0]
    return {"type": "Feature", "properties": {"kind": kind, **told}, "geometry": json.loads(shapely.to_geojson(degrees))}  # fmt: skip


def pair(at: int) -> list[dict[str, object]]:
    """Draw an odd lot A beside a sound lot B."""
    name, place = CASES[at]
    odd_lot, odd_house = ODD[name]
    off = 200.0
    street = shapely.box(-200, -40, off if place == "across the date line" else 600, -10)
    return [
        feature("property", odd_lot, at, client_id=f"A{at}"),
        feature("house", odd_house, at, client_id=f"A{at}"),
        feature("property", translate(LOT, -off), at, client_id=f"B{at}"),
        feature("house", translate(HOUSE, -off), at, client_id=f"B{at}"),
        feature("drive", shapely.box(10 - off, -10, 30 - off, 35), at),
        feature("street", translate(street, -off), at),
    ]


@pytest.fixture(scope="module")
def town(tmp_path_factory) -> tuple[pd.DataFrame, set[str], list[dict]]:
    """Scan all pairs: beds, the clients of whom something is said, and the features written."""
    folder = tmp_path_factory.mktemp("odd") / "book"
    features = [feature for at in range(len(CASES)) for feature in pair(at)]
    (folder / "sites").mkdir(parents=True)
    (folder / "sites" / "lots.geojson").write_text(
        json.dumps({"type": "FeatureCollection", "features": features})
    )
    clients = "".join(f"A{at},Odd\nB{at},Sound\n" for at in range(len(CASES)))
    (folder / "clients.csv").write_text(f"client_id,name\n{clients}")
    with open_store(folder) as store:
        found = scan(read_book(folder, store=store), today=TODAY, store=store)
        publish_scan(found, folder / "out")
        told = pd.concat([found.problems["client_id"], found.left_out["client_id"]])
        written = json.loads((folder / "out" / "candidates.geojson").read_text())["features"]
        return found.table("beds"), set(told), written


def test_an_odd_lot_is_measured_or_named_and_its_neighbor_is_as_it_is(town, subtests) -> None:
    beds, named, written = town
    assert len(written) == len(beds)
    for at, (name, place) in enumerate(CASES):
        with subtests.test(f"{name}, {place}"):
            sound = beds[(beds["client_id"] == f"B{at}") & (beds["skip_reason"] == "")]
            # mid-block: 50 ft of curb right of the drive, 30 ft of wall beside it, 4 ft deep
            measured = sound.set_index("bed_id")[["edge_ft", "area_ft2"]].round(
                {"edge_ft": 1, "area_ft2": 0}
            )
            assert measured.T.to_dict("list") == {
                f"B{at}-curb-2": [50, 200],
                f"B{at}-house-1": [30, 120],
            }
            own = beds[beds["client_id"] == f"A{at}"]
            assert len(own) or f"A{at}" in named
            if place == "across the date line":
                assert (len(own), f"A{at}" in named) == (0, True)
            assert shapely.is_valid(own["geometry"].to_numpy()).all()
            assert (own.loc[own["skip_reason"] == "", "area_ft2"] >= 40).all()
