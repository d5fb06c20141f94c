"""Tables that look ahead: what is under way, and what the weeks and routes may bring."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from scanner.schema.columns import (
    TableSchema,
    cents_column,
    count_column,
    number_column,
    text_column,
    word_column,
)

SOLD, QUOTE, VISIT, CALL_BACK, TRIED, NEW = STAGES = (
    "sold", "quote open", "visit agreed", "to call back", "tried in vain", "not called yet",
)  # fmt: skip
"""Where a lead stands, nearest to the sale first."""

LETTER = "letter"
"""Beside these, in a promotion alone: a letter is out to the client, or may be sent."""

CALL = "call"
WAVE_WORDS = (CALL, LETTER)

LEADS = TableSchema("leads", "What may still be sold or waits to be built, one row a client, in the order of calling.", {
    "client_id": text_column("client", unique=True),
    "route": text_column("mowing route"),
    "stage": word_column("where it stands", (*STAGES, LETTER)),
    "day": number_column("days", "since this Monday: quoted (below 0), visit or call back due, may start; letter comes; missing: a call or letter without a day", least=None, known=False),
    "tried_count": count_column("tries this year that reached nobody"),
    "price_years": number_column("years", "price over the annual fee"),
    "profit_cents": cents_column("gross profit", least=None),
    "crew_days": number_column("days", "crew-days"),
    "upgrade_years": number_column("years", "the same of the upgrade, of the lead where there is none"),
    "upgrade_profit_cents": cents_column("its gross profit", least=None),
    "upgrade_crew_days": number_column("days", "its crew-days"),
    "factor": number_column("share", "what kind and signs multiply the chance by"),
})  # fmt: skip

UNDER_WAY = TableSchema("under_way", "Who is under way, one row a client: sold first, then quotes, then visits, longest first.", {
    "client_id": text_column("client", unique=True),
    "stage": word_column("where it stands", (SOLD, QUOTE, VISIT)),
    "day": text_column("day of the sale, quote or talk, ISO; blank: not known"),
    "words": text_column("the same, in words"),
    "last_contact": text_column("day of the last contact, ISO"),
    "last_outcome": text_column("how the last call ended"),
    "last_note": text_column("what was said in it"),
    "due_action": text_column("next step"),
    "due_date": text_column("day on which it was promised, ISO; blank: none"),
})  # fmt: skip

OUTLOOKS = TableSchema("outlooks", "What is sold until the end of a forecast, one row a stage or route and one for all.", {
    "name": text_column("stage or route; all: the whole book"),
    "client_count": count_column("clients"),
    "jobs": number_column("count", "jobs to expect"),
    "profit_cents": cents_column("gross profit, mean", least=None),
    "profit_low_cents": cents_column("low end of its 80 % range, rounded out to $50", least=None),
    "profit_high_cents": cents_column("high end", least=None),
    "nothing_chance": number_column("share", "chance that nothing more is sold"),
    **{
        f"{stage.replace(' ', '_')}_cents": cents_column(f"part of the mean: {stage}", least=None)
        for stage in STAGES
    },
})  # fmt: skip

MONTHS = TableSchema("months", "What is sold in each month of a forecast, and what is built through its end.", {
    "month": text_column("year and month, ISO"),
    "profit_cents": cents_column("gross profit of what is sold in it, mean", least=None),
    "profit_low_cents": cents_column("low end of its 80 % range, rounded out to $50", least=None),
    "profit_high_cents": cents_column("high end", least=None),
    "nothing_chance": number_column("share", "chance that nothing is sold in it"),
    "built_days": number_column("days", "crew-days built through its end, mean"),
    "built_low_days": number_column("days", "low end of its 80 % range"),
    "built_high_days": number_column("days", "high end"),
    "free_days": number_column("days", "crew-days free through its end; infinite: not known"),
    "waiting_days": number_column("days", "crew-days ready by then and not built"),
    "built_profit_cents": cents_column("gross profit of what is built through its end", least=None),
})  # fmt: skip

WAVES = TableSchema("waves", "Whom a promotion calls or writes to, one row a client of the list, in its order.", {
    "client_id": text_column("client", unique=True),
    "wave": count_column("week of the call or letter, 0 is this week; -1: waits", least=-1),
    "by": word_column("how the client is asked", WAVE_WORDS),
    "crew_days": number_column("days", "crew-days of the lead"),
    "expected_days": number_column("days", "crew-days to expect until the last week"),
})  # fmt: skip

WEEKS = TableSchema("weeks", "Free crew-days of a promotion's weeks against what is sold and to be expected.", {
    "week": text_column("Monday, ISO"),
    "free_days": number_column("days", "free in the week"),
    "free_so_far_days": number_column("days", "free through its end"),
    "sold_days": number_column("days", "sold already and ready through its end"),
    "likely_days": number_column("days", "sold and to be expected, ready through its end, mean"),
    "low_days": number_column("days", "low end of the 80 % range"),
    "high_days": number_column("days", "high end"),
    "too_much_chance": number_column("share", "chance of more work than free days in the worst span of weeks that holds this one"),
})  # fmt: skip

WEEK_LINES = TableSchema("week_lines", "Lines of the week's page, by section, the longest overdue first.", {
    "section": text_column("where it stands on the page"),
    "client_id": text_column("client"),
    "day": text_column("day that counts: due, agreed, quoted, sold or built, ISO; blank: none"),
    "next_step": text_column("what to do, in words; of a new call what to offer"),
    "command": text_column("words of the command that does it or writes it down, BOOK for the book"),
    "bed_ids": text_column("beds it is about, joined by a blank; blank: those offered"),
    "number": text_column("number of the quote or job; blank: none"),
    "price_cents": cents_column("price of the quote or job, before tax; 0: none"),
    "about": text_column("what was quoted or sold, in words; blank: what is offered, or nothing is on record"),
})  # fmt: skip


@dataclass(frozen=True)
class Promotion:
    """A promotion as it stands today."""

    clients: pd.DataFrame  # table `WAVES`: whom to call when, and who waits
    weeks: pd.DataFrame  # table `WEEKS`: free days against what is sold and to be expected
    follow_up_count: int  # clients tried in vain who are tried again first
    # chance that what stands before any new call is too much, in the worst span
    too_much_now: float
    late_days: float  # crew-days to expect that will ask for a start after the last week
    missing_days: float  # crew-days sold that the free days of their weeks cannot hold
    # what ends this week's new calls: ``calls`` (a week), ``chance`` (of too much) or the ``list``
    limit: str
    # whether more than half of what a letter sells now would start after the last week, so that
    # none is written
    is_late_to_write: bool = False

    @property
    def likely_days(self) -> float:
        """Add up the crew-days sold and to be expected until the last week: mean."""
        return float(self.weeks["likely_days"].iloc[-1])
