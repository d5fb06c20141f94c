"""
The ground room's own story: a block of sites, from features to measured beds.

Everything here is arrays aligned by site or by bed; the stages are the other modules'.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame

from scanner.ground.answers import add_cautions, look_up, settle_curbs
from scanner.ground.bed.bands import collect_chains
from scanner.ground.bed.beds import cut_beds
from scanner.ground.bed.cautions import word_cautions
from scanner.ground.bed.measures import measure_beds
from scanner.ground.bed.names import name_beds, number_beds
from scanner.ground.bed.setbacks import Setbacks, find_setbacks
from scanner.ground.edge.edges import find_edges
from scanner.ground.edge.faces import find_walls
from scanner.ground.edge.openings import (
    flare_drives,
    guess_openings,
    reach_curb,
    stand_drives,
)
from scanner.ground.lot.drawn import lay_lines
from scanner.ground.lot.frontage import find_strips
from scanner.ground.lot.lawn import Lawn, find_lawn
from scanner.ground.lot.sites import Sites, gather_sites
from scanner.ground.lot.town import Town
from scanner.ground.plane import frame as frames
from scanner.ground.plane.shapes import NO_POLYGON, TOUCH_FT, lines_of, union_of
from scanner.ground.stored import know_again
from scanner.schema.documents import LocalRules
from scanner.schema.log_tables import ANSWERS
from scanner.schema.tables import empty_table

BLOCK_SITES = 1000
"""Sites that are worked on at once: bounds the memory that a scan takes."""


@dataclass(frozen=True)
class Survey:
    """
    A block of sites looked at.

    Attributes
    ----------
    sites, lawn, setbacks
        The sites, their turf and limits, aligned.
    openings
        Guessed drives, aligned.
    edges
        As `find_edges` gives them.
    beds
        Table `BEDS` with ``site``, ``core`` and ``absorbed``.
    """

    sites: Sites
    lawn: Lawn
    setbacks: Setbacks
    openings: np.ndarray
    edges: pd.DataFrame
    beds: pd.DataFrame


def split_blocks(features: GeoDataFrame) -> Iterator[tuple[Town, np.ndarray]]:
    """
    Split the clients that have an outline into blocks of one plane each.

    Parameters
    ----------
    features
        Table `FEATURES`, degrees.

    Yields
    ------
    town, clients
        A plane with its features [ft], and ids of up to `BLOCK_SITES` clients in it.
    """
    outlines = features[(features["kind"] == "property") & (features["client_id"] != "")]
    frame = pd.Series(frames.name_frames(outlines.geometry.to_numpy()), dtype=object)
    owners = outlines["client_id"].to_numpy()
    # A client whose outlines lie in two cells is measured in the first.
    home = frame.groupby(owners).min()
    for name in sorted(home.unique()):
        clients = np.sort(home.index[home == name].to_numpy(object))
        town = Town.of_frame(features, name, clients)
        for start in range(0, len(clients), BLOCK_SITES):
            yield town, clients[start : start + BLOCK_SITES]


def survey_sites(
    town: Town,
    block: np.ndarray,
    clients: pd.DataFrame,
    *,
    rules: LocalRules,
    stored: GeoDataFrame | None = None,
    answers: pd.DataFrame | None = None,
) -> Survey:
    """
    Find and measure the beds of a block of sites.

    Parameters
    ----------
    town
        A plane with its features.
    block
        Ids of clients that have an outline there.
    clients
        Table `CLIENTS`.
    rules
        Bed sizes and local rules.
    stored
        Table `STORED_BEDS`: beds of earlier scans keep their names. None: there are none.
    answers
        Table `ANSWERS`; None: no crew has looked yet.

    Returns
    -------
    survey
        The sites with their beds, skipped ones too.
    """
    answers = empty_table(ANSWERS) if answers is None else answers
    seen = look_up(block, answers)
    sites = settle_curbs(lay_lines(gather_sites(town, block, rules=rules), rules=rules), seen)
    lawn = find_lawn(sites, find_strips(sites, rules=rules), clients, rules=rules)
    walls = find_walls(sites, rules=rules)
    # Within the gap a drive reaches the curb; where it ends farther off, its mouth is a guess.
    joints = reach_curb(sites, lawn, apart_ft=(0.0, rules.gap_ft))
    sites, lawn = stand_drives(sites, lawn, joints)
    mouths = reach_curb(sites, lawn, apart_ft=(rules.gap_ft, rules.frontage_max_ft))
    sites, lawn = stand_drives(sites, lawn, mouths)
    openings = guess_openings(sites, lawn, walls, rules=rules, seen_ft=seen.opening_ft)
    sites, lawn = stand_drives(sites, lawn, openings)
    openings = union_of(openings, mouths)
    sites, lawn = stand_drives(sites, lawn, flare_drives(sites, lawn, walls, rules=rules))
    edges = find_edges(sites, lawn, walls, rules=rules)
    curbs = collect_chains(edges, "curb", "geometry", len(sites))
    setbacks = find_setbacks(sites, curbs, rules=rules)
    pieces = cut_beds(sites, lawn, edges, setbacks, rules=rules, denied=seen.denied)
    beds = _describe(pieces, sites, lawn, edges, openings)
    others = np.full(len(beds), NO_POLYGON, dtype=object)
    beds = measure_beds(beds, sites, lawn, setbacks, others)
    is_known = street_known(sites, rules=rules)[beds["site"].to_numpy()]
    beds["cautions"] = word_cautions(beds, setbacks, is_known, rules=rules)
    if stored is not None:
        beds = know_again(beds, stored, frame=town.frame, rules=rules)
    return Survey(sites, lawn, setbacks, openings, edges, add_cautions(beds, answers))


def survey_soundly(
    town: Town,
    block: np.ndarray,
    clients: pd.DataFrame,
    *,
    rules: LocalRules,
    stored: GeoDataFrame | None = None,
    answers: pd.DataFrame | None = None,
) -> tuple[list[Survey], list[str]]:
    """
    Survey a block; where a drawing defeats the geometry library, the rest goes on.

    Parameters
    ----------
    town, block, clients, rules, stored, answers
        As for `survey_sites`.

    Returns
    -------
    surveys, failed
        The block, in one piece where that goes, else halved until each lot that cannot be
        worked out is alone; and the clients of those lots.
    """
    if not len(block):
        return [], []
    try:
        survey = survey_sites(town, block, clients, rules=rules, stored=stored, answers=answers)
    except shapely.errors.GEOSException:
        if len(block) == 1:
            return [], [str(block[0])]
    else:
        return [survey], []
    parts = [
        survey_soundly(town, part, clients, rules=rules, stored=stored, answers=answers)
        for part in np.array_split(block, 2)
    ]
    return parts[0][0] + parts[1][0], parts[0][1] + parts[1][1]


def street_known(sites: Sites, *, rules: LocalRules) -> np.ndarray:
    """
    Tell which sites have a street in reach of their outline.

    Parameters
    ----------
    sites
        Sites of one plane.
    rules
        ``front_reach_ft``.

    Returns
    -------
    is_known
        Boolean array, one a site.
    """
    rows = sites.town.street_tree.query(
        sites.outline, predicate="dwithin", distance=rules.front_reach_ft
    )[0]
    return np.isin(np.arange(len(sites)), rows)


def _describe(
    pieces: pd.DataFrame, sites: Sites, lawn: Lawn, edges: pd.DataFrame, openings: np.ndarray
) -> pd.DataFrame:
    """Name each piece and say along what it lies and how that is known."""
    row = pieces["site"].to_numpy()
    along = pieces["along"].to_numpy()
    edge, own = _own_edges(pieces, edges)
    guessed = ~shapely.is_empty(openings)[row] & np.isin(along, ["curb", "sidewalk"])
    beds = pieces.assign(
        bed_id=name_beds(sites.client_id[row], along, number_beds(pieces, sites)),
        client_id=sites.client_id[row],
        frame=sites.town.frame,
        lawn_source=lawn.source[row],
        face=own["face"].to_numpy(),
        edge_source=own["edge_source"].to_numpy(),
        edge=edge,
        is_opening_guessed=guessed,
    )
    return beds.sort_values("bed_id", kind="stable").reset_index(drop=True)


def _own_edges(pieces: pd.DataFrame, edges: pd.DataFrame) -> tuple[np.ndarray, pd.DataFrame]:
    """Find the stretch of edge along each piece, and the edge that it shares most with."""
    tree = shapely.STRtree(edges["geometry"].to_numpy())
    cores = pieces["core"].to_numpy()
    piece, edge = tree.query(cores, predicate="dwithin", distance=2 * TOUCH_FT)
    same = (pieces["site"].to_numpy()[piece] == edges["site"].to_numpy()[edge]) & (
        pieces["along"].to_numpy()[piece] == edges["along"].to_numpy()[edge]
    )
    piece, edge = piece[same], edge[same]
    reach = shapely.buffer(cores[piece], 2 * TOUCH_FT, join_style="mitre")
    shared = lines_of(shapely.intersection(edges["geometry"].to_numpy()[edge], reach))
    found = pd.DataFrame({"piece": piece, "edge": edge, "shared_ft": shapely.length(shared)})
    best = found.assign(shared=shared).sort_values(
        ["piece", "shared_ft", "edge"], ascending=[True, False, True]
    )
    best = best.drop_duplicates("piece").set_index("piece").reindex(range(len(pieces)))
    lines = best["shared"].to_numpy(object, copy=True)
    lines[~shapely.is_geometry(lines)] = shapely.LineString()
    known = best["edge"].fillna(-1).to_numpy(int)
    own = edges.loc[:, ["face", "edge_source"]].reindex(known)
    return lines, own.fillna({"face": "", "edge_source": "surveyed"})
