"""The call list as a spreadsheet: `calls.xlsx`, to be opened, sorted, printed and filled in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, BinaryIO

from scanner.schema.documents import Scan
from scanner.sheets.lists import CALL_LIST, LEFT_OUT, UNSEEN
from scanner.sheets.writer import Page, write_workbook

Rows = Iterable[Mapping[str, Any]]

ABOUT = (
    ("What this is", "Whom to call about an accent bed, best first: chance of a sale times gross profit."),
    ("chance", "Share of such calls that end in a sale this season; it falls with the price in years. Low and high are the ends of its 80 % range."),
    ("price_over_annual", "The price in years of what the client pays for mowing, or of what is usual where that is not known."),
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
        (*ABOUT, *_at_your_rates(scan)),
        title=f"{scan.name}, {scan.today.isoformat()}",
        author=scan.rules.company.name,
        day=scan.today,
    )


def _at_your_rates(scan: Scan) -> tuple[tuple[str, str], ...]:
    """Say what the chances rest on, and from which area on each way of stripping is the cheapest."""
    record = scan.chance_record
    rests_on = (
        f"Chances rest on {record.attempt_count} tries to reach a client, {record.talk_count} talks and "
        f"{record.quote_count} quotes on record, and on the rate book's starting values."
    )
    stripping = " ".join(
        f"{place}: {_cheapest_words(methods)}."
        for place, methods in (
            ("At a curb", scan.break_even.at_curb),
            ("Elsewhere", scan.break_even.elsewhere),
        )
    )
    return ("Chances", rests_on), ("Stripping sod", f"Cheapest at your rates. {stripping}")


def _cheapest_words(methods: tuple[tuple[str, float], ...]) -> str:
    """Name each method with the area from which on it is the cheapest."""
    first, *others = methods
    return ", ".join(
        [first[0], *(f"{method} from {area_ft2:,.0f} ft²" for method, area_ft2 in others)]
    )
