"""``new`` and ``check``: exit code, stdout and stderr."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.desk import FAULT, NOTE, book_with, type_in

FAULT_LINE = (
    "fault: clients.csv, row 7, client C0007: the id C0007 stands in rows 6 and 7; each id may"
    " stand once; to do: give one of them another id\n"
)


@pytest.fixture(autouse=True)
def lawns(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Sit down in an empty folder with a book in it."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "lawns").mkdir()


def put_problems(monkeypatch: pytest.MonkeyPatch, *problems: dict[str, str]) -> None:
    monkeypatch.setattr("scanner.pipeline.read_book", lambda _folder: book_with(*problems))


def test_check_lists_every_problem_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    put_problems(monkeypatch, FAULT, NOTE)
    result = type_in("check", "lawns")
    assert result.stdout == FAULT_LINE + "note: no site has a tree\n"
    assert result.stderr == (
        "10 clients and 0 site features usable. 1 record needs fixing, 1 note.\n"
    )
    assert result.exit_code == 1


def test_notes_alone_are_done(monkeypatch: pytest.MonkeyPatch) -> None:
    put_problems(monkeypatch, NOTE)
    result = type_in("check", "lawns")
    assert result.stdout == "note: no site has a tree\n"
    assert result.exit_code == 0


def test_clean_book_prints_no_data(monkeypatch: pytest.MonkeyPatch) -> None:
    put_problems(monkeypatch)
    result = type_in("check", "lawns")
    assert result.stdout == ""
    assert result.stderr == "10 clients and 0 site features usable. No problems.\n"
    assert result.exit_code == 0


def test_check_as_json_is_the_table(monkeypatch: pytest.MonkeyPatch) -> None:
    put_problems(monkeypatch, FAULT, NOTE)
    result = type_in("check", "lawns", "--json")
    assert json.loads(result.stdout) == [FAULT, NOTE]
    assert result.exit_code == 1


def test_check_of_a_clean_book_as_json_is_an_empty_list(monkeypatch: pytest.MonkeyPatch) -> None:
    put_problems(monkeypatch)
    assert json.loads(type_in("check", "lawns", "--json").stdout) == []


def test_new_book_passes_its_own_check() -> None:
    begun = type_in("new", "mine")
    assert begun.exit_code == 0
    assert begun.stderr.endswith("then: bed-scanner check mine\n")
    assert str(Path("mine") / "clients.csv") in begun.stdout.splitlines()
    assert all(Path(line).is_file() for line in begun.stdout.splitlines())
    checked = type_in("check", "mine")
    assert (checked.exit_code, checked.stdout) == (0, "")


def test_new_as_json_lists_the_files() -> None:
    assert str(Path("mine") / "clients.csv") in json.loads(type_in("new", "mine", "--json").stdout)


def test_new_refuses_a_folder_with_a_book_in_it() -> None:
    type_in("new", "mine")
    own = (Path("mine") / "clients.csv").read_bytes()
    again = type_in("new", "mine")
    assert again.exit_code == 1
    assert again.stderr.startswith("Cannot go on: ")
    assert (Path("mine") / "clients.csv").read_bytes() == own
