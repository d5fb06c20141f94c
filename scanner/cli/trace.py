"""Draw it: ``trace`` makes the page in which lots are drawn by hand."""

from __future__ import annotations

import click

from scanner import pipeline
from scanner.cli.closing import say_left_out
from scanner.cli.options import Asked, command
from scanner.cli.talk import say
from scanner.cli.who import find_client
from scanner.pages.publish import publish_files
from scanner.pages.tracing.page import render_trace

PAGE = "trace.html"


@command("out", "json")
@click.option(
    "--client", "whom", metavar="WHO", multiple=True,
    help="Offer this client only; may be given more than once.  [default: all]",
)  # fmt: skip
def trace(asked: Asked, whom: tuple[str, ...]) -> int:
    """Make the page in which the lots of BOOK are drawn by hand, with mouse or finger.

    Open the page in a browser, draw, save the file, and put it into the folder sites
    of the book. A client list is enough to begin with. Prints the page's path, or
    with --json a list of it.
    """
    read = pipeline.read_book(asked.book.resolve(), needs_lots=False)
    client_ids = [find_client(who, read.clients) for who in whom]
    html = render_trace(read, client_ids=client_ids)
    file = publish_files({PAGE: html.encode()}, asked.folder)[0]
    asked.tell_files([file])
    fault_count = say_left_out(read.problems, asked.book)
    say(f"Open {file}, draw, save the file and put it into {asked.book / 'sites'}.")
    return fault_count
