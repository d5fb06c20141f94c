"""The page of an order: nothing overlaps on letter and A4, however many jobs and plants there are."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pandas as pd
import pytest

from scanner.pages.order_page import OrderTables, draw_order
from scanner.pages.paper.look import PAPERS
from scanner.schema.documents import Company
from scanner.schema.tables import ORDER, check_table
from tests.paper_boxes import clashes

MONDAY = date(2026, 4, 13)
UNITS = {
    "mulch": "yd3",
    "gravel": "ton",
    "edging": "ft",
    "fabric": "ft2",
    "sprinkler parts": "head",
}


def tables_of(job_count: int, plants: tuple[str, ...]) -> OrderTables:
    jobs = [
        {"job_id": f"Q2026-{at:03d}", "name": f"Ada `Quill` <b> {at} with a name that goes on", "first": MONDAY + timedelta(days=at % 5),
         "address": f"{at} Meadow Rue Drive, Quillbrook"}
        for at in range(job_count)
    ]  # fmt: skip
    units = UNITS | {f"{plant}, 3 gal": "pot" for plant in plants}
    rows = [
        {"material": name, "job_id": job_id, "needed": 1234.0 * (1 if job_id else job_count), "unit": unit,
         "order": 0.0 if job_id else 7.0, "sold_as": "" if job_id else "whole yards, delivered"}
        for name, unit in units.items() for job_id in ("", *(job["job_id"] for job in jobs))
    ]  # fmt: skip
    return OrderTables(
        company=Company(name="Larkspindle Lawn Company", phone="308-555-0100"), week=MONDAY, today=date(2026, 4, 6),
        needed_by=date(2026, 4, 10), order=check_table(pd.DataFrame(rows), ORDER), jobs=jobs,
        before=["Rented machines: none this week.", "Trailer loads to haul away: " + "; ".join("1 on Monday (Ada)" for _ in jobs) + "."],
        file="order-2026-04-13.csv",
    )  # fmt: skip


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize(
    ("job_count", "plants"), [(1, ()), (4, ("catmint", "daylily")), (30, ("threadleaf coreopsis", "snow-in-summer", "dwarf coyotebush", "thrift"))]
)  # fmt: skip
def test_nothing_overlaps(paper, job_count, plants):
    tables = tables_of(job_count, plants)
    drawn = draw_order(tables, PAPERS[paper])
    assert clashes(drawn) == []
    text = [box.text.replace("\xa0", " ") for box in drawn.boxes]
    # each job once in each table of materials, and a sum beneath each
    table_count = text.count("all")
    assert table_count == (1 if len(plants) == 0 else 2)
    assert sum("Ada `Quill`" in words for words in text) == job_count * table_count
    for page in range(1, drawn.page + 1):
        assert f"Page {page}" in text


def test_what_the_crews_fetch_stands_apart_from_what_is_ordered():
    tables = tables_of(2, ())
    is_sum, is_mulch = tables.order["job_id"] == "", tables.order["material"] == "mulch"
    order = tables.order.assign(sold_as=tables.order["sold_as"].mask(is_sum & is_mulch, "yards, crew fetches"))  # fmt: skip
    drawn = draw_order(replace(tables, order=order), PAPERS["letter"])
    text = [box.text.replace("\xa0", " ") for box in drawn.boxes]
    apart = next(
        at for at, words in enumerate(text) if words.lower().startswith("what the crews fetch")
    )
    assert text.index("Gravel") < apart < text.index("Mulch")
    assert clashes(drawn) == []
    assert not any(
        "the crews fetch" in box.text for box in draw_order(tables, PAPERS["letter"]).boxes
    )


def test_who_ordered_signs_under_what_was_to_be_settled():
    for job_count in range(1, 9):  # the loads of more are three lines and more
        boxes = draw_order(tables_of(job_count, ("catmint", "thrift")), PAPERS["a4"]).boxes
        page = {box.text.replace("\xa0", " ").split(":")[0]: box.page for box in boxes}
        assert page["Ordered by"] == page["Trailer loads to haul away"], job_count


def test_a_usual_week_is_one_page():
    assert draw_order(tables_of(4, ("catmint", "daylily")), PAPERS["letter"]).page == 1
