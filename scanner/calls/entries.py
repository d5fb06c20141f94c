"""
What counts as the same entry, and what all entries together say.

A call is known by client, day and outcome; details typed later add to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from scanner.calls.details import add_up, judge_told
from scanner.schema.documents import Season
from scanner.schema.log_tables import ANSWERS, JOB_TASKS, JOBS

CALL_KEY = ("client_id", "called_on", "outcome")
CALL_DETAILS = ("note", "next_action", "next_date")
"""What people type about a call; the beds come from the list and make no change alone."""

CALL_COLUMNS = (*CALL_KEY, *CALL_DETAILS, "bed_ids")
ANSWER_COLUMNS = tuple(ANSWERS.columns)


@dataclass(frozen=True)
class Counts:
    """
    What came of recording some rows.

    Attributes
    ----------
    added_count
        New entries.
    changed_count
        Entries that change one on record.
    known_count
        Rows that are on record as they stand.
    """

    added_count: int = 0
    changed_count: int = 0
    known_count: int = 0


def judge_calls(calls: pd.DataFrame, standing: pd.DataFrame) -> pd.Series[str]:
    """
    Tell which calls are new, which change one on record, and which are known.

    Parameters
    ----------
    calls
        Columns `CALL_COLUMNS`, n rows in the order of typing.
    standing
        The same columns: every entry on record that was not taken back.

    Returns
    -------
    verdicts
        ``"added"``, ``"changed"`` or ``"known"``, on the index of `calls`; a row that
        stands in `calls` twice is known the second time.

    Examples
    --------
    >>> one = pd.DataFrame([("A", "2027-03-02", "visit", "gate", "", "", "")], columns=CALL_COLUMNS)
    >>> judge_calls(pd.concat([one, one, one.assign(note="")]), one.iloc[:0]).tolist()
    ['added', 'known', 'known']
    >>> judge_calls(one.assign(note="gate left"), one).tolist()
    ['changed']
    """
    return judge_told(calls, standing, key=CALL_KEY, details=CALL_DETAILS)


def with_recorded(clients: pd.DataFrame, entries: pd.DataFrame) -> pd.DataFrame:
    """
    Add to a client list those who have calls on record and are not in it any more.

    Parameters
    ----------
    clients
        Table `CLIENTS`.
    entries
        Columns of `CALL_LOG`.

    Returns
    -------
    clients
        Columns ``client_id`` and ``name``, whose blank where it is not known.

    Examples
    --------
    >>> clients = pd.DataFrame({"client_id": ["A"], "name": ["Ada"]})
    >>> with_recorded(clients, pd.DataFrame({"client_id": ["B", "A", "B"]}))["client_id"].tolist()
    ['A', 'B']
    """
    gone = entries.loc[~entries["client_id"].isin(clients["client_id"]), "client_id"].unique()
    more = pd.DataFrame({"client_id": gone, "name": ""}, dtype="str")
    return pd.concat([clients[["client_id", "name"]], more], ignore_index=True)


def judge_answers(answers: pd.DataFrame, standing: pd.DataFrame) -> pd.Series[str]:
    """
    Tell which answers are new, which change one on record, and which are known.

    Parameters
    ----------
    answers
        Table `ANSWERS`.
    standing
        The same columns: every answer on record that was not taken back.

    Returns
    -------
    verdicts
        ``"added"``, ``"changed"`` or ``"known"``, on the index of `answers`.

    Examples
    --------
    >>> one = pd.DataFrame([("A", "curbed", "yes", "2027-02-01")], columns=ANSWER_COLUMNS)
    >>> judge_answers(pd.concat([one, one.assign(answer="no")]), one).tolist()
    ['known', 'changed']
    """
    rows = set(standing[[*ANSWER_COLUMNS]].itertuples(index=False, name=None))
    questions = {row[:2] for row in rows}
    verdicts = []
    for row in answers[[*ANSWER_COLUMNS]].itertuples(index=False, name=None):
        is_asked = row[:2] in questions
        verdicts.append("known" if row in rows else "changed" if is_asked else "added")
        rows.add(row)
        questions.add(row[:2])
    return pd.Series(verdicts, index=answers.index, dtype="str", name="verdict")


def judge_job(job: pd.DataFrame, tasks: pd.DataFrame, season: Season) -> str:
    """
    Tell whether a job is new, told anew, or on record as it stands.

    Parameters
    ----------
    job
        One row of table `JOBS`.
    tasks
        Its rows of table `JOB_TASKS`.
    season
        What is on record.

    Returns
    -------
    verdict
        ``"added"``, ``"changed"`` or ``"known"``.
    """
    job_id = job["job_id"].iloc[0]
    before = season.jobs[season.jobs["job_id"] == job_id]
    if before.empty:
        return "added"
    tasks_before = season.job_tasks[season.job_tasks["job_id"] == job_id]
    is_same = _same(job, before, [*JOBS.columns]) and _same(
        tasks, tasks_before, [*JOB_TASKS.columns]
    )
    return "known" if is_same else "changed"


def count_verdicts(verdicts: Sequence[str]) -> Counts:
    """
    Count what came of each row.

    Parameters
    ----------
    verdicts
        What `judge_calls` and the like give.

    Returns
    -------
    counts
        How many of each.

    Examples
    --------
    >>> count_verdicts(["added", "known", "added"])
    Counts(added_count=2, changed_count=0, known_count=1)
    """
    told = list(verdicts)
    return Counts(told.count("added"), told.count("changed"), told.count("known"))


def fold_calls(entries: pd.DataFrame) -> pd.DataFrame:
    """
    Put the entries of each call together.

    Parameters
    ----------
    entries
        Columns of `CALL_LOG`: every entry that was not taken back, in the order of
        recording.

    Returns
    -------
    calls
        The same columns, one row a call: number and time of its first entry, of each
        detail the newest that is not blank.

    Examples
    --------
    >>> rows = [(1, "A", "2027-03-02", "visit", "gate", "", "", "", "t1"),
    ...         (2, "A", "2027-03-02", "visit", "", "measure", "", "", "t2")]
    >>> columns = ["entry_id", "client_id", "called_on", "outcome", "note", "next_action", "next_date"]
    >>> entries = pd.DataFrame(rows, columns=[*columns, "bed_ids", "recorded_at"])
    >>> fold_calls(entries)[["note", "next_action"]].values.tolist()
    [['gate', 'measure']]
    """
    return add_up(entries, key=CALL_KEY, details=(*CALL_DETAILS, "bed_ids"))


def fold_answers(entries: pd.DataFrame) -> pd.DataFrame:
    """
    Take the latest answer to each question.

    Parameters
    ----------
    entries
        Columns of `ANSWERS`: every answer that was not taken back, in the order of
        recording.

    Returns
    -------
    answers
        Columns of `ANSWERS`, one row a client and question: the latest day's, of one
        day the one recorded last.
    """
    latest = entries.sort_values("seen_on", kind="stable")
    latest = latest.drop_duplicates(["client_id", "question"], keep="last")
    return latest.sort_values(["client_id", "question"], ignore_index=True)


def _same(one: pd.DataFrame, two: pd.DataFrame, columns: list[str]) -> bool:
    plain = [table[columns].reset_index(drop=True).astype(object) for table in (one, two)]
    return plain[0].equals(plain[1])
