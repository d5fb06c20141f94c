"""Beds that are there already: those on record as built, those drawn, those only seen."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame

from scanner.plane import frame as frames
from scanner.schema.crew_answers import YES, words_by_client

SAME_SHARE = 0.5
"""A drawn bed that has half of the smaller shape in common with a built one is that one."""

BED_COLUMNS = ("client_id", "bed_id", "area_ft2", "known_from")


def list_old_beds(
    features: GeoDataFrame, stored: GeoDataFrame, answers: pd.DataFrame
) -> pd.DataFrame:
    """
    List the beds that lots have already: columns `BED_COLUMNS`, of shapes in degrees.

    ``client_id`` is blank where a bed lies on no client's lot, ``area_ft2`` NaN where a crew saw it
    and nobody measured it, ``known_from`` built, drawn or seen. A lot with a bed that is built or
    drawn has no row for one seen.
    """
    built = stored[stored["built_on"] != ""]
    rows = [
        (bed["client_id"], bed["bed_id"], float(bed["area_ft2"]), "built")
        for bed in built.sort_values("bed_id").to_dict("records")
    ]
    drawn = features[features["kind"] == "bed"].sort_values("feature_id")
    drawn = drawn[~_is_built(drawn.geometry.to_numpy(), built.geometry.to_numpy())]
    owners = _owners(drawn, features[features["kind"] == "property"])
    areas_ft2 = _areas_ft2(drawn.geometry.to_numpy())
    rows += zip(owners, drawn["feature_id"], areas_ft2, ["drawn"] * len(drawn), strict=True)
    has_bed = words_by_client(answers, "has bed")
    known = {row[0] for row in rows}
    rows += [
        (client_id, "", np.nan, "seen")
        for client_id in sorted(has_bed.index[has_bed == YES]) if client_id not in known
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=[*BED_COLUMNS]).astype({"area_ft2": float})


def _areas_ft2(shapes: np.ndarray) -> np.ndarray:
    areas_ft2 = np.zeros(len(shapes))
    planes = frames.name_frames(shapes) if len(shapes) else np.array([], dtype=object)
    for plane in np.unique(planes.astype(str)):
        is_here = planes == plane
        areas_ft2[is_here] = shapely.area(frames.to_feet(shapes[is_here], plane))
    return areas_ft2


def _is_built(drawn: np.ndarray, built: np.ndarray) -> np.ndarray:
    # A share of areas is the same in degrees as in feet, near enough over one bed
    at, other = shapely.STRtree(built).query(drawn, predicate="intersects")
    common = shapely.area(shapely.intersection(drawn[at], built[other]))
    smaller = np.minimum(shapely.area(drawn[at]), shapely.area(built[other]))
    is_same = (common > 0) & (common >= SAME_SHARE * smaller)
    return np.isin(np.arange(len(drawn)), at[is_same])


def _owners(drawn: GeoDataFrame, outlines: GeoDataFrame) -> list[str]:
    """Name each bed's client: its own, else that of the outline which holds most of it."""
    shapes, lots = drawn.geometry.to_numpy(), outlines.geometry.to_numpy()
    at, lot = shapely.STRtree(lots).query(shapes, predicate="intersects")
    common = shapely.area(shapely.intersection(shapes[at], lots[lot]))
    pairs = pd.DataFrame(
        {"at": at, "common": common, "owner": outlines["client_id"].to_numpy()[lot]}
    )
    pairs = pairs[(pairs["owner"] != "") & (pairs["common"] > 0)]
    pairs = pairs.sort_values(["at", "common", "owner"], ascending=[True, False, True])
    by_place = pairs.drop_duplicates("at").set_index("at")["owner"].to_dict()
    own = drawn["client_id"].tolist()
    return [own[place] or str(by_place.get(place, "")) for place in range(len(own))]
