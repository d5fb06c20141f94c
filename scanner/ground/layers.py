"""What the pages draw and say of a block: its lots, its shapes in degrees, its notes."""

from __future__ import annotations

from collections.abc import Sized

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame

from scanner.ground.lot.lawn import LOST_SHARE, Lawn
from scanner.ground.plane import frame as frames
from scanner.ground.survey import Survey, street_known
from scanner.schema.documents import LocalRules
from scanner.schema.tables import BEDS, EDGES, LOTS, SHAPES, check_table

AREAS = (
    ("outline", "outline"), ("strip", ""), ("lawn", ""), ("street", "street"),
    ("sidewalk", "sidewalk"), ("drive", "drive"), ("walk", "walk"), ("patio", "patio"),
    ("house", "house"), ("outbuilding", "outbuilding"), ("old_bed", "old_bed"),
    ("water", "water"), ("easement", "easement"), ("wildfire_area", "wildfire"),
)  # fmt: skip
"""Layers of the plan and the attribute of `Sites` that holds each."""

DRAW_THE_STREET = "add the street, its centerline with its width, or draw the curb as an edge"

CAUSES = {
    "undrawn": (
        "no lawn is drawn, and the lot is over {infer_max_ft2:,.0f} ft² or its open ground far "
        "over the mowed area: not all of it can be turf",
        "draw the lawn",
    ),
    "lost": (
        f"more than {LOST_SHARE:.0%} of the drawn lawn lies on built, planted or wet ground",
        "look whether lawn and buildings are drawn in the right place",
    ),
    "no street": (
        "no street or curb is known within {front_reach_ft:g} ft: no curb bed was looked for, and "
        "every house wall was taken for a front",
        DRAW_THE_STREET,
    ),
    "no curb": (
        "no street or curb is known beside the lot: no curb bed was looked for",
        DRAW_THE_STREET,
    ),
    "no turf": (
        "no turf is left on the lot after buildings, hardscape and beds",
        "look whether the outline is right, or draw the lawn",
    ),
}
"""What a lot may leave unanswered, with the remedy; a client gets the first that holds."""

AROUND_FT = 12.0
"""Hardscape is drawn this far beyond the outline and its strip."""


def list_lots(survey: Survey) -> pd.DataFrame:
    """
    List the lots of a block.

    Parameters
    ----------
    survey
        A block looked at.

    Returns
    -------
    lots
        Table `LOTS` [ft].

    Raises
    ------
    SchemaError
        If the table breaks its schema.
    """
    sites, lawn = survey.sites, survey.lawn
    lots = pd.DataFrame({"client_id": sites.client_id}).assign(
        frame=sites.town.frame,
        outline=sites.outline,
        strip=lawn.strip,
        lawn=lawn.ground,
        lawn_source=lawn.source,
        hardscape=shapely.intersection(sites.hard, _surroundings(survey)),
        lawn_ft2=shapely.area(lawn.ground),
    )
    return check_table(lots, LOTS)


def list_edges(survey: Survey) -> pd.DataFrame:
    """
    List the edges of a block.

    Parameters
    ----------
    survey
        A block looked at.

    Returns
    -------
    edges
        Table `EDGES` [ft].

    Raises
    ------
    SchemaError
        If the table breaks its schema.
    """
    edges = survey.edges
    owners = survey.sites.client_id[edges["site"].to_numpy()]
    return check_table(edges.assign(client_id=owners).drop(columns=["site", "reach"]), EDGES)


def list_beds(survey: Survey) -> pd.DataFrame:
    """
    List the beds of a block.

    Parameters
    ----------
    survey
        A block looked at.

    Returns
    -------
    beds
        Table `BEDS` [ft], with ``site``, ``core`` and ``absorbed``.

    Raises
    ------
    SchemaError
        If the table breaks its schema.
    """
    return check_table(survey.beds, BEDS)


def list_shapes(survey: Survey, beds: pd.DataFrame) -> GeoDataFrame:
    """
    List what the pages draw of a block.

    Parameters
    ----------
    survey
        A block looked at.
    beds
        Table `BEDS`: the beds that count. One measured on foot lies nowhere, and the one
        from a layer that it beats is not drawn in its place.

    Returns
    -------
    shapes
        Table `SHAPES`, degrees.

    Raises
    ------
    SchemaError
        If the table breaks its schema.
    """
    sites, lawn = survey.sites, survey.lawn
    around = _surroundings(survey)
    tables = []
    for layer, attribute in AREAS:
        ground = getattr(sites, attribute) if attribute else _turf(lawn, layer)
        is_own = layer in ("outline", "strip", "lawn", "house", "outbuilding")
        shown = ground if is_own else shapely.intersection(ground, around)
        tables.append(_rows(layer, sites.client_id, "", shown))
    edges, things = survey.edges, sites.things
    beds = survey.beds[survey.beds["bed_id"].isin(beds.loc[beds["frame"] != "", "bed_id"])]
    near = shapely.dwithin(things["geometry"].to_numpy(), around[things["site"].to_numpy()], 0.0)
    things = things[near]
    owners = sites.client_id
    tables += [
        _rows("edge", owners[edges["site"].to_numpy()], edges["along"], edges["geometry"]),
        _rows("bed", beds["client_id"], beds["bed_id"], beds["geometry"]),
        _rows(
            things["kind"], owners[things["site"].to_numpy()], things["what"], things["geometry"]
        ),
    ]
    shapes = pd.concat(tables, ignore_index=True)
    shapes = shapes[~shapely.is_empty(shapes["geometry"].to_numpy())].reset_index(drop=True)
    degrees = frames.to_degrees(shapes["geometry"].to_numpy(), sites.town.frame)
    columns = shapes.drop(columns="geometry")
    return check_table(GeoDataFrame(columns, geometry=degrees, crs=frames.WGS84), SHAPES)


def list_notes(survey: Survey, *, rules: LocalRules) -> pd.DataFrame:
    """
    List what a client's lot leaves unanswered, one row a client, first cause first.

    Parameters
    ----------
    survey
        A block looked at.
    rules
        ``infer_max_ft2``, ``front_reach_ft``.

    Returns
    -------
    problems
        Table `PROBLEMS`, all notes.
    """
    sites, lawn = survey.sites, survey.lawn
    applies = {
        "undrawn": lawn.is_undrawn,
        "lost": lawn.lost_share > LOST_SHARE,
        "no street": ~street_known(sites, rules=rules),
        "no curb": shapely.is_empty(sites.street),
        "no turf": shapely.is_empty(lawn.ground),
    }
    causes = np.array([applies[name] for name in CAUSES])
    some = np.flatnonzero(causes.any(axis=0))
    words = [list(CAUSES.values())[at] for at in np.argmax(causes, axis=0)[some]]
    return pd.DataFrame(
        {
            "file": "",
            "feature": "",
            "client_id": sites.client_id[some],
            "severity": "note",
            "problem": [problem.format(**rules.model_dump()) for problem, _ in words],
            "remedy": [remedy for _, remedy in words],
        }
    )


def _turf(lawn: Lawn, layer: str) -> np.ndarray:
    return lawn.ground if layer == "lawn" else lawn.strip


def _surroundings(survey: Survey) -> np.ndarray:
    """Give the ground round each lot within which hardscape is drawn."""
    lot = shapely.union(survey.sites.outline, survey.lawn.strip)
    return shapely.buffer(shapely.convex_hull(lot), AROUND_FT, quad_segs=2)


def _rows(layer: object, owners: object, ref: object, shapes: Sized) -> pd.DataFrame:
    count = len(shapes)
    return pd.DataFrame(
        {
            "layer": np.broadcast_to(np.asarray(layer, object), count),
            "client_id": np.asarray(owners, object),
            "ref": np.broadcast_to(np.asarray(ref, object), count),
            "geometry": np.asarray(shapes, object),
        }
    )
