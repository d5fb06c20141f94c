"""Text that would run, files that lead astray, errors nobody foresaw: what a stranger may put into a book."""

from __future__ import annotations

import os
import pty
import shutil
import socket
import stat
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path

import pytest
from click.testing import CliRunner

from scanner.book.county.sources import Source, read_source
from scanner.cli import main
from scanner.cli.talk import harmless
from scanner.errors import SiteError
from tests.cli.desk import book_on_foot, type_in

pytestmark = pytest.mark.usefixtures("without_map")

ESCAPE = "\x1b[2J\x1b]0;owned\x07\x9b31m\u202e"


@pytest.fixture(scope="module")
def lots(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two lots measured on foot, one of a client whose name a terminal would obey."""
    return book_on_foot(
        tmp_path_factory.mktemp("hostile") / "elm",
        "client_id,name,address,phone,route",
        f"A,Ada{ESCAPE},1 Elm St,308-555-0101,East{ESCAPE}", "B,Łukasz,2 Elm St,,East",
        curb_ft={"A": 60, "B": 50, "X\x1b[31m": 9},
    )  # fmt: skip


@pytest.fixture
def book(lots: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(lots, tmp_path / "elm"))


@pytest.fixture(scope="module")
def scanned(lots: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with a scan on record, which a list of calls does not wait for."""
    folder = tmp_path_factory.mktemp("scanned") / "elm"
    shutil.copytree(lots, folder)
    done = type_in("scan", str(folder), "--out", str(folder / "out"), "--today", "2026-03-02")
    assert done.exit_code == 1  # an edge is nobody's
    return folder


def on_a_terminal(*commands: tuple[str, ...]) -> bytes:
    """Run commands on a pseudo-terminal, because a pipe hides what a terminal shows."""
    terminal, screen = pty.openpty()
    with ThreadPoolExecutor(1) as watcher, pytest.MonkeyPatch.context() as patch:
        shown = watcher.submit(b"".join, watch(terminal))
        with open(screen, "w", encoding="utf-8") as stream:  # noqa: PTH123  # a screen has no path
            for name in ("stdout", "stderr"):
                patch.setattr(sys, name, stream)
            for words in commands:
                main.main(list(words), standalone_mode=False)
    os.close(terminal)
    return shown.result()


def watch(terminal: int) -> Iterator[bytes]:
    """Read what a terminal shows until nobody writes to it any more, which Linux tells as an error."""
    with suppress(OSError):
        while piece := os.read(terminal, 65536):
            yield piece


def test_nothing_in_a_book_moves_the_cursor_of_a_terminal(scanned):
    shown = on_a_terminal(("calls", str(scanned), "--today", "2026-03-02"), ("check", str(scanned)))
    # a name on the list, and an edge that is nobody's
    assert (b"owned" in shown, b"X\\x1b" in shown) == (True, True)
    # Colors and lines of the program's own tables are all that a terminal may obey
    for foreign in (
        b"\x1b[2J",
        b"\x1b]0;",
        "\x9b31m".encode(),
        "\u202e".encode(),
        b"\x1b[31m,",
    ):
        assert foreign not in shown


def test_text_is_spelled_out_and_plain_text_left_alone():
    assert harmless("Ada\tQuill\nŁukasz 🌱 عربي") == "Ada\tQuill\nŁukasz 🌱 عربي"
    assert harmless("a\rb\x00c") == "a\\rb\\x00c"


def test_a_stream_that_knows_few_letters_gets_them_spelled_out(scanned):
    runner = CliRunner(charset="cp1252")
    told = runner.invoke(
        main, ["calls", str(scanned), "--today", "2026-03-02"], catch_exceptions=False
    )
    assert told.exit_code == 0
    assert b"\\u0141ukasz" in told.stdout_bytes


def test_letters_that_are_not_utf8_are_wrong_usage(book):
    """A shell hands over what it cannot read as halves of pairs (PEP 383)."""
    told = type_in("record", str(book), "calls", "A", "no", "--note", "\udcff")
    assert told.exit_code == 2
    assert "not UTF-8: type it anew" in told.stderr
    assert not (book / "book.sqlite").exists()


def test_what_nobody_foresaw_is_a_sentence_and_a_report_without_the_book(book, monkeypatch):
    def burst(*_args, **_options):
        message = f"Ada Quill's secret at {book}"
        raise RuntimeError(message)

    monkeypatch.setattr("scanner.cli.calls.list_callees", burst)
    told = type_in("calls", str(book))
    assert told.exit_code == 3
    report = Path(told.stderr.split(" is in ")[1].split(": please")[0])
    text = report.read_text(encoding="utf-8")
    assert "RuntimeError" in text
    assert "burst" in text
    assert "secret" not in text + told.stderr
    assert str(book) not in text
    if os.name == "posix":
        assert stat.S_IMODE(report.stat().st_mode) == 0o600
    report.unlink()
    with pytest.raises(RuntimeError):
        CliRunner().invoke(main, ["--debug", "calls", str(book)], catch_exceptions=False)


@pytest.mark.skipif(os.name != "posix", reason="links need leave elsewhere")
def test_a_link_in_a_received_book_is_not_followed(book, tmp_path):
    assert type_in("record", str(book), "calls", "A", "no", "--today", "2026-03-02").exit_code == 0
    outside = tmp_path / "outside.txt"
    outside.write_text("keep me")
    (book / "book.sqlite-in-use.txt").symlink_to(outside)
    (book / "copies").mkdir(exist_ok=True)
    (book / "copies" / "book-2026-03-03.part").symlink_to(outside)
    assert (
        type_in("record", str(book), "calls", "A", "sold", "--today", "2026-03-03").exit_code == 0
    )
    assert outside.read_text() == "keep me"
    assert (book / "copies" / "book-2026-03-03.sqlite").is_file()


def test_no_reader_asks_a_server(tmp_path):
    with socket.socket() as server:
        server.bind(("127.0.0.1", 0))
        server.listen()
        server.settimeout(0.2)
        address = f"http://127.0.0.1:{server.getsockname()[1]}/lots.xsd"
        file = tmp_path / "lots.gml"
        file.write_text(
            '<ogr:FeatureCollection xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" '
            f'xsi:schemaLocation="http://ogr.maptools.org/ {address}" xmlns:ogr="http://ogr.maptools.org/" '
            'xmlns:gml="http://www.opengis.net/gml"><gml:featureMember><ogr:lot><ogr:geometryProperty>'
            '<gml:Point srsName="EPSG:4326"><gml:coordinates>-98.5,41</gml:coordinates></gml:Point>'
            "</ogr:geometryProperty><ogr:id>1</ogr:id></ogr:lot></gml:featureMember></ogr:FeatureCollection>"
        )
        assert len(read_source(Source(file)).fields) == 1
        with pytest.raises(TimeoutError):
            server.accept()


def test_a_format_that_nobody_tried_is_refused(tmp_path):
    file = tmp_path / "a.csv"
    file.write_text("X,Y,id\n-98.5,41,1\n")
    with pytest.raises(SiteError, match="not read here"):
        read_source(Source(file))
