"""Which of two drawings of one thing is used: what a person drew goes before what was assembled."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame

from scanner.schema.feature_kinds import SITE_KINDS
from scanner.sheets.problems import Problem, note

ASSEMBLED_FILE = "assembled.geojson"
"""File of the sites that is made out of county layers, never by hand."""

SAME_SHARE = 0.5
"""What drawn things of its kind cover by this share is one of them, drawn again."""

THINGS = {name: kind.thing for name, kind in SITE_KINDS.items() if kind.thing}
"""Kinds drawn lot by lot, by what they count as."""


def prefer_drawn(features: GeoDataFrame) -> tuple[GeoDataFrame, list[Problem]]:
    """Leave out what was assembled where a person drew the same thing, with one note a file.

    Outlines of a client for whom another file has one; buildings, drives, walks and patios that drawn
    ones cover by half; a house in which a smaller one was drawn.

    >>> lot = shapely.box(0, 1, 2, 3)
    >>> files = ["sites/assembled.geojson", "sites/mine.geojson"]
    >>> both = GeoDataFrame(
    ...     {"kind": "property", "client_id": "A", "drives_known": "", "year_built": None, "file": files},
    ...     geometry=[lot, lot], crs=4326)
    >>> prefer_drawn(both)[0]["file"].tolist()
    ['sites/mine.geojson']
    """
    is_assembled = features["file"].str.endswith(f"/{ASSEMBLED_FILE}")
    if not is_assembled.any() or is_assembled.all():
        return features, []
    is_lot = (features["kind"] == "property") & (features["client_id"] != "")
    drawn_ids = features.loc[is_lot & ~is_assembled, "client_id"]
    is_beaten = is_assembled & is_lot & features["client_id"].isin(drawn_ids)
    is_beaten |= _is_covered(features, is_assembled)
    problems = [
        note(
            str(file),
            "",
            f"drawn in another file too: {_count(beaten['kind'].map(THINGS))}; the drawn ones are used",
            "nothing to do; delete a drawn one to use the assembled one",
        )
        for file, beaten in features[is_beaten].groupby("file", sort=True)
    ]
    return _keep_known(features, is_beaten), problems


def _count(things: pd.Series) -> str:
    counts = {thing: int((things == thing).sum()) for thing in THINGS.values()}
    return ", ".join(
        f"{count:,} {thing}{'s' if count > 1 else ''}" for thing, count in counts.items() if count
    )


def _keep_known(features: GeoDataFrame, is_beaten: pd.Series) -> GeoDataFrame:
    """Leave out what is beaten, but not what it knows of a lot: its drives, when its house was built."""
    kept, beaten = features[~is_beaten], features[is_beaten & (features["kind"] == "property")]
    known = beaten.drop_duplicates("client_id").set_index("client_id")
    is_lot = (kept["kind"] == "property") & kept["client_id"].isin(known.index)
    years = kept["year_built"].fillna(kept["client_id"].where(is_lot).map(known["year_built"]))
    is_mute = is_lot & (kept["drives_known"] == "")
    is_mute &= kept["client_id"].map(known["drives_known"]).eq("yes")
    return kept.assign(drives_known=kept["drives_known"].mask(is_mute, "yes"), year_built=years)


def _is_covered(features: GeoDataFrame, is_assembled: pd.Series) -> pd.Series:
    """Tell which assembled things drawn ones cover, whoever's: a house may stand over a lot line."""
    shapes, kinds = features.geometry.to_numpy(), features["kind"].to_numpy(object)
    things = features["kind"].map(THINGS).to_numpy(object)
    is_thing = features["kind"].isin(THINGS).to_numpy() & (kinds != "property")
    made = np.flatnonzero(is_assembled.to_numpy() & is_thing)
    drawn = np.flatnonzero(~is_assembled.to_numpy() & is_thing)
    at, over = shapely.STRtree(shapes[drawn]).query(shapes[made], predicate="intersects")
    at, over = made[at], drawn[over]
    is_alike = things[at] == things[over]
    at, over = at[is_alike], over[is_alike]
    shared = shapely.area(shapely.intersection(shapes[at], shapes[over]))
    total = np.bincount(at, weights=shared, minlength=len(features))
    is_covered = (total > 0) & (total >= SAME_SHARE * shapely.area(shapes))
    # drawn smaller than the layer has it, the house is meant all the same
    is_inner = (kinds[at] == "house") & (kinds[over] == "house")
    is_inner &= shared >= SAME_SHARE * shapely.area(shapes[over])
    is_covered[at[is_inner]] = True
    return pd.Series(is_covered, index=features.index, dtype=bool)
