"""
What crews saw of the ground, laid over what the layers say.

An answer is newer than any layer: where a crew says that no turf runs up to the curb, no
bed is offered there, and where it says that there is no curb, none is looked for.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from scanner.ground.kinds import CURB, ROAD, Parts
from scanner.schema.crew_answers import NO, YES, numbers_by_client, words_by_client
from scanner.schema.edge_kinds import EDGE_KINDS
from scanner.schema.tables import PROBLEMS, check_table, empty_table

TURF_QUESTIONS = {kind.name: kind.question for kind in EDGE_KINDS.values() if kind.is_denied_by_no}
"""Question about each edge; a no denies it."""

BED_SENTENCE = "the crew saw a bed on this lot already: look where it lies before you measure"
"""Caution of every bed of a lot that has one which nobody drew."""

REMEDY = "nothing to do; if it has changed since, answer the checklist again and record it"


@dataclass(frozen=True)
class Seen:
    """What crews answered about a block of lots, aligned with it."""

    denied: dict[str, np.ndarray]  # by what an edge runs along, whether each lot has no turf there
    curbed: np.ndarray  # ``yes``, ``no`` or blank
    opening_ft: np.ndarray  # width of the drive at the curb [ft]; NaN: not told
    has_bed: np.ndarray  # whether a bed is there already


def look_up(client_id: np.ndarray, answers: pd.DataFrame) -> Seen:
    """
    Look up what crews answered about each of some lots, in any order, any number of times each.

    >>> answers = pd.DataFrame({"client_id": ["B"], "question": "turf to curb", "answer": "no",
    ...                         "seen_on": "2027-02-01"})
    >>> look_up(np.array(["A", "B"]), answers).denied["curb"].tolist()
    [False, True]
    """
    count = len(client_id)
    if answers.empty:
        nothing, blank = np.zeros(count, bool), np.full(count, "", dtype=object)
        denied = dict.fromkeys(TURF_QUESTIONS, nothing)
        return Seen(denied, curbed=blank, opening_ft=np.full(count, np.nan), has_bed=nothing)
    clients = pd.Series(client_id, dtype="str")

    def words(question: str) -> np.ndarray:
        return (
            clients.map(words_by_client(answers, question))
            .astype("str")
            .fillna("")
            .to_numpy(object)
        )

    return Seen(
        denied={along: words(question) == NO for along, question in TURF_QUESTIONS.items()},
        curbed=words("curbed"),
        opening_ft=clients.map(numbers_by_client(answers, "drive width ft")).to_numpy(float),
        has_bed=words("has bed") == YES,
    )


def settle_curbs(parts: Parts, seen: Seen) -> Parts:
    """
    Take the curbs away that crews did not find, and put those in that they did.

    Where a crew says no, no street has a curb; where it says yes and the layers have none, each
    street has.
    """
    has_curb = np.bincount(parts.lot, (parts.bits & CURB) > 0, len(seen.curbed)) > 0
    is_gone = (seen.curbed == NO)[parts.lot] & ((parts.bits & CURB) > 0)
    is_found = ((seen.curbed == YES) & ~has_curb)[parts.lot] & ((parts.bits & ROAD) > 0)
    return parts._replace(bits=np.where(is_gone | is_found, parts.bits ^ (CURB | ROAD), parts.bits))


def deny(beds: pd.DataFrame, answers: pd.DataFrame) -> pd.DataFrame:
    """Mark the beds along edges that crews denied: their first ``skip_reason`` is ``denied``."""
    seen = look_up(beds["client_id"].to_numpy(), answers)
    is_denied = np.zeros(len(beds), dtype=bool)
    for along, is_no in seen.denied.items():
        is_denied |= is_no & (beds["along"] == along).to_numpy()
    return beds.assign(skip_reason=beds["skip_reason"].mask(is_denied, "denied"))


def add_cautions(beds: pd.DataFrame, answers: pd.DataFrame) -> pd.DataFrame:
    """Say of beds whether the lot has one already that a crew saw: `BED_SENTENCE` among their cautions."""
    has_bed = look_up(beds["client_id"].to_numpy(), answers).has_bed
    joint = np.where(beds["cautions"] == "", "", "; ")
    told = beds["cautions"].astype(object) + joint + BED_SENTENCE
    return beds.assign(cautions=beds["cautions"].astype(object).mask(has_bed, told))


def note_answers(beds: pd.DataFrame, clients: pd.DataFrame, answers: pd.DataFrame) -> pd.DataFrame:
    """Say which edges of table `BED_LIST` a crew's answer took out: `PROBLEMS`, one note a client and answer."""
    denied = beds[beds["skip_reason"] == "denied"]
    rows = []
    for along, question in TURF_QUESTIONS.items():
        count = denied.loc[denied["along"] == along, "client_id"].value_counts(sort=False)
        days = words_by_client(answers, question, "seen_on").to_dict()
        rows += [
            (client, f"the crew saw on {days[client]} that no turf runs up to the {along}, so what "
             f"was found there is denied ({number} {'piece' if number == 1 else 'pieces'})")
            for client, number in count.items()
        ]  # fmt: skip
    days, words = (
        words_by_client(answers, "curbed", "seen_on").to_dict(),
        words_by_client(answers, "curbed"),
    )
    rows += [
        (client, f"the crew saw on {days[client]} that the street has no curb, so no curb bed was looked for")
        for client in words.index[words == NO].intersection(pd.Index(clients["client_id"]))
    ]  # fmt: skip
    if not rows:
        return empty_table(PROBLEMS)
    notes = pd.DataFrame(sorted(rows), columns=["client_id", "problem"])
    notes = notes.assign(file="", feature="", severity="note", remedy=REMEDY)
    return check_table(notes[[*PROBLEMS.columns]], PROBLEMS)
