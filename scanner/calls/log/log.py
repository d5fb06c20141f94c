"""Recording: what people typed goes in as entries, what a scan found as its notes."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import pandas as pd
import shapely

from scanner.calls.entries import (
    ANSWER_COLUMNS,
    CALL_COLUMNS,
    Counts,
    count_verdicts,
    judge_answers,
    judge_calls,
    judge_job,
)
from scanner.calls.log.file import WAIT_SECONDS, Store, open_to_write
from scanner.calls.log.rows import add_entry, placeholders, plain_rows, write_all
from scanner.calls.log.season import answer_entries, call_entries, season_of
from scanner.calls.log.undoing import take_back_last
from scanner.calls.log.visits import add_visits
from scanner.schema.documents import Season
from scanner.schema.log_tables import ANSWERS, JOB_TASKS, JOBS, LISTED, MEASUREMENTS, STORED_BEDS
from scanner.schema.tables import check_table

BED_COLUMNS = ("bed_id", "client_id", "along", "area_ft2", "last_seen", "shape")
TASK_COLUMNS = ("entry_id", "place", *(name for name in JOB_TASKS.columns if name != "job_id"))


class Log:
    """
    A book's log, open for one recording.

    Parameters
    ----------
    store
        Its tables, in a transaction.
    today
        Day of the recording.

    Attributes
    ----------
    path
        The log's file.
    """

    def __init__(self, store: Store, today: date) -> None:
        self._store = store
        self._today = today.isoformat()
        self.path = store.path

    def season(self) -> Season:
        """
        Give what the log knows, this recording included.

        Returns
        -------
        season
            Calls, answers, beds and jobs.
        """
        return season_of(self._store)

    def newest_day(self) -> str:
        """
        Tell the latest day on which anything was recorded.

        Returns
        -------
        day
            ISO date; blank for an empty log. Later than today: a clock went backwards.
        """
        return str(self._store.rows("SELECT coalesce(max(recorded_on), '') FROM entries")[0][0])

    def add_calls(self, calls: pd.DataFrame) -> Counts:
        """
        Record calls; what is on record as it stands is passed over.

        Parameters
        ----------
        calls
            Columns ``client_id called_on outcome note next_action next_date bed_ids``,
            checked, in the order of typing.

        Returns
        -------
        counts
            New calls, calls that got another detail, calls known already.

        Raises
        ------
        LogError
            If they cannot be written.
        """
        verdicts = judge_calls(calls, call_entries(self._store))
        for call in calls.loc[verdicts.ne("known"), [*CALL_COLUMNS]].itertuples(index=False):
            add_entry(
                self._store,
                "call",
                "calls",
                dict(zip(CALL_COLUMNS, call, strict=True)),
                today=self._today,
            )
        return count_verdicts(verdicts.tolist())

    def add_answers(self, answers: pd.DataFrame) -> Counts:
        """
        Record what crews saw; what is on record as it stands is passed over.

        Parameters
        ----------
        answers
            Table `ANSWERS`.

        Returns
        -------
        counts
            New answers, answers that replace an earlier one, answers known already.

        Raises
        ------
        LogError
            If they cannot be written.
        SchemaError
            If the table breaks its schema.
        """
        answers = check_table(answers, ANSWERS)
        verdicts = judge_answers(answers, answer_entries(self._store))
        for answer in answers.loc[verdicts.ne("known"), [*ANSWER_COLUMNS]].itertuples(index=False):
            add_entry(
                self._store,
                "answer",
                "answers",
                dict(zip(ANSWER_COLUMNS, answer, strict=True)),
                today=self._today,
            )
        return count_verdicts(verdicts.tolist())

    def add_visits(self, visits: pd.DataFrame, edges: pd.DataFrame) -> Counts:
        """
        Record visits and the edges measured on them; what is on record is passed over.

        Parameters
        ----------
        visits
            Columns ``client_id visited_on visited_by note``, checked.
        edges
            Table `MEASUREMENTS`: all edges of a kind that were measured on a lot that day.

        Returns
        -------
        counts
            Visits and measurings: new, telling more, known already.

        Raises
        ------
        LogError
            If they cannot be written.
        SchemaError
            If `edges` breaks its schema.
        """
        return add_visits(self._store, visits, check_table(edges, MEASUREMENTS), today=self._today)

    def add_jobs(self, jobs: pd.DataFrame, tasks: pd.DataFrame) -> Counts:
        """
        Record jobs with their estimate and actuals; a job told anew replaces what it was.

        Parameters
        ----------
        jobs
            Table `JOBS`.
        tasks
            Table `JOB_TASKS`: every task of those jobs.

        Returns
        -------
        counts
            New jobs, jobs told anew, jobs known already.

        Raises
        ------
        LogError
            If they cannot be written.
        SchemaError
            If a table breaks its schema.
        """
        jobs, tasks = check_table(jobs, JOBS), check_table(tasks, JOB_TASKS)
        before = self.season()
        verdicts = []
        for job in jobs[[*JOBS.columns]].to_dict("records"):
            own = tasks[tasks["job_id"] == job["job_id"]]
            verdicts.append(judge_job(pd.DataFrame([job]), own, before))
            if verdicts[-1] != "known":
                entry_id = add_entry(
                    self._store,
                    "job",
                    "jobs",
                    {str(name): job[name] for name in job},
                    today=self._today,
                )
                own = own.assign(entry_id=entry_id, place=range(len(own)))
                statement = f"INSERT INTO job_tasks {placeholders(TASK_COLUMNS)}"
                write_all(self._store, statement, plain_rows(own, TASK_COLUMNS))
        return count_verdicts(verdicts)

    def store_beds(self, beds: pd.DataFrame) -> None:
        """
        Keep the beds of a scan, so that the next one knows them again.

        Parameters
        ----------
        beds
            Table `STORED_BEDS`; what an earlier scan found and this one did not stays.
            When a bed was built is told by its job, so ``built_on`` is not looked at.

        Raises
        ------
        LogError
            If they cannot be written.
        SchemaError
            If the table breaks its schema.
        """
        beds = check_table(beds, STORED_BEDS)
        shapes = shapely.to_wkb(beds["geometry"].to_numpy(), byte_order=1)
        rows = pd.DataFrame(beds.drop(columns="geometry")).assign(shape=shapes)
        write_all(
            self._store,
            f"INSERT OR REPLACE INTO beds {placeholders(BED_COLUMNS)}",
            plain_rows(rows, BED_COLUMNS),
        )

    def store_listed(self, listed: pd.DataFrame) -> None:
        """
        Keep what a scan offers, in place of what the one before did.

        Parameters
        ----------
        listed
            Table `LISTED`.

        Raises
        ------
        LogError
            If it cannot be written.
        SchemaError
            If the table breaks its schema.
        """
        rows = plain_rows(check_table(listed, LISTED), tuple(LISTED.columns))
        self._store.write("DELETE FROM listed")
        write_all(self._store, f"INSERT INTO listed {placeholders(LISTED.columns)}", rows)

    def undo(self) -> str:
        """
        Take the last entry back by adding its reversal.

        Returns
        -------
        words
            What was taken back; blank where nothing is left to take back.

        Raises
        ------
        LogError
            If the reversal cannot be written.
        """
        return take_back_last(self._store, today=self._today)


@contextmanager
def open_log(folder: Path, *, today: date, wait_seconds: float = WAIT_SECONDS) -> Iterator[Log]:
    """
    Open a book's log for one recording; it is kept whole or not at all.

    Parameters
    ----------
    folder
        The book's folder; the file is made where it is not there.
    today
        Day of the recording.
    wait_seconds
        How long to wait for another writer [s].

    Yields
    ------
    log
        The log.

    Raises
    ------
    LogError
        If the file is newer than this program, damaged, foreign or held by another
        writer, or the disk is full; `ReadOnlyError` where nobody may write.
    """
    with open_to_write(folder, today=today, wait_seconds=wait_seconds) as store:
        yield Log(store, today)
