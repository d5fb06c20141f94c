"""``trace``: exit code, stdout and stderr."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.desk import type_in


@pytest.fixture(autouse=True)
def lawns(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Sit down in a folder with a book that has a client list and nothing else."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "lawns").mkdir()
    (tmp_path / "lawns" / "clients.csv").write_text("client_id,name\n007,Ada Quill\n008,Bo Tansy\n")


def test_client_list_is_enough() -> None:
    result = type_in("trace", "lawns")
    page = Path("maps") / "lawns" / "trace.html"
    sites = Path("lawns") / "sites"
    assert result.stdout == f"{page}\n"
    assert result.stderr == f"Open {page}, draw, save the file and put it into {sites}.\n"
    assert result.exit_code == 0
    assert "Ada Quill" in page.read_text(encoding="utf-8")


def test_some_clients_into_another_folder() -> None:
    result = type_in("trace", "lawns", "--client", "007", "--out", "there", "--json")
    assert json.loads(result.stdout) == [str(Path("there") / "trace.html")]
    html = (Path("there") / "trace.html").read_text(encoding="utf-8")
    assert "Ada Quill" in html
    assert "Bo Tansy" not in html


def test_unknown_client_writes_nothing() -> None:
    result = type_in("trace", "lawns", "--client", "009")
    assert result.exit_code == 1
    assert "'009' is no id, name or phone number in the client list" in result.stderr
    assert not Path("maps").exists()


def test_faulty_record_is_left_out_and_told_of() -> None:
    Path("lawns/clients.csv").write_text("client_id,name\n007,Ada Quill\n007,Bo Tansy\n")
    result = type_in("trace", "lawns")
    assert result.exit_code == 1
    assert "1 record needs fixing. To see them: bed-scanner check lawns\n" in result.stderr
    assert Path("maps/lawns/trace.html").is_file()


def test_book_in_the_folder_where_one_stands(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir("lawns")
    assert type_in("trace", ".", "--out", "there").exit_code == 0
    assert "book “lawns”" in Path("there/trace.html").read_text(encoding="utf-8")
