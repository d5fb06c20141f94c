"""What a terminal shows and a pipe does not."""

from __future__ import annotations

import pytest

from scanner.cli import talk
from scanner.cli.rows import show_problems
from tests.cli.desk import FAULT, NOTE, problems_of


def on_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TTY_COMPATIBLE", "1")
    monkeypatch.setenv("COLUMNS", "100")


def test_problems_are_a_table_on_a_terminal(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    on_a_terminal(monkeypatch)
    show_problems(problems_of({**FAULT, "problem": "[red]x[/red]"}, NOTE), as_json=False)
    shown = capsys.readouterr().out
    assert "what came, what is allowed" in shown
    assert "[red]x[/red]" in shown  # text from a book is shown, never read as markup


def test_no_table_where_there_is_no_problem(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    on_a_terminal(monkeypatch)
    show_problems(problems_of(), as_json=False)
    assert capsys.readouterr().out == ""


def test_progress_shows_on_a_terminal_only(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with talk.progress_bar("reading the book") as report:
        report("finding lawns", 1, 2)
    assert capsys.readouterr() == ("", "")
    on_a_terminal(monkeypatch)
    with talk.progress_bar("reading the book") as report:
        report("finding lawns", 1, 2)
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "finding lawns" in shown.err
