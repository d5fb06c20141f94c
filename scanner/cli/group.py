"""The command ``bed-scanner`` itself: its list of commands, and errors told as sentences."""

from __future__ import annotations

import gc
import os
import sys
import tempfile
import traceback
from importlib import import_module
from pathlib import Path
from typing import Any

import click

from scanner import __version__
from scanner.cli.talk import harmless, say
from scanner.errors import InputError, LogError, WorkerError

COMMANDS = {
    "new": ("get_in", "Start a book: a folder with templates, filled in as an example."),
    "assemble": ("county_layers", "Make a book's sites of open county or city layers."),
    "trace": ("trace", "Make the page in which lots are drawn by hand."),
    "checklist": ("crew_sheets", "Print what crews look at on each lot, stop by stop."),
    "check": ("get_in", "List everything in a book that needs fixing."),
    "scan": ("find", "Find, price and rank the beds of a book; write the map and the lists."),
    "demo": ("demo", "Make every page of the sample book, to see what comes out."),
    "explain": ("explain", "Write any price of a client out, line by line."),
    "week": ("week", "Make the page that a week is opened with."),
    "calls": ("calls", "List whom to call today: call-backs that are due, then by rank."),
    "client": (
        "client",
        "Tell one client's whole story: lot, beds, offer, what was said, what is next.",
    ),
    "sketch": ("sketch", "Draw the beds of clients to scale, a page each."),
    "visit": ("visit", "Print the sheet to take along on a visit."),
    "quote": ("quote", "Write the quote that a client signs, and keep it in the log."),
    "record": ("record", "Write down calls, checklists, visits and jobs, a line or a whole sheet."),
    "jobsheet": ("jobsheet", "Print the sheet of a sold job for its crew."),
    "order": ("order", "Sum up the materials of the jobs of a week."),
    "promo": ("promo", "Say whom to call this week so that the crews' free weeks fill."),
    "forecast": ("plan", "Tell what the months to come may bring, and what can be built."),
    "calibrate": ("calibrate", "Set the rates against what the built jobs really took."),
    "care": ("upkeep", "List next spring's mulch and weeding of the beds that are there."),
}
"""Every command in the order of the story: the module that it stands in, and what it does."""


class StoryGroup(click.Group):
    """A group that lists its commands in the order of the story and tells errors as sentences.

    A command's module is loaded when the command is run: a list of calls need not wait for the
    geometry that a scan needs, and help waits for nothing.
    """

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002  # click's signature
        """List the commands in the order of use."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002  # likewise
        """Load the module in which a command stands."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = getattr(
            import_module(f"scanner.cli.{COMMANDS[cmd_name][0]}"), cmd_name
        )
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002  # likewise
        """Write the list of commands for ``--help``, none of them loaded."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, words) for name, (_, words) in COMMANDS.items()])

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Refuse what was typed in letters of another encoding: no file could hold it."""
        try:
            "".join(args).encode()
        except UnicodeEncodeError as err:
            message = (
                "what was typed holds letters that are not UTF-8: type it anew, or rename the file"
            )
            raise click.UsageError(message, ctx) from err
        return super().parse_args(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401  # click's signature
        """Run a command; what someone can fix becomes a sentence and exit code 1."""
        gc.set_threshold(*SELDOM)
        try:
            return super().invoke(ctx)
        except (InputError, LogError) as err:
            say(f"Cannot go on: {err}")
            raise click.exceptions.Exit(1) from err
        except WorkerError as err:
            say(f"Stopped: {err}")
            raise click.exceptions.Exit(UNFORESEEN) from err
        except PermissionError as err:
            # Nearly always a list that is still open in a spreadsheet program.
            say(f"Cannot go on: {err.filename} is locked. Close it elsewhere, then try again.")
            raise click.exceptions.Exit(1) from err
        except click.ClickException as err:
            vars(err)["message"] = harmless(err.message)
            raise
        except (click.exceptions.Exit, click.exceptions.Abort, BrokenPipeError):
            raise
        except Exception as err:
            if ctx.params["debug"]:
                raise
            say(
                "Stopped by something that was not foreseen. Nothing that a command writes is left half done. What "
                f"happened, without a word of the book, is in {_report(err)}: please send it to whoever keeps this program."
            )
            raise click.exceptions.Exit(UNFORESEEN) from err


def _report(err: Exception) -> Path:
    """Write down where the program stopped: kinds of errors, files of programs and lines, no text of theirs."""
    lines = [f"bed-scanner {__version__}, Python {sys.version.split()[0]}, {sys.platform}"]
    cause: BaseException | None = err
    while cause is not None:
        lines.append(type(cause).__name__)
        frames = traceback.extract_tb(cause.__traceback__)
        lines += [
            f"  {Path(frame.filename).name}, line {frame.lineno}, {frame.name}" for frame in frames
        ]
        cause = cause.__cause__ or cause.__context__
    number, name = tempfile.mkstemp(prefix="bed-scanner-report-", suffix=".txt")
    with os.fdopen(number, "w", encoding="utf-8") as file:
        file.write("\n".join(lines) + "\n")
    return Path(name)


SELDOM = (20_000, 20, 20)
"""How often garbage is collected: as Python has it, that took a seventh of a scan, and no less memory was held."""

UNFORESEEN = 3
"""Exit code of what nobody could foresee: memory ran out, a process was ended."""


@click.group(name="bed-scanner", cls=StoryGroup, context_settings={"max_content_width": 100})
@click.version_option(__version__, prog_name="bed-scanner")
@click.option("--debug", is_flag=True, help="Show where an error that was not foreseen came from.")
def main(debug: bool) -> None:
    """Find, size, price and rank accent beds on the lots that you mow.

    A book is one folder with your client list and your lots. Begin with
    "bed-scanner demo", then "bed-scanner new my-book".

    Exit code: 0 done, 1 the input needs fixing, 2 wrong usage, 3 unforeseen.
    """
