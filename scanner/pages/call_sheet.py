"""The call list as a spreadsheet: `calls.xlsx`, to be opened, sorted, printed and filled in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from typing import Any, BinaryIO

from scanner.pages.call_list import under_way_rows
from scanner.pages.said import last_words, next_words
from scanner.pages.summary import machine_words
from scanner.schema.documents import FINISH_WORDS, FINISHES, Scan
from scanner.sheets.call_paper import PAPER, TICKS, TICKS_UNDER_WAY
from scanner.sheets.days import short_day
from scanner.sheets.lists import CALL_LIST, LEFT_OUT
from scanner.sheets.paper import HEAD_LETTERS, MOST_LINES, PaperPage
from scanner.sheets.writer import Page, line_count, write_workbook
from scanner.units import usd_said

Rows = Iterable[Mapping[str, Any]]

FOOT = "Prices before tax, good once measured. Not on the list, with the reason: sheet Left out."
TRIMMING = "No more trimming there."
DAY_LETTERS = 3

ABOUT = (
    ("What this is", "Whom to call about an accent bed, best first: chance of a sale times gross profit."),
    ("chance", "Share of such calls that end in a sale this season; it falls with the price in years. Low and high are the ends of its 80 % range."),
    ("price_over_annual", "The price in years of what the client pays for mowing, or of what is usual where that is not known."),
    ("price", "Quick price before tax, from the lot's outline. It is not a quote: measure on the visit."),
    ("price low and high", "What the price may come to once the lot is measured."),
    ("crew_days", "Labor hours over the crew's hours in a day."),
    ("confirmed", "yes: drawn lawn, measured edge or a look by the crew. no: look first."),
    ("To fill in", "After each call: day, answer, note and next on the first sheet, or the shaded columns of Figures. A date at the start of Next is the day of the next call."),
    ("Before a call", "Call between 8 in the morning and 9 in the evening at the client's place; some states stop "
                      "earlier. Whoever asked not to be called is on the third sheet."),
    ("Before digging", "Ask for the permit where a bed lies in the right-of-way. Keep sight "
                       "lines, walls, roots and hydrants clear. Local codes and licensed practice go first."),
)  # fmt: skip


def calls_xlsx(file: BinaryIO, scan: Scan, rows: Rows, left_out: Rows) -> None:
    """Write `calls.xlsx` of `call_rows` (paper, and all columns on the second sheet) and `left_out_rows`."""
    company = scan.rules.company.name
    paper = PaperPage(
        paper_rows(rows, today=scan.today),
        list_line(company or scan.name, scan.today),
        FOOT,
        paper_under_way(scan),
    )
    write_workbook(
        file,
        (paper, Page(CALL_LIST, rows), Page(LEFT_OUT, left_out)),
        ("Assumptions", (*ABOUT, *_at_your_rates(scan))),
        title=f"{scan.name}, {scan.today.isoformat()}",
        author=company,
        day=scan.today,
    )


def paper_rows(rows: Iterable[Mapping[str, Any]], *, today: date) -> Iterator[dict[str, Any]]:
    """Put the rows of the call list into the columns of the sheet."""
    for row in rows:
        said = filter(None, (_promised(row, today), last_words(row, today)))
        yield {
            "number": row["rank"],
            **_callee(row),
            "what_to_say": short_say(row["say"]),
            "if_asked": _if_asked(row),
            "last_said": "\n".join(said),
            "answer": TICKS,
            **{name: value for name, value in row.items() if is_own(name)},
        }


def paper_under_way(scan: Scan) -> Iterator[dict[str, Any]]:
    """Put who is under way into the columns of the sheet: no number, no new offer, but the next step."""
    for row in under_way_rows(scan):
        step = next_words(row, scan.today)
        yield {
            **_callee(row),
            "what_to_say": "\n".join(filter(None, (f"{row['words'][0].upper()}{row['words'][1:]}.", step, row["offer"]))),
            "last_said": last_words(row, scan.today),
            "answer": TICKS_UNDER_WAY,
            **{name: text for name, text in row["own"].items() if is_own(name)},
        }  # fmt: skip


def _callee(row: Mapping[str, Any]) -> dict[str, str]:
    return {
        "client": "\n".join(filter(None, (row["name"], row["address"], row["client_id"]))),
        "phone": row["phone"],
        "route": "\n".join(filter(None, (row["route"], row["mow_day"][:DAY_LETTERS]))),
    }


def is_own(name: str) -> bool:
    """Whether a column is none of ours, and its heading none of the paper's."""
    return name not in CALL_LIST.names and not PAPER.knows([name])


def short_say(say: str) -> str:
    """Take from what is said what finds no room in a row: first the trimming, then the larger job."""
    for text in (say, plain := say.replace(f" {TRIMMING}", ""), plain.partition(" With ")[0]):
        if line_count(text, PAPER["what_to_say"].width) <= MOST_LINES:
            break
    return text


def _promised(row: Mapping[str, Any], today: date) -> str:
    due = f"Due {short_day(row['due_date'], today)}" if row["due_date"] else ""
    return ": ".join(filter(None, (due, row["due_action"])))


def _if_asked(row: Mapping[str, Any]) -> str:
    prices = {finish: row[f"price_{finish}_usd"] for finish in FINISHES if finish != row["finish"]}
    return "\n".join(
        f"{FINISH_WORDS[finish]} {usd_said(int(price * 100))}"
        for finish, price in prices.items()
        if price
    )


def list_line(company: str, day: date) -> str:
    """Say whose list it is, and of which day."""
    of = f"list of {day:%B} {day.day}, {day.year}"
    return " · ".join(filter(None, (company[:HEAD_LETTERS], of, "best call first")))


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
    return (
        *scan.assumptions,
        ("Right-of-way", _permit_words(scan)),
        ("Chances", rests_on),
        ("Stripping sod", f"Cheapest at your rates. {stripping}"),
        *(("Rent or own", machine_words(use)) for use in scan.machines),
    )


def _permit_words(scan: Scan) -> str:
    listed = scan.offers["offer_id"].isin(scan.calls.loc[scan.calls["left_out"] == "", "offer_id"])
    own, area = (scan.offers.loc[listed, name].sum() for name in ("right_of_way_ft2", "area_ft2"))
    return (
        f"{own:,.0f} of the {area:,.0f} ft² that the calls open with lie between lot line and curb: ask the city "
        "for the permit before you quote."
    )


def _cheapest_words(methods: tuple[tuple[str, float], ...]) -> str:
    first, *others = methods
    return ", ".join(
        [first[0], *(f"{method} from {area_ft2:,.0f} ft²" for method, area_ft2 in others)]
    )
