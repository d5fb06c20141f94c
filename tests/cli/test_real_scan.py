"""The sample book from command to files, with nothing replaced."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.desk import type_in

ROOT = Path(__file__).parents[2]
FAULTY_BOOK = ROOT / "sample_data" / "faulty"


def run_demo(folder: Path, today: str) -> subprocess.CompletedProcess[str]:
    """Run the demo as a newcomer does: another process, an empty folder."""
    command = [sys.executable, "-m", "scanner", "demo", "--today", today]
    surroundings = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONHASHSEED": "random"}
    return subprocess.run(
        command, cwd=folder, env=surroundings, capture_output=True, text=True, check=False
    )


def files_in(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess[str]]:
    folder = tmp_path_factory.mktemp("newcomer")
    return folder, run_demo(folder, "2026-03-02")


def test_demo_is_done_without_a_fault(
    demo: tuple[Path, subprocess.CompletedProcess[str]],
) -> None:
    folder, told = demo
    assert told.returncode == 0, told.stderr
    assert told.stderr.splitlines()[-1].endswith(f"Open {Path('maps') / 'demo' / 'map.html'}")
    assert all((folder / line).is_file() for line in told.stdout.splitlines())
    assert len(told.stdout.splitlines()) == len(files_in(folder / "maps" / "demo"))


def test_demo_closes_with_the_numbers_of_its_summary(
    demo: tuple[Path, subprocess.CompletedProcess[str]],
) -> None:
    folder, told = demo
    text = (folder / "maps" / "demo" / "summary.json").read_text(encoding="utf-8")
    summary = json.loads(text)
    closing = told.stderr.splitlines()[-1]
    assert f"Found {summary['beds']:,} beds" in closing
    assert f"on {summary['scanned']:,} lots" in closing
    assert f"{summary['skipped']:,} beds skipped" in closing


def test_two_runs_on_one_day_give_the_same_bytes(
    demo: tuple[Path, subprocess.CompletedProcess[str]], tmp_path: Path
) -> None:
    folder, _ = demo
    run_demo(tmp_path, "2026-03-02")
    ours, again = (files_in(place / "maps" / "demo") for place in (folder, tmp_path))
    assert ours.keys() == again.keys()
    assert [name for name, content in ours.items() if content != again[name]] == []


def test_the_sample_book_stays_clean(demo: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    folder, _ = demo
    copy = folder / "maps" / "demo-book"
    for path in (ROOT / "sample_data" / "book").rglob("*"):
        if path.is_file():
            relative = path.relative_to(ROOT / "sample_data" / "book")
            assert path.read_bytes() == (copy / relative).read_bytes()


def test_faulty_book_lists_its_faults_and_exits_1() -> None:
    result = type_in("check", str(FAULTY_BOOK), "--json")
    problems = json.loads(result.stdout)
    assert result.exit_code == 1
    assert all(problem["problem"] and problem["remedy"] for problem in problems)


def test_faulty_book_is_scanned_all_the_same(tmp_path: Path) -> None:
    # On a copy: a scan keeps its beds in the book's log
    book = shutil.copytree(FAULTY_BOOK, tmp_path / "faulty")
    result = type_in("scan", str(book), "--out", str(tmp_path / "out"))
    assert result.exit_code == 1
    assert "need fixing" in result.stderr
    assert (tmp_path / "out" / "map.html").is_file()
