"""What of the ceilings a sheet's file takes up, as its rows come in."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from scanner.errors import BookError
from scanner.store.ceilings import MAX_CELL_LETTERS, MAX_CELLS, MAX_COLUMNS, MAX_ROWS

COPY = "copy the cells that are meant into a new spreadsheet"


class Room:
    """How much of the ceilings a file has taken up."""

    def __init__(self, file: str, most_letters: int) -> None:
        self._file, self._letters, self._cells = file, most_letters, MAX_CELLS

    def fill(
        self, rows: Iterable[Sequence[Any]], texts_of: Callable[[Sequence[Any]], list[str]] = list
    ) -> list[list[str]]:
        """Take the rows of a sheet as texts."""
        taken = list[list[str]]()
        for row in rows:
            self._cells -= len(row)
            if self._cells < 0:
                self.refuse(
                    f"has more than {MAX_CELLS:,} cells, the blank ones between others counted"
                )
            texts = texts_of(row)
            if len(texts) > MAX_COLUMNS:
                self.refuse_far(f"row {len(taken) + 1:,}, column {len(texts):,}")
            if len(taken) == MAX_ROWS:
                self.refuse(f"has more than {MAX_ROWS:,} rows")
            lengths = [*map(len, texts)]
            self._letters -= sum(lengths)
            if max(lengths, default=0) > MAX_CELL_LETTERS:
                self.refuse(
                    f"has a cell of more than {MAX_CELL_LETTERS:,} letters in row {len(taken) + 1:,}"
                )
            if self._letters < 0:
                self.refuse("holds the same long texts over and over")
            taken.append(texts)
        return taken

    def refuse_far(self, place: str) -> None:
        """Refuse the file for a cell far out."""
        self.refuse(f"has a cell in {place}, far from any list")

    def refuse_huge(self, byte_count: int, most_bytes: int) -> None:
        """Refuse a file that holds more bytes."""
        if byte_count > most_bytes:
            self.refuse(f"holds {byte_count:,} bytes, more than {most_bytes:,}")

    def refuse(self, what: str) -> None:
        """Refuse the file."""
        message = f"{self._file} {what}: {COPY}"
        raise BookError(message)
