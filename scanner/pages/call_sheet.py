"""The call list as a spreadsheet: `calls.xlsx`, to be opened, sorted, printed and filled in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import isfinite
from typing import Any, BinaryIO

from scanner.schema.documents import BreakEven, Scan
from scanner.sheets.lists import CALL_LIST, LEFT_OUT, UNSEEN
from scanner.sheets.writer import Page, write_workbook

Rows = Iterable[Mapping[str, Any]]

ABOUT = (
    ("What this is", "Whom to call about a planted bed, best first: chance of a sale times gross profit."),
    ("chance", "Share of such calls that end in a sale this season; low and high are the ends of its 80 % range."),
    ("chance_calls", "Clients called in a year on record that the chance rests on; 0: on the rate book alone."),
    ("price", "Quick price before tax, from the lot's outline. It is not a quote: measure on the visit."),
    ("price low and high", "What the price may come to once the lot is measured."),
    ("crew_days", "Labor hours over the crew's hours in a day."),
    ("confirmed", "yes: drawn lawn, measured edge or a look by the crew. no: look first."),
    ("To fill in", "The shaded columns, after each call. Keep the other columns as they are."),
    ("Before a call", "Call between 8 in the morning and 9 in the evening at the client's place; some states stop "
                      "earlier. Whoever asked not to be called is on the second sheet."),
    ("Before digging", "Call the locating service. Ask for the permit where a bed lies in the right-of-way. Keep sight "
                       "lines, walls, roots and hydrants clear. Local codes and licensed practice go first."),
)  # fmt: skip


def calls_xlsx(file: BinaryIO, scan: Scan, rows: Rows, left_out: Rows, unseen: Rows = ()) -> None:
    """
    Write `calls.xlsx`.

    Parameters
    ----------
    file
        Where it goes.
    scan
        Day of the scan, name of the company.
    rows
        What `call_rows` gives: the first sheet.
    left_out
        What `left_out_rows` gives: the second sheet.
    unseen
        What `unseen_rows` gives: the third sheet.
    """
    write_workbook(
        file,
        (Page(CALL_LIST, rows), Page(LEFT_OUT, left_out), Page(UNSEEN, unseen)),
        (*ABOUT, ("Stripping sod", _stripping_words(scan.break_even))),
        title=f"{scan.name}, {scan.today.isoformat()}",
        author=scan.rules.company.name,
        day=scan.today,
    )


def _stripping_words(break_even: BreakEven) -> str:
    """Say from which area on each machine is cheaper than digging by hand."""
    areas = (("a sod cutter", break_even.cutter_ft2), ("a loader", break_even.loader_ft2))
    parts = [
        f"{machine} from about {area_ft2:,.0f} ft²" if isfinite(area_ft2) else f"{machine} never"
        for machine, area_ft2 in areas
    ]
    return f"At your rates digging by hand is cheapest for small beds; {', '.join(parts)} a day."
