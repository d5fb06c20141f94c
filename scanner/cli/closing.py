"""The last line of a command: what was found, what was left out, and where it lies."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from scanner.cli.talk import counted, say
from scanner.sheets.problems import faults_of


def scan_line(summary: Mapping[str, Any], folder: Path) -> str:
    """Close a scan."""
    not_drawn, left_out, attempts = (
        summary[name] for name in ("not_drawn", "left_out", "chance_attempts")
    )
    parts = [
        f"Found {counted(summary['beds'], 'bed')} ({float(summary['area_ft2']):,.0f} ft²)"
        f" on {counted(summary['scanned'], 'lot')}:"
        f" {counted(summary['offers'], 'offer')} worth ${float(summary['price_usd']):,.0f}.",
        unseen_words(summary),
        skipped_words(summary["skipped_by_reason"]),
        f"{counted(not_drawn, 'lot has', 'lots have')} no lawn drawn or measured."
        if not_drawn
        else "",
        f"{counted(left_out, 'client')} left out of the call list." if left_out else "",
        way_words(summary["under_way"]),
        f"Chances rest on {counted(attempts, 'call')} on record." if attempts else "",
        problem_words(summary["faults"], summary["problems"], folder / "problems.csv"),
        f"Open {folder / 'map.html'}",
    ]
    return " ".join(part for part in parts if part)


def beside_words(
    files: Iterable[Path], why: Callable[[Path], str], earlier: Iterable[Path]
) -> list[str]:
    """Say which new lists lie beside one that was kept, and why; and what of earlier ones is not on record."""
    unread = [(file.name, words) for file in earlier if (words := why(file))]
    beside = [file for file in files if file.name.startswith("calls-")]
    kept = [file.with_name(f"calls{file.suffix}") for file in beside]
    return [
        f"{old.name} was kept as it is, because {why(old) or 'it was just saved'}: the new list is {new.name}."
        for old, new in zip(kept, beside, strict=True)
    ] + [f"Of {name}, which was saved since the last scan, {words}." for name, words in unread]


def check_line(clients: pd.DataFrame, feature_count: int, problems: pd.DataFrame) -> str:
    """Close a check."""
    usable = f"{counted(len(clients), 'client')} and {counted(feature_count, 'site feature')}"
    words = problem_words(len(faults_of(problems)), len(problems), None) or "No problems."
    return f"{usable} usable. {words}"


def say_left_out(problems: pd.DataFrame, book: Path) -> int:
    """Say how many records of a book are left out of a page, and give their count."""
    count = len(faults_of(problems))
    if words := problem_words(count, count, None):
        say(f"{words} To see them: bed-scanner check {book}")
    return count


def unseen_words(summary: Mapping[str, Any]) -> str:
    """Say how much rests on ground that nobody has seen.

    >>> unseen_words({"unconfirmed": 2, "unconfirmed_price_usd": "4500.00"})
    'Of these, 2 offers worth $4,500 rest on turf that nobody has seen yet: see bed-scanner checklist.'
    >>> unseen_words({})
    ''
    """
    number = int(summary.get("unconfirmed", 0))
    if not number:
        return ""
    worth = f"{float(summary['unconfirmed_price_usd']):,.0f}"
    verb = "rests" if number == 1 else "rest"
    return (
        f"Of these, {counted(number, 'offer')} worth ${worth} {verb} on turf that nobody has seen yet: "
        "see bed-scanner checklist."
    )


def way_words(count_by_stage: Mapping[str, int]) -> str:
    """Say how many clients are under way, and where they stand.

    >>> way_words({"sold": 1, "quote open": 0, "visit agreed": 2}), way_words({"sold": 0})
    ('3 clients under way (sold 1, visit agreed 2).', '')
    """
    told = {stage: count for stage, count in count_by_stage.items() if count}
    words = ", ".join(f"{stage} {count:,}" for stage, count in told.items())
    return f"{counted(sum(told.values()), 'client')} under way ({words})." if told else ""


def skipped_words(count_by_reason: Mapping[str, int]) -> str:
    """Say how many beds were skipped and why.

    >>> skipped_words({"too short": 14, "too small": 9, "built": 0})
    '23 beds skipped (14 too short, 9 too small).'
    >>> skipped_words({})
    ''
    """
    kept = {reason: int(count) for reason, count in count_by_reason.items() if count}
    if not kept:
        return ""
    reasons = ", ".join(f"{count:,} {reason}" for reason, count in kept.items())
    return f"{counted(sum(kept.values()), 'bed')} skipped ({reasons})."


def problem_words(fault_count: int, problem_count: int, file: Path | None) -> str:
    """Say how many records need fixing and how many notes there are.

    >>> problem_words(1, 3, Path("problems.csv"))
    '1 record needs fixing, 2 notes: problems.csv.'
    >>> problem_words(2, 2, None)
    '2 records need fixing.'
    """
    note_count = problem_count - fault_count
    parts = [
        counted(fault_count, "record needs fixing", "records need fixing") if fault_count else "",
        counted(note_count, "note") if note_count else "",
    ]
    words = ", ".join(part for part in parts if part)
    where = f": {file}" if file else ""
    return f"{words}{where}." if words else ""
