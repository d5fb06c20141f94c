"""What commands are told, each option worded once, and how a function becomes a command."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime
from functools import cached_property, wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from scanner.cli.talk import counted, say, say_unwritten, tell

if TYPE_CHECKING:
    import pandas as pd

    from scanner.cli.keeping import Scanned
    from scanner.pages.paper.sheet import Paper
    from scanner.schema.documents import Season

MOST_YEARS = 2
"""So far ahead of the clock a day may be that counts as today."""

Command = Callable[..., Any]


def _day(ctx: click.Context, param: click.Parameter, value: datetime | None) -> date:
    now = this_time().date()
    day = value.date() if value else now
    if day.year - now.year > MOST_YEARS:
        message = f"{day} is years away: what is recorded then would stand before all that comes"
        raise click.BadParameter(message, ctx, param)
    return day


def this_time() -> datetime:
    """Ask the one clock of the program: everything further in is told the day."""
    return datetime.now(UTC).astimezone()


class _DayType(click.DateTime):
    """A day, with a sentence for one that is not written or not there."""

    def __init__(self) -> None:
        super().__init__(["%Y-%m-%d"])

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> datetime:
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            self.fail(
                f"'{value}' is no day: write year, month and day, like 2026-03-02", param, ctx
            )


book_argument = click.argument(
    "book", type=click.Path(exists=True, file_okay=False, path_type=Path)
)
out_option = click.option(
    "--out", "out_folder", metavar="DIR", type=click.Path(file_okay=False, path_type=Path),
    help="Folder for what is written.  [default: maps/<book>]",
)  # fmt: skip
today_option = click.option(
    "--today", metavar="DATE", type=_DayType(), callback=_day,
    help="Day to count as today, like 2026-03-02.  [default: today]",
)  # fmt: skip


def open_day_option(*names: str, help: str) -> Callable[[Command], Command]:  # noqa: A002 - click's word
    """Make an option that takes a day, or none."""
    return click.option(
        *names, metavar="DATE", type=_DayType(), help=help,
        callback=lambda _ctx, _param, value: value.date() if value else None,
    )  # fmt: skip


json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print the result as JSON, for other programs."
)
paper_option = click.option(
    "--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True,
    help="Size of the sheets.",
)  # fmt: skip


OPTIONS = {"out": out_option, "paper": paper_option, "today": today_option, "json": json_option}


@dataclass(frozen=True)
class Asked:
    """What a command is told, whichever it is."""

    book: Path
    today: date = date.min  # of a command that asks for no day
    out_folder: Path | None = None
    paper: str = ""
    as_json: bool = False

    @property
    def folder(self) -> Path:
        """Where what is written goes."""
        return output_folder(self.out_folder, self.book)

    @cached_property
    def season(self) -> Season:
        """What the log knew when the command began, up to the day that it asks for."""
        if at_hand := scan_at_hand():
            return at_hand.season
        return season_on(self.book, date.max if self.today == date.min else self.today)

    @cached_property
    def client_list(self) -> pd.DataFrame:
        """The book's client list, table `CLIENTS`."""
        from scanner.book.clients import read_client_list

        return read_client_list(self.book)[0]

    @cached_property
    def callees(self) -> pd.DataFrame:
        """The client list, phone numbers as the office put them right."""
        from scanner.calls.forgotten import leave_uncalled
        from scanner.calls.remarks import with_remarks

        clients = with_remarks(self.client_list, self.season.remarks)
        return leave_uncalled(clients, self.season.forgotten)

    def tell_files(self, files: Iterable[Path]) -> None:
        """Name files that were written, one a line or as a list for other programs."""
        names = [str(file) for file in files]
        tell(json.dumps(names, indent=2) if self.as_json else "\n".join(names))

    def print_paper(self, paper: Paper, name: str, **others: bytes) -> None:
        """Write a printed document, and what goes beside it, and name them; letters that no face has are said."""
        from scanner.pages.publish import publish_files

        self.tell_files(publish_files(others | {name: paper.finish()}, self.folder))
        say_unwritten(paper.unwritten)


# Under this name a command's context keeps what was `Scanned`, for the commands that it runs
AT_HAND = "scanner.at_hand"


def scan_at_hand() -> Scanned | None:
    """Give the scan that the command round this one has at hand."""
    context = click.get_current_context(silent=True)
    at_hand: Scanned | None = context.meta.get(AT_HAND) if context else None
    return at_hand


def season_on(book: Path, today: date) -> Season:
    """Read what the log knows up to a day, and say what is left aside."""
    from scanner.calls.log import read_season  # help waits for no table

    season = read_season(book).until(today)
    if count := season.later_count:
        say(
            f"Left aside: {counted(count, 'entry', 'entries')} of days after {today}. Whoever asked not to be called stays "
            "left out."
        )
    return season


def command(
    *shared: str, takes_book: bool = True, words: str = ""
) -> Callable[[Callable[..., int | None]], click.Command]:
    """Make a command of a function of what is `Asked` and of options of its own; it returns whether something needs fixing.

    Without a book of its own it takes the one of its group; ``words`` stand in the group's list.
    """

    def made(function: Callable[..., int | None]) -> click.Command:
        own = vars(function).pop("__click_params__", [])

        @wraps(function)
        @click.pass_context
        def run(ctx: click.Context, /, **told: Any) -> None:  # noqa: ANN401  # as typed
            names = [field.name for field in fields(Asked) if field.name in told]
            asked = Asked(**{"book": ctx.obj} | {name: told.pop(name) for name in names})
            ctx.exit(int(bool(function(asked, **told))))

        # click counts from the last option to the first
        vars(run)["__click_params__"] = []
        for name in reversed(shared):
            OPTIONS[name](run)
        vars(run)["__click_params__"] += own
        return click.command(short_help=words or None)(book_argument(run) if takes_book else run)

    return made


def output_folder(out_folder: Path | None, book: Path) -> Path:
    """Say where the outputs of a book go.

    >>> output_folder(None, Path("books/north side")).as_posix()
    'maps/north side'
    >>> output_folder(None, Path("maps/demo-book")).as_posix()
    'maps/demo'
    """
    usual = Path("maps") / book.resolve().name
    if usual.resolve() == book.resolve():
        # A book that lies in maps itself, as the demo's does, keeps its pages beside it
        usual = usual.with_name(
            usual.name.removesuffix("-book")
            if usual.name.endswith("-book")
            else f"{usual.name}-pages"
        )
    return out_folder or usual


def named_figure(typed: str, example: str) -> tuple[str, str]:
    """Split what is written as name=figure."""
    name, mark, figure = typed.rpartition("=")
    if not mark or not name.strip() or not figure.strip():
        message = f"'{typed}' is no name and figure: write it as \"{example}\""
        raise click.BadParameter(message)
    return name.strip(), figure.strip()
