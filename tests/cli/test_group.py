"""The command as a whole: help, version, both ways to start it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import scanner
from scanner.cli.group import COMMANDS
from tests.cli.desk import command_of, type_in

ROOT = Path(__file__).parents[2]


def test_help_lists_the_commands_in_the_order_of_use() -> None:
    assert list(COMMANDS) == [
        "new", "assemble", "trace", "checklist", "check", "scan", "demo", "explain", "week", "calls",
        "client", "sketch", "visit", "quote", "record", "jobsheet", "order", "promo", "forecast", "calibrate",
        "care",
    ]  # fmt: skip
    text = type_in("--help").stdout
    places = [text.index(f"\n  {name} ") for name in COMMANDS]
    assert places == sorted(places)


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_command_has_help(name: str) -> None:
    result = type_in(name, "--help")
    assert result.exit_code == 0
    assert COMMANDS[name][1].endswith(".")


@pytest.mark.parametrize("name", [name for name in COMMANDS if name != "demo"])
def test_every_command_but_demo_takes_the_book_first(name: str) -> None:
    required = [param.name for param in command_of(name).params if param.required]
    # Without parcels there is nothing to assemble, without a client no price to explain, no visit,
    # no quote and no job, without weeks nothing to fill.
    of_one = {key: ["who"] for key in ("explain", "client", "visit", "quote", "jobsheet")}
    more = {"assemble": ["property"], "promo": ["span"], **of_one}
    assert required == ["book", *more.get(name, [])]


def test_module_starts_the_same_command() -> None:
    command = [sys.executable, "-m", "scanner", "--version"]
    told = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    assert told.stdout == f"bed-scanner, version {scanner.__version__}\n"


def test_python_offers_the_same_verbs() -> None:
    from scanner import pipeline  # noqa: PLC0415  # the lazy names are what is checked

    assert scanner.read_book is pipeline.read_book
    assert scanner.scan is pipeline.scan
    with pytest.raises(AttributeError, match="has no attribute 'dig'"):
        _ = scanner.dig
