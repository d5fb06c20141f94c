"""What is wrong with a new job, seen beside the scan: its beds, its price."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from scanner.schema.documents import Scan
from scanner.schema.tables import PROBLEMS
from scanner.units import write_usd

FAR_FACTOR = 3.0
"""A price under a third of the quick price's low end or over thrice its high end is asked about; no quote is written under a third of its price."""

TAKE_FROM_LIST = "scan the book, and take the name from the new call list or the map"


def why_refused(
    job: dict[Any, Any], others: Sequence[dict[Any, Any]], *, found: Scan | None
) -> list[dict[str, str]]:
    """Say why a new job cannot be recorded."""
    bed_ids = job["bed_ids"].split()
    known = set(bed_ids) if found is None else set(found.beds["bed_id"])
    sold_in = {
        bed_id: (other["job_id"], other["built_on"])
        for other in others for bed_id in other["bed_ids"].split()
    }  # fmt: skip
    for bed_id in (bed_id for bed_id in bed_ids if bed_id in sold_in):
        other, built_on = sold_in[bed_id]
        been = f"was built on {built_on} in" if built_on else "is sold already in"
        return [fault_of(job, f"bed {bed_id} {been} job {other}; it is left out",
                         f"write {other} as the job to tell more of it, or take that job back with undo")]  # fmt: skip
    lost = [bed_id for bed_id in bed_ids if bed_id not in known]
    if lost:
        are = "bed {} is" if len(lost) == 1 else "beds {} are"
        problem = f"{are.format(', '.join(lost))} not in the last scan; it is left out"
        return [fault_of(job, problem, TAKE_FROM_LIST)]
    if np.isnan(job["sold_cents"]):
        problem = "sold_usd is missing; it is left out"
        return [fault_of(job, problem, "write the price that it was sold for")]
    return []


def what_to_look_at(
    job: dict[Any, Any], drawn: dict[Any, Any], before: pd.DataFrame, *, found: Scan | None
) -> list[dict[str, str]]:
    """Note what is recorded and may be a slip: skipped beds, a price far outside the quick price of all its beds."""
    notes = []
    if found is not None and before.empty:
        beds = found.beds[found.beds["bed_id"].isin(job["bed_ids"].split())]
        notes = [
            fault_of(job, f"bed {bed_id} is {reason} and not offered: the job is recorded without an estimate for it",
                     "take it back with undo if another bed is meant", "note")
            for bed_id, reason in zip(beds["bed_id"], beds["skip_reason"], strict=True) if reason
        ]  # fmt: skip
    low, high = drawn["quick_low_cents"], drawn["quick_high_cents"]
    sold = job["sold_cents"]
    is_told = not np.isnan(sold) and sold not in before["sold_cents"].tolist()
    is_far = high > 0 and not low / FAR_FACTOR <= sold <= high * FAR_FACTOR
    if is_told and is_far and not notes:
        notes.append(
            fault_of(job, f"sold_usd {write_usd(sold)} is far outside the quick price, {write_usd(low)} to {write_usd(high)}; it is recorded",
                     "if it is a slip, record the job again with the right price", "note")
        )  # fmt: skip
    return notes


def fault_of(
    row: dict[Any, Any], problem: str, remedy: str, severity: str = "fault"
) -> dict[str, str]:
    """Write a problem with a job down."""
    feature = row.get("feature", "")
    cells = (row.get("file", ""), feature or f"job {row['job_id']}", str(row.get("client_id", "")), severity,
             f"job '{row['job_id']}': {problem}" if feature else problem, remedy)  # fmt: skip
    return dict(zip(PROBLEMS.columns, cells, strict=True))
