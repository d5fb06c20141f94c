"""The book: one folder of plain files, read whole, all faults in one list."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from scanner.book.clients import client_files, read_client_list
from scanner.book.measured import read_measured
from scanner.book.plants import read_plants
from scanner.book.settings import read_rates, read_rules
from scanner.book.sites import read_land, read_sites
from scanner.errors import BookError
from scanner.schema.documents import Book
from scanner.sheets.problems import Problem, join_problems, list_problems, note
from scanner.store.folder import Store
from scanner.store.land import no_features

SITES_FOLDER = "sites"
MEASURED_FILE = "measured.csv"

EXAMPLES = ("sites/example.geojson", "measured.csv")
"""Files whose example speaks of the clients of the example, in a book's folder."""


def read_book(folder: Path, *, needs_lots: bool = True, store: Store | None = None) -> Book:
    """Read a book: what is faulty is listed in one table and left out, the rest is kept.

    >>> read_book(Path("no such book"))
    Traceback (most recent call last):
    ...
    scanner.errors.BookError: there is no folder 'no such book': make a book first, or put its name right
    """
    if not folder.is_dir():
        message = f"there is no folder '{folder}': make a book first, or put its name right"
        raise BookError(message)
    clients, client_problems = read_client_list(folder)
    sites, measured_path = folder / SITES_FOLDER, folder / MEASURED_FILE
    if needs_lots:
        _need_lots(folder, sites, measured_path)
    example = find_example(folder, client_files(folder)[0])
    land = None
    if store is None:
        features, site_problems = read_sites(sites, clients, left_out=example)
    else:
        land, site_problems = read_land(sites, clients, store, left_out=example)
        features = no_features()
    # No file is no edge
    walked = folder / ("" if MEASURED_FILE in example else MEASURED_FILE)
    measured, measured_problems = read_measured(walked, clients)
    rates, rate_problems = read_rates(folder / "rates.toml")
    rules, rule_problems = read_rules(folder / "local.toml")
    plants, plant_problems = read_plants(folder / "plants.toml")
    problems = join_problems(
        client_problems,
        site_problems,
        measured_problems,
        rate_problems,
        rule_problems,
        plant_problems,
        list_problems([*tell_example(example), *_passed_over(client_files(folder))]),
    )
    return Book(
        folder=folder,
        clients=clients,
        features=features,
        measured=measured,
        rates=rates,
        rules=rules,
        problems=problems,
        land=land,
        plants=plants,
    )


def _need_lots(folder: Path, sites: Path, measured_path: Path) -> None:
    """Refuse a book in which nothing says what any lot looks like."""
    has_sites = sites.is_dir() and any(path.is_file() for path in sites.iterdir())
    if not has_sites and not measured_path.is_file():
        message = (
            f"nothing says what the lots in '{folder}' look like: put drawn files into its folder "
            f"{SITES_FOLDER}, or measured edges into {MEASURED_FILE}"
        )
        raise BookError(message)


def _passed_over(client_files: list[Path]) -> list[Problem]:
    """Say which client lists are not read because another one is."""
    return [
        note(
            path.name,
            "",
            f"{client_files[0].name} is used, so this file is not read",
            "keep one of the two",
        )
        for path in client_files[1:]
    ]


def find_example(folder: Path, client_file: Path) -> set[str]:
    """Find which of `EXAMPLES` were left as they were when the client list was replaced."""
    if not client_file.is_file() or _is_example(client_file, "clients.csv"):
        return set()
    return {name for name in EXAMPLES if _is_example(folder / name, name)}


def tell_example(names: set[str]) -> list[Problem]:
    """Say that the example is left out."""
    return [
        note(name, "", "this is the example of a new book, and the client list is your own: it is left out",
             "delete the file, or put your own into its place")
        for name in sorted(names)
    ]  # fmt: skip


def _is_example(path: Path, name: str) -> bool:
    template = files("scanner.book").joinpath("templates", *name.split("/"))
    return path.is_file() and _lines(path.read_bytes()) == _lines(template.read_bytes())


def _lines(content: bytes) -> list[bytes]:
    """Split into lines, whatever ends them and whatever stands before the first."""
    return content.removeprefix(b"\xef\xbb\xbf").split()
