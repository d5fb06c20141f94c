"""Write it down: ``record`` takes calls, checklists, visits, quotes and jobs into the log, a line or a sheet."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path

import click

from scanner.calls.entry_kinds import ANSWER
from scanner.calls.log import open_log
from scanner.cli.batches import Batch
from scanner.cli.options import Asked, book_argument, command, named_figure
from scanner.cli.record_job import job
from scanner.cli.recording import record_rows, record_sheet
from scanner.cli.rows import show_problems
from scanner.cli.sold import letter, quote, schedule, ticket
from scanner.cli.talk import say
from scanner.cli.who import whom
from scanner.schema.log_tables import OUTCOMES
from scanner.sheets.filled import MOST_USD, VISIT_SHEET
from scanner.sheets.grids import WORKBOOKS
from scanner.sheets.lists import CALL_LIST
from scanner.sheets.problems import Problem, list_problems
from scanner.sheets.reader import typed_rows
from scanner.units import cents_from_usd


class Record(click.Group):
    """A group of words; any other one is a sheet that somebody filled in.

    What erases a person looks into pages and scans: it is loaded when it is asked for.
    """

    def list_commands(self, ctx: click.Context) -> list[str]:
        """List the words in the order in which they were added."""
        return [*super().list_commands(ctx), "forget"]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Load the word that is asked for."""
        if cmd_name != "forget":
            return super().get_command(ctx, cmd_name)
        command: click.Command = import_module("scanner.cli.forget").forget
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Take what is no word of ours for the name of a sheet."""
        if args[0] not in self.list_commands(ctx) and not args[0].startswith("-"):
            return "sheet", self.commands["sheet"], args
        return super().resolve_command(ctx, args)


@click.group(
    cls=Record,
    subcommand_metavar="SHEET | calls … | visit … | quote … | schedule … | ticket … | letter … | job … | undo [NUMBER] | forget WHO",
)
@book_argument
@click.pass_context
def record(ctx: click.Context, book: Path) -> None:
    """Write down in BOOK what was said, seen, sold and built.

    SHEET is a call list, checklist, sheet of visits, sales, jobs or letters that was filled in, .xlsx, .ods or .csv;
    recording one twice changes nothing. Faulty rows are listed, the rest is recorded.
    """
    ctx.obj = book


@command("today", "json", takes_book=False)
@click.argument("path", type=click.Path(path_type=Path), metavar="SHEET")
def sheet(asked: Asked, path: Path) -> int:
    """Record a sheet that was filled in."""
    # The list lies with the pages unless it was carried away to be filled in
    places = [path, asked.folder / path.name]
    there = next((place for place in places if place.is_file()), None)
    if there is None:
        message = (
            f"there is no file {path} here or in {places[1].parent}: name a filled-in sheet with its folder, or one of "
            "calls, visit, quote, schedule, ticket, letter, job, undo"
        )
        raise click.UsageError(message)
    if there.suffix.lower() not in (".csv", *WORKBOOKS):
        message = (
            f"{there.name} is no .csv, .xlsx or .ods: save it as one of these from the spreadsheet"
        )
        raise click.UsageError(message)
    say(f"Reading {there}")
    return record_sheet(there, asked)


@command("today", "json", takes_book=False, words="One call: the client and how it ended.")
@click.argument("who")
@click.argument("outcome", nargs=-1, required=True, metavar="OUTCOME")
@click.option("--on", "called_on", metavar="DATE", help="Day of the call.  [default: today]")
@click.option("--note", metavar="TEXT", default="", help="What was said.")
@click.option("--action", metavar="TEXT", default="", help="What is to be done next.")
@click.option("--next", "next_date", metavar="DATE", default="", help="When to call next.")
@click.option("--bed", "bed_ids", metavar="ID", multiple=True, help="Bed it was about.")
@click.option(
    "--price",
    "price_usd",
    metavar="USD",
    type=click.FloatRange(0, MOST_USD, min_open=True),
    help="Price that was quoted or sold for, before tax.",
)
def calls(
    asked: Asked,
    who: str,
    outcome: tuple[str, ...],
    called_on: str | None,
    note: str,
    action: str,
    next_date: str,
    bed_ids: tuple[str, ...],
    price_usd: float | None,
) -> int:
    """Record one call to WHO (id, name or phone number) that ended in OUTCOME, or a note."""
    if price_usd and " ".join(outcome) not in PRICED:
        message = f"--price goes with one of {', '.join(PRICED)}"
        raise click.UsageError(message)
    row = {
        "client_id": whom(asked, who), "outcome": " ".join(outcome), "note": note, "next_action": action,
        "called_on": called_on or asked.today.isoformat(), "next_date": next_date,
        "bed_ids": " ".join(bed_ids),
    }  # fmt: skip
    rows = typed_rows(CALL_LIST, row).assign(price_cents=cents_from_usd(price_usd or 0.0))
    return record_rows("calls", rows, asked)


PRICED = ("quoted", "sold")
"""Outcomes with which a price is told."""

calls.help = f"{calls.help}\n\nOUTCOME is one of: {', '.join(OUTCOMES)}; or note: words or a day to keep, and no call."


@command("today", "json", takes_book=False, words="One visit: the client and what was measured.")
@click.argument("who")
@click.argument("blanks", nargs=-1, metavar="[BLANK=VALUE]...")
@click.option("--on", "visited_on", metavar="DATE", help="Day of the visit.  [default: today]")
@click.option("--by", "visited_by", metavar="TEXT", default="", help="Who went.")
@click.option("--note", metavar="TEXT", default="", help="What was seen and said.")
@click.option(
    "--edge", "edges", metavar="ALONG=FEET", multiple=True, help="Edge measured, openings left out."
)
@click.option(
    "--room", "rooms", metavar="ALONG=FEET", multiple=True, help="Depth of lawn along it."
)
def visit(
    asked: Asked,
    who: str,
    blanks: tuple[str, ...],
    visited_on: str | None,
    visited_by: str,
    note: str,
    edges: tuple[str, ...],
    rooms: tuple[str, ...],
) -> int:
    """Record a visit to WHO (id, name or phone number), and the edges measured on it.

    All edges of a kind belong together: --edge curb=42.5 --edge curb=18 for a curb on both
    sides of a drive. They stand in for the edges of that kind from drawings.

    BLANK is the name of a blank as the visit sheet prints it: "length A=17.5" slope=flat
    heads=2 "who decides=her son". Each bed is corrected by its own length; one that is not
    typed stays as it is drawn, or as it was measured before.
    """
    depth = dict(named_figure(typed, "curb=6") for typed in rooms)
    measured = [named_figure(typed, "curb=42.5") for typed in edges]
    if strange := sorted(depth.keys() - {along for along, _ in measured}):
        message = f"--room {strange[0]}: no --edge {strange[0]} goes with it"
        raise click.UsageError(message)
    head = {
        "client_id": whom(asked, who), "visited_on": visited_on or asked.today.isoformat(),
        "visited_by": visited_by, "note": note,
    }  # fmt: skip
    pieces = [
        {"along": along, "length_ft": feet, "room_ft": depth.get(along, "")}
        for along, feet in measured
    ]
    more, sentences = list[Batch](), list[str]()
    if blanks:
        edges_told, more, sentences, problems = _take_blanks(asked, head, blanks)
        if problems:
            show_problems(list_problems(problems), as_json=False)
            return len(problems)
        if both := sorted(
            {edge["along"] for edge in edges_told} & {along for along, _ in measured}
        ):
            message = f"the {both[0]} is measured by letter and by --edge: type it one way"
            raise click.UsageError(message)
        pieces += edges_told
    rows = typed_rows(VISIT_SHEET, head, *(head | piece for piece in pieces))
    if whole := ", ".join(dict.fromkeys(along for along, _ in measured)):
        say(f"What was measured counts as all of the {whole}: name every piece of it in one visit.")
    fault_count = record_rows("visits", rows, asked, more=more)
    for sentence in sentences:
        say(f"{sentence}.")
    return fault_count + any("is not in plants.toml" in sentence for sentence in sentences)


def _take_blanks(
    asked: Asked, head: dict[str, str], blanks: tuple[str, ...]
) -> tuple[list[dict[str, str]], list[Batch], list[str], list[Problem]]:
    """Take the blanks of a sheet: edges measured, answers, sentences to say; what answers no question goes into the note."""
    # what only a sheet's blanks ask for need not be loaded otherwise
    from scanner.cli.typed_blanks import take_blanks

    clients = asked.callees.set_index("client_id", drop=False)
    client = clients.loc[head["client_id"]].to_dict()
    told = take_blanks(asked, client, blanks, visited_on=head["visited_on"])
    head["note"] = "; ".join(filter(None, (head["note"], told.note)))
    return told.edges, [(ANSWER, told.answers, None)], told.more, told.problems


@command(
    "today", takes_book=False, words="Take back what was recorded last, or an entry by its number."
)
@click.argument("number", type=click.IntRange(min=1), required=False)
def undo(asked: Asked, number: int | None) -> int:
    """Take back all that the last command recorded, or the one entry of NUMBER; it stays in the log with its reversal.

    The number was told when the entry was recorded.
    """
    with open_log(asked.book, today=asked.today) as log:
        words = log.undo(number)
    if not words:
        say("There is no entry to take back.")
        return 1
    more = len(words) - MOST_TOLD
    told = [*words[:MOST_TOLD], *([f"{more} more"] if more > 0 else [])]
    count = f"{len(words)} entries recorded together: " if len(words) > 1 else ""
    say(
        f"Taken back: {count}{'; '.join(told)}. If it stands in a sheet, clear it there, too, or it is recorded again with that."
    )
    return 0


MOST_TOLD = 12
"""So many of the entries that are taken back are named one by one."""

sheet.hidden = True
for _word in (sheet, calls, visit, undo, job, quote, schedule, ticket, letter):
    record.add_command(_word)
