"""
A block of sites with what lies in reach of each, one array a layer, aligned.

Row i of every array is the same site, so that ``shapely.difference(lawn, built)``
works on thousands of lots at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
import shapely

from scanner.ground.lot.town import STREET_KINDS, Town
from scanner.ground.plane.offsets import close_ground
from scanner.ground.plane.shapes import ground_of, union_of, union_rows
from scanner.ground.plane.widths import close_seams, smooth_rings
from scanner.schema.documents import LocalRules

WHOLE_LAYERS = {
    "sidewalk": "sidewalk",
    "drive": "drive",
    "walk": "walk",
    "patio": "patio",
    "old_bed": "bed",
    "water": "water",
    "easement": "easement",
    "wildfire": "wildfire_area",
}
"""Layers that hold all features of one kind, whoever they belong to."""

BUILDINGS = ("house", "outbuilding")

AROUND_FT = 40.0
"""Ground beyond frontage and bed depth that is looked at: corners, drives next door."""


@dataclass(frozen=True)
class Sites:
    """
    Sites of one plane, layers aligned by site.

    Attributes
    ----------
    town
        The plane and its features.
    client_id
        Client of each site.
    outline, turf
        Outline and turf as drawn; `turf` is empty where none is drawn.
    street, curbed
        All streets, and those that have a curb.
    centerline, sidewalk_centerline
        The parts of `street` and `sidewalk` known by their centrelines only.
    sidewalk, drive, walk, patio, fence, house, outbuilding
        Hardscape, fences and the site's own buildings.
    neighbor
        Other people's buildings in reach.
    old_bed, water, easement, wildfire
        Planted ground, water, ground not to be dug, mapped high-hazard ground.
    window
        Box round each site within which the layers are complete.
    lines
        Edges drawn as lines: columns `site`, `along`, `geometry`.
    things
        Points to keep clear of: `site`, `kind`, `what`, `dbh_in`, `geometry`.
    parking
        Streets along whose curb cars park.
    """

    town: Town
    client_id: np.ndarray
    outline: np.ndarray
    turf: np.ndarray
    street: np.ndarray
    curbed: np.ndarray
    centerline: np.ndarray
    sidewalk_centerline: np.ndarray
    sidewalk: np.ndarray
    drive: np.ndarray
    walk: np.ndarray
    patio: np.ndarray
    fence: np.ndarray
    house: np.ndarray
    outbuilding: np.ndarray
    neighbor: np.ndarray
    old_bed: np.ndarray
    water: np.ndarray
    easement: np.ndarray
    wildfire: np.ndarray
    parking: np.ndarray
    window: np.ndarray
    lines: pd.DataFrame
    things: pd.DataFrame

    def __len__(self) -> int:
        return len(self.client_id)

    def layer(self, along: str) -> np.ndarray:
        """
        Give the layer that edges of one kind run along.

        Parameters
        ----------
        along
            One of `ALONG`.

        Returns
        -------
        shapes
            Polygons [ft], one a site; for ``curb`` the streets that have one.
        """
        return {
            "curb": self.curbed,
            "house": self.house,
            "sidewalk": self.sidewalk,
            "drive": self.drive,
            "walk": self.walk,
            "patio": self.patio,
            "fence": self.fence,
        }[along]

    @cached_property
    def hard(self) -> np.ndarray:
        """
        Hardscape, own walls and fences, what turf is trimmed along.

        Returns
        -------
        ground
            Polygons [ft], one a site.
        """
        return union_of(
            self.street, self.sidewalk, self.drive, self.walk, self.patio,
            self.house, self.outbuilding, self.fence,
        )  # fmt: skip

    @cached_property
    def built(self) -> np.ndarray:
        """
        All built, planted and wet ground, where no turf is.

        Returns
        -------
        ground
            Polygons [ft], one a site.
        """
        return union_of(self.hard, self.neighbor, self.old_bed, self.water)


def gather_sites(town: Town, clients: np.ndarray, *, rules: LocalRules) -> Sites:
    """
    Gather what lies in reach of each client's outline.

    Parameters
    ----------
    town
        The plane's features [ft].
    clients
        Ids of clients that have an outline in `town`.
    rules
        Frontage, bed depth [ft].

    Returns
    -------
    sites
        One row a client, in the order of `clients`.
    """
    outline = town.outlines[np.searchsorted(town.client_id.astype(str), clients.astype(str))]
    reach_ft = rules.frontage_max_ft + rules.bed_depth_ft + AROUND_FT
    west, south, east, north = shapely.bounds(outline).T
    window = shapely.box(west - reach_ft, south - reach_ft, east + reach_ft, north + reach_ft)
    found = _reach(town, clients, outline, window)
    kind, own = found["kind"], found["is_own"]
    is_near_line = (kind == "edge") & (own | (found["client_id"] == ""))
    is_thing = kind.isin(["tree", "hydrant", "mailbox", "utility"])
    return Sites(
        town=town,
        client_id=clients,
        outline=outline,
        window=window,
        fence=np.full(len(clients), shapely.Polygon(), dtype=object),
        lines=found.loc[is_near_line, ["site", "along", "geometry"]].reset_index(drop=True),
        things=found.loc[is_thing, ["site", "kind", "what", "dbh_in", "geometry"]].reset_index(
            drop=True
        ),
        **_layers(found, len(clients), rules.gap_ft),
    )


def _reach(
    town: Town, clients: np.ndarray, outline: np.ndarray, window: np.ndarray
) -> pd.DataFrame:
    """List the features in each site's window, cut to it."""
    rows, at = town.near(window, 0.0)
    found = town.features.iloc[at].reset_index(drop=True)
    found = found.assign(site=rows, is_own=found["client_id"].to_numpy() == clients[rows])
    shapes = shapely.intersection(town.shapes[at], window[rows])
    # Turf that belongs to nobody in particular is each site's within its outline.
    shared = ((found["kind"] == "lawn") & (found["client_id"] == "")).to_numpy()
    shapes[shared] = shapely.intersection(shapes[shared], outline[rows[shared]])
    return found.assign(geometry=shapes)


def _layers(found: pd.DataFrame, count: int, gap_ft: float) -> dict[str, np.ndarray]:
    """Unite the features of each layer by site."""
    shapes, rows = found["geometry"].to_numpy(), found["site"].to_numpy()

    def unite(chosen: pd.Series) -> np.ndarray:
        pick = chosen.to_numpy()
        united = ground_of(union_rows(shapes[pick], rows[pick], count))
        # Parts drawn side by side are one street, one house with one front.
        return smooth_rings(close_seams(united))

    kind, own, is_curbed = found["kind"], found["is_own"], found["curbed"] != "no"
    is_building, is_street = kind.isin(BUILDINGS), kind.isin(STREET_KINDS)
    by_polygon = unite((kind == "street") & is_curbed)
    by_centerline = unite((kind == "street_centerline") & is_curbed)
    # a sidewalk of which somebody told the width is a line that was widened
    has_width = found["pavement_ft"].notna()
    walk_by_polygon = unite((kind == "sidewalk") & ~has_width)
    walk_by_centerline = unite((kind == "sidewalk") & has_width)
    whole = {layer: unite(kind == name) for layer, name in WHOLE_LAYERS.items()}
    return {
        **whole,
        "turf": unite((kind == "lawn") & (own | (found["client_id"] == ""))),
        "street": _pave(unite(is_street), gap_ft),
        "curbed": _pave(union_of(by_polygon, by_centerline), gap_ft),
        "centerline": shapely.difference(by_centerline, by_polygon),
        "sidewalk_centerline": shapely.difference(walk_by_centerline, walk_by_polygon),
        "house": unite((kind == "house") & own),
        "outbuilding": unite((kind == "outbuilding") & own),
        "neighbor": unite(is_building & ~own),
        "parking": unite(is_street & (found["parking"] == "yes")),
    }


def _pave(streets: np.ndarray, gap_ft: float) -> np.ndarray:
    """Make one street, with one curb, of pieces that nearly touch."""
    return smooth_rings(union_of(streets, close_ground(streets, gap_ft / 2)))


def foreign_ft(sites: Sites, shapes: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """
    Measure how far lines run inside other outlines, clients' or neighbours'.

    Parameters
    ----------
    sites
        Sites of one plane.
    shapes
        Lines [ft], m rows.
    rows
        Site that each belongs to.

    Returns
    -------
    length_ft
        Length inside outlines other than the site's own [ft], m rows.
    """
    town = sites.town
    at, others = town.outline_tree.query(shapes, predicate="intersects")
    foreign = town.client_id[others] != sites.client_id[rows[at]]
    at, others = at[foreign], others[foreign]
    inside_ft = shapely.length(shapely.intersection(shapes[at], town.outlines[others]))
    return np.bincount(at, weights=inside_ft, minlength=len(shapes))


def foreign_ground(sites: Sites, shapes: np.ndarray) -> np.ndarray:
    """
    Unite the other outlines, clients' or neighbours', that shapes, one a site, reach into.

    Parameters
    ----------
    sites
        Sites of one plane.
    shapes
        Polygons [ft], one a site.

    Returns
    -------
    ground
        Polygons [ft], one a site.
    """
    town = sites.town
    rows, others = town.outline_tree.query(shapes, predicate="intersects")
    foreign = town.client_id[others] != sites.client_id[rows]
    return union_rows(town.outlines[others[foreign]], rows[foreign], len(shapes))
