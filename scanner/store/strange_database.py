"""
A stranger's database, looked into before a layer is read from it: only plain tables may stand in one.

Triggers may: the usual programs write some into each GeoPackage, and none runs while nothing is written.
"""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from pathlib import Path

from scanner.store.ceilings import MAX_LAYERS

MARK = b"SQLite format 3\0"
"""How the file of a database begins."""

_TABLES_A_LAYER = 6
_MOST_STEPS = 20_000_000
"""Steps of the database's engine after which a question is given up."""
_LONGEST_DEFAULT = 200

_MODULE = re.compile(r"(?is)create\s+virtual\s+table\b.*?\busing\s+(\w+)")


def strange_in(path: Path) -> str:
    """Say what in a database does more than hold rows; blank where nothing does."""
    try:
        address = f"{path.resolve().as_uri()}?mode=ro&immutable=1"
        with closing(sqlite3.connect(address, uri=True)) as connection:
            connection.execute("PRAGMA trusted_schema = OFF")
            connection.set_progress_handler(lambda: 1, _MOST_STEPS)
            return _strange(connection)
    except (sqlite3.Error, UnicodeDecodeError):  # broken pages, letters that are none
        return "cannot be read as a layer, it may be damaged"


def _strange(connection: sqlite3.Connection) -> str:
    tables = 0
    for kind, name, statement in connection.execute("SELECT type, name, sql FROM sqlite_master"):
        module = _MODULE.match(statement or "")
        tables += kind == "table"
        if kind == "view":
            return f"holds a view, {name}, which is worked out anew by whoever reads it"
        if module and module[1].lower() != "rtree":
            return f"holds a table, {name}, that a program makes while it is read"
        if tables > _TABLES_A_LAYER * MAX_LAYERS:
            return f"holds more than {tables - 1:,} tables"
    worked_out = connection.execute(
        "SELECT tables.name, columns.name FROM sqlite_master AS tables, pragma_table_xinfo(tables.name) AS columns "
        "WHERE tables.type = 'table' AND (columns.hidden IN (2, 3) OR length(columns.dflt_value) > ?) LIMIT 1",
        (_LONGEST_DEFAULT,),
    ).fetchone()
    return (
        f"has a column, {'.'.join(worked_out)}, that is worked out anew by whoever reads it"
        if worked_out
        else ""
    )
