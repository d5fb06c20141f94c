"""Try it: ``demo`` plays four weeks of the sample company's season, then makes every page."""

from __future__ import annotations

import contextlib
import io
import shlex
import sys
from collections.abc import Iterable
from datetime import date
from pathlib import Path

import click

from scanner.cli.options import json_option, open_day_option, out_option
from scanner.cli.sample import copy_sample_book, sample_folder
from scanner.cli.talk import say

DEMO_FOLDER = Path("maps") / "demo"
SAMPLE_DAY = date(2026, 3, 16)
"""The Monday after the four weeks that the sample's season tells of."""

PAGES = (
    "week BOOK", "sketch BOOK C0095 C0090 C0001 C0104", "visit BOOK C0095", "jobsheet BOOK C0057", "order BOOK --week 2026-03-23",
    "promo BOOK --weeks 2026-04-06..2026-04-27 --calls-a-week 20 --letters", "forecast BOOK",
)  # fmt: skip
"""What is made of the sample beside the scan's own pages."""


@click.command()
@out_option
@open_day_option("--today", help=f"Day to count as today.  [default: {SAMPLE_DAY}]")
@json_option
@click.pass_context
def demo(ctx: click.Context, out_folder: Path | None, today: date | None, as_json: bool) -> None:
    """Make every page of a copy of the sample book, four weeks into its season.

    The copy lies beside the pages, by default in maps/demo-book. It is yours to
    change; delete it to get a fresh one.
    """
    folder, day = out_folder or DEMO_FOLDER, today or SAMPLE_DAY
    book, is_new = copy_sample_book(folder.with_name(f"{folder.name}-book"))
    places = {"BOOK": str(book), "PAGES": str(folder)}
    if is_new:
        say(f"Copied the sample book to {book}")
    else:
        say(f"Using your copy of the sample book in {book}")
    if is_new and day >= SAMPLE_DAY:
        say("Playing four weeks of calls, visits and quotes.")
        season = sample_folder("season")
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            lines = (season / "season.txt").read_text(encoding="utf-8").splitlines()
            _type(ctx, [line.replace("SEASON", str(season)) for line in lines], places)
    ending = ["--today", day.isoformat(), "--out", str(folder)]
    code = _type(ctx, ["scan BOOK" + " --json" * as_json], places, ending)
    with (
        contextlib.redirect_stdout(io.StringIO() if as_json else sys.stdout),
        contextlib.redirect_stderr(io.StringIO()) as said,
    ):
        pages_code = _type(ctx, PAGES, places, ending)
    if pages_code:
        say(said.getvalue().rstrip())
    say(
        f"Beside the map: the pages and papers that this book needs on {day:%B} {day.day}. Open {folder / 'map.html'}"
    )
    ctx.exit(max(code, pages_code))


def _type(
    ctx: click.Context,
    lines: Iterable[str],
    places: dict[str, str],
    ending: list[str] | None = None,
) -> int:
    """Run commands as if they were typed, a line each; the highest exit code."""
    codes = [0]
    for line in lines:
        if words := shlex.split(line, comments=True):
            words = [places.get(word, word) for word in words]
            codes.append(_run(ctx, [*words, *(ending or ())]))
    return max(codes)


def _run(ctx: click.Context, words: list[str]) -> int:
    root = ctx.find_root().command
    code = root.main(words, prog_name=ctx.find_root().info_name, standalone_mode=False)
    return int(code or 0)
