"""The sample book is found in a checkout and in an installed package, and is copied whole."""

from __future__ import annotations

from pathlib import Path

import pytest

from scanner.cli.demo import copy_sample_book, sample_folder
from scanner.errors import BookError

ROOT = Path(__file__).parents[2]


def files_in(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_a_checkout_uses_its_own() -> None:
    assert sample_folder("book") == ROOT / "sample_data" / "book"


def test_an_installed_package_uses_the_one_inside(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    inside = tmp_path / "scanner" / "sample_data" / "book"
    inside.mkdir(parents=True)
    monkeypatch.setattr("scanner.__file__", str(tmp_path / "scanner" / "__init__.py"))
    assert sample_folder("book") == inside


def test_an_installation_without_it_says_so(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("scanner.__file__", str(tmp_path / "scanner" / "__init__.py"))
    with pytest.raises(BookError, match="the sample book is missing from this installation"):
        sample_folder("book")


def test_the_copy_is_whole_and_leaves_nothing_beside_it(tmp_path: Path) -> None:
    folder, is_new = copy_sample_book(tmp_path / "maps" / "demo-book")
    assert is_new
    assert files_in(folder) == files_in(sample_folder("book"))
    assert list((tmp_path / "maps").iterdir()) == [folder]


def test_a_file_in_its_place_is_told(tmp_path: Path) -> None:
    (tmp_path / "demo-book").write_text("mine", encoding="utf-8")
    with pytest.raises(BookError, match="is not a folder: move it away"):
        copy_sample_book(tmp_path / "demo-book")
