"""
Write the schemas down for other programs and people: the files in ``shared/schemas``.

Everything is derived from `scanner.schema.tables` and `scanner.schema.documents`;
a test keeps the files equal to what stands here.
"""

from __future__ import annotations

import inspect
import json
from typing import Any

from pydantic import BaseModel

from scanner.schema.columns import Column, TableSchema
from scanner.schema.documents import LocalRules, RateBook
from scanner.schema.log_tables import LOG_TABLES
from scanner.schema.plant_list import Plant
from scanner.schema.tables import TABLES

JSON_SCHEMA_DIALECT = "https://json-schema.org/draft/2020-12/schema"
TYPE_WORDS = {
    "str": "text", "int64": "whole number", "float64": "number", "bool": "true or false",
    "geometry": "shape",
}  # fmt: skip


def schema_files() -> dict[str, str]:
    """
    Write every schema as text, by the name of its file in ``shared/schemas``.

    >>> sorted(schema_files())
    ['local.schema.json', 'plants.schema.json', 'rates.schema.json', 'tables.json', 'tables.md']
    """
    tables = [describe_table(schema) for schema in (*TABLES, *LOG_TABLES)]
    return {
        "rates.schema.json": _json_text(describe_document(RateBook)),
        "local.schema.json": _json_text(describe_document(LocalRules)),
        "plants.schema.json": _json_text(describe_plants()),
        "tables.json": _json_text({"tables": tables}),
        "tables.md": _tables_page(tables),
    }


def describe_document(document: type[BaseModel]) -> dict[str, Any]:
    """
    Describe the TOML file that holds a document, as JSON Schema, draft 2020-12.

    In the file a setting is a plain value, or a table of value, low, high and source. Nothing is
    required, since the standard file speaks for what is left out.

    >>> plain, with_source = describe_document(LocalRules)["properties"]["gap_ft"]["anyOf"]
    >>> plain["type"], sorted(with_source["properties"])
    ('number', ['high', 'low', 'source', 'value'])
    """
    schema = document.model_json_schema()
    groups = {name: group for name, group in schema.pop("$defs").items() if name != "Rate"}
    for part in (schema, *groups.values()):
        part.pop("required", None)
        # Sources stand beside their values in the file; the program gathers them.
        part["properties"].pop("sources", None)
        part["properties"] = {
            name: _describe_setting(setting) for name, setting in part["properties"].items()
        }
    # Python 3.13 strips the indentation of a docstring, earlier ones keep it.
    schema["description"] = inspect.cleandoc(document.__doc__ or "").partition(":")[0]
    return {"$schema": JSON_SCHEMA_DIALECT, **schema, **({"$defs": groups} if groups else {})}


def describe_plants() -> dict[str, Any]:
    """Describe plants.toml as JSON Schema: a table a species, of which nothing is required, since the standard file may have it."""
    species = Plant.model_json_schema()
    species.pop("required")
    species["description"] = inspect.cleandoc(Plant.__doc__ or "")
    return {"$schema": JSON_SCHEMA_DIALECT, "type": "object", "additionalProperties": species}


def _describe_setting(setting: dict[str, Any]) -> dict[str, Any]:
    reference = str(setting.get("$ref", ""))
    if reference and not reference.endswith("/Rate"):
        return {"$ref": reference}
    words = {"description": setting["description"]} if "description" in setting else {}
    spoken = {"title", "description", "default", "$ref"}
    left = {key: value for key, value in setting.items() if key not in spoken}
    plain = {"type": "number", **left} if reference else left
    beside = {"low": {"type": "number"}, "high": {"type": "number"}} if _is_number(plain) else {}
    parts = {"value": plain, **beside, "source": {"type": "string"}}
    table = {"type": "object", "properties": parts, "additionalProperties": False}
    return {**words, "anyOf": [plain, table]}


def _is_number(plain: dict[str, Any]) -> bool:
    return plain.get("type") == "number"


def describe_table(schema: TableSchema) -> dict[str, Any]:
    """Describe a table as JSON: what it holds, and each column in its order."""
    columns = [_describe_column(name, column) for name, column in schema.columns.items()]
    return {"name": schema.name, "meaning": schema.meaning, "columns": columns}


def _describe_column(name: str, column: Column) -> dict[str, Any]:
    return {
        "name": name,
        "type": TYPE_WORDS[column.dtype],
        "unit": column.unit,
        "may_be_blank": column.is_nullable,
        "unique": column.is_unique,
        "least": None if column.dtype == "str" else column.least,
        "most": column.most,
        "allowed": list(column.words),
        "meaning": column.meaning,
    }


def _json_text(value: dict[str, Any]) -> str:
    return json.dumps(value, indent=2, ensure_ascii=False) + "\n"


def _tables_page(tables: list[dict[str, Any]]) -> str:
    lines = [
        "# Tables",
        "",
        "What flows between the rooms, in the order of the story. Written from the code: don't edit.",
        "Text is never missing: blank is an empty text. Money inside the program is whole cents.",
    ]
    for table in tables:
        lines += ["", f"## {table['name']}", "", table["meaning"], ""]
        lines += ["| column | type | unit | meaning |", "|---|---|---|---|"]
        lines += [_column_row(column) for column in table["columns"]]
    return "\n".join(lines) + "\n"


def _column_row(column: dict[str, Any]) -> str:
    words = [word or "blank" for word in column["allowed"]]
    allowed = f" ({', '.join(words)})" if words else ""
    blank = "; may be missing" if column["may_be_blank"] else ""
    return (
        f"| `{column['name']}` | {column['type']}{blank} | {column['unit']} "
        f"| {column['meaning']}{allowed} |"
    )
