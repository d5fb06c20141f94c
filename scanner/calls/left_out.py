"""Who gets no call, and why: one table, which the map, the lists and the terminal all print."""

from __future__ import annotations

import pandas as pd

from scanner.schema.edge_kinds import EDGE_KINDS
from scanner.schema.tables import LEFT_OUT, check_table

NOTHING_FOUND = "no turf found along a curb, house front or sidewalk"


def list_left_out(
    calls: pd.DataFrame,
    clients: pd.DataFrame,
    beds: pd.DataFrame,
    problems: pd.DataFrame,
    *,
    under_way: pd.DataFrame,
) -> pd.DataFrame:
    """
    List every client who is neither on the call list nor under way, with the reason: table `LEFT_OUT`.

    What `calls` says of an offer, else the first problem, else why the beds were skipped [ft].
    Those with an offer stand first, then by name and id.
    """
    listed = {*calls.loc[calls["left_out"] == "", "client_id"], *under_way["client_id"]}
    out = clients[~clients["client_id"].isin(listed)]
    called_off = _first(calls, calls["left_out"])
    reasons = _of_beds(beds) | _first(problems, _sentences(problems)) | called_off
    out = out[["client_id", "name"]].assign(
        has_offer=out["client_id"].isin(called_off.keys()),
        reason=[reasons.get(client_id, NOTHING_FOUND) for client_id in out["client_id"]],
        _is_bare=~out["client_id"].isin(called_off.keys()),
        _name=out["name"].str.casefold(),
    )
    out = out.sort_values(["_is_bare", "_name", "client_id"], ignore_index=True)
    return check_table(out[[*LEFT_OUT.columns]], LEFT_OUT)


def _of_beds(beds: pd.DataFrame) -> dict[str, str]:
    skipped = beds[beds["skip_reason"] != ""]
    reasons: dict[str, list[str]] = {}
    rows = zip(
        *(skipped[name] for name in ("client_id", "along", "skip_reason", "edge_ft")), strict=True
    )
    for client_id, along, skip_reason, edge_ft in rows:
        words = f"the bed along {EDGE_KINDS[along].words} is {skip_reason} ({edge_ft:.0f} ft)"
        reasons.setdefault(client_id, []).append(words)
    # two of a kind that are as long are told once
    return {client_id: "; ".join(dict.fromkeys(words)) for client_id, words in reasons.items()}


def _sentences(problems: pd.DataFrame) -> list[str]:
    return [
        f"{problem} ({remedy})" if remedy else problem
        for problem, remedy in zip(problems["problem"], problems["remedy"], strict=True)
    ]


def _first(table: pd.DataFrame, words: list[str] | pd.Series) -> dict[str, str]:
    report: dict[str, str] = {}
    for client_id, text in zip(table["client_id"], words, strict=True):
        if client_id and text:
            report.setdefault(client_id, text)
    return report
