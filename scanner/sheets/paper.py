"""The writer of the calling sheet: rows as high as their text, eight a page, the same on letter and A4."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import chain
from typing import Any

from xlsxwriter import Workbook
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from scanner.sheets.call_paper import PAPER
from scanner.sheets.cells import guard
from scanner.sheets.description import Column, with_own
from scanner.sheets.writer import (
    LETTER_PAPER,
    LINE_PT,
    PAD_PT,
    PX_PER_PT,
    fit_text,
    height_pt,
    offer_checks,
    write_cell,
)

FONT = {"font_name": "Arial", "font_size": 9.5, "valign": "top", "text_wrap": True}
INK, SOFT, RULE, FAINT, ACT, HEAD = "#2B2822", "#625B4F", "#8D8473", "#D9D0BE", "#1D5160", "#F4EFE4"
OWN_LOOKS: dict[str, dict[str, object]] = {
    "number": {"bold": True, "align": "center"}, "phone": {"bold": True, "num_format": "@"}, "answer": {"font_size": 9},
    "called_on": {"num_format": "m/d/yy", "align": "left"},
}  # fmt: skip

MOST_LINES = 5
ROW_PT, HEADING_PT = MOST_LINES * LINE_PT + PAD_PT, 15.0
"""Heights of a row with room for so many lines, and of the headings [points]."""

OWN_PT = 70.0
"""Width of a column of the office's own [points]."""

HEADING = {"client": "Under way"}
"""The row above those who are under way."""

MARGINS_IN = {"left": 0.5, "right": 0.5, "top": 0.82, "bottom": 0.41}
"""On A4 they leave room for eight rows of which one is two lines higher, or has a heading above it."""
HEAD_LETTERS = 70
"""Of a company's name; a head takes 255 letters in all."""


@dataclass(frozen=True)
class PaperPage:
    """The calling sheet: rows by column of `PAPER`, the line under its title, what stands at its foot, who is under way."""

    rows: Iterable[Mapping[str, Any]]
    line: str
    foot: str
    under_way: Iterable[Mapping[str, Any]] = ()

    def write(self, workbook: Workbook, _title: str) -> None:
        """Write it as the next sheet of a workbook."""
        paper = workbook.add_worksheet(PAPER.title)
        columns, rows = with_own(PAPER, self.rows)
        looks = _Looks(workbook, columns)
        paper.set_row(0, HEADING_PT)
        for place, column in enumerate(columns):
            width_pt = column.width if column.name in PAPER.names else OWN_PT
            paper.set_column_pixels(place, place, int(width_pt * PX_PER_PT))
            paper.write_string(0, place, column.heading or fit_text(column.name), looks.heading)
        widths = [
            (column.name, column.width) for column in PAPER.columns if not column.is_filled_in
        ]
        last = 0
        for last, row in enumerate(chain(rows, self._more()), start=1):
            if row is HEADING:
                paper.set_row(last, HEADING_PT)
                for place, column in enumerate(columns):
                    heading = (looks.heading, looks.heading)
                    write_cell(paper, last, place, row.get(column.name), heading)
                continue
            texts = ((row.get(name), width) for name, width in widths)
            paper.set_row(last, max(ROW_PT, height_pt(texts)))
            for place, column in enumerate(columns):
                looks.write(paper, last, place, (column.name, row.get(column.name)))
        paper.autofilter(0, 0, last, len(columns) - 1)
        # The office's own columns stand where it wrote them and are not printed: the page stays one wide
        paper.print_area(0, 0, last, len(PAPER.columns) - 1)
        paper.freeze_panes(1, PAPER.kept_count)
        offer_checks(paper, PAPER.columns, max(last, 1))
        self._set_print(paper)

    def _more(self) -> Iterator[Mapping[str, Any]]:
        """Give who is under way, below a heading of their own."""
        for number, row in enumerate(self.under_way):
            if not number:
                yield HEADING
            yield row

    def _set_print(self, paper: Worksheet) -> None:
        line, foot = (text.replace("&", "&&") for text in (self.line, self.foot))
        paper.set_landscape()
        paper.set_paper(LETTER_PAPER)
        paper.center_horizontally()
        paper.fit_to_pages(1, 0)
        paper.repeat_rows(0)
        paper.set_margins(**MARGINS_IN)
        paper.set_header(
            f'&L&"Times New Roman,Bold"&19Calls\n&"Arial,Regular"&10 {line}'
            f'&R&"Arial,Bold"&10Caller {"_" * 22}   Date {"_" * 12}',
            {"margin": 0.28},
        )  # fmt: skip
        paper.set_footer(
            f'&L&"Arial,Regular"&8 {foot}&R&"Arial,Regular"&8Page &P of &N', {"margin": 0.24}
        )


class _Looks:
    """Formats of the sheet, made once."""

    def __init__(self, workbook: Workbook, columns: Iterable[Column]) -> None:
        lines = {"bottom": 1, "bottom_color": RULE, "left": 1, "right": 1, "left_color": FAINT, "right_color": FAINT}  # fmt: skip
        self.heading = workbook.add_format(
            FONT | {"bold": True, "bg_color": HEAD, "top": 2, "top_color": ACT, "bottom": 1, "bottom_color": INK}
        )  # fmt: skip
        self._of = {
            column.name: tuple(
                workbook.add_format(FONT | lines | OWN_LOOKS.get(column.name, {}) | quoted)
                for quoted in ({}, {"quote_prefix": True})
            )
            for column in columns
        }
        self._name = workbook.add_format(FONT | {"bold": True})
        self._street = workbook.add_format(FONT)
        self._id = workbook.add_format(FONT | {"font_color": SOFT, "font_size": 8.5})

    def write(self, paper: Worksheet, row: int, place: int, named: tuple[str, Any]) -> None:
        """Write one cell; the client's lines each in its own look."""
        name, value = named
        looks: tuple[Format, Format] = self._of[name]  # type: ignore[assignment]  # two of them
        if name != "client" or "\n" not in value:
            write_cell(paper, row, place, value, looks)
            return
        first, *middle, client_id = fit_text(value).split("\n")
        parts = [
            self._name,
            first,
            *(part for line in middle for part in (self._street, f"\n{line}")),
        ]
        paper.write_rich_string(
            row, place, *parts, self._id, f"\n{client_id}", looks[guard(value) != value]
        )
