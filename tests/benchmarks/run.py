"""
Measure a scan against the floor and against an analyst's script, each in processes of its own.

Makes a suburb, then runs the floor, the analyst's overlay and ``scan`` in turn, several times,
and scans again after a change of the rates and of one lot in a hundred. Prints medians, what a
lot costs, ratios to the analyst, the most memory held by all processes at once, what commands
take over importing geopandas, and where the time of a scan went. Ratios of one run can be
compared between machines, seconds can't.

    python tests/benchmarks/run.py --lots 5000 --times 3
"""

from __future__ import annotations

import argparse
import json
import os
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from dataclasses import astuple, dataclass
from pathlib import Path
from statistics import median

import geopandas as gpd
import numpy as np

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

from suburb import DRIVERS, WRITING, make_suburb  # noqa: E402 - scripts, not a package

OURS = [sys.executable, "-m", "scanner"]
DAY = "2026-02-16"
LOOK_SECONDS = 0.1
CHANGED_EVERY = 100


@dataclass(frozen=True)
class Cost:
    """What a command took: seconds on the clock and of all processors, MiB at the worst moment."""

    wall: float
    processor: float
    mib: float


def main() -> None:
    """Make a suburb, measure, print."""
    parser = argparse.ArgumentParser(description="Measure a scan against simpler programs.")
    parser.add_argument("--lots", type=int, default=1_000)
    parser.add_argument("--times", type=int, default=3, help="runs, of which the median counts")
    parser.add_argument("--format", choices=DRIVERS, default="geojson", dest="file_format")
    parser.add_argument("--gaps", action="store_true", help="no two layers touch")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        make_suburb(folder / "suburb", lots=asked.lots, file_format=asked.file_format, gaps=asked.gaps)  # fmt: skip
        print(f"{asked.lots:,} lots as {asked.file_format}{', with gaps' * asked.gaps}; "
              f"{os.cpu_count()} processors; medians of {asked.times}\n", flush=True)  # fmt: skip
        print_scans(measure_scans(folder, asked.times), asked.lots)
        print_commands(folder, asked.times)
        print_stages(folder)


def measure_scans(folder: Path, times: int) -> dict[str, Cost]:
    """Measure floor, analyst, and scans of a new, an unchanged and a changed book, in turn."""
    costs = defaultdict[str, list[Cost]](list)
    for turn in range(times):
        book = copy_book(folder, f"turn-{turn}")
        scan = scan_of(book)
        costs["floor"].append(measure([sys.executable, str(HERE / "floor.py"), str(book)]))
        costs["analyst"].append(measure([sys.executable, str(HERE / "analyst.py"), str(book)]))
        costs["scan"].append(measure(scan))
        summary = json.loads((book.parent / "pages" / "summary.json").read_text(encoding="utf-8"))
        assert summary["beds"] > summary["scanned"], "a suburb has more than a bed a lot"
        costs["scan, nothing changed"].append(measure(scan))
        change_rate(book)
        costs["scan, a rate changed"].append(measure(scan))
        move_lots(book)
        costs["scan, 1 lot in 100 moved"].append(measure(scan))
        shutil.rmtree(book.parent)
    return {name: middle(those) for name, those in costs.items()}


def copy_book(folder: Path, name: str) -> Path:
    """Copy the book into a folder of its own, where no earlier scan has kept anything."""
    return shutil.copytree(folder / "suburb", folder / name / "book")


def scan_of(book: Path) -> list[str]:
    """Give the command that scans a book."""
    pages = book.parent / "pages"
    return [*OURS, "scan", str(book), "--out", str(pages), "--today", DAY]


def change_rate(book: Path) -> None:
    """Let mulch cost a dollar more."""
    rates = book / "rates.toml"
    text, count = re.subn(r"value = 41\b", "value = 42", rates.read_text(encoding="utf-8"))
    assert count == 1, "the sample's rates hold no such value"
    rates.write_text(text, encoding="utf-8")


def move_lots(book: Path) -> None:
    """Move every hundredth outline by four inches."""
    path = next((book / "sites").glob("lots.*"))
    lots = gpd.read_parquet(path) if path.suffix == ".parquet" else gpd.read_file(path)
    is_moved = np.arange(len(lots)) % CHANGED_EVERY == CHANGED_EVERY // 2
    lots.loc[is_moved, "geometry"] = lots.geometry[is_moved].translate(1e-6)
    if path.suffix == ".parquet":
        lots.to_parquet(path)
    else:
        file_format = path.suffix[1:]
        lots.to_file(path, driver=DRIVERS[file_format], **WRITING[file_format])


def print_scans(costs: dict[str, Cost], lots: int) -> None:
    """Print what each took, and over the analyst's script."""
    analyst = costs["analyst"]
    print(f"{'':<25}{'wall s':>9}{'proc. s':>9}{'ms a lot':>10}{'peak MiB':>10}{'wall over analyst':>19}{'proc.':>7}")  # fmt: skip
    for name, cost in costs.items():
        print(f"{name:<25}{cost.wall:>9.2f}{cost.processor:>9.2f}{cost.processor / lots * 1000:>10.2f}{cost.mib:>10.0f}"
              f"{cost.wall / analyst.wall:>19.2f}{cost.processor / analyst.processor:>7.2f}")  # fmt: skip
    print(flush=True)


def print_commands(folder: Path, times: int) -> None:
    """Print what help and the demo take over importing geopandas, in processor time."""
    commands = {
        "import geopandas": [sys.executable, "-c", "import geopandas"],
        "--help": [*OURS, "--help"],
        "demo": [*OURS, "demo", "--out", str(folder / "demo")],
    }
    costs = {
        name: middle([measure(command) for _ in range(times)]) for name, command in commands.items()
    }
    unit = costs["import geopandas"].processor
    for name, cost in costs.items():
        print(f"{name:<25}{cost.wall:>9.2f}{cost.processor:>9.2f}{cost.processor / unit:>10.2f} of importing geopandas")  # fmt: skip
    print(flush=True)


def print_stages(folder: Path) -> None:
    """Print where the time of a scan of a new book goes."""
    scan = scan_of(copy_book(folder, "stages"))
    command = [sys.executable, str(HERE / "stages.py"), *scan[len(OURS) :]]
    ended = subprocess.run(command, check=True, capture_output=True, encoding="utf-8")
    print(ended.stdout)


def measure(command: list[str]) -> Cost:
    """Run a command and its own processes to the end."""
    begun, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    peak_kib = 0.0
    with tempfile.TemporaryFile("w+") as talk:
        running = subprocess.Popen(command, stdout=talk, stderr=talk)
        while running.poll() is None:
            peak_kib = max(peak_kib, held_kib(running.pid))
            time.sleep(LOOK_SECONDS)
        wall = time.perf_counter() - begun
        talk.seek(0)
        assert running.returncode == 0, f"{' '.join(command)}\n{talk.read()}"
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    processor = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Cost(wall, processor, peak_kib / 1024)


def held_kib(pid: int) -> int:
    """Give the memory that a process and those it has started hold now, shared pages once."""
    try:
        rollup = Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="ascii")
        tasks = [*Path(f"/proc/{pid}/task").iterdir()]
        started = [
            int(child) for task in tasks for child in (task / "children").read_text().split()
        ]
    except OSError:  # it has ended, or this system doesn't say
        return 0
    own = re.search(r"^Pss: +(\d+)", rollup, re.MULTILINE)
    return (int(own[1]) if own else 0) + sum(map(held_kib, started))


def middle(costs: list[Cost]) -> Cost:
    """Give the medians."""
    return Cost(*map(median, zip(*map(astuple, costs), strict=True)))


if __name__ == "__main__":
    main()
