"""Commands load what they use: a list of calls need not wait for geometry."""

from __future__ import annotations

import json
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
    "shapely", "geopandas", "pyogrio", "pyproj", "scipy.stats", "xlsxwriter", "folium", "branca",
    "hypothesis", "pandera",
)  # fmt: skip
RUN = """
import json, sys
from scanner.cli import main
for words in json.loads(sys.argv[1]):
    try:
        main(words)
    except SystemExit as end:
        assert end.code == 0, end.code
    print("LOADED", *sys.modules)
"""


def loaded_by(*commands: list[str]) -> list[set[str]]:
    """Run commands one after another in a new process; after each, every module that is loaded."""
    done = subprocess.run(
        [sys.executable, "-c", RUN, json.dumps(commands)], cwd=ROOT, capture_output=True, text=True, check=False
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    told = [line for line in done.stdout.splitlines() if line.startswith("LOADED ")]
    assert len(told) == len(commands)
    return [set(line.split()[1:]) for line in told]


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
    (loaded,) = loaded_by(["--help"])
    assert loaded.isdisjoint((*SLOW, "pandas", "numpy", "scipy", "rich", "pydantic"))


def test_what_the_office_types_all_day_loads_no_geometry(book: Path) -> None:
    day = ["--today", date(2027, 3, 2).isoformat()]
    commands = [
        ["calls", str(book), *day],
        ["client", str(book), "C0001", *day],
        ["record", str(book), "calls", "C0001", "call", "back", "--note", "gate code 12", *day],
        ["record", str(book), "visit", "C0001", "--edge", "curb=40", *day],
        ["record", str(book), "undo", *day],
        ["week", str(book), "--out", str(book / "pages"), *day],
        ["new", str(book / "next")],
        ["calibrate", str(book)],
        # The check sees it where it is loaded
        ["scan", "--help"],
    ]
    *office, scan = loaded_by(*commands)
    assert "pandas" in office[0]  # it did its work
    slow = {" ".join(words[:3]): loaded & {*SLOW} for words, loaded in zip(commands, office, strict=False)}  # fmt: skip
    assert not {words: loaded for words, loaded in slow.items() if loaded}
    assert "scipy" not in office[-2]  # of these calibrate alone works with distributions
    assert {"shapely", "geopandas"} <= scan
