"""
The beds as RFC 7946 GeoJSON, for maps and other programs.

Written by ourselves, part by part.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import shapely

from scanner.pages.summary import offered_beds, unseen_beds
from scanner.plane.frame import round_degrees
from scanner.schema.documents import FINISHES, Part, Scan
from scanner.sheets.text_columns import Text, decimals, json_texts, usd

MEASURES = (
    "edge_ft", "area_ft2", "mean_depth_ft", "bed_line_ft", "absorbed_ft2", "right_of_way_ft2",
    "low_plant_ft2", "plant_free_ft2", "trim_ft", "turf_left_ft2",
)  # fmt: skip
TAKE_OFF = {
    "sod_bank_yd3": 3, "sod_loose_yd3": 3, "sod_lb": 0, "haul_loads": 0, "compost_yd3": 3, "mulch_yd3": 3,
    "gravel_yd3": 3, "edging_ft": 2, "plant_count": 0,
}  # fmt: skip
"""Quantities of a bed sold alone and the decimals they are written with."""

PRICE_ENDS = {"": "price_cents", "_low": "price_low_cents", "_high": "price_high_cents"}


def beds_geojson(scan: Scan, parts: Iterable[Part]) -> Iterator[bytes]:
    """Write `candidates.geojson`: its head, a piece a part, its end; a feature a bed, skipped ones too.

    A bed measured on foot has no geometry; a skipped bed has no quantities and no prices.
    Prices are those of the bed sold alone and ``confirmed`` is the bed's own; ``reasons`` are
    those of the offer that holds it, as in the call list.
    """
    reasons = scan.calls.set_index("offer_id")["reasons"]
    yield b'{"type": "FeatureCollection", "features": [\n'
    gap = ""
    for part in parts:
        features = _features(part, reasons).to_pylist()
        yield (gap + ",\n".join(features) if features else "").encode()
        gap = ",\n" if features else gap
    yield b"\n]}\n"


def _features(part: Part, reasons: pd.Series[str]) -> Text:
    properties = _properties(part, reasons)
    pieces: list[Text | str] = ['{"type": "Feature", "id": ', properties["bed_id"],
                                ', "geometry": ', _geometries(part), ', "properties": {']  # fmt: skip
    for number, (name, column) in enumerate(properties.items()):
        pieces += [f'{", " if number else ""}"{name}": ', pc.fill_null(column, "null")]
    return pc.binary_join_element_wise(*pieces, "}}", "")


def _geometries(part: Part) -> Text:
    shapes = part["shapes"]
    drawn = shapes[shapes["layer"] == "bed"].drop_duplicates("ref").set_index("ref")["geometry"]
    found = drawn.reindex(part["beds"]["bed_id"]).to_numpy()
    is_drawn = ~(shapely.is_missing(found) | shapely.is_empty(found))
    written = np.full(len(found), "null", dtype=object)
    written[is_drawn] = shapely.to_geojson(round_degrees(found[is_drawn]))
    return pa.array(written, pa.string())


def _properties(part: Part, reasons: pd.Series[str]) -> dict[str, Text]:
    beds, quantities, prices = part["beds"], part["quantities"], part["prices"]
    bed_ids = beds["bed_id"]
    is_alone = quantities["offer_id"] == quantities["bed_id"]
    alone = quantities[is_alone].set_index("bed_id").reindex(bed_ids)
    prices = prices.set_index("offer_id")
    leads = prices[prices["is_lead"]].reindex(bed_ids)
    return {
        **_texts(beds, "bed_id", "client_id", "along", "face"),
        **_texts(leads, "finish"),
        **_texts(beds, "lawn_source", "edge_source", "skip_reason"),
        **{name: decimals(beds[name]) for name in MEASURES},
        **{name: decimals(alone[name], digits=digits) for name, digits in TAKE_OFF.items()},
        **_texts(leads, "method"),
        **{name: decimals(leads[name]) for name in ("labor_hours", "crew_days")},
        "direct_cost_usd": usd(leads["direct_cost_cents"]),
        **_price_columns(leads, "price"),
        **{
            name: column
            for finish in FINISHES
            for name, column in _price_columns(
                prices[prices["finish"] == finish].reindex(bed_ids), f"price_{finish}"
            ).items()
        },
        "gross_profit_usd": usd(leads["gross_profit_cents"]),
        "confirmed": pc.cast(pa.array(_confirmed(beds, part["offers"])), pa.string()),
        **_texts(beds, "cautions"),
        "reasons": json_texts(_of_offer(beds, part["offers"], reasons)),
        "turf_left_width_ft": decimals(beds["turf_left_width_ft"]),
    }


def _texts(table: pd.DataFrame, *names: str) -> dict[str, Text]:
    return {name: json_texts(table[name]) for name in names}


def _price_columns(prices: pd.DataFrame, name: str) -> dict[str, Text]:
    return {f"{name}{end}_usd": usd(prices[column]) for end, column in PRICE_ENDS.items()}


def _confirmed(beds: pd.DataFrame, offers: pd.DataFrame) -> np.ndarray:
    """Tell which beds rest on ground that is known, though another of their offer may not."""
    offered = set(offered_beds(offers)["bed_id"]) - unseen_beds(offers)
    return np.array([bed_id in offered for bed_id in beds["bed_id"].tolist()], dtype=bool)


def _of_offer(beds: pd.DataFrame, offers: pd.DataFrame, words: pd.Series[str]) -> pd.Series[str]:
    """Give each bed what is said of the offer that holds it; blank where none does."""
    of_bed = offered_beds(offers)
    said = of_bed.set_index("bed_id")["offer_id"].map(words)
    return beds["bed_id"].map(said).astype("str").fillna("")
