"""What a scan takes over from the one before: all that still holds, and nothing else."""

from __future__ import annotations

import json
import shutil
from collections import defaultdict
from dataclasses import replace
from datetime import date

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from shapely import box
from shapely.affinity import scale, translate

from scanner import block_ground, block_work, reuse
from scanner.calls.log import NO_SEASON
from scanner.ground.record.stored import remember_beds
from scanner.pipeline import open_store, publish_scan, read_book, scan
from scanner.schema.documents import PART_TABLES
from scanner.schema.log_tables import ANSWERS, JOBS
from scanner.schema.tables import check_table
from tests.sites import Drawing, features_of
from tests.test_pipeline import edge_on_foot

TODAY = date(2026, 2, 16)
LOT_FT, APART_FT = 80.0, 1500.0
FT = 1 / 364_000
"""A foot in degrees of latitude, about."""

HAMLETS = (
    "nothing", "house", "outline", "drive next door", "street", "answer", "answer next door",
    "measurement", "built", "sold", "name", "fee", "gone",
)  # fmt: skip
"""Three lots each, out of reach of all others; what happens to the middle one, "b", or to "a" beside it."""


def clients_in(*hamlets, lots="abc"):
    return {f"{hamlet.replace(' ', '-')}-{lot}" for hamlet in hamlets for lot in lots}


FEW = HAMLETS[:1]
"""Enough for what happens to all lots alike."""


def draw_country(hamlets):
    """Hamlets on a street of their own, drives and houses on their lots, another street 250 ft behind."""
    drawing = Drawing()
    for number, hamlet in enumerate(hamlets):
        along = number * APART_FT
        for south in (-30, 370):
            drawing = drawing.add(
                "street", box(along - 50, south, along + 290, south + 20), client=""
            )
        for at, client in enumerate(sorted(clients_in(hamlet))):
            for kind, shape in (
                ("property", box(0, 0, LOT_FT, 120)),
                ("drive", box(10, -10, 30, 35)),
                ("house", box(20, 35, 60, 65)),
            ):
                drawing = drawing.add(kind, translate(shape, along + at * LOT_FT), client=client)
    return drawing


def make_book(book, drawing):
    """Write a book of a drawing; its features."""
    features = features_of(drawing).drop(columns=["feature_id", "file"])
    (book / "sites").mkdir(parents=True)
    features.to_file(book / "sites" / "all.geojson")
    ids = sorted({*features["client_id"]} - {""})
    clients = pd.DataFrame({"client_id": ids, "name": ids})
    # One pays nothing that is known: the median of three on the route stands in for it
    fees = {"fee-a": "", "fee-b": "1800", "fee-c": "2400", "name-a": "3000"}
    clients["annual_usd"] = clients["client_id"].map(fees).fillna("1800")
    clients["route"] = np.where(clients["client_id"].isin(fees), "North", "")
    clients.to_csv(book / "clients.csv", index=False)
    return features


@pytest.fixture(scope="module")
def village(tmp_path_factory):
    """A book of a hamlet that was scanned in two blocks, with what that scan left, and its tables."""
    book = tmp_path_factory.mktemp("reuse") / "village"
    make_book(book, draw_country(FEW))
    return book, scanned(book, block_lots=2)


@pytest.fixture
def copied(village, tmp_path):
    """A copy of that book, and the tables of its scan."""
    book, before = village
    return shutil.copytree(book, tmp_path / "village"), before


def scanned(book, season=NO_SEASON, *, out=None, progress=None, block_lots=40):
    """Scan a book beside which an earlier scan may have left something, in one block unless asked; every table that was found."""
    with open_store(book) as store:
        place = replace(store, block_lots=block_lots)
        read = read_book(book, store=place)
        found = scan(read, today=TODAY, season=season, progress=progress, store=place)
        if out:
            publish_scan(found, out)
        tables = {
            name: table for name, table in vars(found).items() if isinstance(table, pd.DataFrame)
        }
        return tables | {f"{name} of parts": found.table(name) for name in PART_TABLES}


def scanned_anew(book, place, *rest, **how):
    """Scan a book beside which nothing lies."""
    bare = shutil.copytree(book, place / book.name, ignore=shutil.ignore_patterns(".scan"))
    return scanned(bare, *rest, **how)


def differing(tables, others):
    """Which tables are not the same; what a lot's place in its block adds to a number is in the thirteenth digit."""
    assert tables.keys() == others.keys()
    return [
        name for name, table in tables.items() if not table.round(9).equals(others[name].round(9))
    ]


@pytest.fixture
def anew(monkeypatch):
    """Whose ground is looked at, and whose offers are worked out, from now on."""
    clients = defaultdict(set)
    survey, work = block_ground.survey_block, block_work._work_lots

    def look(features, client_ids, *rest, **known):
        clients["ground"].update(client_ids)
        return survey(features, client_ids, *rest, **known)

    def price(block, client_ids, *rest):
        clients["offers"].update(client_ids)
        return work(block, client_ids, *rest)

    monkeypatch.setattr(block_ground, "survey_block", look)
    monkeypatch.setattr(block_work, "_work_lots", price)
    return clients


def redraw(book):
    """Move features of three hamlets by half a foot, and of a fourth the far street to the lots."""
    path = book / "sites" / "all.geojson"
    read = json.loads(path.read_text())
    steps = {
        ("house-b", "house"): 0.5,
        ("outline-b", "property"): 0.5,
        ("drive-next-door-a", "drive"): -0.5,
    }
    streets = [one for one in read["features"] if one["properties"]["kind"] == "street"]
    far = 2 * HAMLETS.index("street") + 1
    for one in read["features"]:
        told = one["properties"]
        step = -240 if one is streets[far] else steps.get((told["client_id"], told["kind"]), 0)
        shape = translate(shapely.geometry.shape(one["geometry"]), 0, step * FT)
        one["geometry"] = shapely.geometry.mapping(shape) if step else one["geometry"]
    path.write_text(json.dumps(read))


def rewrite(book):
    """Give a client another name, another one another fee, lose a third, measure on a fourth's lot."""
    path = book / "clients.csv"
    rows = pd.read_csv(path, dtype=str).set_index("client_id", drop=False)
    rows.loc["name-b", "name"] = "Ida Sedge"
    rows.loc["fee-b", "annual_usd"] = "9000"
    rows.drop("gone-b").to_csv(path, index=False)
    edge = pd.DataFrame([edge_on_foot("measurement-b", "curb", 50.0)])
    edge.drop(columns="row").to_csv(book / "measured.csv", index=False)


def season_of(beds):
    """Two crews have answered, a bed was sold and another one built; all beds are on record."""
    seen = pd.DataFrame(
        [("answer-b", "turf to curb", "no"), ("answer-next-door-a", "curbed", "no")],
        columns=["client_id", "question", "answer"],
    ).assign(seen_on="2026-02-01")
    job = {name: 100_000 if name.endswith("_cents") else "" for name in JOBS.columns}
    job |= {
        "job_id": "7",
        "client_id": "sold-b",
        "bed_ids": "sold-b-curb-1",
        "finish": "mulch",
        "area_ft2": 9,
    }
    built_on = np.where(beds["bed_id"] == "built-b-curb-1", "2025-10-01", "")
    stored = pd.DataFrame(beds.drop(columns="geometry")).assign(
        shape=beds.geometry.to_wkb(), built_on=built_on
    )
    return replace(
        NO_SEASON, stored=stored.reset_index(drop=True), answers=check_table(seen, ANSWERS),
        jobs=check_table(pd.DataFrame([job]), JOBS),
    )  # fmt: skip


def test_what_changed_is_worked_out_anew_and_nothing_else(anew, tmp_path):
    book = tmp_path / "country"
    make_book(book, draw_country(HAMLETS))
    before = scanned(book)
    anew.clear()
    season = season_of(remember_beds(before["beds of parts"], today=TODAY))
    redraw(book)
    rewrite(book)
    found = scanned(book, season, out=tmp_path / "pages")
    touched = {name: {*clients} for name, clients in anew.items()}
    assert (
        differing(
            found,
            scanned_anew(book, tmp_path / "anew", season, out=tmp_path / "other"),
        )
        == []
    )
    for path in (tmp_path / "other").iterdir():
        assert path.read_bytes() == (tmp_path / "pages" / path.name).read_bytes(), path.name
    assert differing(found, before)
    moved = ("house", "outline", "street", "answer", "answer next door")
    alone = clients_in("measurement", "sold", lots="b")
    # A drive 50 ft off bears on its own lot alone; a bed in the lot's first 10 ft on the lot before, too
    alone |= clients_in("drive next door", lots="a") | clients_in("built", lots="ab")
    assert touched["ground"] == clients_in(*moved, "gone") - {"gone-b"} | alone
    # the fee of one is in the median that stands in for another's
    assert touched["offers"] == touched["ground"] | clients_in("name", lots="b") | clients_in(
        "fee", lots="ab"
    )


def draw_rows():
    """Two towns out of reach of each other: two rows of lots back to back, a street before each, every third house set back."""
    drawing = Drawing()
    for west in (0, APART_FT):
        for south in (-30, 250):
            street = box(west - 50, south, west + 4 * 60 + 50, south + 20)
            drawing = drawing.add("street", street, client="")
    for at in range(16):
        east, is_back = at // 8 * APART_FT + at % 4 * 60.0, at % 8 >= 4
        for kind, shape in (
            ("property", box(0, 0, 60, 120)),
            ("drive", box(8, -10, 20, 35)),
            ("house", box(10, 35, 45, 70) if at % 3 else box(5, 80, 55, 115)),
            ("patio", box(20, 70, 30, 82)),
        ):
            turned = scale(shape, 1, -1, origin=(0, 120)) if is_back else shape
            drawing = drawing.add(kind, translate(turned, east), client=f"lot-{at:02}")
    return drawing


def test_whatever_moves_no_table_is_left_behind(tmp_path):
    """A few shapes move by inches or by half a lot, again and again; what is taken over must still hold."""
    random, book = np.random.default_rng(0), tmp_path / "rows"
    features = make_book(book, draw_rows())
    scanned(book)
    for turn in range(2):
        shapes = features.geometry.to_numpy(copy=True)
        for row in random.choice(len(shapes), 6):
            by = random.choice([0.3, 3, 30]) * random.uniform(-1, 1, 2) * FT
            shapes[row] = translate(shapes[row], *by)
        features = features.set_geometry(gpd.GeoSeries(shapes, crs=features.crs))
        features.to_file(book / "sites" / "all.geojson")
        found = scanned(book)
        anew = scanned_anew(book, tmp_path / f"anew-{turn}")
        assert differing(found, anew) == [], turn


def test_an_unchanged_book_is_read_again_and_nothing_more(copied, anew):
    book, before = copied
    assert differing(scanned(book, block_lots=2), before) == []
    # Blocks cut another way take their lots from several parts
    assert differing(scanned(book), before) == []
    assert not anew


def test_other_rates_let_the_ground_stand_and_other_sizes_do_not(copied, anew, tmp_path):
    book, before = copied
    (book / "rates.toml").write_text("labor_usd_per_hour = 31\n")
    dearer = scanned(book)
    assert anew.pop("offers") == clients_in(*FEW)
    (book / "local.toml").write_text("job_limit_crew_days = 1.1\n")
    found = scanned(book)
    assert anew.pop("offers") == clients_in(*FEW)
    assert not anew
    assert differing(dearer, before)
    assert differing(found, scanned_anew(book, tmp_path / "anew")) == []
    (book / "local.toml").write_text("bed_depth_ft = 5\n")
    anew.clear()
    found = scanned(book)
    assert anew == {"ground": clients_in(*FEW), "offers": clients_in(*FEW)}
    assert differing(found, scanned_anew(book, tmp_path / "deeper")) == []


def test_nothing_is_taken_from_another_version(copied, anew, monkeypatch):
    book, before = copied
    monkeypatch.setattr(reuse, "program_print", lambda: "another one")
    assert differing(scanned(book), before) == []
    assert anew["ground"] == clients_in(*FEW)


def test_what_was_deleted_or_spoiled_is_worked_out_anew(copied, anew):
    book, before = copied
    one, two = sorted((book / ".scan").glob("kept-*/0*"))
    (one / "beds.parquet").unlink()
    lots = (two / "lots.parquet").read_bytes()
    (two / "lots.parquet").write_bytes(lots[: len(lots) // 2])
    next((book / ".scan").glob("kept-*/shapes")).unlink()
    assert differing(scanned(book, block_lots=2), before) == []
    assert anew.pop("ground") == clients_in(*FEW)
    shapes = next((book / ".scan").glob("kept-*/shapes"))
    spoiled = bytearray(shapes.read_bytes())
    spoiled[len(spoiled) // 2] ^= 1
    shapes.write_bytes(spoiled)
    for keys in (book / ".scan").glob("kept-*/0*/keys.parquet"):
        keys.write_bytes(b"")
    assert differing(scanned(book), before) == []
    assert anew.pop("ground") == clients_in(*FEW)


def test_a_scan_that_was_stopped_is_gone_on_with(copied, anew):
    book, before = copied
    shutil.rmtree(book / ".scan")

    def stop(_step, done, _total):
        if done >= 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        scanned(book, progress=stop, block_lots=2)
    anew.clear()
    assert differing(scanned(book, block_lots=2), before) == []
    assert len(anew["ground"]) == len(clients_in(*FEW)) - 2
    assert len([*(book / ".scan").iterdir()]) == 1


def test_a_book_beside_which_nothing_can_lie_is_scanned(copied, anew):
    book, before = copied
    shutil.rmtree(book / ".scan")
    (book / ".scan").write_text("in the way of a folder")
    assert differing(scanned(book), before) == []
    assert anew["ground"] == clients_in(*FEW)
