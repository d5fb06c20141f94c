"""
The lawn of each site: drawn or inferred, less what is built, gaps to hardscape closed.

Layers never share vertices. Ground between lawn and hardscape that is narrower than
``gap_ft`` joins the lawn, by closing both together with mitred joins, so that square
corners stay square.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from scanner.ground.lot.sites import Sites, foreign_ground
from scanner.ground.plane.offsets import close_ground
from scanner.ground.plane.shapes import (
    TOUCH_FT,
    contact_ft,
    gather_rows,
    ground_of,
    parts_of,
    union_of,
)
from scanner.ground.plane.widths import drop_slivers, join_seamless, smooth_rings
from scanner.schema.documents import LocalRules

LOST_SHARE = 0.05
"""Drawn lawn that loses more than this share to built ground is worth a note."""

ROUNDING = 1e-6
"""An acre drawn to the foot is an acre, whatever a projection makes of its last digit."""

MOWED_SHARE = 1.5
"""An inferred lawn larger than this many times the mowed area is not believed."""


@dataclass(frozen=True)
class Lawn:
    """
    The lawn of each site, aligned with its `Sites`.

    Attributes
    ----------
    ground
        Turf [ft], empty where none is known.
    strip
        Frontage strip outside the outline [ft].
    source
        ``drawn``, ``inferred`` or blank.
    lost_share
        Share of the drawn lawn that lay on built ground.
    is_undrawn
        Nothing could be inferred: the lawn has to be drawn.
    """

    ground: np.ndarray
    strip: np.ndarray
    source: np.ndarray
    lost_share: np.ndarray
    is_undrawn: np.ndarray


def find_lawn(
    sites: Sites, strips: np.ndarray, clients: pd.DataFrame, *, rules: LocalRules
) -> Lawn:
    """
    Find the turf of each site.

    Parameters
    ----------
    sites
        Sites of one plane.
    strips
        Frontage strips [ft], one a site.
    clients
        Table `CLIENTS`: ``mowed_ft2`` tells when an inferred lawn is not believed.
    rules
        ``gap_ft``, ``infer_max_ft2``.

    Returns
    -------
    lawn
        One row a site.
    """
    is_drawn = ~shapely.is_empty(sites.turf)
    base = np.where(is_drawn, sites.turf, join_seamless(sites.outline, strips))
    built = sites.built
    turf = drop_slivers(ground_of(shapely.difference(base, built)))
    drawn_ft2 = np.maximum(shapely.area(base), TOUCH_FT)
    lost_share = np.where(is_drawn, 1 - shapely.area(turf) / drawn_ft2, 0.0)
    mowed_ft2 = clients.set_index("client_id")["mowed_ft2"].reindex(sites.client_id).to_numpy(float)
    too_large = shapely.area(sites.outline) > rules.infer_max_ft2 * (1 + ROUNDING)
    too_much = shapely.area(turf) > MOWED_SHARE * np.where(np.isnan(mowed_ft2), np.inf, mowed_ft2)
    is_undrawn = ~is_drawn & (too_large | too_much)
    turf = np.where(is_undrawn, shapely.Polygon(), turf)
    closed = _close_gaps(turf, sites, strips, rules.gap_ft)
    source = np.where(is_drawn, "drawn", np.where(is_undrawn, "", "inferred")).astype(object)
    source[shapely.is_empty(closed)] = ""
    return Lawn(closed, strips, source, lost_share, is_undrawn)


def _close_gaps(turf: np.ndarray, sites: Sites, strips: np.ndarray, gap_ft: float) -> np.ndarray:
    """Add the narrow ground between lawn and hardscape to the lawn."""
    # Old beds and water end a lawn as hardscape does.
    hard = union_of(sites.hard, sites.old_bed, sites.water)
    near_hard = ground_of(shapely.intersection(hard, shapely.buffer(turf, 3 * gap_ft)))
    both = union_of(turf, near_hard)
    shut = close_ground(both, gap_ft / 2)
    # A crack between two pieces of hardscape is nobody's turf.
    cracks = close_ground(near_hard, gap_ft / 2)
    new = shapely.difference(shut, union_of(turf, sites.built, cracks))
    # The outline pushed out square lets lawn reach hardscape that lies just outside it.
    pushed = shapely.buffer(sites.outline, gap_ft, join_style="mitre")
    allowed = shapely.difference(union_of(pushed, strips), foreign_ground(sites, pushed))
    # A gap of a tenth of an inch is a gap too; what is narrower in the mean is rounding.
    parts, rows = parts_of(shapely.intersection(new, allowed))
    is_gap = 4 * shapely.area(parts) > TOUCH_FT * shapely.length(parts)
    parts, rows = parts[is_gap], rows[is_gap]
    joins = (contact_ft(parts, turf[rows]) > TOUCH_FT) & (contact_ft(parts, hard[rows]) > TOUCH_FT)
    added = gather_rows(parts[joins], rows[joins], len(turf))
    # Overlapped by a hair: two shapes that only touch may unite with a slit between them.
    added = shapely.intersection(shapely.buffer(added, TOUCH_FT, join_style="mitre"), shut)
    closed = shapely.union(turf, shapely.difference(added, sites.built))
    return smooth_rings(drop_slivers(ground_of(closed)))
