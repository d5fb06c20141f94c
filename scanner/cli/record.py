"""Write it down: ``record`` takes calls, checklists, visits, quotes and jobs into the log, a line or a sheet."""

from __future__ import annotations

from datetime import date
from importlib import import_module
from pathlib import Path

import click

from scanner.calls.entry_kinds import ANSWER
from scanner.calls.log import open_log, read_season
from scanner.cli.batches import Batch
from scanner.cli.options import (
    book_argument,
    json_option,
    named_figure,
    output_folder,
    today_option,
)
from scanner.cli.record_job import job
from scanner.cli.recording import record_rows, record_sheet
from scanner.cli.rows import show_problems
from scanner.cli.sold import letter, quote, schedule, ticket
from scanner.cli.talk import say
from scanner.cli.who import find_client, read_callees
from scanner.schema.log_tables import OUTCOMES
from scanner.sheets.filled import MOST_USD, VISIT_SHEET
from scanner.sheets.grids import WORKBOOKS
from scanner.sheets.lists import CALL_LIST
from scanner.sheets.problems import list_problems
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


@record.command("sheet", hidden=True)
@click.argument("sheet", type=click.Path(path_type=Path))
@today_option
@json_option
@click.pass_context
def record_file(ctx: click.Context, sheet: Path, today: date, as_json: bool) -> None:
    """Record a sheet that was filled in."""
    book: Path = ctx.obj
    # The list lies with the pages unless it was carried away to be filled in
    places = [sheet, output_folder(None, book) / sheet.name]
    path = next((place for place in places if place.is_file()), None)
    if path is None:
        message = (
            f"there is no file {sheet} here or in {places[1].parent}: name a filled-in sheet with its folder, or one of "
            "calls, visit, quote, schedule, ticket, letter, job, undo"
        )
        raise click.UsageError(message, ctx)
    if path.suffix.lower() not in (".csv", *WORKBOOKS):
        message = (
            f"{path.name} is no .csv, .xlsx or .ods: save it as one of these from the spreadsheet"
        )
        raise click.UsageError(message, ctx)
    say(f"Reading {path}")
    ctx.exit(record_sheet(path, book, today=today, as_json=as_json))


@record.command(short_help="One call: the client and how it ended.")
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
@today_option
@json_option
@click.pass_context
def calls(
    ctx: click.Context,
    who: str,
    outcome: tuple[str, ...],
    called_on: str | None,
    note: str,
    action: str,
    next_date: str,
    bed_ids: tuple[str, ...],
    price_usd: float | None,
    today: date,
    as_json: bool,
) -> None:
    """Record one call to WHO (id, name or phone number) that ended in OUTCOME."""
    if price_usd and " ".join(outcome) not in PRICED:
        message = f"--price goes with one of {', '.join(PRICED)}"
        raise click.UsageError(message, ctx)
    row = {
        "client_id": _whom(ctx, who), "outcome": " ".join(outcome), "note": note, "next_action": action,
        "called_on": called_on or today.isoformat(), "next_date": next_date,
        "bed_ids": " ".join(bed_ids),
    }  # fmt: skip
    rows = typed_rows(CALL_LIST, row).assign(price_cents=cents_from_usd(price_usd or 0.0))
    ctx.exit(record_rows("calls", rows, ctx.obj, today=today, as_json=as_json))


PRICED = ("quoted", "sold")
"""Outcomes with which a price is told."""

calls.help = f"{calls.help}\n\nOUTCOME is one of: {', '.join(OUTCOMES)}."


@record.command(short_help="One visit: the client and what was measured.")
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
@today_option
@json_option
@click.pass_context
def visit(
    ctx: click.Context,
    who: str,
    blanks: tuple[str, ...],
    visited_on: str | None,
    visited_by: str,
    note: str,
    edges: tuple[str, ...],
    rooms: tuple[str, ...],
    today: date,
    as_json: bool,
) -> None:
    """Record a visit to WHO (id, name or phone number), and the edges measured on it.

    All edges of a kind belong together: --edge curb=42.5 --edge curb=18 for a curb on both
    sides of a drive. They stand in for the edges of that kind from drawings.

    BLANK is the name of a blank as the visit sheet prints it: "length A=17.5" slope=flat
    heads=2 "who decides=her son". Lengths of the other beds of a kind stay as drawn.
    """
    depth = dict(named_figure(typed, "curb=6") for typed in rooms)
    measured = [named_figure(typed, "curb=42.5") for typed in edges]
    if strange := sorted(depth.keys() - {along for along, _ in measured}):
        message = f"--room {strange[0]}: no --edge {strange[0]} goes with it"
        raise click.UsageError(message, ctx)
    head = {
        "client_id": _whom(ctx, who), "visited_on": visited_on or today.isoformat(),
        "visited_by": visited_by, "note": note,
    }  # fmt: skip
    pieces = [
        {"along": along, "length_ft": feet, "room_ft": depth.get(along, "")}
        for along, feet in measured
    ]
    more, sentences = list[Batch](), list[str]()
    if blanks:
        edges_told, more, sentences = _take_blanks(ctx, head, blanks, today=today)
        pieces += edges_told
    rows = typed_rows(VISIT_SHEET, head, *(head | piece for piece in pieces))
    if whole := ", ".join(dict.fromkeys(along for along, _ in measured)):
        say(f"What was measured counts as all of the {whole}: name every piece of it in one visit.")
    code = record_rows("visits", rows, ctx.obj, today=today, as_json=as_json, more=more)
    for sentence in sentences:
        say(f"{sentence}.")
    is_unlisted = any("is not in plants.toml" in sentence for sentence in sentences)
    ctx.exit(max(code, int(is_unlisted)))


def _take_blanks(
    ctx: click.Context, head: dict[str, str], blanks: tuple[str, ...], *, today: date
) -> tuple[list[dict[str, str]], list[Batch], list[str]]:
    """Take the blanks of a sheet: edges measured, answers, sentences to say; what answers no question goes into the note."""
    # what only a sheet's blanks ask for need not be loaded otherwise
    from scanner.cli.typed_blanks import take_blanks

    clients = read_callees(ctx.obj, read_season(ctx.obj)).set_index("client_id", drop=False)
    told = take_blanks(
        ctx.obj, clients.loc[head["client_id"]].to_dict(), blanks,
        visited_on=head["visited_on"], today=today,
    )  # fmt: skip
    if told.problems:
        show_problems(list_problems(told.problems), as_json=False)
        ctx.exit(1)
    head["note"] = "; ".join(filter(None, (head["note"], told.note)))
    return told.edges, [(ANSWER, told.answers, None)], told.more


@record.command(short_help="Take an entry back: the last one, or that of a number.")
@click.argument("number", type=click.IntRange(min=1), required=False)
@today_option
@click.pass_context
def undo(ctx: click.Context, number: int | None, today: date) -> None:
    """Take the last entry back, or that of NUMBER; it stays in the log with its reversal.

    The number was told when the entry was recorded.
    """
    with open_log(ctx.obj, today=today) as log:
        words = log.undo(number)
    say(
        f"Taken back: {words}. If it stands in a sheet, clear it there, too, or it is recorded again with that."
        if words
        else "There is no entry to take back."
    )
    ctx.exit(0 if words else 1)


def _whom(ctx: click.Context, who: str) -> str:
    return find_client(who, read_callees(ctx.obj, read_season(ctx.obj)))


for _word in (job, quote, schedule, ticket, letter):
    record.add_command(_word)
