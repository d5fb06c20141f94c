"""The whole story on small books: from features to prices, calls and problems."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from scanner.book.settings import read_rates
from scanner.calls.log import NO_SEASON
from scanner.ground.record.stored import remember_beds
from scanner.pages.summary import summarize
from scanner.pipeline import price_lots, scan
from scanner.schema.documents import PART_TABLES, Book, Scan, Season
from scanner.schema.tables import MEASURED, PROBLEMS, check_table, empty_table
from tests.cli.desk import taken_out
from tests.sites import (
    APART_FT,
    Drawing,
    clients_of,
    features_of,
    five_acres,
    mid_block,
    moved,
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


def together(**drawings: Drawing) -> Drawing:
    """Lay lots side by side, out of reach of each other; each belongs to the client whose name it has."""
    features = []
    for at, (client, drawing) in enumerate(drawings.items()):
        laid = drawing.change(moved(at * APART_FT, 0)).features
        features += [
            (kind, shape, {**row, "client_id": row["client_id"] and client})
            for kind, shape, row in laid
        ]
    return Drawing(tuple(features))


def with_clients(book: Book, *ids: str) -> Book:
    """The book with clients of whom nothing is drawn."""
    more = [book.clients.iloc[:1].assign(client_id=client) for client in ids]
    return replace(book, clients=pd.concat([book.clients, *more], ignore_index=True))


@pytest.fixture(scope="module")
def cases_scan():
    """Cases side by side: 6 in one offer, 11, 12 measured on foot, edges without a drawing, nothing at all."""
    drawing = together(
        Narrow=narrow_front(10), Vast=five_acres(with_lawn=False), Walked=one_bed()
    )  # fmt: skip
    measured = [
        edge_on_foot("Walked", "curb", 50.0, openings_ft=10.0),
        edge_on_foot("Foot", "house", 30.0), edge_on_foot("Foot", "curb", 60.0),
    ]  # fmt: skip
    return taken_out(scan(with_clients(book_of(drawing, measured), "Foot", "Zero"), today=TODAY))


def offer_of(found: Scan, client: str) -> tuple[pd.Series, pd.DataFrame]:
    """What is offered to a client, and the beds of its upgrade."""
    offer = found.offers.set_index("client_id").loc[client]
    return offer, found.table("offer_beds").set_index("offer_id").loc[offer["upgrade_offer_id"]]


def test_case_6_in_one_offer(cases_scan):
    offer, beds = offer_of(cases_scan, "Narrow")
    assert offer["upgrade_bed_ids"] == "Narrow-house-1 Narrow-curb-1"
    assert beds["area_ft2"].sum() == pytest.approx(500, abs=0.1)
    alone = cases_scan.beds.query("client_id == 'Narrow'")
    assert alone["area_ft2"].sum() == pytest.approx(400, abs=0.1)


def test_case_11_is_one_row_with_its_remedy(cases_scan):
    assert "Vast" not in cases_scan.beds["client_id"].tolist()
    [row] = cases_scan.problems.query("client_id == 'Vast'").to_dict("records")
    assert (row["severity"], row["remedy"]) == ("note", "draw the lawn")
    assert summarize(cases_scan)["not_drawn"] == 2  # and the one of whom nothing is known


def test_a_client_without_any_drawing_is_listed(cases_scan):
    assert sorted(cases_scan.problems["client_id"]) == ["Vast", "Zero"]
    [problem] = cases_scan.problems.query("client_id == 'Zero'")["problem"]
    assert "no outline and no measured edge" in problem


def test_an_edge_measured_on_foot_beats_the_same_edge_from_a_layer(cases_scan):
    beds = cases_scan.beds.query("client_id == 'Walked'")
    assert beds["edge_source"].tolist() == ["measured"]
    assert beds["edge_ft"].tolist() == [40.0]
    assert cases_scan.offers.query("client_id == 'Walked'")["bed_ids"].tolist() == ["Walked-curb-1"]


def test_measured_edges_alone_go_the_whole_way(cases_scan):
    offer, beds = offer_of(cases_scan, "Foot")
    assert offer["upgrade_bed_ids"].split() == ["Foot-house-1", "Foot-curb-1"]
    assert beds["area_ft2"].sum() == pytest.approx(30 * 4 + 60 * 4)
    assert offer["is_confirmed"]
    assert "Foot" in cases_scan.calls["client_id"].tolist()


def test_lots_that_are_priced_alone_have_the_beds_and_prices_of_their_scan(one_bed_scan):
    found, told = one_bed_scan
    ids, steps = found.clients["client_id"].tolist(), []
    priced = price_lots(
        book_of(one_bed()), NO_SEASON, ids, today=TODAY, progress=lambda *step: steps.append(step)
    )
    assert len(found.calls)
    assert priced.calls.empty
    assert steps == told[:-1]
    for name in ("beds", "lots", "offers", "rates", "rules"):
        one, other = getattr(priced, name), getattr(found, name)
        assert one.equals(other) if isinstance(one, pd.DataFrame) else one == other, name
    for name in PART_TABLES:
        pd.testing.assert_frame_equal(priced.table(name), found.table(name))


def test_progress_is_told_and_ends_at_the_whole(one_bed_scan):
    assert one_bed_scan[1][-1][1:] == (1, 1)


@pytest.fixture(scope="module")
def built_scans():
    """
    Case 1 four times and a client on foot, scanned before and after beds were built.

    Curbs: "Before" is measured before its bed is built, "After" afterwards, "Gone" under a name that is
    drawn no more, "Done" in the bed that is built; "Foot" is measured again under the names that it got.
    """
    drawing = together(Before=mid_block(), After=mid_block(), Gone=mid_block(), Done=mid_block())
    measured = [
        edge_on_foot("Before", "curb", 54.0, measured_on="2026-02-20"),
        edge_on_foot("After", "curb", 12.0, bed_id="After-curb-1", measured_on="2026-03-09"),
        edge_on_foot("Gone", "curb", 44.0, bed_id="Gone-curb-9", measured_on="2026-02-20"),
        edge_on_foot("Done", "curb", 44.0, bed_id="Done-curb-2", measured_on="2026-02-20"),
    ]

    def scanned(*feet: tuple[float, str], season: Season = NO_SEASON) -> Scan:
        on_foot = [edge_on_foot("Foot", "curb", length_ft, bed_id=bed) for length_ft, bed in feet]
        book = with_clients(book_of(drawing, [*measured, *on_foot]), "Foot")
        return taken_out(scan(book, today=TODAY, season=season))

    first = scanned((40, ""), (20, ""))
    beds = remember_beds(first.table("beds"), today=TODAY)
    is_built = beds["bed_id"].isin(["Before-curb-2", "After-curb-2", "Done-curb-2"])
    stored = pd.DataFrame(
        beds.assign(
            shape=beds.geometry.to_wkb(), built_on=np.where(is_built, "2026-03-02", "")
        ).drop(columns="geometry")
    )
    # by area each of the two on foot would be taken for the other
    season = replace(NO_SEASON, stored=stored)
    return first, scanned((21, "Foot-curb-1"), (39, "Foot-curb-2"), season=season)


def test_case_19_after_a_bed_is_built_the_others_stay_as_measured(built_scans):
    # 10 + 50 drawn and 54 measured: 9 + 45; of the 54 the built bed was 45, so 9 are left
    beds = built_scans[1].beds
    left = beds.query("client_id == 'Before' and along == 'curb' and skip_reason != 'built'")
    assert left[["bed_id", "skip_reason"]].to_numpy().tolist() == [["Before-curb-1", "too short"]]
    assert left["edge_ft"].tolist() == pytest.approx([9], abs=0.1)
    # measured after it was built, the tape knows only what is left: 12 of the 10 that are drawn
    left = beds.query("bed_id == 'After-curb-1'")
    assert left["edge_ft"].tolist() == pytest.approx([12], abs=0.1)


def test_a_measured_bed_that_is_drawn_no_more_is_told_and_one_that_was_built_is_not(built_scans):
    for found in built_scans:
        told = found.problems
        assert told[["feature", "client_id", "severity"]].to_numpy().tolist() == [
            ["Gone-curb-9", "Gone", "note"]
        ]
        assert "measured on 2026-02-20, and is drawn no more" in told["problem"].iloc[0]
    left = built_scans[1].beds.query("bed_id == 'Done-curb-1'")
    assert left["edge_ft"].tolist() == pytest.approx([10], abs=0.1)


def test_beds_without_a_drawing_keep_the_names_under_which_they_were_measured(built_scans):
    now = built_scans[1].table("beds").query("client_id == 'Foot'").set_index("bed_id")
    assert now["edge_ft"].to_dict() == {"Foot-curb-1": 21, "Foot-curb-2": 39}
