"""
Jobs as somebody wrote them down: price, day, and what each task really took.

One row a task; what belongs to the whole job stands in its first row. Faulty rows are
listed, the rest is kept.
"""

from __future__ import annotations

from datetime import date

import pandas as pd

from scanner.schema.documents import FINISH_LONG_WORDS, FINISH_WORDS, FINISHES
from scanner.sheets.client_ids import match_ids
from scanner.sheets.filled import JOB_SHEET
from scanner.sheets.problems import (
    ID_REMEDY,
    Cause,
    Problem,
    first_faults,
    places,
    row_words,
    shown,
)
from scanner.sheets.values import read_columns, read_days, unread_causes
from scanner.units import cents_from_usd

JOB_COLUMNS = (
    "job_id", "client_id", "bed_ids", "finish", "method", "built_on", "sold_usd", "invoiced_usd",
    "note",
)  # fmt: skip
PLACE_COLUMNS = ("file", "feature")
"""Where a job or a task stands in its sheet, for what is found wrong with it later."""


def check_jobs(
    rows: pd.DataFrame, clients: pd.DataFrame, stored: pd.DataFrame, *, today: date, file: str
) -> tuple[pd.DataFrame, pd.DataFrame, list[Problem]]:
    """Check jobs as they were typed, one row a task; ``stored`` is the table `STORED_BEDS`.

    Gives one row a job: ``job_id client_id bed_ids finish method built_on note`` (blank: not told),
    ``sold_cents`` and ``invoiced_cents`` (NaN: not told); one row a task: ``job_id task actual_hours
    actual_cents`` (NaN: not told), both with `PLACE_COLUMNS`; and a fault a job or cell left out.
    """
    typed, problems = read_columns(rows, JOB_SHEET.columns, places(rows, file))
    typed = typed.assign(job_id=_names(rows), label=rows.index)
    jobs, faults = _check_heads(_heads(typed), clients, stored, (today, file))
    tasks = typed[(typed["task"] != "") & typed["job_id"].isin(jobs["job_id"])]
    tasks = tasks.assign(
        actual_cents=_cents(tasks["actual_usd"]), file=file, feature=tasks["label"].map(row_words)
    )
    columns = ["job_id", "task", "actual_hours", "actual_cents", *PLACE_COLUMNS]
    return jobs, tasks[columns].reset_index(drop=True), [*problems, *faults]


def _names(rows: pd.DataFrame) -> pd.Series[str]:
    """Name the job of each row: its own id, else its first bed, else that of the row above."""
    lead = rows["bed_ids"].str.replace(",", " ").str.split().str[0].fillna("")
    name = rows["job_id"].where(rows["job_id"] != "", lead).astype(object)
    return name.where(name != "", None).ffill().fillna("").astype("str")


def _heads(typed: pd.DataFrame) -> pd.DataFrame:
    """Put together what belongs to each whole job: of each detail the first that is told."""
    texts = [name for name in JOB_COLUMNS if not name.endswith("_usd")]
    known = typed[[*JOB_COLUMNS, "label"]].replace("", None)
    heads = known.groupby(typed["job_id"], sort=False)[[*JOB_COLUMNS, "label"]].first()
    return heads.assign(**heads[texts].astype(object).fillna("").astype("str")).set_index("label")


def _check_heads(
    heads: pd.DataFrame, clients: pd.DataFrame, stored: pd.DataFrame, place: tuple[date, str]
) -> tuple[pd.DataFrame, list[Problem]]:
    """Check what belongs to whole jobs; gives the jobs without a fault, and one fault for each of the others."""
    today, file = place
    owner = dict(zip(stored["bed_id"], stored["client_id"], strict=True))
    beds = heads["bed_ids"].str.replace(",", " ").str.split().map(lambda ids: [*dict.fromkeys(ids)])
    owners = beds.map(lambda ids: sorted({owner[bed] for bed in ids if bed in owner}))
    typed_ids = heads["client_id"].where(
        heads["client_id"] != "", owners.map(lambda ids: ids[0] if ids else "")
    )
    client_ids, reasons = match_ids(typed_ids, clients)
    heads = heads.assign(client_id=client_ids, reason=reasons)
    days, finishes = read_days(heads["built_on"], today=today), heads["finish"].map(_finish)
    strange = beds.map(lambda ids: ", ".join(bed for bed in ids if bed not in owner))
    is_others = [
        bool(own) and one not in {"", *own} for own, one in zip(owners, client_ids, strict=True)
    ]
    name = "job " + heads["job_id"].map(shown) + ": "
    causes: tuple[Cause, ...] = (
        (heads["bed_ids"] == "", name + "no bed is named", "write the beds' names, as C0042-curb-1, from the list or the map"),
        (strange != "", name + "bed " + strange + " is in no scan on record", "scan the book, and take the name from the list"),
        (owners.str.len() > 1, name + "its beds belong to " + owners.map(" and ".join), "write one job for each client"),
        (reasons != "", name + reasons, ID_REMEDY),
        (pd.Series(is_others, index=heads.index, dtype=bool),
         name + "its beds belong to " + owners.map("".join) + ", not to " + client_ids, "put the client or the beds right"),
        *unread_causes(heads["built_on"], days, is_needed=heads["built_on"] != "", start="job {job_id}: "),
        (days > today.isoformat(), name + "built_on " + days + f" is after today, {today}", "write the last day on the job, or leave it blank until it is built"),
        (finishes.isna(), f"job {{job_id}}: finish {{finish}} is none of {', '.join(FINISHES)}", "write one of these, or leave it blank for the usual one"),
    )  # fmt: skip
    where = places(heads, file)
    is_faulty, problems = first_faults(heads, causes, where, end="it is left out")
    jobs = heads.assign(
        bed_ids=beds.map(" ".join), finish=finishes, built_on=days, file=file,
        sold_cents=_cents(heads["sold_usd"]), invoiced_cents=_cents(heads["invoiced_usd"]),
        feature=[row_words(label) for label in heads.index],
    )[~is_faulty]  # fmt: skip
    columns = ["job_id", "client_id", "bed_ids", "finish", "method", "built_on", "note",
               "sold_cents", "invoiced_cents", *PLACE_COLUMNS]  # fmt: skip
    return jobs[columns].reset_index(drop=True), problems


def _finish(typed: str) -> str | None:
    """Give the finish that a word stands for, blank for none told, None for a strange one."""
    plain = " ".join(typed.lower().split())
    by_words = {
        words: finish
        for names in (FINISH_WORDS, FINISH_LONG_WORDS)
        for finish, words in names.items()
    }
    return by_words.get(plain, plain if plain in ("", *FINISHES) else None)


def _cents(amounts_usd: pd.Series[float]) -> pd.Series[float]:
    return amounts_usd.map(_cents_of).astype(float)


def _cents_of(amount_usd: float) -> float:
    return float("nan") if pd.isna(amount_usd) else float(cents_from_usd(amount_usd))
