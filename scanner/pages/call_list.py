"""
The rows of the call list and of those left out: one content for the text and the spreadsheet.

What changed since the list that lies there already is marked in the column ``change``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from scanner.pages.plan_page import write_feet
from scanner.schema.documents import FINISHES, Scan
from scanner.schema.plan_tables import VISIT
from scanner.sheets.cells import sheet_row, yes_no
from scanner.sheets.lists import CALL_LIST

ROWS_AT_ONCE = 1000
FIRST_PHASE = 1

OWN = "the book's own "
"""Stands before the columns that the client list and the office have of their own, until a row is written."""

# A row whose other columns moved is not called changed: rank and chance move with every call
CHANGE_COLUMNS = ("bed_ids", "price_usd")


@dataclass(frozen=True)
class EarlierList:
    """The call list that lies in the folder from the scan before."""

    # its rows by client, each a text by column as the file holds it: `CHANGE_COLUMNS` and ``change``
    rows: Mapping[str, Mapping[str, str]]
    scanned_on: str  # day of that scan, ISO; blank: not known


@dataclass(frozen=True)
class Rows:
    """Rows that are made anew each time they are gone through: those of a large book need much room."""

    make: Callable[[], Iterator[dict[str, Any]]]

    def __iter__(self) -> Iterator[dict[str, Any]]:
        return self.make()


def call_rows(scan: Scan, *, earlier: EarlierList | None = None) -> Rows:
    """Give the rows of the call list, best first.

    One row an offer to be made, a value by column of `CALL_LIST`, then the columns that the client
    list has of its own. ``earlier``: the list of the scan before; None: there is none and no change
    is marked.

    On one day a mark stays until its row changes again, so that scanning twice gives the
    same list twice.
    """
    listed = scan.calls[scan.calls["left_out"] == ""].sort_values("rank")
    shared = [name for name in scan.offers.columns if name in listed.columns and name != "offer_id"]
    offers = scan.offers.drop(columns=shared).join(
        finish_prices(scan, pd.Index(listed["offer_id"])), on="offer_id"
    )
    offers = offers.assign(upgrade=upgrade_words(offers, scan.beds))
    extra = {name: free_name(str(name)) for name in scan.own}
    own = scan.own.rename(columns={old: f"{OWN}{new}" for old, new in extra.items()})
    clients = scan.clients.join(own, on="client_id")
    places = pd.Index(offers["offer_id"]), pd.Index(clients["client_id"])
    today = scan.today.isoformat()

    def rows() -> Iterator[dict[str, Any]]:
        for start in range(0, len(listed), ROWS_AT_ONCE):
            calls = listed.iloc[start : start + ROWS_AT_ONCE]
            table = calls.merge(
                offers.iloc[places[0].get_indexer(calls["offer_id"])], on="offer_id"
            ).merge(
                clients.iloc[places[1].get_indexer(calls["client_id"].unique())],
                on="client_id", suffixes=("", "_of_client"),
            )  # fmt: skip
            for call in table.to_dict("records"):
                row = _call_row(call)
                row["change"] = _change(row, earlier, today=today)
                yield row | {name: call[f"{OWN}{name}"] for name in extra.values()}

    return Rows(rows if len(listed) > ROWS_AT_ONCE else [*rows()].__iter__)


def left_out_rows(scan: Scan, *, earlier: EarlierList | None = None) -> Rows:
    """Give every client that is not on the call list, with the reason.

    One row a client, a value by column of `LEFT_OUT`, in its order.
    """
    told = ["client_id", "name", "address", "route", "mow_day"]
    clients = scan.left_out.merge(scan.clients[told], on="client_id").join(scan.own, on="client_id")
    is_out = scan.offers["client_id"].isin(clients["client_id"])
    offers = _first_by_client(scan.offers[is_out])
    before = earlier.rows if earlier else {}

    def rows() -> Iterator[dict[str, Any]]:
        for start in range(0, len(clients), ROWS_AT_ONCE):
            for client in clients.iloc[start : start + ROWS_AT_ONCE].to_dict("records"):
                yield (
                    {name: client[name] for name in (*told, "reason")}
                    | {
                        "offer": offers.get(client["client_id"], ""),
                        "change": "was on the list" if client["client_id"] in before else "",
                    }
                    | {free_name(str(name)): client[name] for name in scan.own}
                )

    return Rows(rows)


def under_way_rows(scan: Scan) -> Iterator[dict[Any, Any]]:
    """Give every client under way, each with what is offered there and, as ``own``, the book's own columns."""
    clients = scan.clients.set_index("client_id")
    # What is offered today is not what was quoted or sold: their words tell that
    waiting = scan.under_way.loc[scan.under_way["stage"] == VISIT, "client_id"]
    is_first = (scan.offers["phase"] == FIRST_PHASE) & scan.offers["client_id"].isin(waiting)
    offers = _first_by_client(scan.offers[is_first])
    for row in scan.under_way.to_dict("records"):
        client = clients.loc[row["client_id"]]
        told = {name: client[name] for name in ("name", "address", "phone", "route", "mow_day")}
        own = {free_name(str(name)): text for name, text in scan.own.loc[row["client_id"]].items()}
        yield row | told | {"offer": offers.get(row["client_id"], ""), "own": own}


def finish_prices(scan: Scan, offer_ids: pd.Index) -> pd.DataFrame:
    """Give what each offer costs in each finish that can be built there [cents], by offer."""
    names = ["offer_id", "finish", "price_cents"]
    every = (part["prices"][names] for part in scan.parts)
    listed = [table[offer_ids.get_indexer(pd.Index(table["offer_id"])) >= 0] for table in every]
    prices = pd.concat(listed or [pd.DataFrame(columns=names)])
    cents = prices.set_index("offer_id")["price_cents"]
    is_of = {name: (prices["finish"] == name).to_numpy() for name in FINISHES}
    return pd.DataFrame({f"price_{name}_cents": cents[rows] for name, rows in is_of.items()})


def upgrade_words(offers: pd.DataFrame, beds: pd.DataFrame) -> list[str]:
    """Say what each upgrade adds to its lead; blank where there is none."""
    measures = zip(*(beds[name] for name in ("bed_id", "along", "edge_ft")), strict=True)
    of_bed = {bed: f"{along} {write_feet(edge_ft)}" for bed, along, edge_ft in measures}
    return [
        " and ".join(of_bed[bed] for bed in more.split() if bed not in lead.split())
        for more, lead in zip(offers["upgrade_bed_ids"], offers["bed_ids"], strict=True)
    ]


def free_name(name: str) -> str:
    """Keep a column of the book's own apart from one of ours that is called alike."""
    return f"client_{name}" if name in CALL_LIST.names else name


def _call_row(call: dict[Any, Any]) -> dict[str, Any]:
    told: dict[str, str | None] = {"confirmed": yes_no(call["is_confirmed"]), "change": ""}
    if not call["upgrade_bed_ids"]:
        told |= dict.fromkeys(("upgrade_price_usd", "upgrade_saving_usd"))
    return sheet_row(CALL_LIST, call | told)


def _change(row: Mapping[str, Any], earlier: EarlierList | None, *, today: str) -> str:
    if earlier is None:
        return ""
    before = earlier.rows.get(row["client_id"])
    if before is None:
        return "new"
    changed = [
        name for name in CHANGE_COLUMNS if _plain(before.get(name, "")) != _plain(str(row[name]))
    ]
    if not changed:
        return before.get("change", "") if earlier.scanned_on == today else ""
    words = {"bed_ids": "other beds", "price_usd": f"price was ${before.get('price_usd', '')}"}
    return "; ".join(words[name] for name in changed)


def _plain(text: str) -> str:
    """Drop what a spreadsheet may add or drop on its way: the guard, zeros behind the point."""
    plain = text or ""
    return plain.rstrip("0").rstrip(".") if "." in plain else plain


def _first_by_client(offers: pd.DataFrame) -> dict[str, str]:
    told = offers[offers["offer"] != ""].drop_duplicates("client_id")
    return dict(zip(told["client_id"], told["offer"], strict=True))
