"""Whatever order sheets come in, however often, and whoever is killed: no outcome lost or doubled."""

from __future__ import annotations

import os
import signal
import tempfile
import warnings
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanner.calls.entry_kinds import CALL, Counts
from scanner.calls.log import open_log, read_entries, read_season
from scanner.schema.log_tables import OUTCOMES
from tests.calls.desk import calls_of, stumble_over
from tests.each import examples

DAYS = [f"2027-03-{day:02}" for day in range(1, 6)]
NOTES = st.sampled_from(["", "gate", "dog", "likes roses"])

ROWS = st.tuples(
    st.sampled_from(["A", "B", "007"]),
    st.sampled_from(DAYS),
    st.sampled_from(OUTCOMES),
    NOTES,
    NOTES,
    st.sampled_from(["", "2027-04-01", "2027-05-01"]),
)
SHEETS = st.lists(ROWS, max_size=8)

# What happens to a sheet: it is recorded; recorded shuffled; somebody dies over it
STEPS = st.lists(
    st.tuples(SHEETS, st.sampled_from(["record", "twice", "stumble", "kill"]), st.randoms()),
    max_size=6,
)


def die_over(folder: Path, rows: list[tuple[str, ...]], today: date) -> None:
    """Let another process record the rows and be killed before it can finish."""
    with warnings.catch_warnings():
        # Newer Pythons warn of a fork beside threads; this child does nothing but die
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if child == 0:
        try:
            with open_log(folder, today=today) as log:
                log.record(CALL, calls_of(*rows))
                os.kill(os.getpid(), signal.SIGKILL)
        finally:
            os._exit(1)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills a forked child")
# Each example is a season of steps with locks, kills and copies on the disk: some 0.2 s
@examples(15)
@given(STEPS)
def test_log_never_loses_or_doubles_an_outcome(steps):
    with tempfile.TemporaryDirectory() as place:
        folder, told = Path(place), {}
        for number, (rows, what, shuffler) in enumerate(steps):
            today = date(2027, 3, 6 + number)
            if what == "kill":
                die_over(folder, rows, today)
            elif what == "stumble":
                with pytest.raises(KeyError, match="stumbled"):
                    stumble_over(folder, *rows, today=today)
            else:
                sheet = shuffler.sample(rows, len(rows))
                record_sheet(folder, sheet, today, times=1 + (what == "twice"))
                for row in sheet:
                    told.setdefault(row[:3], []).append(row[3:])
        # What is lost or doubled at any step is so at the end: the log is never written over
        check(folder, told)


def record_sheet(folder, rows, today, *, times):
    for time in range(times):
        with open_log(folder, today=today) as log:
            counts = log.record(CALL, calls_of(*rows))
        assert not time or counts == Counts(known_count=len(rows))


def check(folder, told):
    calls = read_season(folder).calls.set_index(["client_id", "called_on", "outcome"])
    keys = [*calls.index]
    assert sorted(keys) == sorted(told)
    assert len(set(keys)) == len(keys)
    # Every word that was typed stands in an entry of its call
    entries = read_entries(folder, CALL)[[*CALL.columns]].itertuples(index=False, name=None)
    kept = {}
    for row in entries:
        kept.setdefault(row[:3], []).append(row[3:6])
    for key, details in told.items():
        for typed in details:
            assert any(
                all(one in ("", other) for one, other in zip(typed, entry, strict=True))
                for entry in kept[key]
            )
    # And a call shows no blank where anybody typed something
    for key, details in told.items():
        for place, name in enumerate(("note", "next_action", "next_date")):
            words = {typed[place] for typed in details}
            assert calls.loc[key, name] in (words - {""} or {""})
