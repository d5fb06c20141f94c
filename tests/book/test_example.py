"""The example of a new book does not stay among somebody's own lots."""

from __future__ import annotations

import pytest

from scanner.book.book import read_book
from scanner.book.new import start_book

OWN = "client_id,name\n001,Ada Moss\n002,Bo Fern\n003,Cy Reed\n"


@pytest.fixture
def book(tmp_path):
    start_book(tmp_path / "book")
    return tmp_path / "book"


def test_new_book_has_its_example(book):
    read = read_book(book)
    assert len(read.features)
    assert len(read.measured)
    assert read.problems.empty


def test_own_client_list_leaves_the_example_out_and_says_so(book):
    (book / "clients.csv").write_text(OWN, encoding="utf-8")
    read = read_book(book)
    assert read.features.empty
    assert read.measured.empty
    assert read.problems["file"].tolist() == ["measured.csv", "sites/example.geojson"]
    assert set(read.problems["severity"]) == {"note"}


def test_own_edges_in_the_example_s_place_are_read(book):
    (book / "clients.csv").write_text(OWN, encoding="utf-8")
    (book / "measured.csv").write_text("client_id,along,length_ft\n001,curb,60\n", encoding="utf-8")
    read = read_book(book)
    assert read.measured["length_ft"].tolist() == [60.0]
    assert read.problems["file"].tolist() == ["sites/example.geojson"]


def test_example_saved_again_by_another_editor_is_the_example_still(book):
    path = book / "clients.csv"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert len(read_book(book).features)
