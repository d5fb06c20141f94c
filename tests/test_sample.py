"""The sample book from command to files, with nothing replaced: scanned once here and once in a process of its own; and its season."""

from __future__ import annotations

import contextlib
import json
import math
import os
import re
import runpy
import shutil
import subprocess
import sys
from collections import defaultdict
from dataclasses import dataclass, fields
from pathlib import Path

import pandas as pd
import pytest
import shapely
from click.testing import Result
from pandas.testing import assert_frame_equal

from scanner.calls.log import begin_log, read_season
from scanner.calls.log.file import LOG_FILE
from scanner.cli.demo import copy_sample_book
from scanner.errors import LogError
from scanner.ground.record.stored import match_stored_beds, remember_beds
from scanner.pages.geojson import beds_geojson
from scanner.pages.summary import summarize
from scanner.schema.documents import Scan, Season
from tests.cli.desk import keeping_scans, leaving_map_out, type_in
from tests.house.renew import BLOCK, ROOT, SAMPLE_BOOK, SAMPLE_DAY, call_list_block
from tests.map_files import data_of, map_html
from tests.recompute import differences, different_kinds, read_csv

README = (ROOT / "README.md").read_text(encoding="utf-8")
FAULTY_BOOK = ROOT / "sample_data" / "faulty"
TODAY = ("--today", SAMPLE_DAY.isoformat())


@dataclass
class Demo:
    """What ``scan`` said of a copy of the sample book, the folder that it was typed in, and the scan behind it."""

    folder: Path
    said: Result
    scan: Scan

    @property
    def pages(self) -> Path:
        return self.folder / "maps" / "demo"


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    folder = tmp_path_factory.mktemp("newcomer")
    with contextlib.chdir(folder), keeping_scans() as scans:
        book, _ = copy_sample_book(Path("maps") / "demo-book")
        said = type_in("scan", str(book), *TODAY)
    return Demo(folder, said, *scans)


@pytest.fixture(scope="module")
def sample(demo: Demo) -> Scan:
    return demo.scan


def files_in(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def test_the_sample_has_no_fault(demo: Demo) -> None:
    assert demo.said.exit_code == 0, demo.said.stderr
    assert demo.said.stderr.splitlines()[-1].endswith(f"Open {Path('maps') / 'demo' / 'map.html'}")
    assert all((demo.folder / line).is_file() for line in demo.said.stdout.splitlines())
    assert len(demo.said.stdout.splitlines()) == len(files_in(demo.pages))


def test_a_scan_closes_with_the_numbers_of_its_summary(demo: Demo) -> None:
    summary = json.loads((demo.pages / "summary.json").read_text(encoding="utf-8"))
    closing = demo.said.stderr.splitlines()[-1]
    assert f"Found {summary['beds']:,} beds" in closing
    assert f"on {summary['scanned']:,} lots" in closing
    assert f"{summary['skipped']:,} beds skipped" in closing


def test_a_newcomers_run_on_the_same_day_gives_the_same_bytes(demo: Demo, tmp_path: Path) -> None:
    """In another process, from an empty folder, with other hashes."""
    book, _ = copy_sample_book(tmp_path / "maps" / "demo-book")
    command = [sys.executable, "-m", "scanner", "scan", str(book.relative_to(tmp_path)), *TODAY]
    surroundings = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONHASHSEED": "random"}
    told = subprocess.run(
        command, cwd=tmp_path, env=surroundings, capture_output=True, text=True, check=False
    )
    assert told.returncode == 0, told.stderr
    assert told.stdout == demo.said.stdout
    ours, again = files_in(demo.pages), files_in(tmp_path / "maps" / "demo")
    assert ours.keys() == again.keys()
    assert [name for name, content in ours.items() if content != again[name]] == []


def test_the_sample_book_stays_clean(demo: Demo) -> None:
    copy = demo.folder / "maps" / "demo-book"
    for path in SAMPLE_BOOK.rglob("*"):
        if path.is_file():
            assert path.read_bytes() == (copy / path.relative_to(SAMPLE_BOOK)).read_bytes()


def test_readme_lists_every_file_of_a_scan(demo: Demo) -> None:
    section = README[README.index("## What comes out") : README.index("## Your own book")]
    told = re.findall(r"^\| `([a-z_]+\.[a-z]+)` \|", section, re.MULTILINE)
    assert sorted(told) == sorted(files_in(demo.pages))


def test_readme_shows_the_real_call_list(demo: Demo) -> None:
    block = BLOCK.search(README)
    assert block
    shown = block[0].removeprefix(block[1]).removesuffix(block[2])
    assert shown == call_list_block(demo.pages), "run: python tests/house/renew.py readme"


def test_line_items_add_up_to_the_price_of_every_offer(sample: Scan):
    items = sample.table("line_items")
    items = items[~items["task"].str.startswith("sales tax")]
    sums = items.groupby(["offer_id", "finish"])["amount_cents"].sum()
    prices = sample.offers.set_index(["offer_id", "finish"])["price_cents"]
    assert sums.to_dict() == prices.to_dict()
    for key in {key for keys in items["rate_key"] for key in keys.split("*")}:
        assert getattr(sample.rates, key).source


def test_beds_of_a_lot_are_disjoint_and_inside_its_lawn(sample: Scan):
    beds = sample.table("beds")
    placed = beds[beds["frame"] != ""]
    lawn = sample.table("lots").set_index("client_id")["lawn"]
    shapes = placed["geometry"].to_numpy()
    outside_ft2 = shapely.area(shapely.difference(shapes, lawn.loc[placed["client_id"]].to_numpy()))
    assert outside_ft2.max() < 0.05
    tree = shapely.STRtree(shapes)
    one, two = tree.query(shapes, predicate="intersects")
    same_lot = placed["client_id"].to_numpy()[one] == placed["client_id"].to_numpy()[two]
    one, two = one[(one < two) & same_lot], two[(one < two) & same_lot]
    assert shapely.area(shapely.intersection(shapes[one], shapes[two])).max() < 0.05


def test_totals_agree_on_the_map_in_the_geojson_and_in_the_summary(sample: Scan):
    features = json.loads(b"".join(beds_geojson(sample, sample.parts)))["features"]
    kept = [row["properties"] for row in features if not row["properties"]["skip_reason"]]
    total = summarize(sample)
    assert total["beds"] == len(kept)
    assert total["beds"] + total["skipped"] == len(features) == len(sample.beds)
    assert sum(total["skipped_by_reason"].values()) == total["skipped"]
    assert float(total["area_ft2"]) == pytest.approx(sum(row["area_ft2"] for row in kept))
    assert float(total["edge_ft"]) == pytest.approx(sum(row["edge_ft"] for row in kept))
    drawn = [bed for client in data_of(map_html(sample))["clients"] for bed in client["beds"]]
    assert len(drawn) == len(features)


def test_every_client_is_accounted_for(sample: Scan):
    total = summarize(sample)
    assert total["clients"] == total["scanned"] + total["not_drawn"] == 120


def test_every_bed_of_the_sample_is_known_again(sample: Scan):
    # In degrees and back, a bed with a hair in its border crosses itself there
    stored = remember_beds(sample.table("beds"), today=SAMPLE_DAY)
    assert shapely.is_valid(stored.geometry).all()
    for frame, beds in sample.table("beds").groupby("frame"):
        renumbered = beds.assign(bed_id=beds["bed_id"] + "9")
        known = match_stored_beds(renumbered, stored, frame=str(frame), rules=sample.rules)
        assert sorted(known["bed_id"]) == sorted(beds["bed_id"])


# --- Numbers that an owner would look at, and ten offers worked out anew


def test_offers_of_every_kind_agree_with_an_arithmetic_of_their_own(demo: Demo) -> None:
    calls = read_csv(demo.pages / "calls.csv")
    chosen = different_kinds(calls)
    assert len(chosen) >= 10
    assert len({call["finish"] for call in chosen}) > 1
    assert [text for call in chosen for text in differences(call, demo.pages, SAMPLE_BOOK)] == []
    dearer = {**chosen[0], "price_usd": f"{float(chosen[0]['price_usd']) + 0.03:.2f}"}
    assert len(differences(dearer, demo.pages, SAMPLE_BOOK)) >= 1  # three cents are seen


def test_rank_is_expected_profit_in_whole_cents_then_name(demo: Demo) -> None:
    calls = read_csv(demo.pages / "calls.csv")
    keys = [(-round(float(call["expected_profit_usd"]) * 100), call["name"].casefold(), call["client_id"])
            for call in calls]  # fmt: skip
    assert keys == sorted(keys)
    assert [int(call["rank"]) for call in calls] == list(range(1, len(calls) + 1))


def test_a_call_opens_with_what_a_client_may_well_pay(sample: Scan) -> None:
    listed = sample.calls[sample.calls["left_out"] == ""].merge(sample.offers, on="offer_id")
    assert listed["price_over_annual"].median() <= 1.5
    assert listed["rank"].rank().corr((-listed["price_cents"]).rank()) < 0.8  # Spearman's
    # A minimum job would lead because nothing else counts, were most leads there
    at_minimum = listed["price_cents"] <= sample.rates.minimum_job_usd.value * 100
    cheapest = defaultdict(list)
    for price in sample.table("prices").query("is_lead").to_dict("records"):
        cheapest[price["client_id"]].append(price["price_cents"])
    is_choice = pd.Series([len(set(cheapest[client])) > 1 for client in listed["client_id_x"]])
    assert not (at_minimum & is_choice.to_numpy()).any()


def test_later_jobs_are_packed(sample: Scan) -> None:
    limit = sample.rules.job_limit_crew_days
    alone = sample.table("prices").query("is_lead").set_index("offer_id")["crew_days"]
    for client_id, jobs in sample.offers[sample.offers["phase"] > 1].groupby("client_id"):
        beds = [bed for bed_ids in jobs["bed_ids"] for bed in bed_ids.split()]
        assert len(jobs) <= math.ceil(alone[beds].sum() / limit) + 1, client_id


def test_faulty_book_lists_its_faults_and_exits_1() -> None:
    result = type_in("check", str(FAULTY_BOOK), "--json")
    problems = json.loads(result.stdout)
    assert result.exit_code == 1
    assert all(problem["problem"] and problem["remedy"] for problem in problems)


def test_faulty_book_is_scanned_all_the_same(tmp_path: Path) -> None:
    # On a copy: a scan keeps its beds in the book's log
    book = shutil.copytree(FAULTY_BOOK, tmp_path / "faulty")
    result = type_in("scan", str(book), "--out", str(tmp_path / "out"))
    assert result.exit_code == 1
    assert "need fixing" in result.stderr
    assert (tmp_path / "out" / "map.html").is_file()


# --- The log is what the season leaves, typed command by command

SEASON = ROOT / "sample_data" / "season"
NOT_TYPED = {"stored", "listed", "alike", "if_damaged"}
"""What a scan notes, of which the sample's log has some, and what is said of the file itself."""


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Season:
    folder = tmp_path_factory.mktemp("kept")
    begin_log(folder, (SEASON / "log.sql").read_text(encoding="utf-8"))
    assert (folder / LOG_FILE).stat().st_mode & 0o777 == 0o600
    return read_season(folder)


@pytest.fixture(scope="module")
def played(demo: Demo, tmp_path_factory: pytest.TempPathFactory) -> Season:
    folder = tmp_path_factory.mktemp("played")
    # What the scan of another day has read and measured is there; its log is not
    names = shutil.ignore_patterns(LOG_FILE, "copies")
    shutil.copytree(demo.folder / "maps" / "demo-book", folder / "book", ignore=names)
    play = runpy.run_path(str(SEASON.with_name("make_season.py")))["play_season"]
    with leaving_map_out():
        return read_season(play(folder))


@pytest.mark.parametrize("name", [one.name for one in fields(Season) if one.name not in NOT_TYPED])
def test_what_was_typed_stands(kept: Season, played: Season, name: str) -> None:
    told, made = getattr(kept, name), getattr(played, name)
    if not isinstance(told, pd.DataFrame):
        assert told == made
        return
    # Typed in another minute; and a price that was said stays when today's program works out a few dollars more
    told, made = (table.drop(columns="recorded_at", errors="ignore") for table in (told, made))
    assert_frame_equal(told, made, rtol=0.05, check_exact=False)
    assert len(told) or name in {"letters", "notes", "remarks"}


def test_beds_that_were_asked_for_keep_their_names(kept: Season, played: Season) -> None:
    ids = {*played.jobs["client_id"], *played.quotes["client_id"]}
    made = played.stored[played.stored["client_id"].isin(ids)].reset_index(drop=True)
    columns = ["bed_id", "client_id", "along", "area_ft2", "last_seen", "built_on"]
    assert_frame_equal(kept.stored[columns], made[columns], rtol=0.05, check_exact=False)
    assert kept.stored["built_on"].gt("").sum() == 1


def test_a_log_that_breaks_off_is_none(tmp_path: Path) -> None:
    text = (SEASON / "log.sql").read_text(encoding="utf-8")
    with pytest.raises(LogError, match="cannot be used"):
        begin_log(tmp_path, text.replace("COMMIT;", "no statement;"))
    assert read_season(tmp_path).calls.empty
