"""Get it in: start a ``new`` book, and ``check`` the one you have."""

from __future__ import annotations

import json
from pathlib import Path

import click

from scanner.book.new import start_book
from scanner.cli.closing import check_line
from scanner.cli.options import book_argument, json_option
from scanner.cli.rows import show_problems
from scanner.cli.talk import say, tell


@click.command()
@click.argument("book", type=click.Path(file_okay=False, path_type=Path))
@json_option
def new(book: Path, as_json: bool) -> None:
    """Start a book in the folder BOOK: templates, filled in as an example.

    Prints the files written, one a line, or with --json as a list.
    """
    files = [str(file) for file in start_book(book)]
    tell(json.dumps(files, indent=2) if as_json else "\n".join(files))
    say(f"Started {book}. Replace the example rows with your own, then: bed-scanner check {book}")


@click.command()
@book_argument
@json_option
@click.pass_context
def check(ctx: click.Context, book: Path, as_json: bool) -> None:
    """List everything in BOOK that needs fixing, all at once.

    Each line names the file, the row or feature, what came, what is allowed and
    what to do. Exit code 1 where something is to be fixed; notes alone are 0.
    """
    from scanner import pipeline

    read = pipeline.read_book(book)
    show_problems(read.problems, as_json=as_json)
    say(check_line(read.clients, len(read.features), read.problems))
    ctx.exit(int((read.problems["severity"] == "fault").any()))
