"""Try it: ``demo`` scans the sample book, four weeks into its season, and makes every page of it."""

from __future__ import annotations

import contextlib
import io
import shutil
import sys
import tempfile
from datetime import date
from pathlib import Path

import click

import scanner
from scanner.calls.log import begin_log, read_season
from scanner.cli.find import scan_into
from scanner.cli.options import AT_HAND, json_option, open_day_option, out_option
from scanner.cli.talk import say
from scanner.errors import BookError
from scanner.store.private import PRIVATE_FOLDER, make_folder, write_anew

DEMO_FOLDER = Path("maps") / "demo"
SAMPLE_DAY = date(2026, 3, 16)
"""The Monday after the four weeks that the sample's log tells of."""

QUOTE = "quote BOOK C0106 --beds C0106-curb-1 --price 1650"
"""The open quote, printed again: its lot was measured since, so this one writes into the log, and the others read what it wrote."""

PAGES = (
    "week BOOK", "sketch BOOK C0095", "visit BOOK C0095", "jobsheet BOOK C0057",
    "order BOOK --week 2026-03-23", "promo BOOK --weeks 2026-04-06..2026-04-27 --calls-a-week 20 --letters", "forecast BOOK",
)  # fmt: skip
"""What is made of the sample beside the scan's own pages and the quote's."""


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
    say(
        f"{'Copied the sample book to' if is_new else 'Using your copy of the sample book in'} {book}; its pages take about a minute."
    )
    if is_new and day >= SAMPLE_DAY:
        say("Its log holds four weeks of calls, visits and quotes.")
        begin_log(book, (sample_folder("season") / "log.sql").read_text(encoding="utf-8"))
    with scan_into(folder, book=book, today=day, as_json=as_json) as (at_hand, code):
        ctx.meta[AT_HAND] = at_hand
        ending = ["--today", day.isoformat(), "--out", str(folder)]
        with (
            contextlib.redirect_stdout(io.StringIO() if as_json else sys.stdout),
            contextlib.redirect_stderr(io.StringIO()) as said,
        ):
            codes = [_type(ctx, [*QUOTE.split(), *ending], book)]
            ctx.meta[AT_HAND] = at_hand._replace(season=read_season(book).until(day))
            codes += [_type(ctx, [*line.split(), *ending], book) for line in PAGES]
    if any(codes):
        say(said.getvalue().rstrip())
    say(
        f"Beside the map: the pages and papers that this book needs on {day:%B} {day.day}. Open {folder / 'map.html'}"
    )
    ctx.exit(max(int(code > 0), *codes))


def _type(ctx: click.Context, words: list[str], book: Path) -> int:
    """Run a command as if it were typed, on what its parent has at hand; the exit code."""
    root = ctx.find_root()
    typed = [str(book) if word == "BOOK" else word for word in words]
    code = root.command.main(typed, prog_name=root.info_name, standalone_mode=False, parent=ctx)
    return int(code or 0)


def sample_folder(name: str) -> Path:
    """Say where a packaged folder of the sample data lies: the ``book``, or the ``season`` that it can play.

    >>> (sample_folder("book") / "clients.csv").is_file()
    True
    """
    package = Path(scanner.__file__).parent
    # Built packages hold it inside; a checkout and an editable install have it at the top level.
    for home in (package, package.parent):
        if (folder := home / "sample_data" / name).is_dir():
            return folder
    message = "the sample book is missing from this installation: install bed-scanner again"
    raise BookError(message)


def copy_sample_book(folder: Path) -> tuple[Path, bool]:
    """Copy the sample book, so that the original stays clean."""
    if folder.is_dir():
        return folder, False
    if folder.exists():
        message = f"{folder} is not a folder: move it away, or name another place with --out"
        raise BookError(message)
    make_folder(folder.parent)
    # Copied aside and renamed, so that a copy broken off half-way is never taken for a book.
    with tempfile.TemporaryDirectory(dir=folder.parent) as aside:
        copied = shutil.copytree(sample_folder("book"), Path(aside) / "book", copy_function=_copy)
        for made in (copied, *(path for path in copied.rglob("*") if path.is_dir())):
            made.chmod(PRIVATE_FOLDER)
        copied.rename(folder)
    return folder, True


def _copy(source: str, target: str) -> str:
    write_anew(Path(target), Path(source).read_bytes())
    return target
