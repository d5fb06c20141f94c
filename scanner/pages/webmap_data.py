"""
What the map page's script draws and shows: the lots of a part as JSON, made in arrays.

Geometry goes into the page as whole numbers, and a lot says each sentence once, so that a
page of thousands of lots stays light. A lot's text hangs on nothing but the lot.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import shapely

from scanner.pages.summary import offered_beds
from scanner.pages.webmap_rows import LEFT_OUT, SKIPPED, TOLD, dial
from scanner.schema.documents import FINISHES, Part
from scanner.schema.tables import LAYERS, UTILITIES
from scanner.sheets.text_columns import Text, decimals, json_texts, texts

DEGREES_TO_UNITS = 10_000_000
"""Coordinates are whole units of the seventh decimal of a degree: 0.04 ft."""

_SIMPLER_DEGREES = 1.2e-7  # half an inch: rings with a point every foot lose what no screen shows
_FEW_POINTS = 10

OF_CALLS = {"rank": 0, "band": LEFT_OUT, "chance": 0.0, "reasons": "", "next": "", "last": ""}
"""What the page says of an offer's call, and what stands there for an offer that is in none."""

OF_WAY = ("way_words", "way_next", "way_last")
"""What the page says of a client under way; blank: is in none."""

_MONEY = ("price_cents", "price_low_cents", "price_high_cents")


@dataclass(frozen=True)
class Told:
    """What the page says of clients that no part knows."""

    # table `CLIENTS` by client, with `OF_WAY` and ``out``: why he is on no list; blank: is on one
    clients: pd.DataFrame
    calls: pd.DataFrame  # table `CALLS` by offer, and ``band``


def lots_json(part: Part, told: Told) -> tuple[pd.Index, Text]:
    """Write the lots of a part: clients, and the object of each as the page's script reads it.

    Coordinates are in units of `DEGREES_TO_UNITS`, the first point of a ring whole, the rest
    as steps. Sentences stand once among a lot's ``words``, elsewhere by their place there.
    """
    owners = [part[name]["client_id"] for name in ("lots", "beds", "shapes")]
    clients = pd.Index(pd.concat(owners).unique())
    offers, beds = _offers(part, told.calls), part["beds"]
    of_offer, of_bed = (
        clients.get_indexer(offers["client_id"]),
        clients.get_indexer(beds["client_id"]),
    )
    said = [
        (offers["reasons"], of_offer),
        (offers["unknowns"], of_offer),
        (beds["cautions"], of_bed),
    ]
    words, (reasons, unknowns, cautions) = _number_sentences(said, len(clients))
    fields = {
        "words": words,
        "offers": _lists(_offer_rows(part, offers, reasons, unknowns), of_offer, len(clients)),
        "beds": _lists(_bed_rows(part, offers, cautions), of_bed, len(clients)),
        "shapes": _shapes(part, clients),
    }
    return clients, _objects(told.clients.loc[clients], fields)


def bare_json(clients: pd.DataFrame) -> Text:
    """Write clients of whom no part knows anything, rows of `Told.clients`."""
    nothing = pa.array(["[]"] * len(clients), pa.string())
    return _objects(clients, dict.fromkeys(("words", "offers", "beds", "shapes"), nothing))


def _objects(clients: pd.DataFrame, fields: dict[str, Text]) -> Text:
    told = [clients.index.to_series() if name == "client_id" else clients[name] for name in TOLD]
    phone = TOLD.index("phone")
    told = [*told[1 : phone + 1], told[phone].map(dial), *told[phone + 1 :]]
    pieces: list[Text | str] = ['{"id":', json_texts(clients.index.to_series())]
    pieces += [',"told":', _array(*(json_texts(column) for column in told))]
    pieces += [',"at":', _places(clients), ',"out":', json_texts(clients["out"])]
    pieces += [',"way":', _array(*(json_texts(clients[name]) for name in OF_WAY))]
    for name, column in fields.items():
        pieces += [f',"{name}":', column]
    objects = pc.binary_join_element_wise(*pieces, "}", "")
    # Nothing in a book can end the script element that the text stands in
    return pc.replace_substring(objects, "<", "\\u003c")


def _places(clients: pd.DataFrame) -> Text:
    degrees = clients[["lon", "lat"]].to_numpy(dtype=float)
    is_known = np.isfinite(degrees).all(axis=1)
    whole = np.rint(np.where(is_known[:, None], degrees, 0.0) * DEGREES_TO_UNITS).astype(np.int64)
    lon, lat = (pa.array(column).cast(pa.string()) for column in whole.T)
    return pc.if_else(pa.array(is_known), _array(lon, lat), "[]")


def _offers(part: Part, calls: pd.DataFrame) -> pd.DataFrame:
    """Rows of `OFFERS` with rank, band, chance, reasons and words; rank 0: in no call."""
    offers = part["offers"].sort_values(["client_id", "phase", "offer_id"], ignore_index=True)
    called = calls[[*OF_CALLS]].reindex(offers["offer_id"]).fillna({**OF_CALLS})
    return offers.assign(**{name: called[name].to_numpy() for name in OF_CALLS})


def _offer_rows(part: Part, offers: pd.DataFrame, reasons: Text, unknowns: Text) -> Text:
    # What to say on the phone; a job that may follow is named alone
    said = offers["say"].where(offers["say"] != "", offers["offer"])
    return _array(
        json_texts(offers["offer_id"]), *_whole(offers, "rank", "band"),
        *(json_texts(texts) for texts in (said, offers["bed_ids"])), *_whole(offers, *_MONEY),
        decimals(offers["crew_days"]), decimals(offers["chance"], digits=3),
        *_whole(offers, "is_confirmed"), reasons, unknowns,
        *(json_texts(offers[name]) for name in ("next", "last", "upgrade_bed_ids")),
        *_whole(offers, "upgrade_price_cents", "upgrade_saving_cents"), decimals(offers["right_of_way_ft2"], digits=0),
        _prices(part, pd.Index(offers["offer_id"])),
    )  # fmt: skip


def _bed_rows(part: Part, offers: pd.DataFrame, cautions: Text) -> Text:
    beds, prices = part["beds"], part["prices"]
    alone = prices[prices["is_lead"]].set_index("offer_id")["price_cents"]
    of_bed = pd.DataFrame({
        "band": offered_beds(offers).groupby("bed_id")["band"].min().reindex(beds["bed_id"]).fillna(LEFT_OUT),
        "price_cents": alone.reindex(beds["bed_id"]).fillna(0),
    })  # fmt: skip
    of_bed = of_bed.assign(
        band=np.where((beds["skip_reason"] != "").to_numpy(), SKIPPED, of_bed["band"])
    )
    return _array(
        *(json_texts(beds[name]) for name in ("bed_id", "along", "face")), *_whole(of_bed, "band"),
        json_texts(beds["skip_reason"]),
        *(decimals(beds[name], digits=1) for name in ("edge_ft", "area_ft2", "mean_depth_ft", "bed_line_ft")),
        *_whole(of_bed, "price_cents"), cautions,
    )  # fmt: skip


def _prices(part: Part, offer_ids: pd.Index) -> Text:
    """Finish, price, low, high, plants and lead of each offer."""
    prices = part["prices"]
    of_offer = offer_ids.get_indexer(pd.Index(prices["offer_id"]))
    prices = prices.assign(finish=pd.Index(FINISHES).get_indexer(pd.Index(prices["finish"])))[
        of_offer >= 0
    ]
    rows = _array(*_whole(prices, "finish", *_MONEY, "plant_count", "is_lead"))
    return _lists(rows, of_offer[of_offer >= 0], len(offer_ids))


def _number_sentences(
    said: list[tuple[pd.Series, np.ndarray]], client_count: int
) -> tuple[Text, list[Text]]:
    """Give each client's sentences once, in the order said; and each column by their places there."""
    split = [pc.split_pattern(texts(column), "; ") for column, _ in said]
    sentences = pa.concat_arrays([column.flatten() for column in split])
    counts = [pc.list_value_length(column).to_numpy(zero_copy_only=False) for column in split]
    owner = np.concatenate(
        [np.repeat(owners, count) for (_, owners), count in zip(said, counts, strict=True)]
    ).astype(np.int64)
    coded = pc.dictionary_encode(sentences)
    codes = coded.indices.to_numpy(zero_copy_only=False).astype(np.int64)
    keys, first, which = np.unique(
        owner * max(len(coded.dictionary), 1) + codes, return_index=True, return_inverse=True
    )
    order = np.lexsort((first, owner[first]))
    place = np.empty(len(keys), dtype=np.int64)
    place[order] = np.arange(len(keys)) - np.searchsorted(owner[first][order], owner[first][order])
    words = json_texts(pd.Series(sentences.take(pa.array(first[order])).to_pylist(), dtype="str"))
    written = pa.array(place[which]).cast(pa.string())
    ends = np.cumsum([len(column.flatten()) for column in split])
    columns = [
        _lists(
            written[end - count.sum() : end], np.repeat(np.arange(len(count)), count), len(count)
        )
        for end, count in zip(ends, counts, strict=True)
    ]
    return _lists(words, owner[first][order], client_count), columns


def _shapes(part: Part, clients: pd.Index) -> Text:
    """By client: layer, number of the bed or utility or -1, then each ring, line or point as steps."""
    shapes, beds = part["shapes"], part["beds"]
    numbers = pd.concat([
        pd.Series(range(len(UTILITIES)), index=UTILITIES),
        pd.Series(beds.groupby("client_id").cumcount().to_numpy(), index=beds["bed_id"].to_numpy()),
    ])  # fmt: skip
    place = pd.Index(LAYERS).get_indexer(pd.Index(shapes["layer"]))
    owner = clients.get_indexer(pd.Index(shapes["client_id"]))
    order = np.lexsort((place, owner))
    rings, row_of_ring = _rings(shapes["geometry"].to_numpy()[order])
    has_rings = np.unique(row_of_ring)
    drawn = order[has_rings]
    number = numbers.reindex(shapes["ref"].iloc[drawn]).fillna(-1).to_numpy(dtype=int)
    steps = pc.binary_join(
        _list(rings, np.searchsorted(has_rings, row_of_ring), len(has_rings)), ","
    )
    rows = _array(*(pa.array(whole).cast(pa.string()) for whole in (place[drawn], number)), steps)
    return _lists(rows, owner[drawn], len(clients))


def _rings(geometries: np.ndarray) -> tuple[Text, np.ndarray]:
    """Each ring, line and point as whole numbers x, y, dx, dy, ..., and the geometry it is of."""
    simpler, is_long = geometries.copy(), shapely.get_num_coordinates(geometries) > _FEW_POINTS
    simpler[is_long] = shapely.simplify(
        geometries[is_long], _SIMPLER_DEGREES, preserve_topology=False
    )
    parts, row_of_part = _parts(simpler)
    is_area = shapely.get_type_id(parts) == shapely.GeometryType.POLYGON
    borders, part_of_border = shapely.get_rings(parts[is_area], return_index=True)
    lines = np.concatenate([borders, parts[~is_area]])
    row_of_line = np.concatenate([row_of_part[is_area][part_of_border], row_of_part[~is_area]])
    order = np.argsort(row_of_line, kind="stable")
    points, line_of_point = shapely.get_coordinates(lines[order], return_index=True)
    whole = np.rint(points * DEGREES_TO_UNITS).astype(np.int64)
    steps = np.diff(whole, axis=0, prepend=np.zeros((1, 2), dtype=np.int64))
    is_first = np.diff(line_of_point, prepend=-1) != 0
    steps[is_first] = whole[is_first]
    numbers = pa.array(steps.ravel()).cast(pa.string())
    return _lists(numbers, np.repeat(line_of_point, 2), len(lines)), row_of_line[order]


def _parts(geometries: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Take collections apart, and leave alone what has one part: taking it apart would copy it."""
    is_many = shapely.get_type_id(geometries) > shapely.GeometryType.POLYGON
    is_one = ~is_many & ~shapely.is_missing(geometries) & ~shapely.is_empty(geometries)
    parts, row_of_part = shapely.get_parts(geometries[is_many], return_index=True)
    return (
        np.concatenate([geometries[is_one], parts]),
        np.concatenate([np.flatnonzero(is_one), np.flatnonzero(is_many)[row_of_part]]),
    )


def _whole(table: pd.DataFrame, *names: str) -> list[Text]:
    return [pa.array(table[name].to_numpy(dtype=np.int64)).cast(pa.string()) for name in names]


def _array(*columns: Text) -> Text:
    """Write a JSON array of one value a column, row by row."""
    known = [pc.fill_null(column, "null") for column in columns]
    return pc.binary_join_element_wise("[", pc.binary_join_element_wise(*known, ","), "]", "")


def _lists(values: Text, groups: np.ndarray, count: int) -> Text:
    """Write a JSON array of the values of each group, empty ones too; groups are 0 to `count` - 1."""
    joined = pc.binary_join(_list(values, groups, count), ",")
    return pc.binary_join_element_wise("[", joined, "]", "")


def _list(values: Text, groups: np.ndarray, count: int) -> pa.ListArray:
    ends = np.cumsum(np.bincount(groups, minlength=count))
    offsets = np.concatenate([[0], ends]).astype(np.int32)
    if (np.diff(groups) < 0).any():
        values = values.take(pa.array(np.argsort(groups, kind="stable")))
    return pa.ListArray.from_arrays(pa.array(offsets), values)
