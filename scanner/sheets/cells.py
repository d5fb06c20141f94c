"""
How single values are written into the files that people and programs open.

Text from the book is data, never a formula: a cell that a spreadsheet would run is
written with an apostrophe in front, and `unguard` takes it off again on the way in.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from itertools import islice
from typing import Any

from scanner.sheets.description import Column, Sheet, with_own
from scanner.units import usd_text

# A spreadsheet runs what starts with one of these (OWASP, "CSV injection"). Apostrophes
# in front count too, so that a guarded text and one that had its apostrophe before differ.
RUNS = r"'*[=+\-@\t\r]"
_RUNS = re.compile(RUNS)
_GUARDED = re.compile(r"'+[=+\-@\t\r]")

MEASURE_DIGITS = 2
"""Decimals of feet, square feet, hours and the like in files: a hundredth."""

SHARE_DIGITS = 4
"""Decimals of chances, and of prices in years of mowing."""

_SHARES = ("chance", "price_over")
ROWS_AT_ONCE = 1000

FACTOR_DIGITS = 6
"""Decimals of quantities and rates, so that their product gives the amount to the cent."""


_NO_TEXT = re.compile("[\x00\ud800-\udfff]")


def only_text(text: str) -> str:
    r"""Put a mark in place of what JSON, a workbook or a command line may spell out and no file of ours can hold.

    >>> only_text("a\x00b" + chr(0xD800)), only_text("Łukasz 🌱")
    ('a�b�', 'Łukasz 🌱')
    """
    return _NO_TEXT.sub("\ufffd", text)


def number_text(value: float, shown_as: str) -> str:
    """Write a number as the spreadsheet shows it: people mean what they see.

    >>> number_text(7.0, "000"), number_text(0.125, "0.0%"), number_text(17.5, "")
    ('007', '12.5%', '17.5')
    """
    if "%" in shown_as:
        return f"{value * 100:.10g}%"
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    # a cell formatted 000 shows 7 as 007, and that is the id that people know
    if isinstance(value, int) and shown_as and set(shown_as) == {"0"}:
        return str(value).zfill(len(shown_as))
    return str(value)


def guard(text: str) -> str:
    """Make a text safe to stand in a spreadsheet's cell.

    >>> guard("=1+1"), guard("+1 308 555 0109"), guard("Ada"), guard("'-")
    ("'=1+1", "'+1 308 555 0109", 'Ada', "''-")
    """
    return f"'{text}" if _RUNS.match(text) else text


def unguard(text: str) -> str:
    """Take off the apostrophe that `guard` put in front.

    >>> unguard("'=1+1"), unguard("'tis"), unguard("")
    ('=1+1', "'tis", '')
    """
    return text[1:] if _GUARDED.match(text) else text


def csv_bytes(header: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    r"""Write a table as RFC 4180 text in UTF-8.

    >>> csv_bytes(["name", "price_usd"], [["=x", usd(-500)], ["", None]])
    b"name,price_usd\r\n'=x,-5.00\r\n,\r\n"
    """
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(map(guard, header))
    writer.writerows([_csv_cell(value) for value in row] for row in rows)
    return text.getvalue().encode()


def sheet_csv(sheet: Sheet, rows: Iterable[Mapping[str, object]]) -> bytes:
    """Write the rows of a sheet, its columns first and then those that the rows have beside."""
    return b"".join(sheet_csv_pieces(sheet, rows))


def sheet_csv_pieces(sheet: Sheet, rows: Iterable[Mapping[str, object]]) -> Iterator[bytes]:
    """Write the rows of a sheet as `sheet_csv` does, a thousand at a time."""
    columns, coming = with_own(sheet, rows)
    names = [column.name for column in columns]
    head = csv_bytes(names, [])
    yield head
    while chunk := list(islice(coming, ROWS_AT_ONCE)):
        yield csv_bytes(names, ([row.get(name) for name in names] for row in chunk))[len(head) :]


def sheet_row(sheet: Sheet, known: Mapping[Any, Any]) -> dict[str, Any]:
    """Write a row of a sheet out of what is known by name: dollars of their cents, measures rounded, blanks to fill in.

    >>> from scanner.sheets.description import Column, Sheet
    >>> sheet = Sheet("Calls", (Column("price_usd"), Column("edge_ft"), Column("note", is_filled_in=True)))
    >>> sheet_row(sheet, {"price_cents": 162750, "edge_ft": 44.126, "note": "as it was"})
    {'price_usd': Decimal('1627.50'), 'edge_ft': Decimal('44.13'), 'note': ''}
    """
    return {
        column.name: "" if column.is_filled_in else _cell(column, known) for column in sheet.columns
    }


def _cell(column: Column, known: Mapping[Any, Any]) -> Any:  # noqa: ANN401  # text or a number
    name = column.name
    if name not in known:
        cents = known[f"{name.removesuffix('usd')}cents"]
        return usd(cents) if math.isfinite(cents) else None
    value = known[name]
    if not isinstance(value, float):
        return value
    if name == "stop":
        return count(value)
    return number(value, digits=SHARE_DIGITS if name.startswith(_SHARES) else MEASURE_DIGITS)


def usd(amount_cents: float) -> Decimal:
    """Turn cents into dollars with two decimals.

    >>> usd(162750)
    Decimal('1627.50')
    """
    return Decimal(usd_text(int(amount_cents)))


def number(value: float, *, digits: int = MEASURE_DIGITS) -> Decimal | None:
    """Round a measured number for a file.

    >>> number(52.004), number(float("nan")), number(-0.0001)
    (Decimal('52.00'), None, Decimal('0.00'))
    """
    if not math.isfinite(value):
        return None
    rounded = Decimal(f"{value:.{digits}f}")
    return abs(rounded) if rounded == 0 else rounded


def factor(value: float, *, least_digits: int = 0) -> Decimal:
    """Write a quantity or a rate with as many decimals as its product needs, no more.

    >>> factor(2.2222222222), factor(64.0), factor(0.165, least_digits=2), factor(28.0, least_digits=2)
    (Decimal('2.222222'), Decimal('64'), Decimal('0.165'), Decimal('28.00'))
    """
    whole, _, decimals = f"{value:.{FACTOR_DIGITS}f}".partition(".")
    decimals = decimals.rstrip("0").ljust(least_digits, "0")
    return Decimal(f"{whole}.{decimals}" if decimals else whole)


def count(value: float) -> int | None:
    """Write a number that counts something as a whole number.

    >>> count(3.0), count(float("nan"))
    (3, None)
    """
    return None if math.isnan(value) else round(value)


def yes_no(flag: object) -> str:
    """Write a flag as people write it.

    >>> yes_no(True), yes_no(False)
    ('yes', 'no')
    """
    return "yes" if flag else "no"


def json_value(value: object) -> str:
    """Write one value as JSON, decimals with all their digits.

    >>> json_value({"price_usd": usd(160000), "face": "", "low": None})
    '{"price_usd": 1600.00, "face": "", "low": null}'
    """
    if isinstance(value, dict):
        pairs = (f"{json_value(str(name))}: {json_value(part)}" for name, part in value.items())
        return "{" + ", ".join(pairs) + "}"
    if isinstance(value, Decimal):
        return str(value)
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _csv_cell(value: object) -> str:
    if value is None:
        return ""
    return guard(value) if isinstance(value, str) else str(value)
