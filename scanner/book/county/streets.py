"""Streets and sidewalks: as areas, as curb lines, or as centerlines with a width."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scanner.book.county.layer_kinds import CENTERLINE, SIDEWALK, STREET, County
from scanner.book.county.layers import LayerFeatures
from scanner.book.county.pieces import Shapes, cut_large
from scanner.errors import SiteError
from scanner.sheets.problems import Problem, fault


@dataclass(frozen=True)
class Streets:
    """Everything that is a street."""

    # one row a feature: ``kind`` (street, street_centerline or edge), ``along``, ``curbed``,
    # ``parking``, ``pavement_ft``, ``geometry`` [ft]
    table: pd.DataFrame
    pavement: Shapes  # the same as areas, cut small [ft]; curb lines pave nothing


def find_streets(layers: list[LayerFeatures], county: County) -> tuple[Streets, list[Problem]]:
    """Bring streets in any form into one table; a centerline without a width is a fault."""
    tables: list[pd.DataFrame] = [_no_streets()]
    problems: list[Problem] = []
    for things in layers:
        if things.kind is STREET:
            kind, along = ("edge", "curb") if things.is_line else ("street", "")
            tables.append(_describe(things).assign(kind=kind, along=along))
        elif things.kind is CENTERLINE:
            lines, found = _widen(things, county.street_width_ft)
            tables.append(lines.assign(kind=CENTERLINE.name, along=""))
            problems += found
    filled = [table for table in tables if len(table)] or tables[:1]
    table = pd.concat(filled, ignore_index=True)
    areas = table["geometry"].to_numpy(object).copy()
    is_line = (table["kind"] == CENTERLINE.name).to_numpy()
    areas[is_line] = pave(areas[is_line], table["pavement_ft"].to_numpy(float)[is_line])
    return Streets(table, cut_large(areas[(table["kind"] != "edge").to_numpy()])[0]), problems


def find_sidewalks(
    layers: list[LayerFeatures], county: County
) -> tuple[Shapes, NDArray[np.float64]]:
    """Bring sidewalks in either form to areas [ft], and of each the width that it was given; NaN where it is an area."""
    areas, widths_ft = [np.array([], object)], [np.array([], float)]
    for things in layers:
        if things.kind is not SIDEWALK:
            continue
        if not things.is_line:
            areas.append(things.shapes)
            widths_ft.append(np.full(len(things), np.nan))
            continue
        if county.sidewalk_width_ft is None:
            message = (
                f"{things.source.name} holds sidewalks as lines, and nothing says how wide they are: "
                "add --sidewalk-width with their width in feet"
            )
            raise SiteError(message)
        merged = _merge(things.shapes)
        widths_ft.append(np.full(len(merged), county.sidewalk_width_ft))
        areas.append(pave(merged, widths_ft[-1]))
    return np.concatenate(areas), np.concatenate(widths_ft)


def pave(lines: Shapes, width_ft: np.ndarray) -> Shapes:
    """Widen centerlines to their pavement."""
    return np.asarray(shapely.buffer(lines, width_ft / 2, cap_style="flat", quad_segs=16), object)


def _describe(things: LayerFeatures) -> pd.DataFrame:
    shapes = pd.Series(list(things.shapes), dtype=object)
    return things.said[["curbed", "parking", "pavement_ft"]].assign(geometry=shapes)


def _widen(things: LayerFeatures, width_ft: float | None) -> tuple[pd.DataFrame, list[Problem]]:
    numbers = things.said["pavement_ft"]
    widths = numbers.where(numbers > 0, np.nan if width_ft is None else width_ft)
    if widths.isna().all():
        message = (
            f"{things.source.name} does not say how wide its streets are: add --street-width with the paved "
            "width from curb to curb in feet, or a column pavement_ft"
        )
        raise SiteError(message)
    problems = [
        fault(
            **things.place(at),
            problem="a street drawn as a line needs its paved width, and this one has none; it is left out",
            remedy="add --street-width for those that have none, or fill in its pavement_ft",
        )
        for at in np.flatnonzero(widths.isna()).tolist()
    ]
    lines = _describe(things).assign(pavement_ft=widths)[widths.notna()]
    rows = [
        {"curbed": curbed, "parking": parking, "pavement_ft": pavement_ft, "geometry": line}
        for (curbed, parking, pavement_ft), group in lines.groupby(
            ["curbed", "parking", "pavement_ft"], sort=True
        )
        for line in _merge(group["geometry"].to_numpy(object))
    ]
    return pd.DataFrame(rows), problems


def _merge(lines: Shapes) -> Shapes:
    """Join lines that meet end to end, so that a bend between two has no notch."""
    merged = shapely.line_merge(shapely.multilinestrings(list(shapely.get_parts(lines))))
    return np.asarray(shapely.get_parts(merged), object)


def _no_streets() -> pd.DataFrame:
    columns = ("kind", "along", "curbed", "parking", "pavement_ft", "geometry")
    return pd.DataFrame({name: pd.Series(dtype=object) for name in columns})
