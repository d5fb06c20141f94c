"""Draw it: ``trace`` makes the page in which lots are drawn by hand."""

from __future__ import annotations

import json
from pathlib import Path

import click

from scanner import pipeline
from scanner.cli.closing import problem_words
from scanner.cli.options import book_argument, json_option, out_option, output_folder
from scanner.cli.talk import say, tell
from scanner.cli.who import find_client
from scanner.pages.publish import publish_page
from scanner.pages.tracing.page import render_trace

PAGE = "trace.html"


@click.command()
@book_argument
@click.option(
    "--client", "whom", metavar="WHO", multiple=True,
    help="Offer this client only; may be given more than once.  [default: all]",
)  # fmt: skip
@out_option
@json_option
@click.pass_context
def trace(
    ctx: click.Context,
    book: Path,
    whom: tuple[str, ...],
    out_folder: Path | None,
    as_json: bool,
) -> None:
    """Make the page in which the lots of BOOK are drawn by hand, with mouse or finger.

    Open the page in a browser, draw, save the file, and put it into the folder sites
    of the book. A client list is enough to begin with. Prints the page's path, or
    with --json a list of it.
    """
    read = pipeline.read_book(book.resolve(), needs_lots=False)
    client_ids = [find_client(who, read.clients) for who in whom]
    html = render_trace(read, client_ids=client_ids)
    file = publish_page(html, output_folder(out_folder, book) / PAGE)
    tell(json.dumps([str(file)], indent=2) if as_json else str(file))
    fault_count = int((read.problems["severity"] == "fault").sum())
    if words := problem_words(fault_count, fault_count, None):
        say(f"{words} To see them: bed-scanner check {book}")
    say(f"Open {file}, draw, save the file and put it into {book / 'sites'}.")
    ctx.exit(int(fault_count > 0))
