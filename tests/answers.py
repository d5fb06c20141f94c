"""Checklist answers for tests: as many as are named."""

from __future__ import annotations

import pandas as pd

from scanner.schema.log_tables import ANSWERS
from scanner.schema.tables import check_table, empty_table

SEEN_ON = "2027-02-10"


def answers(*told: tuple[str, str, str], seen_on: str = SEEN_ON) -> pd.DataFrame:
    """Table `ANSWERS` of (client, question, answer)."""
    if not told:
        return empty_table(ANSWERS)
    rows = pd.DataFrame(told, columns=["client_id", "question", "answer"])
    return check_table(rows.assign(seen_on=seen_on), ANSWERS)
