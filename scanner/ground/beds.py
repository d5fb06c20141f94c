"""
Beds: bands along edges, opened, cut into pieces, each kept or marked with why it is not.

A band is what touches its edge of *L* ∩ buffer(edge, *d*), flat at free ends and round at
outside corners. Kinds take ground in order, a whole band each, pieces that make no bed included.
Each kind is judged as if it alone were built; the ground of earlier bands and of what they
absorbed is left out of its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
import pandas as pd
import shapely

from scanner.ground.absorb import absorb_turf, join_absorbed
from scanner.ground.edges import extend_chains
from scanner.ground.kinds import DRIVE, EDGE, GUESS, Parts, take_from
from scanner.ground.measures import Rays, contacts_of, count_short, length_ft, look_across
from scanner.plane.grid import (
    EMPTY,
    LEAST_EDGE_FT,
    LEAST_FT,
    STEP_FT,
    ground_parts,
    meet,
    minus,
)
from scanner.plane.labels import Chains, chains
from scanner.plane.offsets import may_be_narrow, open_ground
from scanner.plane.segments import Segs, cut_rings, join_segs, runs
from scanner.plane.spikes import despike
from scanner.plane.vectors import along_ft, cross, norm
from scanner.schema.documents import LocalRules

LEAST_FT2 = 0.5
"""A smaller scrap of a band is rounding, no piece."""

END_FT = 1.6
"""An end piece shorter than this, as a closed gap leaves, does not tell which way its edge runs."""

QUARTER_CHORDS = 32
"""Chords in a quarter circle: the area of a round corner is right to 0.04 %."""


def draw_bands(
    ground: np.ndarray, taken: Parts, found: Chains, border: Segs, *, bit: int, depth_ft: float
) -> Parts:
    """
    Draw the bands of one kind: single pieces [ft] that touch their edge, lots in order.

    `ground`: turf, one a lot, `border` its labelled border; `taken`: ground that this kind may not
    have; `found`: its edges, run on under other hardscape; `bit`: the kind's.
    """
    lot, at = np.unique(found.lot, return_inverse=True)
    if not len(lot):
        return taken.take(np.zeros(0, int))
    lines = shapely.multilinestrings(_square_ends(found).lines(), indices=at)
    wide = shapely.buffer(lines, depth_ft, cap_style="flat", quad_segs=QUARTER_CHORDS)
    pieces, row = ground_parts(take_from(meet(ground[lot], wide), lot, taken), LEAST_FT2)
    pieces = despike(pieces)
    bands = Parts(pieces, np.zeros(len(pieces), np.int32), lot[row])
    touching = contacts_of(pieces, bands.lot, border)
    return bands.take(length_ft(touching, bit, len(pieces)) >= LEAST_EDGE_FT)


def _square_ends(found: Chains) -> Chains:
    """Drop points near the ends of chains: a short end piece that rounding turned tilts its cap."""
    (first, last), place_ft = runs(found.chain), along_ft(found.xy, found.chain)
    own, place = found.chain, np.arange(len(found.xy))
    drop = np.zeros(len(found.xy), bool)
    for end, far_ft, back in (
        (first, place_ft, False),
        (last, place_ft[last][own] - place_ft, True),
    ):
        near = (far_ft < END_FT) & (place != first[own]) & (place != last[own])
        many = np.bincount(own, near, len(end)).astype(int)
        beyond = np.clip(end - many - 1 if back else end + many + 1, first, last)
        line, away = (found.xy[beyond] - found.xy[end])[own], found.xy - found.xy[end][own]
        off_ft = np.abs(cross(line, away))
        drop |= near & (off_ft <= 1.25 * STEP_FT * norm(line))
    keep = ~drop
    return found._replace(xy=found.xy[keep], chain=own[keep])


SCRAP_FT2, SCRAP_EDGE_FT = 5.0, 3.0
"""What is smaller and has less edge is scrap: it takes its ground, but is no row."""

OPENED_FT2 = 0.02
"""An opening that takes less changes nothing."""

ALONG_DRIVES = ("curb", "sidewalk")
"""Kinds whose beds leave a guessed drive out."""


class Ground(NamedTuple):
    """What beds are cut from, aligned by lot."""

    turf: np.ndarray  # turf before any bed [ft]
    # border, layers: the turf's labelled border, and pieces of what stands on the lots [ft]
    border: Segs
    layers: Segs
    parts: Parts  # what stands on the lots
    removed: np.ndarray  # ground taken out of beds, never absorbed back [ft]
    openings: np.ndarray  # guessed drives [ft]

    def border_of(self, along: str) -> Segs:
        """
        Give the border that beds of one kind lie on.

        The turf's, for curb and sidewalk with that of guessed drives.
        """
        at = np.flatnonzero(~shapely.is_empty(self.openings))
        if along not in ALONG_DRIVES or not len(at):
            return self.border
        sides = cut_rings(self.openings[at], at, DRIVE | GUESS)
        return join_segs(self.border, sides)


def cut_beds(
    ground: Ground, *, rules: LocalRules, denied: Mapping[str, np.ndarray]
) -> pd.DataFrame:
    """
    Cut the beds of each lot, kind by kind: one row a piece, skipped ones too.

    Gives ``lot``, ``along``, ``skip_reason``, ``core`` (before absorbing), ``absorbed``, and
    ``shape``, both together [ft]. `denied`: by kind, whether a crew denied that edge, one a lot.
    """
    nothing = Parts(np.zeros(0, object), np.zeros(0, np.int32), np.zeros(0, int))
    at = np.flatnonzero(~shapely.is_empty(ground.openings))
    openings = nothing.add(ground.openings[at], DRIVE, at)
    taken, tables = nothing, []
    last = max(rules.kind_order.index(along) for along in rules.offer_kinds)
    for along in rules.kind_order[: last + 1]:
        bit = EDGE[along]
        found = extend_chains(
            chains(ground.border, bit), ground.layers, ground.parts,
            bit=bit, depth_ft=rules.bed_depth_ft,
        )  # fmt: skip
        barred = taken
        if along in ALONG_DRIVES:
            barred = taken.add(openings.shape, 0, openings.lot)
        bands = draw_bands(
            ground.turf, barred, found, ground.border, bit=bit, depth_ft=rules.bed_depth_ft
        )
        if along in rules.offer_kinds:
            beds = _cut_kind(bands, ground, along, rules)
            if along in denied:
                is_denied = denied[along][beds["lot"].to_numpy()]
                beds["skip_reason"] = beds["skip_reason"].mask(is_denied, "denied")
            beds = _absorb(beds, ground, along, taken, rules)
            tables.append(beds)
            grown = beds[~shapely.is_empty(beds["absorbed"].to_numpy())]
            taken = taken.add(grown["absorbed"].to_numpy(), 0, grown["lot"].to_numpy())
        taken = taken.add(bands.shape, 0, bands.lot)
    beds = pd.concat(tables, ignore_index=True)
    return beds.assign(shape=join_absorbed(beds["core"].to_numpy(), beds["absorbed"].to_numpy()))


def _cut_kind(bands: Parts, ground: Ground, along: str, rules: LocalRules) -> pd.DataFrame:
    pieces, lot, lost = _open(bands, ground.removed, rules.min_depth_ft)
    touching = contacts_of(pieces, lot, ground.border)
    edge_ft = length_ft(touching, EDGE[along], len(pieces))
    area_ft2 = shapely.area(pieces)
    # A tenth of an inch of slack: 12 ft drawn as 11.9999 ft is 12 ft.
    reason = np.select(
        [
            lost != "",
            edge_ft < LEAST_EDGE_FT,
            edge_ft < rules.min_edge_ft - LEAST_FT,
            area_ft2 < rules.min_bed_ft2 - LEAST_FT,
        ],
        [lost, "cut off", "too short", "too small"],
        "",
    ).astype(object)
    beds = pd.DataFrame({"lot": lot, "along": along, "skip_reason": reason})
    is_scrap = (reason != "") & (area_ft2 < SCRAP_FT2) & (edge_ft < SCRAP_EDGE_FT)
    return beds.assign(core=pieces)[~is_scrap].reset_index(drop=True)


def _open(
    bands: Parts, removed: np.ndarray, width_ft: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Take removed ground and what is too shallow out of bands: pieces, lots, why a band is lost."""
    work, lot = bands.shape.copy(), bands.lot
    hit = np.flatnonzero(~shapely.is_empty(removed[lot]))
    hit = hit[shapely.intersects(work[hit], removed[lot[hit]])]
    work[hit] = minus(work[hit], removed[lot[hit]])
    is_cut_off = shapely.area(work) < LEAST_FT2
    narrow = shapely.get_num_geometries(work) != 1
    narrow[~narrow] = may_be_narrow(work[~narrow], width_ft)
    at = np.flatnonzero(narrow)
    opened = open_ground(work[at], width_ft)
    # A hair between two pieces has a length and no area.
    differs = shapely.area(work[at]) - shapely.area(opened) > OPENED_FT2
    differs |= shapely.length(work[at]) - shapely.length(opened) > LEAST_EDGE_FT
    differs |= shapely.get_num_geometries(opened) != 1
    work[at[differs]] = despike(opened[differs])
    pieces, row = ground_parts(work, LEAST_FT2)
    gone = np.setdiff1d(np.arange(len(work)), row)
    why = np.where(is_cut_off[gone], "cut off", "too shallow").astype(object)
    pieces, row = np.concatenate([pieces, bands.shape[gone]]), np.concatenate([row, gone])
    lost = np.concatenate([np.full(len(row) - len(gone), "", dtype=object), why])
    order = np.argsort(row, kind="stable")
    return pieces[order], lot[row[order]], lost[order]


def _absorb(
    beds: pd.DataFrame, ground: Ground, along: str, taken: Parts, rules: LocalRules
) -> pd.DataFrame:
    """Let the kept beds of one kind absorb what they leave too narrow to mow."""
    absorbed = np.full(len(beds), EMPTY, dtype=object)
    kept = np.flatnonzero(beds["skip_reason"] == "")
    core, lot = beds["core"].to_numpy()[kept], beds["lot"].to_numpy()[kept]
    border = ground.border_of(along)
    touching = contacts_of(core, lot, border)
    far_ft = rules.mower_ft + 2 * LEAST_EDGE_FT
    rays = look_across(touching, border, far_ft=far_ft)
    is_tight = leaves_narrow(rays, len(core), rules.mower_ft)
    asked = np.flatnonzero(np.isin(lot, lot[is_tight]))
    if len(asked):
        lots = np.unique(lot[asked])
        barred = taken.take(np.isin(taken.lot, lots))
        out = lots[~shapely.is_empty(ground.removed[lots])]
        barred = barred.add(ground.removed[out], 0, out)
        if along in ALONG_DRIVES:
            drives = lots[~shapely.is_empty(ground.openings[lots])]
            barred = barred.add(ground.openings[drives], 0, drives)
        absorbed[kept[asked]] = absorb_turf(
            ground.turf, (core[asked], lot[asked]), border, barred, mower_ft=rules.mower_ft
        )
    return beds.assign(absorbed=absorbed)


def leaves_narrow(rays: Rays, count: int, mower_ft: float) -> np.ndarray:
    """Tell which beds leave turf somewhere that may be too narrow to mow, by rays of a mower's width and more."""
    return count_short(rays, count, mower_ft + LEAST_EDGE_FT) > 1
