"""What is wrong with a new job, seen beside the scan: its beds, its price."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd

from scanner.schema.documents import Scan
from scanner.schema.tables import PROBLEMS
from scanner.units import write_usd

FAR_FACTOR = 3.0
"""A price under a third of the quick price's low end or over thrice its high end is asked about; no quote is written under a third of its price."""

SALE: dict[str, tuple[str, Callable[[Any], str]]] = {
    "bed_ids": ("beds", str),
    "finish": ("finish", str),
    "sold_cents": ("sold for", write_usd),
}
"""What makes a sale, as it is said and written."""

TAKE_FROM_LIST = "scan the book, and take the name from the new call list or the map"


def why_refused(
    job: dict[Any, Any], others: Sequence[dict[Any, Any]], *, found: Scan | None
) -> list[dict[str, str]]:
    """Say why a new job cannot be recorded."""
    bed_ids = job["bed_ids"].split()
    known = set(bed_ids) if found is None else set(found.beds["bed_id"])
    if twice := sold_twice(job, others):
        return twice
    lost = [bed_id for bed_id in bed_ids if bed_id not in known]
    if lost:
        are = "bed {} is" if len(lost) == 1 else "beds {} are"
        problem = f"{are.format(', '.join(lost))} not in the last scan; it is left out"
        return [fault_of(job, problem, TAKE_FROM_LIST)]
    if np.isnan(job["sold_cents"]):
        problem = "sold_usd is missing; it is left out"
        return [fault_of(job, problem, "write the price that it was sold for")]
    return []


def sold_twice(job: dict[Any, Any], others: Sequence[dict[Any, Any]]) -> list[dict[str, str]]:
    """Say which bed of a job another one has; those that stand in it on record are its own."""
    own_last = sorted(others, key=lambda other: bool(other["job_id"] == job["job_id"]))
    job_of = {bed_id: other for other in own_last for bed_id in other["bed_ids"].split()}
    for bed_id in job["bed_ids"].split():
        told = job_of.get(bed_id, job)
        if (other := told["job_id"]) != job["job_id"]:
            been = (
                f"was built on {told['built_on']} in" if told["built_on"] else "is sold already in"
            )
            return [fault_of(job, f"bed {bed_id} {been} job {other}; it is left out",
                             f"write {other} as the job to tell more of it, or take that job back with undo")]  # fmt: skip
    return []


def what_to_look_at(
    job: dict[Any, Any], drawn: dict[Any, Any], before: pd.DataFrame, *, found: Scan | None
) -> list[dict[str, str]]:
    """Note what is recorded and may be a slip: a sale told otherwise, skipped beds, a price far outside the quick price."""
    changed = [
        fault_of(job, f"{words} {write(was[name])} so far, {write(drawn[name])} from now on", "take it back with undo if it is a slip", "note")
        for was in before.to_dict("records") for name, (words, write) in SALE.items() if was[name] and was[name] != drawn[name]
    ]  # fmt: skip
    notes = list[dict[str, str]]()
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
    return changed + notes


def fault_of(
    row: dict[Any, Any], problem: str, remedy: str, severity: str = "fault"
) -> dict[str, str]:
    """Write a problem with a job down."""
    feature = row.get("feature", "")
    cells = (row.get("file", ""), feature or f"job {row['job_id']}", str(row.get("client_id", "")), severity,
             f"job '{row['job_id']}': {problem}" if feature else problem, remedy)  # fmt: skip
    return dict(zip(PROBLEMS.columns, cells, strict=True))
