"""
Measure a scan against simpler programs and against itself, each in processes of its own.

Rows, each of which can be asked for alone (all but ``growth`` where none is):

- ``ground``: what the ground room alone takes a lot, layers that touch and layers with gaps;
- ``scan``: the floor, the analyst's overlay and ``scan`` in turn;
- ``changed``: ``scan`` again, with nothing, a rate, one lot in a hundred changed;
- ``growth``: ``scan`` of ``--large`` lots over ``scan`` of ``--lots``;
- ``sketches``: ``sketch`` of a whole call list over the scan that it begins with;
- ``commands``: ``--help``, ``demo`` and the commands on its book over importing geopandas;
- ``stages``: where the time of a scan went.

Medians; memory is the most that all processes held at once. Ratios of one run can be compared
between machines, seconds can't.

    python tests/benchmarks/run.py --lots 5000 --times 3
    python tests/benchmarks/run.py growth --lots 20000 --large 200000 --format parquet --times 1
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
from collections.abc import Callable
from dataclasses import astuple, dataclass
from pathlib import Path
from statistics import median

import geopandas as gpd
import numpy as np

from scanner.store.folder import SMALL_LOTS

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

from suburb import DRIVERS, WRITING, make_suburb  # noqa: E402 - scripts, not a package

OURS = [sys.executable, "-m", "scanner"]
DAY = "2026-02-16"
LOOK_SECONDS = 0.1
DEMO_DAY = "2026-03-16"
ON_DEMO = (
    "calls", "client C0095", "explain C0095", "sketch C0095", "visit C0095", "quote C0095", "jobsheet C0057",
    "order --week 2026-03-23", "week", "promo --weeks 2026-04-06..2026-04-27", "forecast", "scan",
)  # fmt: skip
"""Commands on the demo's book, one after the other: BOOK comes first, and its day last."""
WRITES = {"sketch", "visit", "quote", "jobsheet", "order", "week", "promo", "forecast", "scan"}
CHANGED_EVERY = 100


@dataclass(frozen=True)
class Cost:
    """What a command took: seconds on the clock and of all processors, MiB at the worst moment."""

    wall: float
    processor: float
    mib: float


def main() -> None:
    """Measure the rows that are asked for and print them."""
    parser = argparse.ArgumentParser(description="Measure a scan against simpler programs.")
    parser.add_argument("rows", nargs="*", metavar="ROW", help=", ".join(ROWS))
    parser.add_argument("--lots", type=int, default=1_000)
    parser.add_argument("--large", type=int, default=200_000, help="lots that growth compares with")
    parser.add_argument("--times", type=int, default=3, help="runs, of which the median counts")
    parser.add_argument("--format", choices=DRIVERS, default="geojson", dest="file_format")
    parser.add_argument("--gaps", action="store_true", help="no two layers touch")
    asked = parser.parse_args()
    if unknown := {*asked.rows} - {*ROWS}:
        parser.error(f"no such row: {', '.join(sorted(unknown))}")
    print(f"{asked.lots:,} lots as {asked.file_format}{', with gaps' * asked.gaps}; "
          f"{os.cpu_count()} processors; medians of {asked.times}\n", flush=True)  # fmt: skip
    for row in asked.rows or [name for name in ROWS if name != "growth"]:
        with tempfile.TemporaryDirectory() as name:
            ROWS[row](Path(name), asked)
        print(flush=True)


def print_ground(folder: Path, asked: argparse.Namespace) -> None:
    """Print what the ground room alone takes, with layers that touch and with gaps to close."""
    for gaps in (False, True):
        book = make_book(folder, asked, gaps=gaps)
        command = [sys.executable, str(HERE / "ground.py"), str(book)]
        lines = [output_of(command).splitlines() for _ in range(asked.times)]
        lines.sort(key=lambda told: float(told[-1].split()[1]))
        print(f"ground room, {'gaps' if gaps else 'layers that touch'}")
        print("\n".join(f"  {line}" for line in lines[len(lines) // 2]), flush=True)


def print_scan(folder: Path, asked: argparse.Namespace) -> None:
    """Print what floor, analyst and scan take."""
    made, costs = make_book(folder, asked), defaultdict[str, list[Cost]](list)
    for turn in range(asked.times):
        book = copy_book(made, f"turn-{turn}")
        costs["floor"].append(measure([sys.executable, str(HERE / "floor.py"), str(book)]))
        costs["analyst"].append(measure([sys.executable, str(HERE / "analyst.py"), str(book)]))
        costs["scan"].append(measure(scan_of(book)))
        summary = json.loads((book.parent / "pages" / "summary.json").read_text(encoding="utf-8"))
        assert summary["beds"] > summary["scanned"], "a suburb has more than a bed a lot"
        shutil.rmtree(book.parent)
    print_costs(costs, asked.lots, over="analyst")


def print_changed(folder: Path, asked: argparse.Namespace) -> None:
    """Print what scans of a book take that was scanned before."""
    made, costs = make_book(folder, asked), defaultdict[str, list[Cost]](list)
    for turn in range(asked.times):
        book = copy_book(made, f"turn-{turn}")
        costs["first scan"].append(measure(scan_of(book)))
        costs["nothing changed"].append(measure(scan_of(book)))
        change_rate(book)
        costs["a rate changed"].append(measure(scan_of(book)))
        move_lots(book)
        costs["1 lot in 100 moved"].append(measure(scan_of(book)))
        shutil.rmtree(book.parent)
    print_costs(costs, asked.lots, over="first scan")


def print_growth(folder: Path, asked: argparse.Namespace) -> None:
    """Print what a lot costs in a large book over what it costs in a smaller one."""
    sizes, a_lot = (asked.lots, asked.large), dict[int, Cost]()
    for lots in sizes:
        book = make_book(folder, argparse.Namespace(**vars(asked) | {"lots": lots}))
        cost = middle([measure(scan_of(book)) for _ in range(asked.times)])
        print_costs({f"{lots:,} lots": [cost]}, lots)
        a_lot[lots] = Cost(cost.wall / lots, cost.processor / lots, cost.mib)
        shutil.rmtree(book.parent)
    small, large = (a_lot[lots] for lots in sizes)
    print(f"a lot at {asked.large:,} over one at {asked.lots:,}: {large.wall / small.wall:.2f} by wall, "
          f"{large.processor / small.processor:.2f} by processor")  # fmt: skip


def print_sketches(folder: Path, asked: argparse.Namespace) -> None:
    """Print what the sketches of a call list take, with the scan that they begin with, and a page of them."""
    book, pages = make_book(folder, asked), folder / "pages"
    command = [*OURS, "sketch", str(book), "--today", DAY, "--out", str(pages)]
    cost = middle([measure(command) for _ in range(asked.times)])
    count = len(re.findall(rb"/Type /Page\b", content := (pages / "sketches.pdf").read_bytes()))
    print_costs({"sketch": [cost]}, count)
    print(f"{count} pages of {len(content) / count / 1000:.1f} kB", flush=True)


def make_book(folder: Path, asked: argparse.Namespace, *, gaps: bool = False) -> Path:
    """Make a suburb in a folder of its own."""
    book = folder / f"{asked.lots}{'-gaps' * gaps}" / "suburb"
    make_suburb(book, lots=asked.lots, file_format=asked.file_format, gaps=gaps or asked.gaps)
    return book


def copy_book(made: Path, name: str) -> Path:
    """Copy a book into a folder of its own, where no earlier scan has kept anything."""
    return shutil.copytree(made, made.parent / name / "book")


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


def print_costs(costs: dict[str, list[Cost]], lots: int, *, over: str | None = None) -> None:
    """Print the medians of what each took, and over one of them."""
    medians = {name: middle(those) for name, those in costs.items()}
    unit = medians[over] if over else None
    print(f"{'':<22}{'wall s':>9}{'proc. s':>9}{'ms a lot':>10}{'peak MiB':>10}"
          + (f"{f'wall over {over}':>22}{'proc.':>8}" if over else ""))  # fmt: skip
    for name, cost in medians.items():
        print(f"{name:<22}{cost.wall:>9.2f}{cost.processor:>9.2f}{cost.processor / lots * 1000:>10.2f}{cost.mib:>10.0f}"
              + (f"{cost.wall / unit.wall:>22.2f}{cost.processor / unit.processor:>8.2f}" if unit else ""), flush=True)  # fmt: skip


def print_commands(folder: Path, asked: argparse.Namespace) -> None:
    """Print what help, the demo and commands for one client of its book take over importing geopandas, in processor time."""
    costs = defaultdict[str, list[Cost]](list)
    for turn in range(asked.times):
        pages = folder / str(turn) / "demo"  # a new copy each time: what a scan leaves is not found
        book = str(pages.with_name("demo-book"))
        costs["import geopandas"].append(measure([sys.executable, "-c", "import geopandas"]))
        costs["--help"].append(measure([*OURS, "--help"]))
        costs["demo"].append(measure([*OURS, "demo", "--out", str(pages)]))
        for line in ON_DEMO:
            name, *words = line.split()
            ending = ["--today", DEMO_DAY] + ["--out", str(pages)] * (name in WRITES)
            costs[name].append(measure([*OURS, name, book, *words, *ending]))
    unit = middle(costs["import geopandas"]).processor
    for name, those in costs.items():
        cost = middle(those)
        print(f"{name:<22}{cost.wall:>9.2f}{cost.processor:>9.2f}{cost.processor / unit:>10.2f} of importing geopandas")  # fmt: skip


def print_stages(folder: Path, asked: argparse.Namespace) -> None:
    """Print where the time of a scan of a new book goes, of as many lots as one process works on."""
    few = argparse.Namespace(**vars(asked) | {"lots": min(asked.lots, SMALL_LOTS)})
    arguments = scan_of(make_book(folder, few))[len(OURS) :]
    print(output_of([sys.executable, str(HERE / "stages.py"), *arguments]), end="")


def output_of(command: list[str]) -> str:
    """Run a command and give what it prints."""
    return subprocess.run(command, check=True, capture_output=True, encoding="utf-8").stdout


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


ROWS: dict[str, Callable[[Path, argparse.Namespace], None]] = {
    "ground": print_ground,
    "scan": print_scan,
    "changed": print_changed,
    "growth": print_growth,
    "sketches": print_sketches,
    "commands": print_commands,
    "stages": print_stages,
}

if __name__ == "__main__":
    main()
