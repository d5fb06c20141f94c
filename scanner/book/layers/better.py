"""Which of two drawings of one thing is used: what a person drew goes before what was assembled."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame

from scanner.sheets.problems import Problem, note

ASSEMBLED_FILE = "assembled.geojson"
"""File of the sites that is made out of county layers, never by hand."""

OWNED_KINDS = ("property", "house", "outbuilding")
SHARED_KINDS = ("drive", "walk", "patio")
"""Kinds drawn lot by lot; a street or sidewalk is drawn in stretches that complete each other."""

SAME_SHARE = 0.5
"""An assembled drive with this share of it under a drawn one is that drive."""


def prefer_drawn(features: GeoDataFrame) -> tuple[GeoDataFrame, list[Problem]]:
    """
    Leave out what was assembled where a person drew the same thing.

    Parameters
    ----------
    features
        Table `FEATURES`.

    Returns
    -------
    features
        Without assembled outlines and buildings of a client for whom another file has
        that kind, and without assembled drives, walks and patios that lie under drawn ones.
    problems
        One note where an outline was left out.

    Examples
    --------
    >>> lot = shapely.box(0, 1, 2, 3)
    >>> files = ["sites/assembled.geojson", "sites/mine.geojson"]
    >>> both = GeoDataFrame(
    ...     {"kind": "property", "client_id": "A", "drives_known": "", "file": files},
    ...     geometry=[lot, lot], crs=4326)
    >>> prefer_drawn(both)[0]["file"].tolist()
    ['sites/mine.geojson']
    """
    is_assembled = features["file"].str.endswith(f"/{ASSEMBLED_FILE}")
    if not is_assembled.any() or is_assembled.all():
        return features, []
    is_owned = features["kind"].isin(OWNED_KINDS) & (features["client_id"] != "")
    keys = pd.MultiIndex.from_frame(features[["client_id", "kind"]])
    is_beaten = is_assembled & is_owned & keys.isin(keys[is_owned & ~is_assembled])
    is_beaten |= _lies_under(features, is_assembled)
    lots = features[is_beaten & (features["kind"] == "property")]
    problems = [
        note(
            file,
            "",
            f"lots drawn in another file too: {count:,}; the drawn ones are used",
            "nothing to do; delete a drawn lot to use the assembled one",
        )
        for file, count in lots.groupby("file", sort=True).size().items()
    ]
    return _keep_drives_known(features, is_beaten), problems


def _keep_drives_known(features: GeoDataFrame, is_beaten: pd.Series) -> GeoDataFrame:
    """Leave out what is beaten, but not that the drives of a lot are known: they stay."""
    is_told = is_beaten & (features["drives_known"] == "yes")
    kept = features[~is_beaten]
    is_mute = (kept["kind"] == "property") & (kept["drives_known"] == "")
    is_mute &= kept["client_id"].isin(features.loc[is_told, "client_id"])
    return kept.assign(drives_known=kept["drives_known"].mask(is_mute, "yes"))


def _lies_under(features: GeoDataFrame, is_assembled: pd.Series) -> pd.Series:
    """Tell which assembled drives, walks and patios lie under drawn ones of their kind."""
    is_under = np.zeros(len(features), dtype=bool)
    shapes, kinds = features.geometry.to_numpy(), features["kind"].to_numpy()
    made = np.flatnonzero(is_assembled.to_numpy() & np.isin(kinds, SHARED_KINDS))
    drawn = np.flatnonzero(~is_assembled.to_numpy() & np.isin(kinds, SHARED_KINDS))
    at, over = shapely.STRtree(shapes[drawn]).query(shapes[made], predicate="intersects")
    at, over = made[at], drawn[over]
    same = kinds[at] == kinds[over]
    at, over = at[same], over[same]
    shared = shapely.area(shapely.intersection(shapes[at], shapes[over]))
    is_under[at[shared > SAME_SHARE * shapely.area(shapes[at])]] = True
    return pd.Series(is_under, index=features.index, dtype=bool)
