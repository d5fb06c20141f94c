"""The materials of a week on one page: what to order, where it goes, what to settle before."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil
from typing import Any

import pandas as pd

from scanner.pages.paper.column import BLANK, TICK, WRITE_PITCH, Cell, Column, Track
from scanner.pages.paper.look import BODY, HINT, LIST
from scanner.pages.paper.sheet import Paper
from scanner.pages.plan_page import write_day
from scanner.schema.documents import Company
from scanner.schema.job_tables import BY_CREW

UNITS = {"yd3": "yd³", "ft2": "ft²", "ton": "ton", "ft": "ft", "head": "", "pot": ""}
DECIMALS = {"yd3": 1, "ton": 1, "head": 1}
ABREAST = 5
"""Materials beside each other in the table of jobs; more go into another one below."""
PART, DAY = 53.0, 56.0
"""Width of a material and of a day in that table [pt]."""
LEAST_ROOM = 40.0
"""Less room than this begins a page [pt]."""


@dataclass(frozen=True)
class OrderTables:
    """What the page of an order is made of."""

    company: Company
    week: date
    today: date
    needed_by: date
    order: pd.DataFrame  # table ORDER
    jobs: Sequence[dict[Any, Any]]  # job_id, name, address, first (day) of each
    before: Sequence[str]  # what to settle before ordering, in sentences
    file: str  # the same as csv


def draw_order(tables: OrderTables, size: tuple[float, float]) -> Paper:
    """Draw an order's pages."""
    paper = Paper(size, title=f"Materials for the week of {tables.week}")
    page = _Page(paper, tables)
    sums = _sums(tables.order)
    is_fetched = sums["sold_as"].str.endswith(BY_CREW)
    _draw_sums(page, "What to order", sums[~is_fetched], [BLANK, TICK])
    page.words(
        "Summed over all jobs, waste added once, then rounded up to what is sold."
        f" All of it is needed by {tables.needed_by:%A, %B} {tables.needed_by.day}."
    )
    if is_fetched.any():
        _draw_sums(page, "What the crews fetch: not to be ordered", sums[is_fetched], [])
        page.words("Each job's own amount stands on its sheet, and is in its hours and price.")
    _draw_jobs(page, tables)
    page.section("Before ordering")
    for at, words in enumerate(tables.before, 1):
        page.room(LEAST_ROOM + WRITE_PITCH * (at == len(tables.before)))
        page.column.to_tick(words, BODY)
    page.room(WRITE_PITCH)
    y = page.column.y
    page.column.blank("Ordered by", start=56, end=226)
    page.column.y = y
    page.column.part(250, page.column.width).blank("on", start=16, end=100)
    page.end()
    return paper


def _draw_sums(page: _Page, title: str, sums: pd.DataFrame, more: list[Cell]) -> None:
    what = _what(page.column.width, "order" if more else "load")[: 4 + len(more)]
    page.section(title, what)
    for row in sums.to_dict("records"):
        name, needed = _capital(row["material"]), amount(row["needed"], row["unit"])
        page.row(what, [name, needed, f"{row['order']:g}", row["sold_as"], *more], 17.5)


def _what(width: float, verb: str) -> tuple[Track, ...]:
    """Give the columns of what to order or load, to the width of a page [pt]."""
    return (
        Track("material", 0, 178), Track("needed, with waste", 160, 252, "right", LIST.soft),
        Track(verb, 252, 306, "right", BODY.bold.at(11)), Track("as sold", 324, width - 100),
        Track("supplier, price", width - 100, width - 24), Track("in", width - 20, width, "right"),
    )  # fmt: skip


class _Page:
    """A column that goes on overleaf, under the same head."""

    def __init__(self, paper: Paper, tables: OrderTables) -> None:
        self.paper, self.tables = paper, tables
        self.column = self._begin()

    def _begin(self) -> Column:
        tables, company = self.tables, self.tables.company
        count = len(tables.jobs)
        under = f"{count} job{'s' * (count != 1)} sold · needed by {write_day(tables.needed_by)}"
        right = (company.name, company.phone, f"printed {write_day(tables.today)}")
        y = self.paper.head(f"Materials for the week of {write_day(tables.week)}", under, right)
        return Column.full(self.paper, y)

    def room(self, needed: float = LEAST_ROOM) -> None:
        if self.column.room < needed:
            self.end()
            self.paper.next_page()
            self.column = self._begin()

    def end(self) -> None:
        self.paper.foot(
            f"The same figures as a table: {self.tables.file}", f"Page {self.paper.page}"
        )

    def section(self, words: str, tracks: Sequence[Track] = ()) -> None:
        self.room(2 * LEAST_ROOM)
        self.column.section(words)
        if tracks:
            self.column.heads(tracks)

    def row(
        self,
        tracks: Sequence[Track],
        cells: Sequence[Cell],
        pitch: float = 16.0,
        *,
        bold: bool = False,
    ) -> None:
        self.room()
        self.column.row(tracks, cells, bold=bold, pitch=pitch)

    def words(self, text: str) -> None:
        self.column.gap(3)
        self.column.words(text, HINT)
        self.column.gap(4)


def _draw_jobs(page: _Page, tables: OrderTables) -> None:
    sums, by_job = _sums(tables.order), tables.order.set_index(["material", "job_id"])["needed"]
    names = sums["material"].tolist()
    page.section("Where it goes")
    for shown in _split(names):
        units = sums.set_index("material").loc[shown, "unit"]
        width = page.column.width
        tracks = [
            Track("day", 0, DAY), Track("job", DAY, width - PART * len(shown)), *_columns(shown, width)
        ]  # fmt: skip
        page.room(2 * LEAST_ROOM)
        page.column.heads(tracks)
        for job in tables.jobs:
            cells = [_cell(by_job.get((name, job["job_id"])), units[name]) for name in shown]
            page.row(
                tracks,
                [
                    f"{job['first']:%a %b} {job['first'].day}",
                    f"{job['name']}, {job['address'].partition(',')[0]}",
                    *cells,
                ],
            )
        page.column.rule()
        totals = [_cell(by_job[name, ""], units[name]) for name in shown]
        page.row(tracks, ["", "all", *totals], bold=True)
        page.column.gap(4)
    page.words(", ".join(_in_units(sums.set_index("material")["unit"])))


def _split(names: list[str]) -> list[list[str]]:
    """Deal materials to as few tables as hold them, about as many to each.

    >>> _split(["a", "b", "c", "d", "e", "f"])
    [['a', 'b', 'c'], ['d', 'e', 'f']]
    """
    each = ceil(len(names) / ceil(len(names) / ABREAST))
    return [names[start : start + each] for start in range(0, len(names), each)]


def _columns(names: Sequence[str], width: float) -> list[Track]:
    ends = [width - PART * (len(names) - 1 - at) for at in range(len(names))]
    return [
        Track(name, end - PART + 4, end, "right") for name, end in zip(names, ends, strict=True)
    ]


def _in_units(units: pd.Series[str]) -> Iterator[str]:
    told = {"pot": "plants in pots", "head": "sprinkler parts in sets"}
    yield from dict.fromkeys(
        told.get(unit) or f"{name} in {'tons' if unit == 'ton' else UNITS[unit]}"
        for name, unit in units.items()
    )


def _sums(order: pd.DataFrame) -> pd.DataFrame:
    return order[order["job_id"] == ""]


def amount(needed: float, unit: str) -> str:
    """Write how much is needed.

    >>> amount(8, "yd3"), amount(77, "ft"), amount(17, "pot")
    ('8.0 yd³', '77 ft', '17')
    """
    return f"{needed:,.{DECIMALS.get(unit, 0)}f} {UNITS[unit]}".strip()


def _cell(needed: float | None, unit: str) -> str:
    return "–" if needed is None else f"{needed:,.{DECIMALS.get(unit, 0)}f}"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
