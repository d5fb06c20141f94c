"""Small files that would take a machine: each is refused in words, within 30 seconds and 1 GB."""

from __future__ import annotations

import csv
import resource
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing.connection import Connection
from multiprocessing.context import BaseContext
from pathlib import Path
from tempfile import mkdtemp
from time import process_time

import pandas as pd
import pytest

from scanner.book.clients import read_client_list
from scanner.book.settings import read_rules
from scanner.book.sites import read_sites
from scanner.errors import InputError
from scanner.pages.sealed import offer_backgrounds
from scanner.store import ceilings
from tests.hostile_files import (
    LOWERED,
    Hostile,
    hostile_databases,
    hostile_documents,
    hostile_geojson,
    hostile_kml,
    hostile_layers,
    hostile_settings,
    hostile_sheets,
)

SECONDS, GIGABYTE = 30, 2**30
SHEETS = (".csv", ".xlsx", ".ods")
CLIENTS = pd.DataFrame({"client_id": ["A"]}, dtype="str")

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="other systems bound no memory")


def alone(path: Path) -> Path:
    """Put a file into a folder of its own, under the name that a book has for it."""
    folder = Path(mkdtemp(dir=path.parent))
    name = f"clients{path.suffix}" if path.suffix in SHEETS else path.name
    (folder / name).hardlink_to(path)
    return folder


def read_sheet(path: Path) -> list[str]:
    return read_client_list(alone(path))[1]["problem"].tolist()


def read_layer(path: Path) -> list[str]:
    return read_sites(alone(path), CLIENTS)[1]["problem"].tolist()


def read_settings(path: Path) -> list[str]:
    rules, problems = read_rules(path)
    offer_backgrounds(rules.backgrounds)
    return problems["problem"].tolist()


def lower_ceilings() -> None:
    """Lower what every reader here has taken over from the list of ceilings."""
    for module in [module for name, module in sys.modules.items() if name.startswith("scanner.")]:
        for name in LOWERED.keys() & vars(module).keys():
            setattr(module, name, LOWERED[name])


def read_within(read: Callable[[Path], list[str]], desk: Connection) -> None:
    """Read files with little memory and time each, and send what is said of each and the most memory so far."""
    pages = int(Path("/proc/self/statm").read_text().split()[0])
    lower_ceilings()
    most = pages * resource.getpagesize() + GIGABYTE
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    while path := desk.recv():
        resource.setrlimit(resource.RLIMIT_CPU, (round(process_time()) + SECONDS, -1))
        try:
            told = read(path)
        except InputError as err:
            told = [str(err)]
        desk.send((told, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024))


@contextmanager
def reader(context: BaseContext, read: object) -> Iterator[Callable[[Path], list[str]]]:
    """Start a child that reads files; gives what asks it to read one, and says what is said of that."""
    ours, theirs = context.Pipe()
    child = context.Process(target=read_within, args=(read, theirs))
    child.start()
    theirs.close()

    def say_of(path: Path) -> list[str]:
        try:
            ours.send(path)
            assert ours.poll(2 * SECONDS), f"{path.name} takes longer"
            told, memory = ours.recv()
        except (EOFError, OSError):
            pytest.fail(f"the reader of {path.name} died of it")
        assert memory < GIGABYTE, path.name
        return told

    try:
        yield say_of
    finally:
        child.kill()
        child.join()


@pytest.mark.parametrize(
    ("read", "made"),
    [
        (read_sheet, hostile_sheets),
        (read_sheet, hostile_documents),
        (read_layer, hostile_geojson),
        (read_layer, hostile_databases),
        (read_layer, hostile_kml),
        (read_layer, hostile_layers),
        (read_settings, hostile_settings),
    ],
)
def test_small_files_are_refused_in_words(
    children: BaseContext,
    tmp_path: Path,
    read: Callable[[Path], list[str]],
    made: Callable[[Path], Iterator[Hostile]],
):
    with reader(children, read) as say_of:
        for path, words in made(tmp_path):
            assert path.stat().st_size < 10_000_000
            told = say_of(path)
            assert any(words in one for one in told), (path.name, words, told[:3])


def test_what_people_really_have_stays_below():
    assert csv.field_size_limit() == ceilings.MAX_CELL_LETTERS
    # 100,000 clients on a list of 80 columns; a county of a million lots
    assert ceilings.MAX_CELLS >= 100_000 * 80
    assert ceilings.MAX_FEATURES >= 1_000_000
