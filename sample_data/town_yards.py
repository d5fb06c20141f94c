"""
What stands on the lots of the invented town: houses, drives, walks, beds, lawns, trees.

Each lot is drawn in its own frame (feet; u right as seen from the street, v into the
lot, the outline's front at v = 0) and then placed in the town.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
import shapely.ops
from shapely import Point, Polygon
from shapely.geometry import box
from town_plan import Lot
from town_streets import Streets

BUILT = ("house", "outbuilding", "drive", "walk", "patio", "bed")


@dataclass(frozen=True)
class Thing:
    """One feature to be written: which file, what it says, its shape in the town's plane."""

    file: str
    tags: dict[str, object]
    shape: shapely.Geometry


@dataclass(frozen=True)
class Body:
    """A house in its lot's frame, with the places that drives and walks lead to."""

    house: Polygon
    drive: Polygon
    walk: shapely.Geometry
    front_v: float
    back_v: float
    left_u: float
    right_u: float
    garage: Polygon | None = None


def furnish(
    lot: Lot, streets: Streets, *, seed: int, traits: frozenset[str] = frozenset()
) -> list[Thing]:
    """
    Draw everything that stands on one lot.

    Parameters
    ----------
    lot
        The lot.
    streets
        The streets that its drive and walks lead to.
    seed
        Number that fixes all that varies on this lot.
    traits
        What is odd about this lot: ``no drive``, ``flare``, ``on the line``, and where beds are already:
        ``old bed`` at the house, ``planted strip`` at the curb, ``hedge`` behind the sidewalk.

    Returns
    -------
    things
        Features in the town's plane, without the client's id.
    """
    chance = np.random.default_rng(seed)
    draw = {"grid": _old_house, "acre": _farm_house}.get(lot.area, _tract_house)
    body = draw(lot, chance, traits)
    parts: list[tuple[str, shapely.Geometry]] = [("house", body.house), ("walk", body.walk)]
    if "no drive" not in traits:
        parts.append(("drive", body.drive))
    if body.garage is not None:
        parts.append(("outbuilding", body.garage))
    if chance.random() < 0.55 or lot.area == "acre":
        half = chance.uniform(6, 9)
        parts.append(("patio", box(-half, body.back_v, half, body.back_v + chance.uniform(9, 13))))
    if "old bed" in traits:
        depth = chance.uniform(3.0, 5.0)
        front = box(body.left_u - 1, body.front_v - depth, body.right_u + 1, body.front_v + 9)
        parts.append(("bed", front))
    half = lot.width_ft / 2
    if "planted strip" in traits:
        parts.append(
            ("bed", box(-half + 0.5, -lot.setback_ft - 7, half - 0.5, -lot.setback_ft + 8))
        )
    if "hedge" in traits:
        parts.append(("bed", box(-half + 1, -6, half - 1, chance.uniform(2.5, 4))))
    return _trim(lot, streets, parts)


def _trim(lot: Lot, streets: Streets, parts: list[tuple[str, shapely.Geometry]]) -> list[Thing]:
    """Place the parts and cut each back by what lies over it: walls, then drives, then pavement."""
    placed = [(kind, lot.place(shape)) for kind, shape in parts if not shape.is_empty]
    solid = shapely.union_all([shape for kind, shape in placed if kind in ("house", "outbuilding")])
    ways = shapely.union_all(
        [shape for kind, shape in placed if kind in ("drive", "walk", "patio")]
    )
    drives = shapely.union_all([shape for kind, shape in placed if kind == "drive"])
    walks = shapely.union_all(streets.sidewalks)
    things = []
    for kind, shape in placed:
        cut = shape
        if kind in ("drive", "walk", "patio", "bed"):
            cut = cut.difference(solid).difference(streets.paved)
        if kind in ("walk", "patio"):
            cut = cut.difference(drives)
        if kind == "bed":
            cut = cut.difference(ways).difference(walks).intersection(lot.ground)
        file = "buildings" if kind in ("house", "outbuilding") else "yards"
        things += [Thing(file, {"kind": kind}, part) for part in _parts(cut, 6.0)]
    return things


def _parts(shape: shapely.Geometry, least_ft2: float) -> list[Polygon]:
    """Give the polygons of a shape without slivers and hair-thin necks, which nobody would draw."""
    sound = shape.buffer(-0.06, join_style="mitre").buffer(0.06, join_style="mitre")
    parts = shapely.get_parts(shapely.simplify(sound, 0.005))
    return [part for part in parts if part.geom_type == "Polygon" and part.area >= least_ft2]


def _tract_house(lot: Lot, chance: np.random.Generator, traits: frozenset[str]) -> Body:
    bulb = "bulb" in lot.tags
    wide = min(lot.width_ft - (12 if bulb else 15), chance.uniform(46, 58))
    hand = -1 if chance.random() < 0.5 else 1
    front = (
        chance.uniform(17, 21) if not bulb else chance.uniform(24, 28)
    )  # 27 to 31 ft behind the curb
    jog = float(chance.choice([0.0, 4.0, 7.0, 9.0]))
    deep = chance.uniform(27, 33) if not bulb else 27.0
    x0, x1, main = -wide / 2, wide / 2, front + jog
    door = x1 - 27
    ring = [(x0, main)]
    if chance.random() < 0.45 and jog >= 4:  # a shallow bay, shorter than a jog that counts
        ring += [(x0 + 3, main), (x0 + 3, main - 2), (x0 + 11, main - 2), (x0 + 11, main)]
    ring += [(x1 - 22, main), (x1 - 22, front), (x1, front), (x1, main + deep)]
    if chance.random() < 0.4:
        ring += [(x1 - 16, main + deep), (x1 - 16, main + deep - 6)]
        ring += [(x0, main + deep - 6)]
    else:
        ring += [(x0, main + deep)]
    curb = -lot.setback_ft - 7
    drive = box(x1 - 20, curb, x1 - 2, front)
    if "flare" in traits:
        out = -lot.setback_ft
        drive = drive.union(
            Polygon([(x1 - 20, out + 6), (x1 - 24, out - 3), (x1 + 2, out - 3), (x1 - 2, out + 6)])
        )
    walk = _front_walk(door, main, front, x1 - 20, curb=curb, straight=chance.random() < 0.25)
    shapes = [
        shapely.transform(shape, lambda xy, hand=hand: xy * [hand, 1])
        for shape in (Polygon(ring), drive, walk)
    ]
    left, right = sorted((x0 * hand, (x1 - 22) * hand))
    return Body(*shapes, front_v=main, back_v=main + deep - 1, left_u=left, right_u=right)


def _front_walk(
    door: float, main: float, front: float, drive_side: float, *, curb: float, straight: bool
) -> shapely.Geometry:
    if straight:
        return box(door - 2, curb, door + 2, main)
    turn = min(front - 4, main - 5)
    return box(door - 2, turn, door + 2, main).union(box(door - 2, turn - 4, drive_side, turn))


def _old_house(lot: Lot, chance: np.random.Generator, traits: frozenset[str]) -> Body:
    wide, deep = chance.uniform(26, 30), chance.uniform(34, 44)
    front = float(chance.choice([7.0, 14.0, 18.0, 22.0])) + chance.uniform(0, 2)
    left = -25.0 if "on the line" in traits else -19.0 + chance.uniform(-1, 1)
    right, porch = left + wide, chance.uniform(5, 7)
    middle, half = (left + right) / 2, chance.uniform(5, 9)
    ring = [(left, front + porch), (middle - half, front + porch), (middle - half, front),
            (middle + half, front), (middle + half, front + porch), (right, front + porch),
            (right, front + porch + deep), (left, front + porch + deep)]  # fmt: skip
    curb = -lot.setback_ft - 7
    walk = box(middle - 2, curb, middle + 2, front)
    if "alley" in lot.tags:
        garage = box(0, 104, 21, 126)
        drive = box(1, 126, 20, 130)
    else:
        back = chance.uniform(84, 92)
        garage = box(4, back, 24, back + 22)
        drive = box(14.2, curb, 23.2, back)
    return Body(
        Polygon(ring), drive, walk, front + porch, front + porch + deep, left + 1, right - 1, garage
    )


def _farm_house(lot: Lot, chance: np.random.Generator, traits: frozenset[str]) -> Body:
    del traits
    wide, deep, front = chance.uniform(56, 68), chance.uniform(32, 40), chance.uniform(62, 95)
    x0, x1 = -wide / 2 - 12, wide / 2 - 12
    ring = [(x0, front), (x1 - 26, front), (x1 - 26, front - 8), (x1, front - 8), (x1, front + deep),
            (x0 + 20, front + deep), (x0 + 20, front + deep + 12), (x0, front + deep + 12)]  # fmt: skip
    drive = box(x1 - 19, -lot.setback_ft - 9, x1 - 7, front - 8)
    barn_u = min(lot.width_ft / 2 - 50, x1 + 30)
    barn = box(barn_u, front + deep + 40, barn_u + 36, front + deep + 90)
    walk = box(x1 - 33, front - 12, x1 - 29, front).union(
        box(x1 - 33, front - 16, x1 - 19, front - 12)
    )
    return Body(Polygon(ring), drive, walk, front, front + deep, x0, x1 - 27, barn)


def find_turf(lot: Lot, streets: Streets, built: shapely.Geometry) -> shapely.Geometry:
    """Give the turf of a lot: its ground up to the curb, less all that is built."""
    return lot.ground.difference(streets.paved).difference(built)


def draw_lawn(turf: shapely.Geometry, *, style: str) -> list[Polygon]:
    """Draw turf as somebody tracing a picture would: exact, 4 in short, or a little over."""
    grow = {"exact": 0.0, "short": -1 / 3, "over": 0.25}[style]
    traced = shapely.simplify(turf.buffer(grow, join_style="mitre"), 0.05)
    return _parts(traced, 25.0)


def yard_of_acre(lot: Lot, house: Polygon) -> Polygon:
    """The part of a large lot that is mown: a rounded yard round the house, the rest is pasture."""
    yard = house.envelope.buffer(58, quad_segs=4).union(
        lot.place(box(-20, 2, 20, 60)).buffer(8, quad_segs=2)
    )
    return shapely.simplify(yard.intersection(lot.outline.buffer(-3, join_style="mitre")), 0.5)


def plant_trees(lot: Lot, turf: shapely.Geometry, *, seed: int) -> list[Thing]:
    """Stand a few trees on the lot, one in the strip on the old grid."""
    chance = np.random.default_rng([seed, 1])
    spots = [
        Point(chance.uniform(-15, 15), chance.uniform(5, 12)),
        Point(chance.uniform(-20, 20), chance.uniform(75, 105)),
    ]
    if lot.area == "grid":
        spots[0] = Point(chance.uniform(-20, 8), -lot.setback_ft + 3)
    sizes = chance.integers(8, 27, size=2) if lot.area == "grid" else chance.integers(3, 15, size=2)
    kept = chance.random(2) < (0.8, 0.6)
    room = turf.buffer(-2.2)
    things = []
    for spot, size, keep in zip(spots, sizes, kept, strict=True):
        place = lot.place(spot)
        if keep and room.contains(place):
            things.append(Thing("points", {"kind": "tree", "dbh_in": int(size)}, place))
    return things


def set_posts(lot: Lot, body: Polygon, *, seed: int) -> list[Thing]:
    """Set the meters, mailbox, transformer box and hydrant that belong to a lot's front."""
    chance = np.random.default_rng([seed, 2])
    half, out = lot.width_ft / 2, -lot.setback_ft
    u0, v0, u1, v1 = _bounds(lot, body)
    wall = {"gas_meter": (u0 - 0.5, v0 + 9), "electric_meter": (u1 + 0.3, v1 - 6)}
    things = [
        Thing("points", {"kind": "utility", "what": what}, _on_wall(body, lot.place(Point(place))))
        for what, place in wall.items() if chance.random() < 0.45
    ]  # fmt: skip
    if chance.random() < 0.3:
        things.append(
            Thing(
                "points",
                {"kind": "utility", "what": "water_meter"},
                lot.place(Point(-half + 12, out + 2.5)),
            )
        )
    if lot.area in ("tract", "acre", "lane") and chance.random() < 0.4 and "bulb" not in lot.tags:
        side = half - 8 if chance.random() < 0.5 else -half + 8
        things.append(Thing("points", {"kind": "mailbox"}, lot.place(Point(side, out + 1))))
    return things


def _on_wall(body: Polygon, near: Point) -> Point:
    return shapely.ops.nearest_points(body.exterior, near)[0]


def _bounds(lot: Lot, body: Polygon) -> tuple[float, float, float, float]:
    c, s = np.cos(lot.angle), np.sin(lot.angle)
    x, y = lot.origin
    own = shapely.transform(body, lambda xy: (xy - [x, y]) @ np.array([[c, -s], [s, c]]))
    return own.bounds
