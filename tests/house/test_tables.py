"""Tables are checked column by column: each fault is named, and types are given, not guessed."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
import shapely

from scanner.errors import SchemaError
from scanner.schema.columns import TableSchema, count_column, text_column
from scanner.schema.log_tables import JOB_TASKS, LISTED, LOG_TABLES
from scanner.schema.tables import CLIENTS, SHAPES, TABLES, check_table, empty_table

BED_ORDER = TableSchema("bed_order", "Beds of a client in order.", {
    "client_id": text_column("client"),
    "bed_id": text_column("bed", unique=True),
    "place": count_column("1 is the lead bed", least=1),
})  # fmt: skip

ROWS = pd.DataFrame({"client_id": ["007", "A"], "bed_id": ["a", "b"], "place": [1, 2]})


@pytest.mark.parametrize("schema", [*TABLES, *LOG_TABLES], ids=lambda schema: schema.name)
def test_an_empty_table_has_every_column_with_its_type(schema) -> None:
    empty = empty_table(schema)
    assert {name: empty[name].dtype == column.dtype for name, column in schema.columns.items()} == (
        dict.fromkeys(schema.columns, True)
    )


def test_types_are_given_and_the_table_handed_in_stays_as_it_was() -> None:
    rows = ROWS.astype({"place": object, "client_id": object})
    checked = check_table(rows.assign(more="kept"), BED_ORDER)
    assert [str(checked[name].dtype) for name in ("client_id", "place")] == ["str", "int64"]
    assert checked["client_id"].tolist() == ["007", "A"]
    assert (rows["place"].dtype, [*checked.columns]) == (object, [*ROWS.columns, "more"])


BREAK: dict[str, Callable[[pd.DataFrame], pd.DataFrame]] = {
    "place: the column is missing": lambda rows: rows.drop(columns="place"),
    "place: not int64: not all are whole": lambda rows: rows.assign(place=[1.0, 1.5]),
    "place: not int64: .*non-finite": lambda rows: rows.assign(place=[1.0, np.nan]),
    "place: not int64: .*'two'": lambda rows: rows.assign(place=["1", "two"]),
    "place: is less than 1: .*0.* in 1 of 2 rows": lambda rows: rows.assign(place=[0, 1]),
    "client_id: is missing": lambda rows: rows.assign(client_id=["A", None]),
    "bed_id: stands twice: 'a'": lambda rows: rows.assign(bed_id="a"),
}


@pytest.mark.parametrize("words", BREAK)
def test_each_fault_is_named(words: str) -> None:
    with pytest.raises(SchemaError, match=f"table bed_order breaks its schema:\n{words}"):
        check_table(BREAK[words](ROWS), BED_ORDER)


def test_all_faults_are_named_at_once() -> None:
    with pytest.raises(SchemaError, match=r"(?s)bed_id: stands twice.*place: is less than 1"):
        check_table(ROWS.assign(bed_id="a", place=0), BED_ORDER)


def test_words_lengths_and_pairs_of_columns_are_checked() -> None:
    client = pd.DataFrame([
        {name: np.nan if column.is_nullable else "" for name, column in CLIENTS.columns.items()}
    ])  # fmt: skip
    with pytest.raises(SchemaError, match=r"client_id: is less than 1: ''"):
        check_table(client, CLIENTS)
    with pytest.raises(SchemaError, match=r"renter: is none of \('yes', 'no', ''\): 'maybe'"):
        check_table(client.assign(client_id="A", renter="maybe"), CLIENTS)
    assert len(check_table(client.assign(client_id="A"), CLIENTS)) == 1
    task = {"job_id": "7", "task": "dig", "rate_key": "", "quantity": 1, "unit": "h", "estimated_hours": None,
            "actual_hours": 2, "estimated_cents": 0, "actual_cents": np.nan}  # fmt: skip
    assert len(check_table(pd.DataFrame([task]), JOB_TASKS)) == 1
    with pytest.raises(SchemaError, match="job_id task: a row stands twice"):
        check_table(pd.DataFrame([task, task]), JOB_TASKS)
    with pytest.raises(SchemaError, match="quantity: is missing"):
        check_table(pd.DataFrame([task | {"quantity": np.nan}]), JOB_TASKS)


def test_money_may_be_negative_only_where_its_column_says_so() -> None:
    columns = LISTED.columns
    assert columns["gross_profit_cents"].least is None
    assert columns["price_low_cents"].least == 0


def test_shapes_are_shapes() -> None:
    row = {"layer": "bed", "client_id": "A", "ref": "", "geometry": shapely.Point(0, 0)}
    assert check_table(pd.DataFrame([row]), SHAPES)["geometry"].dtype == "geometry"
    with pytest.raises(SchemaError, match="geometry: not geometry"):
        check_table(pd.DataFrame([row | {"geometry": "here"}]), SHAPES)
    with pytest.raises(SchemaError, match="geometry: is missing"):
        check_table(pd.DataFrame([row | {"geometry": None}]), SHAPES)
