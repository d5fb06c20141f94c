"""Templates of the pages: each kind has a folder of its own, what stands at the head of all stands once."""

from __future__ import annotations

from functools import partial
from importlib.resources import files
from importlib.resources.abc import Traversable

import jinja2

PAGES = files("scanner.pages")


def read_asset(folder: Traversable, name: str) -> str:
    """Read a text that pages are made of, with the same line ends on every system."""
    return (folder / name).read_text(encoding="utf-8").replace("\r\n", "\n").strip()


def open_templates(folder: Traversable) -> jinja2.Environment:
    """Open the templates of a kind of page; whatever a book says is escaped in them."""
    own, shared = (
        jinja2.FunctionLoader(partial(_read_if_there, place))
        for place in (folder, PAGES / "page_assets")
    )
    return jinja2.Environment(
        loader=jinja2.ChoiceLoader([own, shared]), autoescape=True, trim_blocks=True,
        lstrip_blocks=True, undefined=jinja2.StrictUndefined,
    )  # fmt: skip


def _read_if_there(folder: Traversable, name: str) -> str | None:
    return read_asset(folder, name) if (folder / name).is_file() else None
