"""
Jobs as somebody wrote them down: price, day, and what each task really took.

One row a task; what belongs to the whole job stands in its first row. Faulty rows are
listed, the rest is kept.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from scanner.schema.documents import FINISH_WORDS, FINISHES
from scanner.sheets.client_ids import match_ids
from scanner.sheets.days import read_day
from scanner.sheets.filled import JOB_SHEET
from scanner.sheets.problems import (
    ID_REMEDY,
    Problem,
    fault,
    list_problems,
    places,
    row_words,
    shown,
)
from scanner.sheets.reader import read_sheet
from scanner.sheets.values import DAY_REMEDY, read_columns
from scanner.units import cents_from_usd

JOB_COLUMNS = (
    "job_id", "client_id", "bed_ids", "finish", "method", "built_on", "sold_usd", "invoiced_usd",
    "note",
)  # fmt: skip
PLACE_COLUMNS = ("file", "feature")
"""Where a job or a task stands in its sheet, for what is found wrong with it later."""


def read_job_sheet(
    path: Path, clients: pd.DataFrame, stored: pd.DataFrame, *, today: date
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Read a sheet of jobs: jobs and tasks as `check_jobs` gives them, and the table `PROBLEMS`."""
    rows, problems = read_sheet(path, JOB_SHEET)
    jobs, actuals, found = check_jobs(rows, clients, stored, today=today, file=path.name)
    return jobs, actuals, list_problems([*problems, *found])


def check_jobs(
    rows: pd.DataFrame, clients: pd.DataFrame, stored: pd.DataFrame, *, today: date, file: str
) -> tuple[pd.DataFrame, pd.DataFrame, list[Problem]]:
    """
    Check jobs as they were typed, one row a task; ``stored`` is the table `STORED_BEDS`.

    Gives one row a job: ``job_id client_id bed_ids finish method built_on note`` (blank: not told),
    ``sold_cents`` and ``invoiced_cents`` (NaN: not told); one row a task: ``job_id task actual_hours
    actual_cents`` (NaN: not told), both with `PLACE_COLUMNS`; and a fault a job or cell left out.
    """
    typed, problems = read_columns(rows, JOB_SHEET.columns, places(rows, file))
    jobs, faults = _head_lines(typed, clients, stored, (today, file))
    actuals = typed.assign(job_id=_names(rows))
    actuals = actuals[(actuals["task"] != "") & actuals["job_id"].isin(jobs["job_id"])]
    actuals = actuals.assign(
        actual_cents=_cents(actuals["actual_usd"]),
        file=file,
        feature=[row_words(row) for row in actuals.index],
    )
    columns = ["job_id", "task", "actual_hours", "actual_cents", *PLACE_COLUMNS]
    return jobs, actuals[columns].reset_index(drop=True), [*problems, *faults]


def _names(rows: pd.DataFrame) -> pd.Series[str]:
    """Name the job of each row: its own id, else its first bed, else that of the row above."""
    lead = rows["bed_ids"].str.replace(",", " ").str.split().str[0].fillna("")
    name = rows["job_id"].where(rows["job_id"] != "", lead).astype(object)
    return name.where(name != "", None).ffill().fillna("").astype("str")


def _head_lines(
    rows: pd.DataFrame, clients: pd.DataFrame, stored: pd.DataFrame, place: tuple[date, str]
) -> tuple[pd.DataFrame, list[Problem]]:
    today, file = place
    jobs, problems = [], []
    names = _names(rows)
    for name, own in rows.groupby(names, sort=False):
        head = {column: _first(own[column]) for column in JOB_COLUMNS} | {"job_id": str(name)}
        job, reasons = _check_job(head, clients, stored, today)
        if reasons:
            problem, remedy = reasons[0]
            row = row_words(own.index[0])
            problems.append(fault(file, row, f"job {shown(name)}: {problem}; it is left out", remedy,
                                  client_id=str(job["client_id"])))  # fmt: skip
        else:
            jobs.append(job | {"file": file, "feature": row_words(own.index[0])})
    columns = ["job_id", "client_id", "bed_ids", "finish", "method", "built_on", "note",
               "sold_cents", "invoiced_cents", *PLACE_COLUMNS]  # fmt: skip
    return pd.DataFrame(jobs, columns=columns), problems


def _first(cells: pd.Series[Any]) -> Any:  # noqa: ANN401  # text or number, as the column is
    known = cells[cells.notna() & (cells != "")]
    return known.iloc[0] if len(known) else cells.iloc[0]


def _check_job(
    head: dict[str, Any], clients: pd.DataFrame, stored: pd.DataFrame, today: date
) -> tuple[dict[str, Any], list[tuple[str, str]]]:
    """Check what belongs to a whole job; gives the job and what is wrong with it."""
    bed_ids = list(dict.fromkeys(head["bed_ids"].replace(",", " ").split()))
    owner = dict(zip(stored["bed_id"], stored["client_id"], strict=True))
    strange = [bed_id for bed_id in bed_ids if bed_id not in owner]
    owners = sorted({owner[bed_id] for bed_id in bed_ids if bed_id in owner})
    client, no_client = _client(head["client_id"] or "".join(owners[:1]), clients)
    built_on = read_day(head["built_on"])
    finish = _finish(head["finish"])
    checks = (
        (not bed_ids, "no bed is named", "write the beds' names, as C0042-curb-1, from the list or the map"),
        (bool(strange), f"bed {', '.join(strange)} is in no scan on record", "scan the book, and take the name from the list"),
        (len(owners) > 1, f"its beds belong to {' and '.join(owners)}", "write one job for each client"),
        (bool(no_client), no_client, ID_REMEDY),
        (bool(owners) and client not in {"", *owners}, f"its beds belong to {''.join(owners[:1])}, not to {client}", "put the client or the beds right"),
        (bool(head["built_on"]) and built_on is None, f"built_on is {shown(head['built_on'])}, which is no day", DAY_REMEDY),
        (built_on is not None and built_on > today, f"built_on {built_on} is after today, {today}", "write the last day on the job, or leave it blank until it is built"),
        (finish is None, f"finish {shown(head['finish'])} is none of {', '.join(FINISHES)}", "write one of these, or leave it blank for the usual one"),
    )  # fmt: skip
    job = {
        "job_id": head["job_id"], "client_id": client, "bed_ids": " ".join(bed_ids),
        "finish": finish or "", "method": head["method"], "note": head["note"],
        "built_on": built_on.isoformat() if built_on else "",
        "sold_cents": _cents_of(head["sold_usd"]), "invoiced_cents": _cents_of(head["invoiced_usd"]),
    }  # fmt: skip
    return job, [(problem, remedy) for applies, problem, remedy in checks if applies]


def _client(typed: str, clients: pd.DataFrame) -> tuple[str, str]:
    ids, reasons = match_ids(pd.Series([typed], dtype="str"), clients)
    return ids.iloc[0], reasons.iloc[0]


def _finish(typed: str) -> str | None:
    """Give the finish that a word stands for, blank for none told, None for a strange one."""
    plain = " ".join(typed.lower().split())
    by_words = {words: finish for finish, words in FINISH_WORDS.items()}
    return by_words.get(plain, plain if plain in ("", *FINISHES) else None)


def _cents(amounts_usd: pd.Series[float]) -> pd.Series[float]:
    return amounts_usd.map(_cents_of).astype(float)


def _cents_of(amount_usd: float) -> float:
    return float("nan") if pd.isna(amount_usd) else float(cents_from_usd(amount_usd))
