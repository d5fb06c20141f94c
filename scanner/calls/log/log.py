"""Recording: what people typed goes in as entries, what a scan found as its notes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from scanner.calls.entry_kinds import (
    KINDS,
    NUMBER,
    Counts,
    Kind,
    judge,
    parts_by_entry,
    plain_rows,
    typed_columns,
)
from scanner.calls.forgotten import mark_of
from scanner.calls.log.copies import list_copies
from scanner.calls.log.file import LOG_FILE, WAIT_SECONDS, Store, erase, open_to_write
from scanner.calls.log.reading import (
    BED_COLUMNS,
    STANDING,
    entries_of,
    parts_of,
    season_of,
    words_of,
)
from scanner.errors import LogError
from scanner.schema.columns import TableSchema
from scanner.schema.documents import Season
from scanner.schema.log_tables import LISTED, PRINTED, STORED_BEDS
from scanner.schema.tables import check_table

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


class Log:
    """A book's log, open for one recording; ``path`` is its file."""

    def __init__(self, store: Store, today: date) -> None:
        self._store = store
        self._today = today.isoformat()
        self.path = store.path
        self._batch = self.newest_number() + 1

    def season(self) -> Season:
        """Give what the log knows, this recording included."""
        return season_of(self._store)

    def newest_number(self) -> int:
        """Tell the number of the latest entry; 0: there is none."""
        return int(self._store.rows("SELECT coalesce(max(entry_id), 0) FROM entries")[0][0])

    def quote_ids(self) -> list[str]:
        """List the numbers of all quotes on record, those taken back too, and the last before a client was forgotten."""
        return [
            *(name for (name,) in self._store.rows("SELECT DISTINCT quote_id FROM quotes")),
            *words_of(self._store, "last_quotes"),
        ]

    def keep_last_quotes(self) -> None:
        """Keep the highest number of each year's quotes, so that none is given twice whoever is forgotten."""
        numbers = sorted(self.quote_ids(), key=lambda name: (len(name), name))
        last = {name.partition("-")[0]: name for name in numbers}.values()
        self._store.write(
            "INSERT OR REPLACE INTO meta VALUES ('last_quotes', ?)", (" ".join(last),)
        )

    def newest_day(self) -> str:
        """Tell the latest day of recording, ISO, blank for none; later than today: a clock went back."""
        return str(self._store.rows("SELECT coalesce(max(recorded_on), '') FROM entries")[0][0])

    def record(self, kind: Kind, rows: pd.DataFrame, parts: pd.DataFrame | None = None) -> Counts:
        """Record rows of a kind; what is on record as it stands is passed over."""
        rows = check_table(rows, typed_columns(kind.schema))
        if parts is not None and kind.parts_schema:
            parts = check_table(parts, kind.parts_schema)
        elif kind.parts:
            parts, rows = rows, rows.drop_duplicates([*kind.key])
        rows = rows.assign(**{NUMBER: range(len(rows))})
        if parts is not None:
            parts = parts.merge(rows[[*kind.key, NUMBER]], on=[*kind.key])
        entries = entries_of(self._store, kind)
        entry_parts = parts_of(self._store, kind) if kind.parts else None
        verdicts = judge(kind, rows, entries, parts, entry_parts)
        news, beneath = rows[verdicts.ne("known")], parts_by_entry(kind, parts)
        for at, row in zip(news[NUMBER], plain_rows(news, kind.columns), strict=True):
            number = self._add_entry(kind.name)
            self._insert(f"INTO {kind.table}", (NUMBER, *kind.columns), [(number, *row)])
            own = [(number, place, *part) for place, part in enumerate(beneath.get(at, ()))]
            self._insert(f"INTO {kind.parts_table}", (NUMBER, "place", *kind.parts), own)
        return Counts(*(int(verdicts.eq(word).sum()) for word in ("added", "changed", "known")))

    def store_beds(self, beds: GeoDataFrame) -> None:
        """Keep the beds of a scan, so that the next one knows them again.

        What an earlier scan found and this one did not stays. When a bed was built is told by its
        job, so ``built_on`` is not looked at.
        """
        beds = check_table(beds, STORED_BEDS)
        rows = beds.assign(shape=beds.geometry.to_wkb(byte_order=1))
        self._insert("OR REPLACE INTO beds", BED_COLUMNS, plain_rows(rows, BED_COLUMNS))

    def store_last_scan(self, schema: TableSchema, rows: pd.DataFrame) -> None:
        """Keep what a scan lists (`LISTED`) or leaves out (`LEFT_OUT`), in place of the one before."""
        self._store.write(f"DELETE FROM {schema.name}")  # noqa: S608
        plain = plain_rows(check_table(rows, schema), schema.columns)
        self._insert(f"INTO {schema.name}", schema.columns, plain)
        if schema is LISTED:
            # A client whose bed was sold is listed no more, and had neighbors alike all the same
            self._store.write(
                "INSERT OR IGNORE INTO alike SELECT client_id, scanned_on FROM listed WHERE alike_clients > 0"
            )

    def store_printed(self, rows: pd.DataFrame) -> None:
        """Keep what lists show of columns of the client list (`PRINTED`), beside what they have shown."""
        plain = plain_rows(check_table(rows, PRINTED), PRINTED.columns)
        self._insert("OR IGNORE INTO printed", PRINTED.columns, plain)

    def store_seals(self, seals: Iterable[str]) -> None:
        """Keep the seals of the lists just printed: as long as a list has one, nobody wrote into it."""
        self._store.write("INSERT OR REPLACE INTO meta VALUES ('lists', ?)", (" ".join(seals),))

    def undo(self, number: int | None = None) -> list[str]:
        """Take back what was recorded last at one go, or the entry of a number, by adding reversals; gives their words.

        None where nothing is left; `LogError` for a number that no standing entry has.
        """
        query = f"SELECT entry_id, kind, batch FROM entries WHERE kind <> 'reversal' AND {STANDING} ORDER BY 1"  # noqa: S608
        left = self._store.rows(query)
        found = {
            at: KINDS[name]
            for at, name, batch in left
            if (batch == left[-1][2] if number is None else at == number)
        }
        if not found and number is not None:
            message = f"no entry has the number {number}, or it was taken back already. Nothing was changed."
            raise LogError(message)
        told = {
            kind.name: entries_of(self._store, kind).set_index(NUMBER) for kind in found.values()
        }
        for at in found:
            self._add_entry("reversal", takes_back=at)
        return [_words_back(kind, told[kind.name], at, [*found]) for at, kind in found.items()]

    def _add_entry(self, kind: str, *, takes_back: int | None = None) -> int:
        statement = "INSERT INTO entries (kind, recorded_on, batch, takes_back) VALUES (?, ?, ?, ?)"
        return self._store.write(statement, (kind, self._today, self._batch, takes_back))

    def _insert(self, into: str, columns: Iterable[str], rows: list[tuple[object, ...]]) -> None:
        names = [*columns]
        # The names are our own; what people typed goes in the places
        statement = f"INSERT {into} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"  # noqa: S608
        if rows:
            self._store.write(statement, *rows)

    def store_mark(self, phone: str, new_salt: str) -> None:
        """Keep the mark of a phone number that is not to be called, and nothing else of it; the first one brings the salt."""
        known = self._store.rows("SELECT value FROM meta WHERE name = 'forgotten'")
        salt, *marks = known[0][0].split() if known else [new_salt]
        every = sorted({*marks, mark_of(phone, salt)} - {""})
        self._store.write(
            "INSERT OR REPLACE INTO meta VALUES ('forgotten', ?)", (" ".join([salt, *every]),)
        )


def _words_back(kind: Kind, entries: pd.DataFrame, number: int, taken: list[int]) -> str:
    """Say what an entry was, and which others of the same thing stand when those of the numbers are taken back."""
    entry = entries.loc[number]
    is_same = (entries[[*kind.key]] == entry[[*kind.key]]).all(axis=1) & ~entries.index.isin(taken)
    rest = ", ".join(map(str, entries.index[is_same]))
    words = kind.words.format(**entry).rstrip()
    return words + (f" (what number {rest} says of it stands)" if rest else "")


def forget_client(folder: Path, client_id: str) -> tuple[int, list[Path]]:
    """Erase a client from a book's log and from its copies: how many rows there were, and copies that could not be."""
    path, count, failed = folder / LOG_FILE, 0, list[Path]()
    for file in filter(Path.is_file, (path, *list_copies(path))):
        if file.suffix == ".part":
            file.unlink()
            continue
        try:
            erased = erase(file, client_id)
        except LogError:
            if file == path:
                raise
            failed.append(file)
        else:
            count += erased if file == path else 0
    return count, failed


@contextmanager
def open_log(folder: Path, *, today: date, wait_seconds: float = WAIT_SECONDS) -> Iterator[Log]:
    """Open a book's log for one recording; it is kept whole or not at all."""
    with open_to_write(folder, today=today, wait_seconds=wait_seconds) as store:
        yield Log(store, today)
