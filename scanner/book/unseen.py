"""Clients whose ground a scan could not look at, and what would help."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from scanner.schema.documents import Book
from scanner.sheets.problems import fault, list_problems, note


def list_unseen(book: Book) -> pd.DataFrame:
    """Say which clients have neither an outline nor a measured edge."""
    features = book.features if book.land is None else book.land.words
    outlines = features.loc[features["kind"] == "property", "client_id"]
    known = set(outlines) | set(book.measured["client_id"])
    return list_problems(
        note(
            "clients.csv", "", "no outline and no measured edge: nothing was looked for",
            "add the lot's outline to sites/, or measure the edges and add them to measured.csv",
            client_id=client,
        )
        for client in book.clients["client_id"] if client not in known
    )  # fmt: skip


def list_defeated(client_ids: Iterable[str]) -> pd.DataFrame:
    """Say which lots the geometry could not work out."""
    return list_problems(
        fault(
            "sites", "", "the shapes of this lot could not be worked out: nothing was found on it",
            "look at its drawing for lines that cross or all but coincide and draw them anew, or "
            "measure the edges on foot",
            client_id=client,
        )
        for client in client_ids
    )  # fmt: skip
