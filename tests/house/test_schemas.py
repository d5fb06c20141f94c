"""What ``shared/schemas`` tells other programs equals what the code holds."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest

from scanner.schema.export import schema_files
from scanner.schema.log_tables import LOG_TABLES
from scanner.schema.tables import TABLES

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "shared" / "schemas"
RENEW = "run: python tests/house/renew.py schemas"


@pytest.mark.parametrize("name", sorted(schema_files()))
def test_file_equals_code(name: str) -> None:
    assert (FOLDER / name).read_text(encoding="utf-8") == schema_files()[name], RENEW


def test_no_file_is_left_over() -> None:
    assert {path.name for path in FOLDER.iterdir()} == schema_files().keys(), RENEW


def test_every_column_says_what_it_means() -> None:
    tables = json.loads(schema_files()["tables.json"])["tables"]
    assert [table["name"] for table in tables] == [schema.name for schema in (*TABLES, *LOG_TABLES)]
    for table in tables:
        assert table["meaning"]
        for column in table["columns"]:
            assert column["meaning"], f"{table['name']}.{column['name']}"


def test_measured_names_end_in_their_unit() -> None:
    tables = json.loads(schema_files()["tables.json"])["tables"]
    endings = {
        "ft": "_ft",
        "ft2": "_ft2",
        "in": "_in",
        "yd3": "_yd3",
        "lb": "_lb",
        "cents": "_cents",
    }
    for table in tables:
        for column in table["columns"]:
            if column["type"] != "shape" and column["unit"] in endings:
                assert column["name"].endswith(endings[column["unit"]])


@pytest.mark.parametrize("name", ["rates", "local"])
def test_schema_knows_every_setting_of_the_standard_file(name: str) -> None:
    standard = ROOT / "scanner" / "book" / "standard" / f"{name}.toml"
    schema = json.loads(schema_files()[f"{name}.schema.json"])
    assert_known(tomllib.loads(standard.read_text(encoding="utf-8")), schema, schema)


def assert_known(entries: dict[str, Any], part: dict[str, Any], schema: dict[str, Any]) -> None:
    """Follow a TOML file through the schema: each setting, and each part of it, is there."""
    assert not part["additionalProperties"]
    assert entries.keys() <= part["properties"].keys()
    for key, entry in entries.items():
        setting = part["properties"][key]
        if "$ref" in setting:
            assert_known(entry, schema["$defs"][setting["$ref"].rpartition("/")[2]], schema)
        elif isinstance(entry, dict):
            assert entry.keys() <= setting["anyOf"][1]["properties"].keys()
