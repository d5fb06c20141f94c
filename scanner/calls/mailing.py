"""
Whom a promotion writes to: those whom no call of a useful week reaches.

Beside them those who asked not to be called; nobody who wants no letters or has no address.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.calls.chance import Floats, Stages
from scanner.calls.forecast import Delays, Forecast
from scanner.calls.outlooks import Weeks
from scanner.calls.waves import useful_starts
from scanner.schema.documents import RateBook
from scanner.schema.plan_tables import LETTER, NEW

NO_MAIL, NO_ADDRESS = "wants no letters", "no mailing address"


def write_beyond_calls(
    leads: pd.DataFrame, stages: Stages, weeks: Weeks, free_days: Floats, *, rates: RateBook
) -> pd.DataFrame:
    """Turn those of the list whom no call of a useful week reaches into letters; table `LEADS`."""
    delays = Delays.of(stages, rates)
    ahead = Forecast(
        leads, stages, delays, today=weeks.day(weeks.today), calls_a_week=rates.calls_a_week.value,
        week_count=len(useful_starts(delays, weeks, free_days)),
    )  # fmt: skip
    is_beyond = (leads["stage"] == NEW) & ~np.isfinite(ahead.leads["day"])
    return leads.assign(stage=leads["stage"].mask(is_beyond, LETTER))


def not_to_write(leads: pd.DataFrame, clients: pd.DataFrame) -> pd.Series[str]:
    """Say why a letter that may be sent cannot be, by client."""
    ids = leads.loc[(leads["stage"] == LETTER) & leads["day"].isna(), "client_id"]
    own = clients.set_index("client_id").loc[ids]
    why = pd.Series("", own.index, dtype="str").mask(
        (own["mailing_address"] + own["address"]) == "", NO_ADDRESS
    )
    why = why.mask(own["no_mail"] == "yes", NO_MAIL)
    return why[why != ""]
