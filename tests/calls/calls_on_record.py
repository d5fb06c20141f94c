"""Calls and jobs on record, for tests."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from scanner.calls.log import NO_SEASON
from scanner.schema.log_tables import (
    CALL_LOG,
    JOB_TASKS,
    JOBS,
)
from scanner.schema.tables import check_table, empty_table
from tests.answers import answers


def calls(*told):
    """Table `CALL_LOG` of (client, day, outcome), or with its beds and its price [USD] behind."""
    rows = [
        {
            "entry_id": at, "client_id": row[0], "called_on": row[1], "outcome": row[2],
            "note": "", "next_action": "", "next_date": "", "recorded_at": "",
            "bed_ids": row[3] if len(row) > 3 else "",
            "price_cents": row[4] * 100 if len(row) > 4 else 0,
        }
        for at, row in enumerate(told, start=1)
    ]  # fmt: skip
    return check_table(pd.DataFrame(rows), CALL_LOG) if rows else empty_table(CALL_LOG)


def season_of(*told, seen=()):
    """A season with these calls and answers and nothing else."""
    return replace(NO_SEASON, calls=calls(*told), answers=answers(*seen))


def jobs(*told):
    """Table `JOBS` of (id, sold, quick low, quick high) [USD], built, or with more columns named."""
    rows = [
        {
            "job_id": row[0], "client_id": f"C{at}", "bed_ids": f"C{at}-curb-1", "finish": "mulch",
            "method": "hand", "built_on": f"2027-05-{at:02d}", "area_ft2": 240.0,
            "sold_cents": row[1] * 100, "quick_low_cents": row[2] * 100,
            "quick_high_cents": row[3] * 100, "invoiced_cents": 0, "note": "",
        } | (row[4] if len(row) > 4 else {})
        for at, row in enumerate(told, start=1)
    ]  # fmt: skip
    return check_table(pd.DataFrame(rows), JOBS) if rows else empty_table(JOBS)


def job_tasks(*told):
    """
    Table `JOB_TASKS` of (job, task, rates, estimated h, actual h, estimated USD, actual USD).

    An eighth is the quantity; without it the estimate stands as it was made.
    """
    rows = [
        {
            "job_id": row[0], "task": row[1], "rate_key": row[2],
            "quantity": row[7] if len(row) > 7 else 0.0, "unit": "",
            "estimated_hours": np.nan if row[3] is None else row[3],
            "actual_hours": np.nan if row[4] is None else row[4],
            "estimated_cents": row[5] * 100,
            "actual_cents": np.nan if row[6] is None else row[6] * 100,
        }
        for row in told
    ]  # fmt: skip
    return check_table(pd.DataFrame(rows), JOB_TASKS) if rows else empty_table(JOB_TASKS)
