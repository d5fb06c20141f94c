from __future__ import annotations

import csv
import io
from dataclasses import replace

from scanner.pages.call_list import EarlierList, call_rows, left_out_rows
from scanner.pages.webmap_rows import page_left_out
from scanner.sheets.cells import sheet_csv
from scanner.sheets.lists import CALL_LIST
from tests.small_scan import FORMULA_NAME, SCRIPT_NAME, TODAY, small_scan

# The columns that the files promise, in their order, and those to be filled in
CALL_COLUMNS = [
    "rank", "client_id", "name", "address", "phone", "email", "mailing_address", "route",
    "mow_day", "stop", "say", "offer", "bed_ids", "finish", "bed_count", "edge_ft", "area_ft2",
    "crew_days", "price_usd", "price_low_usd", "price_high_usd", "price_mulch_usd",
    "price_accent_usd", "price_planted_usd", "price_gravel_usd", "gross_profit_usd",
    "price_over_annual", "chance", "chance_low", "chance_high", "expected_profit_usd",
    "profit_per_crew_day_usd", "profit_per_selling_hour_usd", "upgrade", "upgrade_bed_ids",
    "upgrade_price_usd", "upgrade_saving_usd", "later", "later_jobs", "later_price_usd",
    "alike_clients", "right_of_way_ft2", "confirmed", "reasons", "cautions", "last_contact",
    "last_outcome", "last_note", "due_action", "due_date", "called_on", "outcome", "note",
    "next_action", "next_date", "change",
]  # fmt: skip


def read(content):
    return list(csv.DictReader(io.StringIO(content.decode(), newline="")))


def earlier_of(scan, **values):
    rows = {row["client_id"]: row for row in read(sheet_csv(CALL_LIST, call_rows(scan)))}
    return EarlierList(rows=rows, scanned_on=values.get("scanned_on", "2026-01-05"))


def changes(scan, earlier):
    return {row["client_id"]: row["change"] for row in call_rows(scan, earlier=earlier)}


def dearer(scan):
    is_first = scan.offers["client_id"] == "C0001"
    prices = scan.offers["price_cents"]
    return replace(
        scan, offers=scan.offers.assign(price_cents=prices.where(~is_first, prices + 5000))
    )


def test_one_row_an_offer_best_first():
    rows = read(sheet_csv(CALL_LIST, call_rows(small_scan())))
    assert list(rows[0]) == CALL_COLUMNS
    assert [row["rank"] for row in rows] == ["1", "2", "3", "4", "5", "6"]
    assert rows[0]["client_id"] == "C0009"
    scan = small_scan()
    chance = scan.calls.set_index("client_id")["chance"]["C0009"]
    assert (rows[0]["price_usd"], rows[0]["chance"], rows[0]["confirmed"]) == (
        "1745.45", f"{chance:.4f}", "yes",
    )  # fmt: skip


def test_a_row_prices_every_finish_that_can_be_built():
    scan = small_scan()
    prices = scan.table("prices")
    prices = prices[(prices["offer_id"] == "C0001-curb-1") & (prices["finish"] != "gravel")]
    told = prices.set_index("finish")["price_cents"]
    part = {**scan.parts[0], "prices": prices}
    row = next(row for row in call_rows(replace(scan, parts=[part])) if row["client_id"] == "C0001")
    for finish in ("mulch", "accent", "planted"):
        assert int(row[f"price_{finish}_usd"] * 100) == int(told[finish])
    assert row["price_gravel_usd"] is None
    assert row[f"price_{row['finish']}_usd"] == row["price_usd"]


def test_names_that_would_run_are_neutralised():
    names = {row["client_id"]: row for row in read(sheet_csv(CALL_LIST, call_rows(small_scan())))}
    assert names["C0009"]["name"] == f"'{FORMULA_NAME}"
    assert names["C0009"]["phone"] == "'+1 308 555 0109"
    assert names["C0008"]["name"] == SCRIPT_NAME


def test_every_client_is_on_one_of_the_two_lists():
    scan = small_scan()
    listed = [row["client_id"] for row in call_rows(scan)]
    left_out = [row["client_id"] for row in left_out_rows(scan)]
    assert sorted(listed + left_out) == sorted(scan.clients["client_id"])


def test_map_and_list_agree_on_who_is_left_out_and_why():
    scan = small_scan()
    of_list = [(row["client_id"], row["reason"]) for row in left_out_rows(scan)]
    of_map = page_left_out(scan)[["client_id", "why"]].itertuples(index=False, name=None)
    assert of_list == [*of_map]
    assert of_list == [
        ("C0005", "asked not to be called"),
        ("C0006", "payment past due: settle that first"),
        ("C0007", "no lawn touches a curb, house front or sidewalk (nothing to do)"),
        ("C0010", "no outline for this client (draw the lot or measure its edges)"),
    ]


def test_no_earlier_list_marks_nothing():
    assert set(changes(small_scan(), None).values()) == {""}


def test_changed_price_is_marked():
    marks = changes(dearer(small_scan()), earlier_of(small_scan()))
    assert marks.pop("C0001") == "price was $2865.45"
    assert set(marks.values()) == {""}


def test_new_client_and_other_beds_are_marked():
    earlier = earlier_of(small_scan())
    earlier.rows["C0003"]["bed_ids"] = "C0003-curb-1"
    del earlier.rows["C0004"]
    marks = changes(small_scan(), earlier)
    assert (marks["C0003"], marks["C0004"], marks["C0001"]) == ("other beds", "new", "")


def test_client_that_left_the_list_is_marked():
    earlier = earlier_of(small_scan())
    earlier.rows["C0006"] = {"client_id": "C0006"}
    marks = {
        row["client_id"]: row["change"] for row in left_out_rows(small_scan(), earlier=earlier)
    }
    assert (marks["C0006"], marks["C0005"]) == ("was on the list", "")


def test_spreadsheet_that_dropped_zeros_is_no_change():
    earlier = earlier_of(small_scan())
    for row in earlier.rows.values():
        row["price_usd"] = row["price_usd"].removesuffix("0")
    assert set(changes(small_scan(), earlier).values()) == {""}


def test_mark_stays_for_the_day_and_goes_with_the_next():
    scan = dearer(small_scan())
    earlier = earlier_of(scan, scanned_on=TODAY.isoformat())
    earlier.rows["C0001"]["change"] = "price was $2865.45"
    assert changes(scan, earlier)["C0001"] == "price was $2865.45"
    assert changes(scan, replace(earlier, scanned_on="2026-02-15"))["C0001"] == ""


def test_columns_of_the_books_own_stand_at_the_end():
    scan = small_scan()
    own = scan.own.assign(gate_code="12#", rank="gold")
    rows = list(call_rows(replace(scan, own=own)))
    assert list(rows[0])[-2:] == ["gate_code", "client_rank"]
    assert {row["gate_code"] for row in rows} == {"12#"}
    header = sheet_csv(CALL_LIST, rows).decode().splitlines()[0]
    assert header.endswith(",change,gate_code,client_rank")


def test_a_thousand_rows_at_a_time_make_one_file(monkeypatch):
    scan = small_scan()
    whole = sheet_csv(CALL_LIST, call_rows(scan))
    monkeypatch.setattr("scanner.sheets.cells.ROWS_AT_ONCE", 2)
    monkeypatch.setattr("scanner.pages.call_list.ROWS_AT_ONCE", 2)
    assert sheet_csv(CALL_LIST, call_rows(scan)) == whole
    rows = call_rows(scan)
    assert list(rows) == list(rows)  # made anew each time
