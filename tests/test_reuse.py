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
from scanner.ground.stored import remember_beds
from scanner.pipeline import open_store, publish_scan, read_book, scan
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


def draw_country():
    """Hamlets on a street of their own, drives and houses on their lots, another street 250 ft behind."""
    drawing = Drawing()
    for number, hamlet in enumerate(HAMLETS):
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


@pytest.fixture(scope="module")
def country(tmp_path_factory):
    """A book that was scanned, with what that scan left; its files and its beds."""
    folder = tmp_path_factory.mktemp("reuse")
    book = folder / "country"
    (book / "sites").mkdir(parents=True)
    features = features_of(draw_country()).drop(columns=["feature_id", "file"])
    features.to_file(book / "sites" / "all.geojson")
    ids = sorted({*features["client_id"]} - {""})
    clients = pd.DataFrame({"client_id": ids, "name": ids, "annual_fee_usd": "1800"})
    clients.to_csv(book / "clients.csv", index=False)
    return book, *written(book, folder / "out")


def written(book, out, season=NO_SEASON, *, progress=None, **how):
    """Scan a book beside which an earlier scan may have left something; its files and beds."""
    with open_store(book) as store:
        place = replace(store, **{"block_lots": 20, **how})
        read = read_book(book, store=place)
        found = scan(read, today=TODAY, season=season, progress=progress, store=place)
        publish_scan(found, out)
        beds = remember_beds(found.table("beds"), today=TODAY)
    return {path.name: path.read_bytes() for path in sorted(out.iterdir())}, beds


def written_anew(book, out, season=NO_SEASON):
    """Scan a book beside which nothing lies."""
    bare = shutil.copytree(book, out / book.name, ignore=shutil.ignore_patterns(".scan"))
    return written(bare, out / "pages", season)[0]


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
    rows.loc["fee-b", "annual_fee_usd"] = "9000"
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


def test_what_changed_is_worked_out_anew_and_nothing_else(country, anew, tmp_path):
    kept, before, beds = country
    book, season = shutil.copytree(kept, tmp_path / "country"), season_of(beds)
    redraw(book)
    rewrite(book)
    found, _ = written(book, tmp_path / "pages", season)
    touched = {name: {*clients} for name, clients in anew.items()}
    assert found == written_anew(book, tmp_path / "anew", season)
    assert found != before
    moved = ("house", "outline", "street", "answer", "answer next door")
    alone = clients_in("measurement", "sold", lots="b")
    # A drive 50 ft off bears on its own lot alone; a bed in the lot's first 10 ft on the lot before, too
    alone |= clients_in("drive next door", lots="a") | clients_in("built", lots="ab")
    assert touched["ground"] == clients_in(*moved, "gone") - {"gone-b"} | alone
    assert touched["offers"] == touched["ground"] | clients_in("name", "fee", lots="b")


def draw_rows():
    """Two rows of lots back to back, a street before each, every fifth house missing."""
    drawing = Drawing()
    for south in (-30, 250):
        drawing = drawing.add("street", box(-50, south, 8 * 60 + 50, south + 20), client="")
    for at in range(16):
        east, is_back = at % 8 * 60.0, at >= 8
        for kind, shape in (
            ("property", box(0, 0, 60, 120)),
            ("drive", box(8, -10, 20, 35)),
            ("house", box(10, 35, 45, 70) if at % 5 else box(5, 80, 55, 115)),
            ("patio", box(20, 70, 30, 82)),
        ):
            turned = scale(shape, 1, -1, origin=(0, 120)) if is_back else shape
            drawing = drawing.add(kind, translate(turned, east), client=f"lot-{at:02}")
    return drawing


@pytest.mark.parametrize("seed", range(2))
def test_whatever_moves_no_byte_is_left_behind(seed, tmp_path):
    """A few shapes move by inches or by half a lot, again and again; what is taken over must still hold."""
    random, book = np.random.default_rng(seed), tmp_path / "rows"
    features = features_of(draw_rows()).drop(columns=["feature_id", "file"])
    (book / "sites").mkdir(parents=True)
    ids = sorted({*features["client_id"]} - {""})
    pd.DataFrame({"client_id": ids, "name": ids}).to_csv(book / "clients.csv", index=False)
    for turn in range(4):
        features.to_file(book / "sites" / "all.geojson")
        found, _ = written(book, tmp_path / f"pages-{turn}")
        assert found == written_anew(book, tmp_path / f"anew-{turn}"), (seed, turn)
        shapes = features.geometry.to_numpy(copy=True)
        for row in random.choice(len(shapes), 2):
            by = random.choice([0.3, 3, 30]) * random.uniform(-1, 1, 2) * FT
            shapes[row] = translate(shapes[row], *by)
        features = features.set_geometry(gpd.GeoSeries(shapes, crs=features.crs))


def test_an_unchanged_book_is_read_again_and_nothing_more(country, anew, tmp_path):
    kept, before, _ = country
    book = shutil.copytree(kept, tmp_path / "country")
    assert written(book, tmp_path / "one")[0] == before
    # Blocks cut another way take their lots from several parts
    assert written(book, tmp_path / "two", block_lots=7)[0] == before
    assert written(book, tmp_path / "three", small_lots=0, workers=2)[0] == before
    assert not anew


@pytest.mark.parametrize(
    ("file", "line", "is_ground"),
    [
        ("rates.toml", "labor_usd_per_hour = 31", False),
        ("local.toml", "job_limit_crew_days = 1.1", False),
        ("local.toml", "bed_depth_ft = 5", True),
    ],
)
def test_other_rates_let_the_ground_stand(country, anew, tmp_path, file, line, is_ground):
    kept, before, _ = country
    book = shutil.copytree(kept, tmp_path / "country")
    (book / file).write_text(line + "\n")
    found, _ = written(book, tmp_path / "pages")
    assert anew["offers"] == clients_in(*HAMLETS)
    assert anew["ground"] == (clients_in(*HAMLETS) if is_ground else set())
    assert found == written_anew(book, tmp_path / "anew")
    assert found != before


def test_nothing_is_taken_from_another_version(country, anew, monkeypatch, tmp_path):
    kept, before, _ = country
    book = shutil.copytree(kept, tmp_path / "country")
    monkeypatch.setattr(reuse, "program_print", lambda: "another one")
    assert written(book, tmp_path / "pages")[0] == before
    assert anew["ground"] == clients_in(*HAMLETS)


def test_what_was_deleted_or_spoiled_is_worked_out_anew(country, anew, tmp_path):
    kept, before, _ = country
    book = shutil.copytree(kept, tmp_path / "country")
    one, two = sorted((book / ".scan").glob("kept-*/0*"))
    (one / "beds.parquet").unlink()
    lots = (two / "lots.parquet").read_bytes()
    (two / "lots.parquet").write_bytes(lots[: len(lots) // 2])
    next((book / ".scan").glob("kept-*/shapes")).unlink()
    assert written(book, tmp_path / "one")[0] == before
    assert anew.pop("ground") == clients_in(*HAMLETS)
    shapes = next((book / ".scan").glob("kept-*/shapes"))
    spoiled = bytearray(shapes.read_bytes())
    spoiled[len(spoiled) // 2] ^= 1
    shapes.write_bytes(spoiled)
    for keys in (book / ".scan").glob("kept-*/0*/keys.parquet"):
        keys.write_bytes(b"")
    assert written(book, tmp_path / "two")[0] == before
    assert anew.pop("ground") == clients_in(*HAMLETS)


def test_a_scan_that_was_stopped_is_gone_on_with(country, anew, tmp_path):
    kept, before, _ = country
    book = shutil.copytree(kept, tmp_path / "country", ignore=shutil.ignore_patterns(".scan"))

    def stop(_step, done, _total):
        if done >= 20:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        written(book, tmp_path / "stopped", progress=stop)
    anew.clear()
    assert written(book, tmp_path / "pages")[0] == before
    assert len(anew["ground"]) == len(clients_in(*HAMLETS)) - 20
    assert len([*(book / ".scan").iterdir()]) == 1


def test_a_book_beside_which_nothing_can_lie_is_scanned(country, anew, tmp_path):
    kept, before, _ = country
    book = shutil.copytree(kept, tmp_path / "country", ignore=shutil.ignore_patterns(".scan"))
    (book / ".scan").write_text("in the way of a folder")
    assert written(book, tmp_path / "pages")[0] == before
    assert anew["ground"] == clients_in(*HAMLETS)
