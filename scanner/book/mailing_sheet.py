"""The list of a wave's letters as it comes back: when each was sent, and who asked for a visit."""

from __future__ import annotations

from datetime import date

import pandas as pd

from scanner.schema.log_tables import LETTER_STATES, LETTERS
from scanner.schema.tables import check_table
from scanner.sheets.client_ids import match_rows
from scanner.sheets.problems import Problem, first_faults, places
from scanner.sheets.values import day_causes, has_any, read_days


def check_letters(
    rows: pd.DataFrame, clients: pd.DataFrame, *, today: date, file: str
) -> tuple[pd.DataFrame, list[Problem]]:
    """Check letters as they were filled in: table `LETTERS`, and a fault for each row left out."""
    rows = rows[has_any(rows, ("sent_on", "asked_on"))]
    rows, stranger = match_rows(rows, clients)
    sent, asked = (read_days(rows[name], today=today) for name in ("sent_on", "asked_on"))
    has_asked = rows["asked_on"].ne("")
    causes = (
        stranger,
        *day_causes(rows["sent_on"], sent, today, what="on which it was sent"),
        *day_causes(rows["asked_on"], asked, today, what="on which the client asked", is_needed=has_asked),
        (has_asked & (asked < sent), "asked_on " + asked + " is before the letter was sent, on " + sent, "put one of the two right"),
    )  # fmt: skip
    is_faulty, problems = first_faults(rows, causes, places(rows, file))
    wave_on = read_days(rows["wave_on"], today=today)
    told = rows[["client_id"]].assign(wave_on=wave_on.mask(wave_on == "", sent))
    states = [told.assign(letter=state, told_on=days)
              for state, days in zip(LETTER_STATES, (sent, asked), strict=True)]  # fmt: skip
    letters = pd.concat([state[~is_faulty & (state["told_on"] != "")] for state in states])
    # One client may stand there twice; the last row counts
    letters = letters.drop_duplicates(["client_id", "wave_on", "letter"], keep="last")
    return check_table(letters[[*LETTERS.columns]].reset_index(drop=True), LETTERS), problems
