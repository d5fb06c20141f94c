"""
What bears on a lot's ground: nothing else can change what is found there.

Boxes stand in for shapes, so that rather too much is listed than too little.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.ground.gather import AROUND_FT, NEAR_FT
from scanner.schema.documents import LocalRules
from scanner.store.land import ENDS, widen

FAR_KINDS = ("property", "street", "street_centerline", "edge")
"""Kinds by which fronts are told: streets, and outlines that stand before them."""


def reach_ft(rules: LocalRules) -> float:
    """
    Say how far off something may lie that bears on a lot.

    Parameters
    ----------
    rules
        Reach of fronts, frontage, bed depth, sight triangles [ft].

    Returns
    -------
    reach_ft
        From the lot's outline [ft].
    """
    return max(rules.front_reach_ft, _near_ft(rules)) + 10.0


def _near_ft(rules: LocalRules) -> float:
    """Say how far off anything counts that tells no front."""
    return rules.frontage_max_ft + max(
        rules.bed_depth_ft + AROUND_FT, rules.setbacks.drive_triangle_ft + NEAR_FT
    )


def list_bearing(
    features: pd.DataFrame, client_ids: np.ndarray, *, rules: LocalRules
) -> pd.DataFrame:
    """
    List what bears on the ground of each of some lots.

    Parameters
    ----------
    features
        Columns ``kind``, ``client_id`` and ``west south east north`` [degrees].
    client_ids
        Clients.
    rules
        As for `reach_ft`.

    Returns
    -------
    pairs
        ``client_id`` and ``row`` of `features`, each pair once: streets and outlines within the
        reach of fronts, and all that lies near the client's outlines or near those of lots whose
        strips may claim the same ground as his.
    """
    boxes, kind = features[ENDS].to_numpy(float), features["kind"].to_numpy(object)
    owner = features["client_id"].to_numpy(object)
    tree = shapely.STRtree(shapely.box(*boxes.T))

    def within(reach_ft: float, outlines: np.ndarray) -> pd.DataFrame:
        at, row = tree.query(shapely.box(*widen(boxes[outlines], reach_ft).T))
        return pd.DataFrame({"client_id": owner[outlines[at]], "row": row})

    owned = np.flatnonzero((kind == "property") & (owner != ""))
    asked = owned[np.isin(owner[owned].astype(str), client_ids.astype(str))]
    far = within(rules.front_reach_ft, asked)
    far = far[np.isin(kind[far["row"]], FAR_KINDS)]
    claims = within(2 * rules.frontage_max_ft + 1.0, asked)
    claims = claims[np.isin(claims["row"], owned)].assign(other=lambda table: owner[table["row"]])
    near = within(_near_ft(rules), owned).rename(columns={"client_id": "other"})
    near = claims[["client_id", "other"]].drop_duplicates().merge(near, on="other")
    return pd.concat([far, near[["client_id", "row"]]]).drop_duplicates(ignore_index=True)
