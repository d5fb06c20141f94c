"""Get it in: start a ``new`` book, and ``check`` the one you have."""

from __future__ import annotations

from pathlib import Path

import click

from scanner.book.new import start_book
from scanner.cli.closing import check_line
from scanner.cli.options import Asked, command
from scanner.cli.rows import show_problems
from scanner.cli.talk import say
from scanner.sheets.problems import faults_of


@command("json", takes_book=False)
@click.argument("book", type=click.Path(file_okay=False, path_type=Path))
def new(asked: Asked) -> None:
    """Start a book in the folder BOOK: templates, filled in as an example.

    Prints the files written, one a line, or with --json as a list.
    """
    asked.tell_files(start_book(asked.book))
    say(
        f"Started {asked.book}. Replace the example rows with your own, then: bed-scanner check {asked.book}"
    )


@command("json")
def check(asked: Asked) -> int:
    """List everything in BOOK that needs fixing, all at once.

    Each line names the file, the row or feature, what came, what is allowed and
    what to do. Exit code 1 where something is to be fixed; notes alone are 0.
    """
    from scanner import pipeline

    read = pipeline.read_book(asked.book)
    show_problems(read.problems, as_json=asked.as_json)
    say(check_line(read.clients, len(read.features), read.problems))
    return len(faults_of(read.problems))
