"""What rates.toml and local.toml share: settings with a spread and a source, as they stand."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from scanner.sheets.problems import Problem, fault

PARTS = {"value", "low", "high", "source"}
"""What an inline table of one setting may say."""


@dataclass(frozen=True)
class Figure:
    """A number with its spread and its source."""

    value: float
    low: float
    high: float
    source: str


@dataclass(frozen=True)
class Choice:
    """A word, or words, with its source."""

    value: str | tuple[str, ...]
    source: str


Setting = Figure | Choice


def load_standard(name: str) -> dict[str, Setting]:
    """
    Load one of the standard files that are part of the program.

    Parameters
    ----------
    name
        ``rates.toml`` or ``local.toml``.

    Returns
    -------
    standard
        Settings by key; a key in a TOML table is ``table.key``.

    Examples
    --------
    >>> load_standard("local.toml")["setbacks.hydrant_ft"].value
    3.0
    """
    text = files("scanner.book").joinpath("standard", name).read_text(encoding="utf-8")
    standard: dict[str, Setting] = {}
    for key, entry in _flatten(tomllib.loads(text)).items():
        value = entry["value"]
        if isinstance(value, str | list):
            words = tuple(value) if isinstance(value, list) else value
            standard[key] = Choice(words, entry["source"])
        else:
            value, low, high = (float(entry[part]) for part in ("value", "low", "high"))
            standard[key] = Figure(value, low, high, entry["source"])
    return standard


def load_own(path: Path | None) -> tuple[dict[str, Any], list[Problem]]:
    """
    Load a firm's own file as it stands; one that cannot be read is a fault.

    Parameters
    ----------
    path
        A TOML file; None or no such file is no setting, not a fault.

    Returns
    -------
    entries
        What came, by key; a key in a TOML table is ``table.key``.
    problems
        A fault if the file cannot be read.

    Examples
    --------
    >>> load_own(None)
    ({}, [])
    """
    if path is None or not path.is_file():
        return {}, []
    try:
        return _flatten(tomllib.loads(path.read_bytes().decode("utf-8-sig"))), []
    except UnicodeDecodeError:
        problem = "the letters are not saved as UTF-8; the whole file is passed over for the standard values"
        return {}, [fault(path.name, "", problem, "save the file again with the encoding UTF-8")]
    except (tomllib.TOMLDecodeError, RecursionError) as err:
        problem = f"the file cannot be read ({err}); the whole file is passed over for the standard values"
        remedy = "each line is a name, an equals sign and a number, or words in quotation marks: bed_depth_ft = 4"
        return {}, [fault(path.name, "", problem, remedy)]


def _flatten(document: Mapping[str, Any], prefix: str = "") -> dict[str, Any]:
    entries: dict[str, Any] = {}
    for key, entry in document.items():
        # an inline table of value, low, high is one setting, another table is a group
        if isinstance(entry, dict) and not (entry and entry.keys() & PARTS):
            entries |= _flatten(entry, f"{prefix}{key}.")
        else:
            entries[prefix + key] = entry
    return entries
