"""How a room looks up what crews answered: one question at a time, by client."""

from __future__ import annotations

import pandas as pd

YES, NO = "yes", "no"


def words_by_client(answers: pd.DataFrame, question: str, told: str = "answer") -> pd.Series[str]:
    """
    Look up the answers (or, with ``seen_on``, their days) to one of `QUESTIONS`, by ``client_id``.

    >>> rows = [("A", "curbed", "no", "2027-02-01"), ("B", "slope percent", "12", "2027-02-01")]
    >>> answers = pd.DataFrame(rows, columns=["client_id", "question", "answer", "seen_on"])
    >>> words_by_client(answers, "curbed").to_dict()
    {'A': 'no'}
    """
    is_asked = answers["question"].to_numpy() == question
    owners = pd.Index(answers["client_id"].to_numpy()[is_asked], dtype="str", name="client_id")
    return pd.Series(answers[told].to_numpy()[is_asked], owners, dtype="str", name=told)


def numbers_by_client(answers: pd.DataFrame, question: str) -> pd.Series[float]:
    """
    Look up the answers to a question that asks for a number, in the unit that it names, by ``client_id``.

    Behind the number may stand the beds it was counted along.

    >>> answers = pd.DataFrame({"client_id": ["B", "C"], "question": "heads along edge", "answer": ["2 along B-curb-1", ""]})
    >>> numbers_by_client(answers, "heads along edge").to_dict()
    {'B': 2.0, 'C': nan}
    """
    words = words_by_client(answers, question)
    numbers = [float((word.split() or ["nan"])[0]) for word in words.tolist()]
    return pd.Series(numbers, words.index, dtype=float, name=words.name)
