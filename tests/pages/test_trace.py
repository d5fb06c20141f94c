"""The tracing page as text: what goes into it, and that nothing in a book breaks out of it."""

from __future__ import annotations

import json
import re

import pytest

from scanner.errors import BookError
from scanner.pages.tracing.page import BUTTONS, UNITS_PER_DEGREE, page_data, render_trace
from scanner.schema.tables import ALONG, UTILITIES
from tests.pages.trace_desk import HOME, SCRIPT_NAME, collection, feature, put_book, square

NEAR = (HOME[0] + 0.0005, HOME[1])
FAR = (HOME[0] + 0.05, HOME[1])


def street_of(points):
    """A street of a whole city, zigzag along a parallel."""
    south = [[HOME[0] - 0.1 + 0.2 * n / points, HOME[1] - 0.0004 - 0.00001 * (n % 2)] for n in range(points)]  # fmt: skip
    north = [[lon, lat + 0.0002] for lon, lat in reversed(south)]
    return {"type": "Polygon", "coordinates": [[*south, *north, south[0]]]}


@pytest.fixture
def book(tmp_path):
    sites = {"lots.geojson": collection(
        feature("property", square(*HOME, 60), client_id="A"),
        feature("house", square(*NEAR, 30)),
        feature("house", square(*FAR, 30)),
        feature("street", street_of(900)),
        feature("utility", {"type": "Point", "coordinates": list(HOME)}, what="pole"),
    )}  # fmt: skip
    return put_book(tmp_path / "lawns", sites=sites)


def shapes_of(data, kind):
    number = [one["kind"] for one in data["kinds"]].index(kind)
    return [shape for shape in data["beneath"] if shape[0] == number]


def test_every_kind_has_a_key_of_its_own():
    assert len({kind.key for kind in BUTTONS}) == len(BUTTONS)
    # Q, X, V and R switch and show things
    assert not {kind.key for kind in BUTTONS} & set("QXVR")


def test_data_are_the_clients_and_what_lies_beneath(book):
    data = page_data(book)
    assert data["book"] == "lawns"
    assert data["clients"][0] == [
        "A",
        "Ada Quill",
        "1 Prairie Lane",
        [round(d * UNITS_PER_DEGREE) for d in HOME],
        0,
        -1,
    ]
    assert data["clients"][1][3:] == [[], 0, 0]
    assert (data["along"], data["what"], data["ids"]) == (list(ALONG), list(UTILITIES), ["A", "B"])
    assert data["files"] == ["sites/lots.geojson"]
    [[_, client, file, more, ring]] = shapes_of(data, "property")
    assert (client, file, more) == (0, 0, "")
    # PROJ's way back from the plane is right to a hundred-millionth of a degree
    assert ring[:2] == pytest.approx([d * UNITS_PER_DEGREE for d in HOME], abs=10)
    # Steps round a ring come back to its first point
    assert [sum(ring[2::2]), sum(ring[3::2])] == [0, 0]
    assert shapes_of(data, "utility")[0][3] == "pole"


def test_client_measured_on_foot_is_marked(tmp_path):
    (tmp_path / "measured.csv").write_text("client_id,along,length_ft\nB,curb,60\n")
    assert [client[4] for client in page_data(put_book(tmp_path))["clients"]] == [0, 1]


def test_some_clients_come_with_their_surroundings_only(book):
    data = page_data(book, client_ids=["A"])
    assert [client[0] for client in data["clients"]] == ["A"]
    assert data["ids"] == ["A", "B"]
    assert len(shapes_of(data, "house")) == 1
    [[*_, ring]] = shapes_of(data, "street")
    assert len(ring) < 200  # of 1,801 points, those round the lot
    assert page_data(book, client_ids=["B"])["beneath"] == []


def test_made_up_spots_are_the_same_whoever_is_offered(tmp_path):
    sites = {"lots.geojson": collection(feature("property", square(*FAR, 60), client_id="C"))}
    book = put_book(tmp_path, sites=sites, clients="B,Bo,,,\nC,Cy,,,\nD,Di,,,\n")
    every, alone = page_data(book), page_data(book, client_ids=["D"])
    assert every["town"] == alone["town"]
    # 30 ft south-west of the lot's middle; a degree of latitude is 364,000 ft
    assert alone["town"] == pytest.approx([d * UNITS_PER_DEGREE for d in FAR], abs=0.001 * UNITS_PER_DEGREE)  # fmt: skip
    assert [client[5] for client in every["clients"]] == [0, 1, 2]
    assert [client[5] for client in alone["clients"]] == [2]
    assert page_data(put_book(tmp_path / "new", clients="B,Bo,,,\n"))["town"] == []


def test_unknown_client_is_refused(book):
    with pytest.raises(
        BookError, match=r"client 'C' is not in the client list: write the id as it stands there"
    ):
        render_trace(book, client_ids=["C"])
    named = put_book(book.folder, clients="C0001,,,,\n")
    with pytest.raises(
        BookError, match=r"client 'C0011' is not in the client list; is C0001 meant\?"
    ):
        render_trace(named, client_ids=["C0011"])


def test_page_is_the_same_each_time(book):
    assert render_trace(book) == render_trace(book)


def test_page_names_no_other_file(book):
    html = render_trace(book)
    assert not re.search(
        r"<(?:link|img|iframe)\b|<script[^>]+src=|@import", html.partition("<script>")[0]
    )
    assert not re.search(r"url\((?!data:)", html.partition("</style>")[0])
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', html)
    assert policy
    assert policy[1].startswith("default-src &#39;none&#39;") or policy[1].startswith(
        "default-src 'none'"
    )
    assert "unsafe-inline" not in policy[1].partition("style-src")[0]


def test_hostile_text_stays_text(tmp_path):
    quoted = SCRIPT_NAME.replace('"', '""')
    book = put_book(tmp_path / "a <b> & c", clients=f'A,"{quoted}","{quoted}",,\n')
    html = render_trace(book)
    assert "<script>alert" not in html
    assert "a &lt;b&gt; &amp; c" in html
    assert html.count("</script>") == 3
    text = re.search(r'<script type="application/json" id="data">(.*?)</script>', html, re.DOTALL)
    assert text
    assert json.loads(text[1])["clients"][0][1] == SCRIPT_NAME
