"""
Make the sample's log: four weeks of the sample company's spring, typed as ``season/season.txt`` has them.

Run ``python sample_data/make_season.py`` after a change of the season or of what the log keeps;
``season/log.sql`` is what ``demo`` begins its copy's log with.
"""

from __future__ import annotations

import shlex
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

from click.testing import CliRunner

from scanner.calls.log.file import LOG_FILE, OUR_MARK
from scanner.cli import main as bed_scanner
from scanner.cli.demo import copy_sample_book

SEASON = Path(__file__).parent / "season"
LOG = SEASON / "log.sql"

TRIMMED = (
    # When something was typed is told to the second, which no other run does again
    "UPDATE entries SET recorded_at = recorded_on || 'T16:00:00Z'",
    # Of the program's own notes of a scan: what bears on clients that have been asked. The next scan makes all others anew
    "DELETE FROM beds WHERE client_id NOT IN (SELECT client_id FROM quotes UNION SELECT client_id FROM jobs)",
    "DELETE FROM listed WHERE client_id NOT IN (SELECT client_id FROM calls WHERE outcome IN ('quoted', 'sold'))",
    "DELETE FROM left_out",
    "DELETE FROM printed",
    "DELETE FROM meta WHERE name = 'lists'",
)


def main() -> None:
    """Play the season in a copy of the sample book and write its log out."""
    with tempfile.TemporaryDirectory() as folder:
        book = play_season(Path(folder))
        LOG.write_text(write_out(book / LOG_FILE), encoding="utf-8", newline="\n")
    print(f"{LOG.stat().st_size:,} bytes in {LOG.name}")


def play_season(folder: Path) -> Path:
    """Type the season's commands, each as it stands there; gives the book."""
    book, _ = copy_sample_book(folder / "book")
    places = {"BOOK": str(book), "PAGES": str(folder / "pages")}
    for line in (SEASON / "season.txt").read_text(encoding="utf-8").splitlines():
        words = shlex.split(line.replace("SEASON", SEASON.as_posix()), comments=True)
        if words:
            typed = [places.get(word, word) for word in words]
            done = CliRunner().invoke(bed_scanner, typed, catch_exceptions=False)
            if done.exit_code:
                message = f"{line}\n{done.stderr}"
                raise RuntimeError(message)
    return book


def write_out(path: Path) -> str:
    """Write a log out as statements that begin another one."""
    with closing(sqlite3.connect(path)) as log:
        for statement in TRIMMED:
            log.execute(statement)
        log.commit()
        lines = [*log.iterdump()]
    # Tables come by name, so that entries stand behind what refers to them
    return (
        "\n".join(["PRAGMA foreign_keys = OFF;", f"PRAGMA application_id = {OUR_MARK};", *lines])
        + "\n"
    )


if __name__ == "__main__":
    main()
