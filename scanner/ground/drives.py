"""
Drives where they meet the street: run on to the curb, flared, or guessed where nobody drew one.

A drive goes through a sidewalk that crosses it: it is one drive, and its mouth is a guess
only where that covers turf. A lot with a curb and no drive has one all the same: the last
``default_opening_ft`` of its longest curb chain, on the right as seen from the street, is
left out as if a drive stood there.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely.ops import substring

from scanner.ground.drive_sides import find_sides
from scanner.ground.kinds import DRIVE, GUESS, HARD, LINE, SIDEWALK, WALK, Lots, Parts
from scanner.plane.grid import EMPTY, LEAST_FT, boxes_meet, meet, minus, snap, unite
from scanner.plane.labels import Chains
from scanner.plane.segments import join
from scanner.plane.vectors import cross
from scanner.schema.documents import LocalRules

DRIVE_END_FT = 3.0
"""Corners of a drive this much farther from the curb than its nearest belong to its end."""

LEAST_DRIVE_FT2 = 20.0
"""Less drive than this on a lot is a neighbor's edge, no drive."""

LEAST_TURF_FT2 = 1.0
"""A mouth that covers less turf than this is known, no guess."""

LEAST_RISE = 0.3
"""Sine of the least angle between a drive and its curb: flatter ones run beside it."""

IN_STREET_FT = 1.0
"""A flare begins this far in the street, so that no bend of the curb leaves a slit."""

GOES_ON_SHARE = 0.5
"""A mouth that is drawn for this share, sidewalks left out, is the drive's other piece."""


def stand_drives(
    lots: Lots, parts: Parts, streets: np.ndarray, *, rules: LocalRules
) -> tuple[Parts, np.ndarray]:
    """
    Run drives that stop short of the street on to it, and flare them.

    Gives the parts with mouths and flares as further drives, and whether a lot has a mouth that
    nobody drew on its turf.
    """
    short = _short_drives(lots, parts, streets, rules)
    mouths = _mouths(parts.shape[short], streets[parts.lot[short]])
    lot = parts.lot[short]
    goes_on = _goes_on(mouths, lot, short, parts)
    apart_ft = shapely.distance(parts.shape[short], streets[lot])
    turf = _turf_under(mouths, lot, lots, parts)
    is_guess = ~goes_on & (apart_ft > rules.gap_ft) & (turf > LEAST_TURF_FT2)
    # A piece that ends a little before the sidewalk which it goes through reaches it.
    ends = shapely.buffer(parts.shape[short[goes_on]], rules.gap_ft, join_style="mitre")
    mouths[goes_on] = snap(meet(mouths[goes_on], ends))
    real = shapely.area(mouths) > 0
    bits = np.where(is_guess, DRIVE | GUESS, DRIVE)[real]
    stood = parts.add(mouths[real], bits, lot[real])
    guessed = np.bincount(lot[real], is_guess[real], len(lots.outline)) > 0
    return _flare(stood, streets, rules), guessed


def _short_drives(lots: Lots, parts: Parts, streets: np.ndarray, rules: LocalRules) -> np.ndarray:
    """Find the lots' own drives that end a little before the street."""
    drives = np.flatnonzero((parts.bits & DRIVE) > 0)
    drives = drives[_on_lot(parts.take(drives), lots)]
    apart_ft = shapely.distance(parts.shape[drives], streets[parts.lot[drives]])
    return drives[(apart_ft > LEAST_FT) & (apart_ft <= rules.frontage_max_ft)]


def _on_lot(drives: Parts, lots: Lots) -> np.ndarray:
    box = shapely.bounds(drives.shape)
    is_on = np.zeros(len(box), bool)
    for ground in (lots.outline, lots.strip):
        meets = boxes_meet(box, shapely.bounds(ground)[drives.lot])
        at = np.flatnonzero(meets & ~is_on)
        is_on[at] = shapely.intersects(drives.shape[at], ground[drives.lot[at]])
    return is_on


def _mouths(drives: np.ndarray, streets: np.ndarray) -> np.ndarray:
    """Draw the ground between the corners of drives' ends and their feet on the curb."""
    xy, row = shapely.get_coordinates(drives, return_index=True)
    if not len(xy):
        return np.zeros(0, object)
    feet = shapely.shortest_line(shapely.points(xy), streets[row])
    near = shapely.length(feet) <= shapely.distance(drives, streets)[row] + DRIVE_END_FT
    ends = shapely.get_coordinates(feet[near])
    hull = shapely.convex_hull(shapely.multipoints(ends, indices=np.repeat(row[near], 2)))
    solid = shapely.get_dimensions(hull) == 2  # noqa: PLR2004 - an area has two dimensions
    return snap(np.where(solid, hull, EMPTY))


def _goes_on(mouths: np.ndarray, lot: np.ndarray, short: np.ndarray, parts: Parts) -> np.ndarray:
    """Tell which mouths are drawn: the drive's other piece lies across the sidewalk."""
    walks = parts.of(SIDEWALK | WALK)
    rest = minus(mouths, _united_near(mouths, lot, walks))
    i, j = _meeting(rest, lot, parts.of(DRIVE))
    others = np.flatnonzero((parts.bits & DRIVE) > 0)[j]
    i, others = i[others != short[i]], others[others != short[i]]
    drawn_ft2 = shapely.area(shapely.intersection(rest[i], parts.shape[others]))
    return np.bincount(i, drawn_ft2, len(mouths)) > GOES_ON_SHARE * shapely.area(rest)


def _turf_under(mouths: np.ndarray, lot: np.ndarray, lots: Lots, parts: Parts) -> np.ndarray:
    """Measure the turf that mouths take [ft2]."""
    hard = parts.take(((parts.bits & HARD) > 0) & ((parts.bits & LINE) == 0))
    bare = minus(mouths, _united_near(mouths, lot, hard))
    drawn = lots.turf[lot]
    ground = np.where(
        shapely.is_empty(drawn), shapely.union(lots.outline[lot], lots.strip[lot]), drawn
    )
    return shapely.area(meet(bare, ground))


def _meeting(shapes: np.ndarray, lot: np.ndarray, parts: Parts) -> tuple[np.ndarray, np.ndarray]:
    i, j = join(lot, parts.lot)
    hit = shapely.intersects(shapes[i], parts.shape[j])
    return i[hit], j[hit]


def _united_near(shapes: np.ndarray, lot: np.ndarray, parts: Parts) -> np.ndarray:
    i, j = _meeting(shapes, lot, parts)
    return unite(parts.shape[j], i, len(shapes))


def _flare(parts: Parts, streets: np.ndarray, rules: LocalRules) -> Parts:
    """Widen drives over a bed's depth from the street where their flare is not drawn."""
    if rules.drive_flare_ft <= 0:
        return parts
    sides = find_sides(parts.of(DRIVE), streets, gap_ft=rules.gap_ft, leg_ft=rules.drive_flare_ft)
    # Between two lines along the curb, the drive's side and another as far off as the flare is wide.
    course = sides.course
    rise = np.abs(cross(course, sides.up))
    rise = np.maximum(rise, LEAST_RISE)[:, None]
    out, top = course * rules.drive_flare_ft / rise, sides.up * rules.bed_depth_ft / rise
    foot = sides.apex - sides.up * IN_STREET_FT
    ring = [foot, foot + out, sides.apex + out + top, sides.apex + top]
    return parts.add(snap(shapely.polygons(np.stack(ring, axis=1))), DRIVE, sides.lot)


def guess_openings(
    curb: Chains,
    lots: Lots,
    parts: Parts,
    *,
    rules: LocalRules,
    seen_ft: np.ndarray,
) -> np.ndarray:
    """
    Guess where the drive stands on lots that have a curb and no drive.

    Polygons [ft], one a lot, that curb and sidewalk beds leave out; empty where a drive is drawn,
    where all drives are known, and where there is no curb. `seen_ft`: the drive's width as crews
    measured it; NaN: the default holds.
    """
    count = len(lots.outline)
    openings = np.full(count, EMPTY, dtype=object)
    opening_ft = np.where(np.isnan(seen_ft), rules.default_opening_ft, seen_ft)
    opening_ft[lots.is_drives_known & np.isnan(seen_ft)] = 0.0
    wanted = opening_ft > 0
    wanted[np.setdiff1d(np.arange(count), curb.lot)] = False
    wanted &= ~_has_drive(lots, parts.take(wanted[parts.lot]))
    order = np.lexsort((-np.round(curb.length_ft, 3), curb.lot))
    lot, first = np.unique(curb.lot[order], return_index=True)
    lines, deep_ft = curb.lines(), rules.frontage_max_ft + rules.bed_depth_ft
    for row, chain in zip(lot[wanted[lot]], order[first[wanted[lot]]], strict=True):
        # The lawn is on the chain's left: its end is on the right as seen from the street.
        line = lines[chain]
        last = substring(line, max(line.length - opening_ft[row], 0.0), line.length)
        openings[row] = last.buffer(deep_ft, cap_style="flat", single_sided=True)
    return openings


def _has_drive(lots: Lots, parts: Parts) -> np.ndarray:
    drives = parts.of(DRIVE)
    drives = drives.take(_on_lot(drives, lots))
    own_ft2 = np.zeros(len(lots.outline))
    for ground in (lots.outline, lots.strip):
        mine = ground[drives.lot]
        hit = np.flatnonzero(shapely.intersects(drives.shape, mine))
        shared_ft2 = shapely.area(shapely.intersection(drives.shape[hit], mine[hit]))
        own_ft2 += np.bincount(drives.lot[hit], shared_ft2, len(own_ft2))
    return own_ft2 >= LEAST_DRIVE_FT2
