"""A scan to hand on: nothing of a person or a place in any byte, all sizes as they are."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pyproj import Geod
from shapely.geometry import shape

from scanner.errors import BookError
from scanner.pages.geojson import beds_geojson
from scanner.pages.share import publish_shared
from scanner.pages.summary import summarize
from scanner.schema.documents import Scan
from scanner.schema.local_rules import Backgrounds, Company
from tests.small_scan import in_parts, small_scan

FT2_PER_M2 = 1 / 0.3048**2


def told() -> Scan:
    """The small scan with something personal wherever something may stand."""
    scan = small_scan()
    rules = scan.rules.model_copy(update={
        "company": Company(name="Meadow Example", phone="308-555-9999", email="office@meadow.example"), "state": "NE",
        "backgrounds": Backgrounds(imagery_url="https://tiles.meadow.example/{z}/{x}/{y}", imagery_credit="Meadow County"),
    })  # fmt: skip
    clients = scan.clients.assign(
        email="mail@quill.example", mailing_address="PO Box 77", notes="gate code 4711", parcel_id="12-00401",
        hoa="Elm Grove Owners", last_contact="2026-01-31",
    )  # fmt: skip
    calls = scan.calls.assign(
        reasons="a client since 2011", last_note="dog named Rex", last_outcome="call back", due_action="ring Ada",
        due_date="2026-02-20",
    )  # fmt: skip
    own = scan.own.assign(Spouse="Mortimer")
    offers = scan.offers.assign(cautions=scan.rules.locating)
    return replace(scan, name="elm-grove", rules=rules, clients=clients, calls=calls, own=own, offers=offers)  # fmt: skip


def words_of(scan: Scan) -> set[str]:
    """Every word of the book that tells of a person or a place."""
    texts = {
        text
        for name in ("client_id", "name", "address", "phone", "email", "mailing_address", "notes", "parcel_id", "hoa")
        for text in scan.clients[name]
    }  # fmt: skip
    return (texts | {"Meadow", "555-9999", "Rex", "Mortimer", "Spouse", "elm-grove", "2011", "2026-01-31", "2026-02-20", "Prairie", "in NE"}
            | {*scan.clients["route"]} | {"call back", "asked not", "past due"}) - {""}  # fmt: skip


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shared")
    publish_shared(told(), folder)
    return folder


def test_three_files_and_no_word_of_the_book_in_any_byte(shared: Path) -> None:
    assert sorted(path.name for path in shared.iterdir()) == [
        "candidates.geojson", "map.html", "summary.json",
    ]  # fmt: skip
    for path in shared.iterdir():
        content = path.read_text(encoding="utf-8")
        data = content.partition('<script type="application/json" id="data">')[2] or content
        page = content.partition("<script>")[0]
        found = {
            word
            for word in words_of(told())
            if word.lower() in (page + data.partition("</script>")[0]).lower()
        }
        # words of the page itself: its filter has a choice of call-backs, its search field asks for names
        assert found <= {"call back", "North", "South"}, (path.name, found)
        assert "https://tiles" not in content


def test_the_ground_lies_nowhere_and_is_as_large_as_it_was(shared: Path) -> None:
    scan, geod = small_scan(), Geod(ellps="WGS84")
    there = json.loads(b"".join(beds_geojson(scan, scan.parts)))["features"]
    here = json.loads((shared / "candidates.geojson").read_bytes())["features"]
    assert len(there) == len(here)
    middles = []
    for old, new in zip(there, here, strict=True):
        assert old["properties"]["area_ft2"] == new["properties"]["area_ft2"]
        assert (old["geometry"] is None) == (new["geometry"] is None)
        if new["geometry"] is None:
            continue
        points = np.array(shape(new["geometry"]).exterior.coords)
        assert np.abs(points).max() < 0.1
        areas = [abs(geod.geometry_area_perimeter(shape(one["geometry"]))[0]) for one in (old, new)]
        assert areas[1] * FT2_PER_M2 == pytest.approx(areas[0] * FT2_PER_M2, rel=1e-4)
        middles.append([shape(one["geometry"]).centroid.coords[0] for one in (old, new)])
    # Lots lie to each other as they did: from the first bed to the last, in feet
    (old_first, new_first), *_, (old_last, new_last) = middles
    far = [geod.inv(*one, *two) for one, two in ((old_first, old_last), (new_first, new_last))]
    assert far[1][2] == pytest.approx(far[0][2], rel=1e-4)
    assert far[1][0] == pytest.approx(far[0][0], abs=0.5)  # north stays up


def test_totals_are_those_of_the_scan(shared: Path) -> None:
    here, there = json.loads((shared / "summary.json").read_bytes()), summarize(small_scan())
    for name in ("clients", "beds", "skipped", "offers", "left_out"):
        assert here[name] == there[name]
    for name in ("edge_ft", "area_ft2", "price_usd", "expected_profit_usd"):
        assert here[name] == pytest.approx(float(there[name]), abs=0.005)
    assert {*here["by_route"]} == {"", "Route 1", "Route 2"}


def test_parts_of_any_size_give_the_same_files(shared: Path, tmp_path: Path) -> None:
    publish_shared(in_parts(told(), 3), tmp_path)
    first, *_ = json.loads((tmp_path / "candidates.geojson").read_bytes())["features"]
    assert first["properties"]["bed_id"] == "L1-curb-1"
    for name in ("summary.json", "map.html"):
        lots = [(folder / name).read_text().count('"id":"L') for folder in (shared, tmp_path)]
        assert lots[0] == lots[1]


def test_nothing_else_may_lie_beside_it(tmp_path: Path) -> None:
    (tmp_path / "calls.csv").write_text("Ada Quill")
    with pytest.raises(BookError, match=r"holds calls\.csv: what is handed on stands alone"):
        publish_shared(small_scan(), tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["calls.csv"]
