"""The promotion as a page: whom to call this week, what then stands in each week, who waits."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pandas as pd

from scanner.pages.plan_page import month_day, render_page, write_day, write_days, write_share
from scanner.pages.plots import Bar, boxes_under_steps
from scanner.pages.webmap_rows import dial
from scanner.schema.documents import Scan
from scanner.schema.plan_tables import CALL, LETTER, WAVE_WORDS, Promotion
from scanner.sheets.days import day_number
from scanner.units import DAYS_PER_WEEK, usd_said

LEAST_DAYS = 0.05
"""Fewer crew-days are no word worth."""


LIMIT_WORDS = {
    "calls": "No more are called because you make {calls:g} calls a week{tries}.",
    "chance": "No more are called because the chance that more is sold than fits is to stay at {share} or less.",
    "list": "No more are called because nobody else is on the list.",
}
"""Why no more new clients are called this week, though days are likely to stay free."""


@dataclass(frozen=True)
class PromoTables:
    """A promotion in tables, as the page takes it."""

    first: date  # mondays of the weeks whose free days are to be filled
    last: date
    planned: Promotion  # the promotion
    calls_a_week: float  # tries again among them
    notes: tuple[str, ...] = ()  # what is to be known beside, in sentences
    files: tuple[str, ...] = ()  # of the letters
    letter_chance: float = 0.0  # that a letter brings a visit; 0: none is thought of

    def asked(self, by: str) -> int:
        """Count whom to call or write to this week."""
        clients = self.planned.clients
        return int(((clients["wave"] == 0) & (clients["by"] == by)).sum())

    @property
    def again(self) -> int:
        """Count who was tried before and is called again, where calls are made at all."""
        return self.planned.follow_up_count if self.calls_a_week else 0

    @property
    def waiting(self) -> int:
        """Count who waits."""
        return int((self.planned.clients["wave"] < 0).sum())


def promo_html(found: Scan, tables: PromoTables) -> str:
    """Write the page."""
    rows = _client_rows(found, tables)
    return render_page("promo.html", {
        "company": found.rules.company.name,
        "book": found.name,
        "today": found.today,
        "title": f"Filling the weeks of {month_day(tables.first)} to {month_day(tables.last)}",
        "answer": promo_words(found, tables),
        "notes": tables.notes,
        "weeks": _week_rows(tables),
        "plot": _plot(tables),
        "promise_weeks": round(found.rates.promise_weeks.value),
        "overbook_chance": found.rates.overbook_chance.value,
        "waves": _wave_rows(tables),
        "count": int((tables.planned.clients["wave"] >= 0).sum()),
        "days": float(tables.planned.clients["expected_days"].sum()),
        "steps": _steps(tables),
        "rounds": _rounds([row for row in rows if row["wave"] == 0 and row["by"] == CALL]),
        "letters": letter_rows(found, tables),
        "files": tables.files,
        "waiting": [row for row in rows if row["wave"] < 0],
        "rests_on": _rests_on(found, tables),
    })  # fmt: skip


def promo_json(found: Scan, tables: PromoTables) -> dict[str, Any]:
    """Give the same figures for other programs."""
    return {
        "today": found.today.isoformat(),
        "answer": promo_words(found, tables),
        "follow_up_count": tables.planned.follow_up_count,
        "likely_days": round(tables.planned.likely_days, 4),
        "late_days": round(tables.planned.late_days, 4),
        "too_much_now": round(tables.planned.too_much_now, 6),
        "clients": tables.planned.clients.to_dict("records"),
        "weeks": tables.planned.weeks.to_dict("records"),
        "notes": list(tables.notes),
    }


def promo_words(found: Scan, tables: PromoTables) -> str:
    """Say in a few sentences whom to call, what is likely to stay free and what comes too late."""
    planned, limit = tables.planned, found.rates.overbook_chance.value
    free = float(planned.weeks["free_days"].sum())
    worst = float(planned.weeks["too_much_chance"].max())
    filled = min(planned.likely_days, free)
    again = _people(tables.again) if tables.again else ""
    said = list[str]()
    if tables.asked(CALL):
        beside = f", beside {again} tried before" if again else ""
        said.append(f"Call {_people(tables.asked(CALL), 'new client')} this week{beside}.")
    elif planned.too_much_now > limit:
        now = write_share(planned.too_much_now)
        said.append(
            f"Call nobody new this week: what is out already asks for more than fits with a chance of {now}."
        )
    else:
        said.append("Call nobody new this week.")
    if again and not tables.asked(CALL):
        said.append(f"Try {again} tried before again.")
    if tables.asked(LETTER):
        said.append(f"Write to {_people(tables.asked(LETTER))}.")
    if planned.missing_days >= LEAST_DAYS:
        said.append(
            f"{write_days(planned.missing_days)} crew-days are sold already that the free days cannot hold."
        )
    said.append(
        f"The crews have {write_days(free)} free crew-days until the week of {month_day(tables.last)}; about {write_days(filled)} are likely to be "
        f"filled and {write_days(free - filled)} to stay free, and with a chance of {write_share(worst)} more is sold than fits."
    )
    if free - filled >= LEAST_DAYS and planned.too_much_now <= limit:
        tries = ", and those tried before come first" if again else ""
        calls = tables.calls_a_week
        why = LIMIT_WORDS[planned.limit if calls else "calls"]
        said.append(why.format(calls=calls, tries=tries, share=write_share(limit)))
    if planned.late_days >= LEAST_DAYS:
        said.append(f"{write_days(planned.late_days)} more will ask for a later start.")
    if tables.waiting:
        said.append(f"{_people(tables.waiting)} wait{'s' if tables.waiting == 1 else ''}.")
    return " ".join(said)


def _people(count: int, one: str = "client") -> str:
    return f"{count:,} {one}{'' if count == 1 else 's'}"


def letter_rows(found: Scan, tables: PromoTables) -> list[dict[Any, Any]]:
    """List whom to write to, as page and letters have them."""
    return [row for row in _client_rows(found, tables) if row["wave"] == 0 and row["by"] == LETTER]


def _client_rows(found: Scan, tables: PromoTables) -> list[dict[Any, Any]]:
    names = "client_id name address mailing_address phone route mow_day stop do_not_call"
    told = found.clients[names.split()]
    calls = found.calls[["client_id", "offer_id"]].merge(
        found.offers[["offer_id", "say", "price_cents"]], on="offer_id"
    )
    rows = tables.planned.clients.merge(told, on="client_id").merge(calls, on="client_id")
    rows = rows.assign(
        mail_to=rows["mailing_address"].mask(rows["mailing_address"] == "", rows["address"])
    )
    return [
        {**row, "where": _where(row), "dial": dial(row["phone"]), "about": usd_said(row["price_cents"])}
        for row in rows.to_dict("records")
    ]  # fmt: skip


def _where(row: dict[Any, Any]) -> str:
    stop = "" if pd.isna(row["stop"]) else f"stop\N{NO-BREAK SPACE}{row['stop']:g}"
    return " · ".join(part for part in (row["address"], stop) if part)


def _rounds(rows: list[dict[str, Any]]) -> list[dict[Any, Any]]:

    def place(row: dict[str, Any]) -> tuple[Any, ...]:
        stop = float("inf") if pd.isna(row["stop"]) else row["stop"]
        return (row["route"] or "~", day_number(row["mow_day"]), row["mow_day"], stop, row["name"])

    rounds: list[dict[str, Any]] = []
    for row in sorted(rows, key=place):
        words = ", ".join(part for part in (row["route"], row["mow_day"]) if part) or "No route"
        if not rounds or rounds[-1]["words"] != words:
            rounds.append({"words": words, "rows": []})
        rounds[-1]["rows"].append(row)
    return rounds


def _week_rows(tables: PromoTables) -> list[dict[Any, Any]]:
    return [
        {**row, "words": month_day(date.fromisoformat(row["week"]))}
        for row in tables.planned.weeks.to_dict("records")
        if row["week"] >= tables.first.isoformat()
    ]


def _wave_rows(tables: PromoTables) -> list[dict[Any, Any]]:
    monday = date.fromisoformat(tables.planned.weeks["week"].iloc[0])
    asked = tables.planned.clients[tables.planned.clients["wave"] >= 0]
    return [
        {"words": month_day(monday + timedelta(days=DAYS_PER_WEEK * wave)), "by": by, "count": len(own),
         "is_preview": wave > 0, "days": own["expected_days"].sum()}
        for wave in sorted(set(asked["wave"].tolist())) for by in WAVE_WORDS
        if len(own := asked[(asked["wave"] == wave) & (asked["by"] == by)])
    ]  # fmt: skip


def _plot(tables: PromoTables) -> str:
    rows = _week_rows(tables)
    boxes = [
        Bar(row["words"], (row["likely_days"],), row["low_days"], row["high_days"]) for row in rows
    ]
    last = rows[-1]
    finding = (
        f"Through the week of {last['words']} {write_days(last['likely_days'])} of "
        f"{write_days(last['free_so_far_days'])} free crew-days are likely to be sold."
    )
    return boxes_under_steps(
        boxes, [row["free_so_far_days"] for row in rows], title="Crew-days added up by week",
        finding=finding, below="through the week of",
    )  # fmt: skip


def _steps(tables: PromoTables) -> list[str]:
    again = f"Call the {_people(tables.again)} tried before, each as the rest ends: the command calls lists them day by day."
    file = tables.files[0] if tables.files else "the letters"
    send = f"Print {file} and send it; write into mailing.csv when each was sent and who asks for a visit."
    return [
        "Call back whom you promised a call: the week's page lists them.",
        *([again] if tables.again else []),
        *(["Call this week's list below, route by route."] if tables.asked(CALL) else []),
        *([send] if tables.asked(LETTER) else []),
        "Write down what comes back, as after any call.",
        "Next Monday make this page anew: who is called then depends on what was said.",
    ]


def _rests_on(found: Scan, tables: PromoTables) -> list[str]:
    rates, record = found.rates, found.chance_record
    return [
        f"On record: {record.attempt_count:,} tries to reach somebody, {record.talk_count:,} decided talks, {record.quote_count:,} quotes.",
        f"{tables.calls_a_week:g} calls a week, tries again first (--calls-a-week, else calls_a_week: {rates.calls_a_week.source}).",
        f"A job is promised within {rates.promise_weeks.value:g} weeks after it may start, at the latest in the last week (promise_weeks).",
        f"It may start {rates.start_days.value:g} days after the sale (start_days); a visit follows a talk after {rates.visit_days.value:g} days "
        f"(visit_days), an answer a quote after {rates.answer_days.value:g} on average (answer_days).",
        f"Each run of weeks may be oversold with a chance of {write_share(rates.overbook_chance.value)} at most (overbook_chance); "
        "the chance that any of them is oversold is a little larger.",
        f"A letter brings a visit with a chance of {write_share(tables.letter_chance)} (prior_asked_count, prior_silent_count, letters on record); "
        f"it is {rates.post_days.value:g} days in the post and {rates.mail_days.value:g} on average until its answer (post_days, mail_days)."
        if tables.letter_chance else "Letters are not counted.",
        f"As of {write_day(found.today)}; weather and cancellations are not counted.",
    ]  # fmt: skip
