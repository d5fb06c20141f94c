"""Commands load what they use: a list of calls need not wait for geometry."""

from __future__ import annotations

import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from scanner.calls.log import open_log
from scanner.calls.today import list_offered
from scanner.schema.log_tables import LISTED
from tests.small_scan import TODAY, small_scan

ROOT = Path(__file__).parents[2]
SLOW = (
    "shapely", "geopandas", "pyogrio", "pyproj", "scipy.stats", "folium", "branca", "hypothesis", "pandera",
)  # fmt: skip
RUN = """
import sys
from scanner.cli import main
try:
    main(sys.argv[1:])
except SystemExit as end:
    assert end.code == 0, end.code
print("LOADED", *sys.modules)
"""


def loaded_by(*words: str) -> set[str]:
    """Run a command in a process of its own; every module that it loaded."""
    done = subprocess.run(
        [sys.executable, "-c", RUN, *words], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return set(done.stdout.rpartition("LOADED")[2].split())


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book that was scanned, as far as a list of calls looks at it."""
    folder = tmp_path_factory.mktemp("book")
    scan = small_scan()
    (folder / "clients.csv").write_text("client_id,name\nC0001,Ada\nC0002,Ben\n", encoding="utf-8")
    with open_log(folder, today=TODAY) as log:
        log.store_last_scan(LISTED, list_offered(scan.calls, scan.offers, scan.beds, today=TODAY))
    return folder


def test_help_loads_no_table_either() -> None:
    assert loaded_by("--help").isdisjoint((*SLOW, "pandas", "numpy", "scipy", "rich", "pydantic"))


@pytest.mark.parametrize(
    "words",
    [
        ("calls", "{book}"),
        ("client", "{book}", "C0001"),
        ("record", "{book}", "calls", "C0001", "call", "back", "--note", "gate code 12"),
        ("record", "{book}", "visit", "C0001", "--edge", "curb=40"),
        ("record", "{book}", "undo"),
    ],
    ids=" ".join,
)
def test_calls_and_record_load_no_geometry(book: Path, words: tuple[str, ...]) -> None:
    typed = [word.format(book=book) for word in words]
    loaded = loaded_by(*typed, "--today", date(2027, 3, 2).isoformat())
    assert "pandas" in loaded  # it did its work
    assert not loaded & {*SLOW}


@pytest.mark.parametrize("words", [("new", "{book}/next"), ("calibrate", "{book}")], ids=" ".join)
def test_neither_do_a_new_book_and_rates(book: Path, words: tuple[str, ...]) -> None:
    assert not loaded_by(*(word.format(book=book) for word in words)) & {*SLOW}


def test_a_scan_loads_what_it_needs() -> None:
    # The check sees it where it is loaded
    assert {"shapely", "geopandas"} <= loaded_by("scan", "--help")
