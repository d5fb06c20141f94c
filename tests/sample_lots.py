"""A few lots of the sample book with all that bears on them, for tests that need one client and not a town."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import shapely

SAMPLE = Path(__file__).parents[1] / "sample_data" / "book"

REACH_DEGREES = 0.0003
"""80 ft east and 110 ft north at the sample's 41 degrees: the street, and the lots on either side and behind."""


def cut_sample(folder: Path, *client_ids: str) -> Path:
    """Copy the sample book with the lots of these clients and what touches their surroundings."""
    shutil.copytree(SAMPLE, folder)
    layers = {
        path: json.loads(path.read_text(encoding="utf-8"))
        for path in (folder / "sites").glob("*.geojson")
    }
    features = [one for layer in layers.values() for one in layer["features"]]
    boxes = shapely.box(*shapely.bounds([shapely.geometry.shape(one["geometry"]) for one in features]).T)  # fmt: skip
    ids = [one["properties"].get("client_id") for one in features]
    own = [box for box, owner in zip(boxes, ids, strict=True) if owner in client_ids]
    near = shapely.buffer(shapely.union_all(own), REACH_DEGREES, cap_style="square", join_style="mitre")  # fmt: skip
    is_near = dict(zip(map(id, features), shapely.intersects(boxes, near), strict=True))
    for path, layer in layers.items():
        layer["features"] = [one for one in layer["features"] if is_near[id(one)]]
        path.write_text(json.dumps(layer), encoding="utf-8")
    kept = {owner for one, owner in zip(features, ids, strict=True) if is_near[id(one)]}
    for name in ("clients.csv", "measured.csv"):
        head, *rows = csv.reader((folder / name).read_text(encoding="utf-8").splitlines())
        at = head.index("client_id")
        with (folder / name).open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows([head, *(row for row in rows if row[at] in {*kept, *client_ids})])  # fmt: skip
    return folder
