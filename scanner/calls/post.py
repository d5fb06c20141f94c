"""Letters on record: who has one that may still be answered, and how often letters bring a visit."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from scanner.schema.documents import RateBook

if TYPE_CHECKING:  # who asks for letters alone loads no distributions
    from scanner.calls.chance import Floats, Stages

SENT, ASKED = "sent", "asked"
WANTS_VISIT = "asked for a visit after our letter"


def silent_shares(sent_on: pd.Series[str], *, today: date, rates: RateBook) -> Floats:
    """Share of the letters' answers that would not have come by now, by the day each was sent.

    >>> from scanner.book.settings import read_rates
    >>> sent_on = pd.Series(["2026-03-02", "2026-03-05", "2026-02-10"])
    >>> silent_shares(sent_on, today=date(2026, 3, 5), rates=read_rates(None)[0]).round(6).tolist()
    [1.0, 1.0, 0.135335]
    """
    days = (pd.Timestamp(today) - pd.to_datetime(sent_on)).dt.days.to_numpy(float)
    since = np.maximum(days - rates.post_days.value, 0.0)
    shares: Floats = np.exp(-since / rates.mail_days.value)
    return shares


def learn_letters(stages: Stages, letters: pd.DataFrame, *, today: date, rates: RateBook) -> Stages:
    """Put the letters on record on top of the rate book's prior counts.

    A letter that nobody answered counts as far as its answer would have come by now.
    """
    asked, sent = (letters[letters["letter"] == state] for state in (ASKED, SENT))
    answered = pd.MultiIndex.from_frame(asked[["client_id", "wave_on"]])
    is_silent = ~pd.MultiIndex.from_frame(sent[["client_id", "wave_on"]]).isin(answered)
    silent = 1.0 - silent_shares(sent.loc[is_silent, "told_on"], today=today, rates=rates)
    return replace(
        stages, asked=stages.asked + len(asked), silent=stages.silent + float(silent.sum())
    )


def open_letters(letters: pd.DataFrame, calls: pd.DataFrame) -> pd.Series[str]:
    """Day of the last letter to each client who has not said anything since."""
    asked = letters.loc[letters["letter"] == ASKED, ["client_id", "told_on"]]
    return _unheard(letters[letters["letter"] == SENT], calls, asked)


def asked_letters(letters: pd.DataFrame, calls: pd.DataFrame) -> pd.Series[str]:
    """Day on which each client asked for a visit after a letter, where nobody has talked to him since."""
    return _unheard(letters[letters["letter"] == ASKED], calls)


def _unheard(letters: pd.DataFrame, calls: pd.DataFrame, *asked: pd.DataFrame) -> pd.Series[str]:
    """Last day of each client's letters, where nothing was said on it or later."""
    if letters.empty:
        return letters.set_index("client_id")["told_on"]
    last = letters.groupby("client_id")["told_on"].max()
    talks = calls.loc[calls["outcome"] != "not reached", ["client_id", "called_on"]]
    said = pd.concat([talks.rename(columns={"called_on": "told_on"}), *asked])
    since = said.groupby("client_id")["told_on"].max().reindex(last.index).fillna("")
    return last[since < last]
