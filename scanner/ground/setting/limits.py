"""
Setbacks: ground taken out of beds, and ground kept but limited.

*Removed*: easements, the clear ground round pad-mounted transformers, and the turn of a
curb where ramps stand. *Limited*: circles without plants, sight triangles with low plants,
root zones dug by hand, the strip at a wall, the step-out along a curb with parking, mapped
wildfire areas.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from scanner.ground.gather import AROUND_FT, Block
from scanner.ground.kinds import (
    DRIVE,
    EASEMENT,
    HOUSE,
    LINE,
    OTHER,
    PARKING,
    SHED,
    WILDFIRE,
    Lots,
    Parts,
    pair_boxes,
)
from scanner.ground.seams import windows_of
from scanner.ground.setting.corners import find_corners, find_ramps
from scanner.ground.setting.sights import corner_sights, drive_sights
from scanner.plane.grid import boxes_meet, meet, minus, unite
from scanner.plane.labels import Chains
from scanner.plane.segments import join
from scanner.schema.documents import LocalRules
from scanner.units import IN_PER_FT

PLANT_FREE, LOW, ROOTS, WALL, STEP_OUT, FIRE, BARRED, RAMP, AT_CORNER = (
    1 << bit for bit in range(9)
)
"""
What ground is limited to. BARRED: nothing is dug; RAMP: neither, for the ramps at a corner. AT_CORNER: it is
low because of a street corner, not of a drive.
"""

CLEAR_OF = {
    "hydrant": "hydrant_ft",
    "mailbox": "mailbox_ft",
    "tree": "trunk_ft",
    "gas_meter": "gas_meter_ft",
    "electric_meter": "electric_meter_ft",
    "water_meter": "water_meter_ft",
    "pole": "pole_ft",
    "transformer": "transformer_ft",
}
"""Rule that states the radius kept clear round each thing."""

BESIDE_FT = 5.0
"""Walls farther from an outline stand at nobody's bed."""

LEAST_FIRE_FT2 = 1.0
"""Less ground in a mapped wildfire area is the drawing's edge."""


@dataclass(frozen=True)
class Limits:
    """Ground with limits on some lots."""

    removed: np.ndarray  # ground taken out of beds and never absorbed back [ft], one polygon a lot
    ground: Parts  # limited ground: parts with the bits of this module
    # things to keep clear of with their circle: ``lot``, ``what``, ``x_ft``, ``y_ft``,
    # ``radius_ft``, ``geometry``
    circles: pd.DataFrame

    def reaches(self, shapes: np.ndarray, lot: np.ndarray, bits: int) -> np.ndarray:
        """Tell which shapes lie within a tenth of a foot of ground with any of some limits."""
        some = self.ground.of(bits)
        i, j = pair_boxes(shapes, lot, some, 0.1)
        near = shapely.dwithin(shapes[i], some.shape[j], 0.1)
        return np.bincount(i, near, len(shapes)) > 0

    def measure(self, shapes: np.ndarray, lot: np.ndarray) -> pd.DataFrame:
        """
        Measure what of beds is limited, one row a bed.

        Columns: ``plantable``, ``low_ground``, the limits of table `BEDS`, and ``roots_ft2`` and
        ``step_out_ft2``, which cautions tell of.
        """
        i, j = pair_boxes(shapes, lot, self.ground)
        hit = shapely.intersects(shapes[i], self.ground.shape[j])
        i, j = i[hit], j[hit]
        pieces = meet(shapes[i], self.ground.shape[j])
        under = _Under(pieces, self.ground.bits[j], i, len(shapes)).of
        bare, low = under(PLANT_FREE | WALL | STEP_OUT), under(LOW)
        plantable, some = shapes.copy(), ~shapely.is_empty(bare)
        plantable[some] = minus(shapes[some], bare[some])
        areas = {
            "low_plant_ft2": shapely.area(low),
            "plant_free_ft2": shapely.area(under(PLANT_FREE | STEP_OUT)),
            "wall_strip_ft2": shapely.area(under(WALL)),
            "hand_dig_ft2": shapely.area(under(PLANT_FREE | ROOTS)),
            "roots_ft2": shapely.area(under(ROOTS)),
            "step_out_ft2": shapely.area(under(STEP_OUT)),
            "is_wildfire": shapely.area(under(FIRE)) > LEAST_FIRE_FT2,
        }
        return pd.DataFrame(areas).assign(plantable=plantable, low_ground=low)


@dataclass(frozen=True)
class _Under:
    """Pieces of shapes that lie on limited ground: what limits each, and the row that it is of."""

    pieces: np.ndarray
    bits: np.ndarray
    row: np.ndarray
    count: int

    def of(self, limit: int) -> np.ndarray:
        some = (self.bits & limit) > 0
        return unite(self.pieces[some], self.row[some], self.count)


def find_limits(
    block: Block, lots: Lots, parts: Parts, streets: np.ndarray, curb: Chains, *, rules: LocalRules
) -> Limits:
    """Find the limits on each lot; `parts`: with drives as they stand; `streets`: one a lot [ft]; `curb`: its chains."""
    count = len(lots.outline)
    reach_ft = rules.frontage_max_ft + rules.bed_depth_ft + AROUND_FT
    corners = find_corners(streets, windows_of(lots, reach_ft))
    others = block.around.neighbors.near(windows_of(lots, reach_ft))
    points = _points_near(block.points, lots, rules)
    circles = _circles(points, rules)
    drives = _drives_near(parts, lots, rules)
    ground = Parts(np.zeros(0, object), np.zeros(0, np.int32), np.zeros(0, int))
    for bits, (shapes, lot) in (
        (LOW | AT_CORNER, corner_sights(corners, lots, rules=rules)),
        (LOW, drive_sights(drives, streets, lots, others, rules=rules)),
        (RAMP, find_ramps(corners, lots, parts, rules=rules)),
        (BARRED, _of(block.limits.of(EASEMENT))),
        (FIRE, _of(block.limits.of(WILDFIRE))),
        (WALL, _walls(lots, parts, rules)),
        (ROOTS, _roots(points, rules)),
        (STEP_OUT, _step_outs(block.limits.of(PARKING), curb, rules)),
    ):
        ground = ground.add(shapes, bits, lot)
    is_box = (circles["what"] == "transformer").to_numpy()
    around, lot = circles["geometry"].to_numpy(object), circles["lot"].to_numpy(int)
    ground = ground.add(around, np.where(is_box, BARRED, PLANT_FREE), lot)
    barred = ground.of(BARRED | RAMP)
    return Limits(unite(barred.shape, barred.lot, count), ground, circles)


def _drives_near(parts: Parts, lots: Lots, rules: LocalRules) -> Parts:
    """Take the drives whose sight triangles may reach a lot."""
    drives = parts.of(DRIVE)
    reach_ft = rules.setbacks.drive_triangle_ft + rules.drive_flare_ft + rules.gap_ft
    return drives.take(boxes_meet(shapely.bounds(drives.shape), lots.box[drives.lot], reach_ft))


def _points_near(points: pd.DataFrame, lots: Lots, rules: LocalRules) -> pd.DataFrame:
    """Take the things whose circle or root zone may reach a lot."""
    box = points[["x_ft", "y_ft", "x_ft", "y_ft"]].to_numpy(float)
    zone_ft = points["dbh_in"].fillna(0.0).to_numpy(float) * rules.setbacks.root_zone_ft_per_in
    reach_ft = np.maximum(zone_ft, max(_clear_ft(rules).values())) + 0.1
    return points[boxes_meet(box, lots.box[points["lot"]], reach_ft)].reset_index(drop=True)


def _clear_ft(rules: LocalRules) -> dict[str, float]:
    return {name: getattr(rules.setbacks, rule) for name, rule in CLEAR_OF.items()}


def _of(parts: Parts) -> tuple[np.ndarray, np.ndarray]:
    return parts.shape, parts.lot


def _circles(points: pd.DataFrame, rules: LocalRules) -> pd.DataFrame:
    what = points["what"].where(points["kind"] == "utility", points["kind"])
    clear_ft = _clear_ft(rules)
    radius_ft = np.array([clear_ft[name] for name in what], float)
    places = shapely.points(points[["x_ft", "y_ft"]].to_numpy(float))
    circles = points[["lot", "x_ft", "y_ft"]].assign(what=what, radius_ft=radius_ft)
    return circles.assign(geometry=shapely.buffer(places, radius_ft, quad_segs=32))


def _roots(points: pd.DataFrame, rules: LocalRules) -> tuple[np.ndarray, np.ndarray]:
    trees = points[(points["kind"] == "tree") & (points["dbh_in"] > 0)]
    zone_ft = trees["dbh_in"].to_numpy(float) * rules.setbacks.root_zone_ft_per_in
    places = shapely.points(trees[["x_ft", "y_ft"]].to_numpy(float))
    return shapely.buffer(places, zone_ft, quad_segs=32), trees["lot"].to_numpy()


def _walls(lots: Lots, parts: Parts, rules: LocalRules) -> tuple[np.ndarray, np.ndarray]:
    walls = parts.of(HOUSE | SHED | OTHER)
    walls = walls.take((walls.bits & LINE) == 0)
    i, j = pair_boxes(lots.outline, np.arange(len(lots.outline)), walls, BESIDE_FT)
    j = np.sort(j[shapely.dwithin(lots.outline[i], walls.shape[j], BESIDE_FT)])
    wide_ft = rules.setbacks.wall_clear_in / IN_PER_FT
    return shapely.buffer(walls.shape[j], wide_ft, join_style="mitre"), walls.lot[j]


def _step_outs(parked: Parts, curb: Chains, rules: LocalRules) -> tuple[np.ndarray, np.ndarray]:
    i, j = join(curb.lot, parked.lot)
    lines = curb.lines()
    near = shapely.dwithin(lines[i], parked.shape[j], rules.gap_ft)
    i, j = i[near], j[near]
    lines = shapely.intersection(lines[i], shapely.buffer(parked.shape[j], rules.gap_ft))
    wide_ft = rules.setbacks.step_out_in / IN_PER_FT
    return shapely.buffer(lines, wide_ft, cap_style="flat"), curb.lot[i]
