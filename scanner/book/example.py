"""The example of a new book: what of it still lies in a book whose client list is somebody's own."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from scanner.sheets.problems import Problem, note

EXAMPLES = ("sites/example.geojson", "measured.csv")
"""Files whose example speaks of the clients of the example, in a book's folder."""


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
