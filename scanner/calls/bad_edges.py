"""What crews saw that bears on a call: how the turf's edge looks."""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.schema.edge_kinds import EDGE_KINDS

WORST = 3
BAD_FROM = 2
"""Conditions run from 0, as good as the rest, to 3, bare or weeds; these and worse are bad."""

BAD_EDGE_COLUMN = "bad_edges"
"""Column of clients: edges that a crew saw in a bad state, ``along condition day`` each."""


def list_bad_edges(answers: pd.DataFrame) -> pd.DataFrame:
    """List the edges that a crew saw in a bad state.

    >>> rows = [("A", "curb condition", "3", "2027-02-01"), ("B", "curb condition", "1", "2027-02-01")]
    >>> answers = pd.DataFrame(rows, columns=["client_id", "question", "answer", "seen_on"])
    >>> list_bad_edges(answers)[["client_id", "along", "condition"]].values.tolist()
    [['A', 'curb', 3.0]]
    """
    kinds = {kind.condition: kind.name for kind in EDGE_KINDS.values() if kind.condition}
    seen = answers[answers["question"].isin(kinds)]
    edges = pd.DataFrame(
        {
            "client_id": seen["client_id"],
            "along": seen["question"].map(kinds).astype("str"),
            "condition": pd.to_numeric(seen["answer"]).astype(float),
            "seen_on": seen["seen_on"],
        }
    )
    bad = edges[edges["condition"] >= BAD_FROM]
    return bad.sort_values(["client_id", "along"], ignore_index=True)


def add_bad_edges(clients: pd.DataFrame, answers: pd.DataFrame) -> pd.DataFrame:
    """Put beside each client the edges that a crew saw in a bad state."""
    edges = list_bad_edges(answers)
    conditions = edges["condition"].map("{:.0f}".format).astype("str")
    words = edges["along"] + " " + conditions + " " + edges["seen_on"]
    by_client = words.groupby(edges["client_id"]).agg("|".join)
    report = clients["client_id"].map(by_client).astype("str").fillna("")
    return clients.assign(**{BAD_EDGE_COLUMN: report})


def bad_edge_reasons(offers: pd.DataFrame, clients: pd.DataFrame) -> pd.Series[str]:
    """Say of each offer which of its beds lies along an edge that a crew saw in a bad state."""
    if BAD_EDGE_COLUMN not in clients:
        return pd.Series("", index=offers.index, dtype="str")
    is_seen = (clients[BAD_EDGE_COLUMN] != "").to_numpy()
    texts = np.full(len(offers), "", dtype=object)
    report = zip(offers["bed_ids"][is_seen], clients[BAD_EDGE_COLUMN][is_seen], strict=True)
    texts[is_seen] = [
        "; ".join(
            f"the crew saw a bad edge along the {along} on {day}: {condition} of {WORST}"
            for along, condition, day in (edge.split(" ") for edge in edges.split("|"))
            if f"-{along}-" in bed_ids
        )
        for bed_ids, edges in report
    ]
    return pd.Series(texts, index=offers.index, dtype="str")
