"""
``assemble``: a book's sites out of open county or city layers.

Each client meets one lot or none; what the lots' scan needs of the layers is written
as site features, and clients without a lot into a list that a person fills in.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely

from scanner.book.book import SITES_FOLDER
from scanner.book.clients import read_client_list
from scanner.book.county.choices import (
    FILE,
    Choices,
    list_taken,
    read_choices,
    refuse_filled,
    unmatched_csv,
)
from scanner.book.county.features import Owned, count_without_curb, gather_features
from scanner.book.county.indexing import Index, index_lots
from scanner.book.county.layer_kinds import HOUSE, PROPERTY, County
from scanner.book.county.layers import LayerFeatures, read_layers
from scanner.book.county.likely import find_likely
from scanner.book.county.lots import Lots, find_lots
from scanner.book.county.matching import WAYS, Match, match_clients
from scanner.book.county.roofs import note_roofs
from scanner.book.county.streets import Streets, find_sidewalks, find_streets
from scanner.book.layers.attributes import COLUMNS
from scanner.book.layers.better import ASSEMBLED_FILE
from scanner.book.measured import read_measured
from scanner.book.settings import read_rules
from scanner.plane.frame import round_degrees, to_degrees
from scanner.sheets.problems import join_problems, list_problems
from scanner.store.replacing import put_in_place


@dataclass(frozen=True)
class Assembly:
    """What came of assembling a book's sites."""

    counts: dict[str, int]  # clients by what came of them
    problems: pd.DataFrame  # table `PROBLEMS`: of the client list, the layers and the choices
    sites_file: Path | None  # the file of site features; None where no client has a lot
    unmatched_file: Path | None  # the list of clients without a lot; None where all have one


def assemble_sites(folder: Path, county: County, *, matches_file: Path | None = None) -> Assembly:
    """Make a book's sites of a county's layers; written whole or not at all."""
    unmatched_file = folder / FILE
    if matches_file is None or matches_file.resolve() != unmatched_file.resolve():
        refuse_filled(unmatched_file)
    clients, client_problems = read_client_list(folder)
    rules, _ = read_rules(folder / "local.toml")
    layers, frame, problems = read_layers(county)
    streets, street_problems = find_streets(layers, county)
    sidewalks = find_sidewalks(layers, county)
    lots = _find_lots(layers, streets, county)
    index = index_lots(lots, clients)
    choices = _read_choices(matches_file, clients, lots, index, frame)
    matches = match_clients(
        clients, lots, index, frame=frame, pavement=streets.pavement, choices=choices.lots
    )
    taken = list_taken(choices, clients, matches)
    matches = _tell_measured(matches, clients, folder)
    likely = find_likely(clients, matches, lots, index, frame=frame)
    owned = _owned(clients, matches)
    features = gather_features(layers, lots, owned, streets, sidewalks, rules=rules)
    unmatched = unmatched_csv(clients, matches, likely, lots, frame=frame, typed=choices.typed)
    sites_name = f"{SITES_FOLDER}/{ASSEMBLED_FILE}"
    # a file without a feature would be a fault of the book
    made = features_geojson(features, frame) if len(features) else None
    files = {name: content for name, content in ((sites_name, made), (FILE, unmatched)) if content}
    put_in_place(files.items(), folder, stale=[sites_name, FILE])
    counts = count_clients(
        matches,
        without_house=_count_without_house(features, owned),
        without_curb=count_without_curb(lots, owned, streets, rules=rules),
    )
    problems += [*street_problems, *note_roofs(layers), *choices.problems, *taken]
    every = join_problems(client_problems, list_problems(problems))
    return Assembly(
        counts, every, folder / sites_name if made else None, unmatched_file if unmatched else None
    )


def _find_lots(layers: list[LayerFeatures], streets: Streets, county: County) -> Lots:
    return find_lots(
        [things for things in layers if things.kind is PROPERTY],
        streets.pavement,
        id_column=county.parcel_id,
        address_column=county.parcel_address,
    )


def _read_choices(
    path: Path | None, clients: pd.DataFrame, lots: Lots, index: Index, frame: str
) -> Choices:
    if path is None:
        return Choices()
    return read_choices(path, clients, lots, index, frame=frame)


def _owned(clients: pd.DataFrame, matches: list[Match]) -> Owned:
    is_matched = np.array([bool(match.way) for match in matches], dtype=bool)
    lots = np.array([match.lots[0] for match in matches if match.way], dtype=int)
    return Owned(clients["client_id"].to_numpy(object)[is_matched], lots)


def _tell_measured(matches: list[Match], clients: pd.DataFrame, folder: Path) -> list[Match]:
    """Say of clients without a lot whose edges were measured on foot that they are scanned."""
    measured, _ = read_measured(folder / "measured.csv", clients)
    on_foot = clients["client_id"].isin(measured["client_id"])
    return [
        replace(match, reason=f"{match.reason}; measured on foot, so it is scanned all the same")
        if walked and not match.way
        else match
        for match, walked in zip(matches, on_foot, strict=True)
    ]


def _count_without_house(features: pd.DataFrame, owned: Owned) -> int:
    housed = features.loc[features["kind"] == HOUSE.name, "client_id"]
    return int((~np.isin(owned.client_id.astype(str), housed.to_numpy(object).astype(str))).sum())


def features_geojson(features: pd.DataFrame, frame: str) -> bytes:
    """Write site features as RFC 7946 GeoJSON, one a line: the same bytes each time, rings valid after rounding."""
    shapes = round_degrees(to_degrees(features["geometry"].to_numpy(object), frame))
    is_kept = ~shapely.is_empty(shapes)
    rows = features.loc[is_kept, list(COLUMNS)].to_dict("records")
    lines = [
        f'{{"type":"Feature","properties":{_json(_known(row))},"geometry":{_json(shapely.geometry.mapping(shape))}}}'
        for row, shape in zip(rows, shapes[is_kept], strict=True)
    ]
    body = ",\n".join(lines)
    return f'{{"type":"FeatureCollection","features":[\n{body}\n]}}\n'.encode()


def _known(row: Mapping[Any, Any]) -> dict[str, Any]:
    """Keep what is known: no blanks, no missing numbers; a whole number stays whole."""
    known = {str(name): value for name, value in row.items() if value != "" and value == value}  # noqa: PLR0124  # NaN isn't
    return {
        name: int(value) if isinstance(value, float) and value.is_integer() else value
        for name, value in known.items()
    }


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


LINES = {
    "clients": "clients",
    "matched": "matched",
    "by_choice": "  by your choice",
    "by_parcel_id": "  by parcel id",
    "by_address": "  by address",
    "by_place": "  by longitude and latitude",
    "without_house": "  of these without a house",
    "without_curb": "  of these without a curb",
    "unmatched": "not matched",
    "ambiguous": "  several lots fit",
    "not_found": "  no lot found",
}
"""How each count is told; what stands under another is a part of it."""


def count_clients(matches: list[Match], *, without_house: int, without_curb: int) -> dict[str, int]:
    """Count clients by what came of them; those matched once more by house and by curb."""
    ways = [match.way for match in matches]
    unmatched = ways.count("")
    matched = len(ways) - unmatched
    ambiguous = sum(match.is_ambiguous for match in matches)
    return {
        "clients": len(ways),
        "matched": matched,
        **{f"by_{way.replace(' ', '_')}": ways.count(way) for way in WAYS},
        "unmatched": unmatched,
        "ambiguous": ambiguous,
        "not_found": unmatched - ambiguous,
        "with_house": matched - without_house,
        "without_house": without_house,
        "with_curb": matched - without_curb,
        "without_curb": without_curb,
    }


def report_lines(counts: Mapping[str, int]) -> list[str]:
    """Write the counts one a line, numbers under each other.

    >>> report_lines(count_clients([], without_house=0, without_curb=0))[0]
    'clients                               0'
    """
    return [f"{words:<32}{counts[name]:>7,}" for name, words in LINES.items()]
