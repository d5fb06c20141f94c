"""Lots by what a client may say of one: its id, its address."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from difflib import SequenceMatcher

import pandas as pd

from scanner.book.county.addresses import Address, find_towns, read_address
from scanner.book.county.lots import Lots, plain_id

ALIKE = 0.75
"""Streets whose letters agree in this share may be one misspelled (starting value, no source)."""


@dataclass(frozen=True)
class Index:
    """Lots by what a client may say of one."""

    by_id: dict[str, int]  # lot by its id
    by_address: dict[tuple[str, str], list[int]]  # lots by house number and street
    addresses: list[Address | None]  # address of each lot; None where it has none that can be read
    towns: frozenset[str] = field(repr=False)  # towns that the layers and the client list name


def index_lots(lots: Lots, clients: pd.DataFrame) -> Index:
    """Index lots by id and by address."""
    towns = find_towns([*lots.table["address"], *clients["address"]])
    addresses = [
        read_address(text, towns=towns) if text else None for text in lots.table["address"]
    ]
    by_address: dict[tuple[str, str], list[int]] = defaultdict(list)
    for lot, address in enumerate(addresses):
        if address:
            for number in {*address.numbers, address.written}:
                by_address[number, address.street].append(lot)
    keys = enumerate(lots.table["parcel_id"].map(plain_id))
    return Index({key: lot for lot, key in keys if key}, dict(by_address), addresses, towns)


def find_equal(address: Address, index: Index) -> list[int]:
    """Find the lots that have an address: of those without the unit the only one of the house, if it has none itself."""
    near = index.by_address.get((address.written, address.street), [])
    there = ((lot, index.addresses[lot]) for lot in near)
    house = [(lot, other.unit) for lot, other in there if other and other.agrees(address)]
    equal = [lot for lot, unit in house if unit == address.unit]
    return equal or [lot for lot, unit in house if len(house) == 1 and not unit]


def bare_id(parcel_id: str) -> str:
    """Take everything but letters and digits out of an id, and leading zeros, as spreadsheets do.

    >>> bare_id("0012-004a"), bare_id("12 004A")
    ('12004A', '12004A')
    """
    return "".join(letter for letter in parcel_id.upper() if letter.isalnum()).lstrip("0")


def is_alike(street: str, other: str) -> bool:
    """Tell whether two streets may be one misspelled.

    >>> is_alike("CLOVER ST", "CLOVER LN"), is_alike("CLOVER ST", "ELM ST")
    (True, False)
    """
    return SequenceMatcher(None, street, other).ratio() >= ALIKE
