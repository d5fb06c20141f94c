"""
The file ``book.sqlite``: opened, kept in shape, guarded against two writers and a bad day.

The only module that knows the database. A rollback journal and a busy timeout, because
a write-ahead log fails in a read-only folder and on a network drive [1]_. One recording is
one transaction: killed in the middle, it has never happened.

References
----------
.. [1] SQLite documentation, "Write-Ahead Logging", sections 1 and 5.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager, suppress
from datetime import date
from pathlib import Path
from typing import Any

from scanner.calls.log import copies, holder, words
from scanner.calls.log.steps import STEPS
from scanner.errors import LogError, ReadOnlyError
from scanner.store.private import PRIVATE_FILE

LOG_FILE = "book.sqlite"
WAIT_SECONDS = 10.0
"""How long a second writer waits for the first."""

OUR_MARK = 0x42656473
"""SQLite's application id of our files: the letters Beds."""

_PRIMARY = 0xFF  # the low byte of an extended result code is the plain one
_BUSY = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}
_LOCKED_AWAY = {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM}
_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
_NO_ROOM = {sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR}


class Store:
    """The tables of an open log."""

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self._connection = connection
        self.path = path

    def rows(self, query: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Ask the log."""
        with _in_words(self.path):
            return self._connection.execute(query, values).fetchall()

    def write(self, statement: str, *rows: Sequence[Any]) -> int:
        """Write rows."""
        with _in_words(self.path):
            row_id = 0
            for row in rows or ((),):
                row_id = self._connection.execute(statement, row).lastrowid or 0
            return row_id


@contextmanager
def open_to_write(folder: Path, *, today: date, wait_seconds: float) -> Iterator[Store]:
    """Open a book's log for one recording; it is kept whole or not at all."""
    path = folder / LOG_FILE
    with ExitStack() as last:
        # Only what the log itself does is told here; what its user stumbles over is theirs
        with _in_words(path):
            connection = last.enter_context(closing(_connect(path, "rwc", wait_seconds)))
            store = Store(connection, path)
            _version(store)
            # Whoever set a write-ahead log in another program has it set back
            connection.execute("PRAGMA journal_mode = DELETE")
            connection.execute("BEGIN IMMEDIATE")
            last.callback(_roll_back, connection)
            last.enter_context(holder.named(path))
            _ready(store, today)
        yield store
        with _in_words(path):
            connection.execute("COMMIT")


@contextmanager
def open_to_read(folder: Path) -> Iterator[Store | None]:
    """Open a book's log to read it; nothing is written, not even beside it.

    The log's tables as they stand at one moment; None where there is no log yet.
    """
    path = folder / LOG_FILE
    if not path.is_file() or path.stat().st_size == 0:
        yield None
        return
    with ExitStack() as last:
        with _in_words(path):
            address = (path, _reading(path), WAIT_SECONDS)
            store = Store(last.enter_context(closing(_connect(*address))), path)
            store.write("BEGIN")
            is_empty = _version(store) == 0
            if not is_empty:
                _check(store)
        yield None if is_empty else store


def begin_log(folder: Path, statements: str) -> None:
    """Begin a book's log as another one was written out, in the database's own statements: all of it or nothing."""
    path = folder / LOG_FILE
    with _in_words(path), closing(_connect(path, "rwc", WAIT_SECONDS)) as connection:
        connection.executescript(statements)


def erase(path: Path, client_id: str) -> int:
    """Take every row of a client out of a log or a copy of one, whatever its version; gives how many there were.

    What is freed is overwritten, and the file is written anew without it.
    """
    with _in_words(path), closing(_connect(path, "rw", WAIT_SECONDS)) as connection:
        for pragma in ("secure_delete = ON", "foreign_keys = OFF", "temp_store = MEMORY"):
            connection.execute(f"PRAGMA {pragma}")
        connection.execute("BEGIN IMMEDIATE")
        count = _erase_rows(Store(connection, path), client_id)
        connection.execute("COMMIT")
        connection.execute("VACUUM")
    return count


def _erase_rows(store: Store, client_id: str) -> int:
    """Delete what names the client, and what hangs on such entries: parts, reversals, the entries themselves."""
    columns = store.rows(
        "SELECT m.name, c.name FROM sqlite_master m JOIN pragma_table_info(m.name) c WHERE m.type = 'table'"
    )
    naming, numbered = (
        {f'"{table.replace(chr(34), 2 * chr(34))}"' for table, name in columns if name == wanted}
        for wanted in ("client_id", "entry_id")
    )
    store.write("CREATE TEMP TABLE gone (entry_id INTEGER PRIMARY KEY)")
    count, of_client = 0, (client_id,)
    # The names are the file's own tables; the client's id goes in the place
    for table in sorted(naming & numbered):
        source = f"{table} WHERE client_id = ?"
        store.write(f"INSERT OR IGNORE INTO gone SELECT entry_id FROM {source}", of_client)  # noqa: S608
    store.write("INSERT OR IGNORE INTO gone SELECT entry_id FROM entries WHERE takes_back IN gone")
    for table in sorted(naming):
        count += store.rows(f"SELECT count(*) FROM {table} WHERE client_id = ?", of_client)[0][0]  # noqa: S608
        store.write(f"DELETE FROM {table} WHERE client_id = ?", of_client)  # noqa: S608
    for table in sorted(numbered):
        store.write(f"DELETE FROM {table} WHERE entry_id IN gone")  # noqa: S608
    store.write("DROP TABLE gone")
    return int(count)


def _roll_back(connection: sqlite3.Connection) -> None:
    if connection.in_transaction:
        connection.execute("ROLLBACK")


def _reading(path: Path) -> str:
    """A journal left by a killed writer must be played back, which takes leave to write."""
    return "rw" if path.with_name(f"{path.name}-journal").exists() else "ro"


def _connect(path: Path, mode: str, wait_seconds: float) -> sqlite3.Connection:
    if not path.parent.is_dir():
        message = f"there is no folder '{path.parent}': make a book first, or put its name right"
        raise LogError(message)
    if mode == "rwc" and not path.exists():
        with suppress(FileExistsError):
            os.close(os.open(path, os.O_CREAT | os.O_EXCL, PRIVATE_FILE))
    address = f"{path.resolve().as_uri()}?mode={mode}"
    connection = sqlite3.connect(address, timeout=wait_seconds, isolation_level=None, uri=True)
    connection.execute("PRAGMA foreign_keys = ON")
    return connection


def _version(store: Store) -> int:
    if not store.rows("SELECT 1 FROM sqlite_master LIMIT 1"):
        return 0
    if store.rows("PRAGMA application_id") != [(OUR_MARK,)]:
        raise LogError(words.foreign(store.path))
    if store.rows("SELECT 1 FROM sqlite_master WHERE type IN ('view', 'trigger') LIMIT 1"):
        raise LogError(words.foreign(store.path))
    told = store.rows("SELECT value FROM meta WHERE name = 'schema_version'")
    if not told or not str(told[0][0]).isdecimal():
        raise LogError(words.damaged(store.path, "it does not say of which version it is"))
    version = int(told[0][0])
    if version > len(STEPS):
        raise LogError(words.newer(store.path, version, len(STEPS)))
    return version


def _ready(store: Store, today: date) -> None:
    """Check the file, keep a copy of it, bring it to this program's version."""
    version = _version(store)
    if version:
        _check(store)
    if version and version < len(STEPS):
        copies.keep(store.path, f"{today.isoformat()}-version-{version}")
    elif version:
        copies.keep(store.path, today.isoformat())
    for number, statements in enumerate(STEPS[version:], start=version + 1):
        for statement in statements:
            store.write(statement)
        store.write("INSERT INTO migrations VALUES (?, ?)", (number, today.isoformat()))
        store.write("INSERT OR REPLACE INTO meta VALUES ('schema_version', ?)", (str(number),))
    if not version:
        store.write(f"PRAGMA application_id = {OUR_MARK}")


def _check(store: Store) -> None:
    found = store.rows("PRAGMA quick_check(1)")
    if found != [("ok",)]:
        raise LogError(words.damaged(store.path, str(found[0][0])))


@contextmanager
def _in_words(path: Path) -> Iterator[None]:
    """Turn what the database says into a sentence with the remedy."""
    try:
        yield
    except sqlite3.Error as err:
        code = getattr(err, "sqlite_errorcode", 0) & _PRIMARY
        if code in _LOCKED_AWAY:
            raise ReadOnlyError(words.locked_away(path)) from err
        if code in _BUSY:
            message = words.held(path)
        elif code in _DAMAGED or "no such" in str(
            err
        ):  # table or column: whoever wrote it is not us
            message = words.damaged(path, str(err))
        elif code in _NO_ROOM:
            message = words.no_room(path, str(err))
        else:
            message = f"{path}: the log cannot be used ({err}). Nothing was recorded."
        raise LogError(message) from err
    except PermissionError as err:
        raise ReadOnlyError(words.locked_away(path)) from err
    except OSError as err:
        message = f"{path.parent} cannot be written to ({err.strerror}): make room or mend it. Nothing was recorded."
        raise LogError(message) from err
