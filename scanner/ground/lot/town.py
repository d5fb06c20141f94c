"""
One plane's worth of features in feet, with a spatial index over them.

Polygons that span a city are cut to a quad-tree once, here, before any of them
meets a site.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame

from scanner.ground.lot.neighbors import find_neighbors
from scanner.ground.plane import frame as frames
from scanner.ground.plane.shapes import ground_of, mend, parts_of, union_rows
from scanner.ground.plane.widths import smooth_rings

LARGE_VERTICES = 256
"""A polygon with more vertices than this is cut into quarters."""

SEAM_FT = 0.05
"""Quarters overlap by this much, so that they unite again without a seam."""

JOINT_FT = 0.5
"""Centrelines whose ends lie this near to each other meet."""

MARGIN_DEGREES = 0.01
"""Features this far from the nearest outline of a plane may still serve it: about half a mile."""

STREET_KINDS = ("street", "street_centerline")


@dataclass(frozen=True)
class Town:
    """
    Features of one plane.

    Attributes
    ----------
    frame
        The plane.
    features
        Table `FEATURES` without geometry, one row a piece; a large polygon has several.
    shapes
        Geometry array [ft], aligned with `features`.
    tree
        Spatial index over `shapes`.
    client_id
        Whose each outline is, in order: blank for neighbours' first, then the clients.
    outlines
        The outlines [ft]: one a client, and any number of neighbours'.
    outline_tree
        Spatial index over `outlines`.
    streets
        Streets and curbs drawn as lines [ft]: what a front faces.
    street_tree
        Spatial index over `streets`.
    """

    frame: str
    features: pd.DataFrame
    shapes: np.ndarray
    tree: shapely.STRtree
    client_id: np.ndarray
    outlines: np.ndarray
    outline_tree: shapely.STRtree
    streets: np.ndarray
    street_tree: shapely.STRtree

    @classmethod
    def of_frame(cls, features: GeoDataFrame, frame: str, clients: np.ndarray) -> Self:
        """
        Move the features near some clients' outlines into their plane.

        Parameters
        ----------
        features
            Table `FEATURES`, degrees.
        frame
            Plane of the clients' outlines.
        clients
            Ids of the clients whose outlines lie in this plane.

        Returns
        -------
        town
            The plane's features [ft].
        """
        own = features[(features["kind"] == "property") & features["client_id"].isin(clients)]
        west, south, east, north = own.total_bounds
        near = shapely.box(
            west - MARGIN_DEGREES, south - MARGIN_DEGREES,
            east + MARGIN_DEGREES, north + MARGIN_DEGREES,
        )  # fmt: skip
        served = features[shapely.intersects(features.geometry.to_numpy(), near)]
        shapes = mend(frames.to_feet(_clip(served.geometry.to_numpy(), near), frame))
        shapes = smooth_rings(shapes)
        shapes = _pave(shapes, served["kind"].to_numpy(), served["pavement_ft"].to_numpy(float))
        pieces, rows = _quarter(shapes)
        table = pd.DataFrame(served.drop(columns="geometry")).iloc[rows].reset_index(drop=True)
        is_street = table["kind"].isin(STREET_KINDS) | (table["along"] == "curb")
        streets = pieces[is_street.to_numpy()]
        client_id, outlines = _outlines(table, pieces, streets)
        return cls(
            frame, table, pieces, shapely.STRtree(pieces),
            client_id, outlines, shapely.STRtree(outlines),
            streets, shapely.STRtree(streets),
        )  # fmt: skip

    def near(self, shapes: np.ndarray, reach_ft: float) -> tuple[np.ndarray, np.ndarray]:
        """
        Find the features within reach of shapes.

        Parameters
        ----------
        shapes
            Geometry array [ft].
        reach_ft
            Distance [ft].

        Returns
        -------
        rows, at
            Pairs: row of `shapes` and row of `features`, sorted.
        """
        rows, at = self.tree.query(shapes, predicate="dwithin", distance=reach_ft)
        order = np.lexsort((at, rows))
        return rows[order], at[order]


def _clip(shapes: np.ndarray, near: shapely.Polygon) -> np.ndarray:
    """Cut what reaches far beyond the plane's outlines, so that nothing is moved for nothing."""
    large = shapely.get_num_coordinates(shapes) > LARGE_VERTICES
    clipped = shapes.copy()
    clipped[large] = shapely.intersection(shapes[large], near)
    return clipped


def _pave(shapes: np.ndarray, kinds: np.ndarray, pavement_ft: np.ndarray) -> np.ndarray:
    """Widen centrelines to their pavement."""
    paved = shapes.copy()
    lines = (kinds == "street_centerline") & ~np.isnan(pavement_ft)
    half_ft = pavement_ft[lines] / 2
    flat = shapely.buffer(shapes[lines], half_ft, cap_style="flat", quad_segs=16)
    joints = shapely.buffer(_joints(shapes[lines]), half_ft, quad_segs=16)
    paved[lines] = shapely.union(flat, joints)
    return paved


def _joints(lines: np.ndarray) -> np.ndarray:
    """Find the ends where centrelines meet: the pavement goes round there, without a wedge."""
    parts, rows = parts_of(lines, "line")
    ends = np.concatenate([shapely.get_point(parts, at) for at in (0, -1)])
    owners = np.tile(rows, 2)
    tree = shapely.STRtree(ends)
    one, two = tree.query(ends, predicate="dwithin", distance=JOINT_FT)
    shared = np.unique(one[one != two])
    return union_rows(ends[shared], owners[shared], len(lines))


def _quarter(shapes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Cut large polygons into overlapping quarters until none is large."""
    done, done_rows = [], []
    rows = np.arange(len(shapes))
    while len(shapes):
        large = (shapely.get_num_coordinates(shapes) > LARGE_VERTICES) & (
            shapely.get_dimensions(shapes) == 2  # noqa: PLR2004 - an area has two dimensions
        )
        done.append(shapes[~large])
        done_rows.append(rows[~large])
        shapes, rows = shapes[large], rows[large]
        if not len(shapes):
            break
        west, south, east, north = shapely.bounds(shapes).T
        middle_x, middle_y = (west + east) / 2, (south + north) / 2
        cut = [
            shapely.intersection(shapes, shapely.box(*corner))
            for corner in (
                (west - 1, south - 1, middle_x + SEAM_FT, middle_y + SEAM_FT),
                (middle_x - SEAM_FT, south - 1, east + 1, middle_y + SEAM_FT),
                (west - 1, middle_y - SEAM_FT, middle_x + SEAM_FT, north + 1),
                (middle_x - SEAM_FT, middle_y - SEAM_FT, east + 1, north + 1),
            )
        ]
        parts, at = parts_of(np.concatenate(cut))
        shapes, rows = parts, np.tile(rows, 4)[at]
    pieces, rows = np.concatenate([*done, []]), np.concatenate([*done_rows, []]).astype(int)
    order = np.argsort(rows, kind="stable")
    return pieces[order], rows[order]


def _outlines(
    table: pd.DataFrame, shapes: np.ndarray, streets: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Unite each client's outlines; those of neighbours, who have no name, stand before them."""
    is_outline = ((table["kind"] == "property") & (table["client_id"] != "")).to_numpy()
    owners = table["client_id"].to_numpy()[is_outline]
    client_id, rows = np.unique(owners.astype(str), return_inverse=True)
    outlines = ground_of(union_rows(shapes[is_outline], rows, len(client_id)))
    others = find_neighbors(table, shapes, owned=outlines, streets=streets)
    nobody = np.full(len(others), "", dtype=object)
    names = np.concatenate([nobody, client_id.astype(object)])
    return names, smooth_rings(np.concatenate([others, outlines]))
