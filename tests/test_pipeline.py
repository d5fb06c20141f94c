"""The whole story on small books: from features to prices, calls and problems."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from shapely import box

from scanner.book.settings import read_rates
from scanner.calls.log import NO_SEASON
from scanner.ground.stored import remember_beds
from scanner.pages.summary import summarize
from scanner.pipeline import scan
from scanner.schema.documents import Book, Scan
from scanner.schema.tables import MEASURED, PROBLEMS, check_table, empty_table
from tests.cli.desk import taken_out
from tests.sites import (
    Drawing,
    clients_of,
    features_of,
    five_acres,
    mid_block,
    narrow_front,
    one_bed,
    rules_of_cases,
)

TODAY = date(2026, 2, 16)
ROOT = Path(__file__).parents[1]
SAMPLE_BOOK = ROOT / "sample_data" / "book"


def book_of(drawing: Drawing, measured: list[dict] | None = None, **columns: object) -> Book:
    """Make a book of a drawing, with the standard rates."""
    rows = pd.DataFrame(measured or [], columns=list(MEASURED.columns))
    return Book(
        folder=Path("case"),
        clients=clients_of(drawing, **columns),
        features=features_of(drawing),
        measured=check_table(rows, MEASURED) if measured else empty_table(MEASURED),
        rates=read_rates(None)[0],
        rules=rules_of_cases(),
        problems=empty_table(PROBLEMS),
    )


def edge_on_foot(client: str, along: str, length_ft: float, **columns: object) -> dict:
    """One row of measured.csv."""
    row = {"client_id": client, "along": along, "length_ft": length_ft, "room_ft": None,
           "openings_ft": 0.0, "bed_id": "", "measured_on": "", "note": "", "row": 2}  # fmt: skip
    return {**row, **columns}


@pytest.fixture(scope="module")
def one_bed_scan():
    """Case 12 scanned, and the progress that was told."""
    told = []
    found = scan(book_of(one_bed()), today=TODAY, progress=lambda *step: told.append(step))
    return taken_out(found), told


def test_case_12_prices_fall_in_the_bands_of_the_trade(one_bed_scan):
    """$5–8 a square foot of mulch, $7–11 accent, $11–18 planted, $9–13 gravel (common practice, no source)."""
    found, _ = one_bed_scan
    prices = found.table("prices").set_index("finish")
    usd_per_ft2 = prices["price_cents"] / 100 / found.beds["area_ft2"].iloc[0]
    assert 5 <= usd_per_ft2["mulch"] <= 8
    assert 7 <= usd_per_ft2["accent"] <= 11
    assert 11 <= usd_per_ft2["planted"] <= 18
    assert 9 <= usd_per_ft2["gravel"] <= 13
    assert 0.6 <= prices.loc["mulch", "crew_days"] <= 0.8
    assert 1.1 <= prices.loc["planted", "crew_days"] <= 1.5
    quantities = found.table("quantities").iloc[0]
    assert quantities["mulch_yd3"] == pytest.approx(2.222, abs=0.001)
    assert quantities["sod_loose_yd3"] == pytest.approx(2.778, abs=0.001)
    assert quantities["sod_lb"] == pytest.approx(6667, abs=1)
    assert quantities["edging_ft"] == pytest.approx(64, abs=0.1)
    assert quantities["plant_count"] == 59
    assert quantities["accent_count"] == 10


def test_case_12_price_is_that_worked_out_from_the_standard_rates(one_bed_scan):
    """Direct cost and price as `tests/job/test_prices.py` has them line by line."""
    prices = one_bed_scan[0].table("prices").set_index("finish")
    direct = (prices["direct_cost_cents"] / 100).to_dict()
    assert direct == pytest.approx(
        {"mulch": 882.94, "accent": 1147.50, "planted": 1790.13, "gravel": 1331.85}, abs=0.02
    )
    price = (prices["price_cents"] / 100).to_dict()
    assert price == pytest.approx(
        {"mulch": 1605.35, "accent": 2086.36, "planted": 3254.78, "gravel": 2421.53}, abs=0.02
    )


def test_case_6_in_one_offer():
    found = scan(book_of(narrow_front(10)), today=TODAY)
    offer = found.offers.iloc[0]
    assert offer["upgrade_bed_ids"] == "A-house-1 A-curb-1"
    beds = found.table("offer_beds").set_index("offer_id").loc[offer["upgrade_offer_id"]]
    assert beds["area_ft2"].sum() == pytest.approx(500, abs=0.1)
    assert found.beds["area_ft2"].sum() == pytest.approx(400, abs=0.1)


def test_case_11_is_one_row_with_its_remedy():
    found = scan(book_of(five_acres(with_lawn=False)), today=TODAY)
    assert len(found.beds) == 0
    assert len(found.problems) == 1
    row = found.problems.iloc[0]
    assert (row["client_id"], row["severity"], row["remedy"]) == ("A", "note", "draw the lawn")
    assert summarize(found)["not_drawn"] == 1


def test_a_client_without_any_drawing_is_listed():
    book = book_of(one_bed())
    lost = book.clients.assign(client_id="Z", name="Somebody")
    clients = pd.concat([book.clients, lost], ignore_index=True)
    found = scan(replace(book, clients=clients), today=TODAY)
    assert found.problems["client_id"].tolist() == ["Z"]
    assert "no outline and no measured edge" in found.problems["problem"].iloc[0]


def test_an_edge_measured_on_foot_beats_the_same_edge_from_a_layer():
    book = book_of(one_bed(), [edge_on_foot("A", "curb", 50.0, openings_ft=10.0)])
    found = scan(book, today=TODAY)
    assert found.beds["edge_source"].tolist() == ["measured"]
    assert found.beds["edge_ft"].tolist() == [40.0]
    assert found.offers["bed_ids"].tolist() == ["A-curb-1"]


def test_measured_edges_alone_go_the_whole_way():
    drawing = Drawing().add("property", box(0, 0, 10, 10), "OTHER")
    book = book_of(drawing, [edge_on_foot("F", "house", 30.0), edge_on_foot("F", "curb", 60.0)])
    clients = pd.concat([book.clients, book.clients.assign(client_id="F")], ignore_index=True)
    found = scan(replace(book, clients=clients), today=TODAY)
    offer = found.offers.set_index("client_id").loc["F"]
    assert offer["upgrade_bed_ids"].split() == ["F-house-1", "F-curb-1"]
    beds = found.table("offer_beds").set_index("offer_id").loc[offer["upgrade_offer_id"]]
    assert beds["area_ft2"].sum() == pytest.approx(30 * 4 + 60 * 4)
    assert offer["is_confirmed"]
    assert "F" in found.calls["client_id"].tolist()


def test_progress_is_told_and_ends_at_the_whole(one_bed_scan):
    assert one_bed_scan[1][-1][1:] == (1, 1)


def after_building(book: Book, built_on: str, *names: str) -> Scan:
    """Scan a book, build some of its beds, and scan it again."""
    beds = remember_beds(scan(book, today=TODAY).table("beds"), today=TODAY)
    beds = beds.assign(
        shape=beds.geometry.to_wkb(),
        built_on=[built_on * (name in names) for name in beds["bed_id"]],
    )
    season = replace(NO_SEASON, stored=pd.DataFrame(beds.drop(columns="geometry")))
    return scan(book, today=TODAY, season=season)


def test_case_19_after_a_bed_is_built_the_others_stay_as_measured():
    # 10 + 50 drawn and 54 measured: 9 + 45; of the 54 the built bed was 45, so 9 are left
    measured = [edge_on_foot("A", "curb", 54.0, measured_on="2026-02-20")]
    beds = after_building(book_of(mid_block(), measured), "2026-03-02", "A-curb-2").beds
    left = beds.query("along == 'curb' and skip_reason != 'built'")
    assert left[["bed_id", "skip_reason"]].to_numpy().tolist() == [["A-curb-1", "too short"]]
    assert left["edge_ft"].tolist() == pytest.approx([9], abs=0.1)
    # measured after it was built, the tape knows only what is left: 12 of the 10 that are drawn
    measured = [edge_on_foot("A", "curb", 12.0, bed_id="A-curb-1", measured_on="2026-03-09")]
    beds = after_building(book_of(mid_block(), measured), "2026-03-02", "A-curb-2").beds
    left = beds.query("bed_id == 'A-curb-1'")
    assert left["edge_ft"].tolist() == pytest.approx([12], abs=0.1)


def test_a_measured_bed_that_is_drawn_no_more_is_told_and_one_that_was_built_is_not():
    measured = [edge_on_foot("A", "curb", 44.0, bed_id="A-curb-9", measured_on="2026-02-20")]
    told = scan(book_of(mid_block(), measured), today=TODAY).problems
    assert told[["feature", "client_id", "severity"]].to_numpy().tolist() == [
        ["A-curb-9", "A", "note"]
    ]
    assert "measured on 2026-02-20, and is drawn no more" in told["problem"].iloc[0]
    measured = [edge_on_foot("A", "curb", 44.0, bed_id="A-curb-2", measured_on="2026-02-20")]
    after = after_building(book_of(mid_block(), measured), "2026-03-02", "A-curb-2")
    assert after.problems.empty
    assert after.beds.query("bed_id == 'A-curb-1'")["edge_ft"].tolist() == pytest.approx(
        [10], abs=0.1
    )


def test_beds_without_a_drawing_keep_the_names_under_which_they_were_measured():
    drawing = Drawing().add("property", box(0, 0, 10, 10), "OTHER")

    def beds_of(*told: tuple[float, str], stored: pd.DataFrame = NO_SEASON.stored) -> pd.DataFrame:
        rows = [edge_on_foot("F", "curb", feet, bed_id=bed) for feet, bed in told]
        book = book_of(drawing, rows)
        clients = pd.concat([book.clients, book.clients.assign(client_id="F")], ignore_index=True)
        season = replace(NO_SEASON, stored=stored)
        return scan(replace(book, clients=clients), today=TODAY, season=season).table("beds")

    first = remember_beds(beds_of((40, ""), (20, "")), today=TODAY)
    stored = pd.DataFrame(first.assign(shape=first.geometry.to_wkb()).drop(columns="geometry"))
    # by area each would be taken for the other
    now = beds_of((21, "F-curb-1"), (39, "F-curb-2"), stored=stored).set_index("bed_id")
    assert now["edge_ft"].to_dict() == {"F-curb-1": 21, "F-curb-2": 39}
