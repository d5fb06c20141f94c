"""
Lots out of parcel layers: one row a lot, whatever the layers hold of it.

A parcel layer holds more than lots: the same ground twice, lots in several parts,
condominiums stacked on one ground, one parcel for the right-of-way of a whole city, and
ids that stand for no lot. Each is told apart here, so that no client meets it unawares.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scanner.book.county.layer_columns import find_column, read_texts
from scanner.book.county.layers import LayerFeatures
from scanner.book.county.pieces import Rows, Shapes, cut_large
from scanner.book.layers.placing import same_ground

SAME_SHARE = 0.98
"""Two parcels of one id that cover each other by this share are one, recorded twice."""

MOST_PARTS = 4
"""An id that more pieces of ground share than this stands for no lot."""

PART_REACH_FT = 100.0
"""Parts of one lot lie no farther apart than this: across a street (starting value, no source)."""

WAY_SHARE = 0.3
"""A parcel with more of its ground under pavement than this is right-of-way, not a lot."""

WAY_HOLDS = 10
WAY_FILL = 0.5
"""So is one that fills less than half of its hull while the hull holds so many other parcels."""


@dataclass(frozen=True)
class Lots:
    """What the parcel layers come to."""

    # one row a lot: ``parcel_id`` (blank where it has none that stands for it), ``address``
    # as the layer has it, ``year_built``, ``is_right_of_way`` (right-of-way, no lot), ``file`` and
    # ``feature``
    table: pd.DataFrame
    shapes: Shapes  # ground of each lot [ft]
    pieces: Shapes  # the same ground cut small [ft], and the lot of each piece
    rows: Rows
    tree: shapely.STRtree  # spatial index over `pieces`
    no_lot_ids: dict[str, str]  # ids that stand for no lot, and why, in words
    has_ids: bool  # whether the layers have a column of ids

    def __len__(self) -> int:
        return len(self.shapes)

    def meet(self, shapes: Shapes, reach_ft: float = 0.0) -> tuple[Rows, Rows]:
        """Find the lots in reach of shapes: pairs of a row of `shapes` and one of the lots, each once, sorted."""
        rows, pieces = self.tree.query(shapes, predicate="dwithin", distance=reach_ft)
        pairs = np.unique(np.column_stack([rows, self.rows[pieces]]), axis=0)
        return pairs[:, 0], pairs[:, 1]

    def shared_ft2(self, shapes: Shapes) -> tuple[Rows, Rows, NDArray[np.float64]]:
        """Measure the ground [ft2] that areas have in common with lots: pairs, each once, sorted."""
        rows, pieces = self.tree.query(shapes, predicate="intersects")
        share_ft2 = shapely.area(shapely.intersection(shapes[rows], self.pieces[pieces]))
        pairs, at = np.unique(
            np.column_stack([rows, self.rows[pieces]]), axis=0, return_inverse=True
        )
        total_ft2 = np.bincount(at.ravel(), weights=share_ft2, minlength=len(pairs)).astype(float)
        return pairs[:, 0], pairs[:, 1], total_ft2


def find_lots(
    parcels: list[LayerFeatures], pavement: Shapes, *, id_column: str = "", address_column: str = ""
) -> Lots:
    """Make lots of parcels, in the order of the layers; a lot in several parts stands where its first does."""
    records = pd.concat(
        [_records(things, id_column, address_column) for things in parcels], ignore_index=True
    )
    shapes = np.concatenate([things.shapes for things in parcels])
    is_first = _find_firsts(records, shapes)
    records, shapes = records[is_first].reset_index(drop=True), shapes[is_first]
    records, shapes, no_lot_ids = _join_parts(records, shapes)
    pieces, rows = cut_large(shapes)
    tree = shapely.STRtree(pieces)
    lots = Lots(records, shapes, pieces, rows, tree, no_lot_ids, bool(id_column))
    return replace(lots, table=records.assign(is_right_of_way=_find_ways(lots, pavement)))


def plain_id(parcel_id: str) -> str:
    """Write a parcel id as ids are compared: in capitals, single blanks.

    >>> plain_id(" 12-004a "), plain_id("12  004A")
    ('12-004A', '12 004A')
    """
    return " ".join(parcel_id.upper().split())


def is_placeholder_id(parcel_id: str) -> bool:
    """Tell whether an id is a word, a dash or zeros only, which no county gives to a lot.

    >>> [is_placeholder_id(text) for text in ("ROW", "-", "000-00", "12-004", "")]
    [True, True, True, False, False]
    """
    return bool(parcel_id.strip()) and not any(letter in "123456789" for letter in parcel_id)


def _find_ways(lots: Lots, pavement: Shapes) -> NDArray[np.bool_]:
    """Tell which parcels are right-of-way: paved in good part, or wound between many others."""
    _, paved, share_ft2 = lots.shared_ft2(pavement)
    paved_ft2 = np.bincount(paved, weights=share_ft2, minlength=len(lots))
    area_ft2 = np.maximum(shapely.area(lots.shapes), 1.0)
    hulls = shapely.convex_hull(lots.shapes)
    is_wound = area_ft2 < WAY_FILL * shapely.area(hulls)
    # all lots need be held against few hulls only
    loose = np.flatnonzero(is_wound)
    inner = shapely.STRtree(shapely.point_on_surface(lots.shapes))
    held = inner.query(hulls[loose], predicate="contains")[0]
    is_wound[loose] = np.bincount(held, minlength=len(loose)) > WAY_HOLDS
    return is_wound | (paved_ft2 > WAY_SHARE * area_ft2)


def _records(things: LayerFeatures, id_column: str, address_column: str) -> pd.DataFrame:
    blank = pd.Series("", index=things.fields.index, dtype="str")
    ids = (
        read_texts(find_column(things.fields, id_column, things.source.name))
        if id_column
        else blank
    )
    said = (
        read_texts(find_column(things.fields, address_column, things.source.name))
        if address_column
        else blank
    )
    is_none = ids.map(is_placeholder_id).astype(bool)
    return pd.DataFrame(
        {
            "parcel_id": ids.where(~is_none, ""),
            "address": said,
            "year_built": things.said["year_built"],
            "file": things.source.name,
            "feature": [things.place(at)["feature"] for at in range(len(things))],
        }
    )


def _find_firsts(records: pd.DataFrame, shapes: Shapes) -> NDArray[np.bool_]:
    """Tell which records stay where the same ground is recorded twice for one lot."""
    ids = records["parcel_id"].map(plain_id).to_numpy()
    said = records["address"].str.upper().to_numpy()

    def is_one_lot(one: Rows, two: Rows) -> NDArray[np.bool_]:
        agrees = [(of[one] == of[two]) | (of[one] == "") | (of[two] == "") for of in (ids, said)]
        return agrees[0] & agrees[1]

    is_kept = np.ones(len(records), dtype=bool)
    for first, second in same_ground(shapes, SAME_SHARE, is_one_lot):
        if is_kept[first] and is_kept[second]:
            # the one that says more stays, and of two alike the first
            told = [(ids[at] != "", said[at] != "") for at in (first, second)]
            is_kept[first if told[1] > told[0] else second] = False
    return is_kept


def _join_parts(
    records: pd.DataFrame, shapes: Shapes
) -> tuple[pd.DataFrame, Shapes, dict[str, str]]:
    """Join the parts of a lot; an id whose parts are no one lot stands for none."""
    keys = records["parcel_id"].map(plain_id)
    shared = records[keys.duplicated(keep=False) & (keys != "")]
    joined, no_lot_ids = shapes.copy(), {}
    is_kept = np.ones(len(records), dtype=bool)
    ids, years = (records[name].to_numpy().copy() for name in ("parcel_id", "year_built"))
    for key, parts in shared.groupby(keys.loc[shared.index], sort=True):
        rows = parts.index.to_numpy()
        reason = _why_no_lot(parts, shapes[rows])
        if reason:
            no_lot_ids[str(key)] = reason
            ids[rows] = ""
            continue
        joined[rows[0]] = shapely.union_all(shapes[rows])
        years[rows[0]] = parts["year_built"].max()
        is_kept[rows[1:]] = False
    table = records.assign(
        parcel_id=pd.Series(ids, index=records.index, dtype="str"), year_built=years
    )
    return table[is_kept].reset_index(drop=True), joined[is_kept], no_lot_ids


def _why_no_lot(parts: pd.DataFrame, shapes: Shapes) -> str:
    if len(parts) > MOST_PARTS:
        return f"{len(parts):,} parcels share it"
    if len(set(parts["address"]) - {""}) > 1:
        return f"{len(parts):,} parcels with different addresses share it"
    near = shapely.union_all(shapely.buffer(shapes, PART_REACH_FT / 2))
    if len(shapely.get_parts(near)) > 1:
        return f"{len(parts):,} parcels that lie apart share it"
    return ""
