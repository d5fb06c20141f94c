"""
What is under way: each client's lead at the stage where the log has it.

Sold and not built yet, quoted, visit agreed, to be called back, tried in vain, not called yet;
whoever refused, rests or must not be called is in none of them.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from scanner.calls.post import asked_letters, open_letters, silent_shares
from scanner.calls.quotes import open_terms
from scanner.calls.reasons import NO_CALLS
from scanner.calls.trials import Trials, list_trials
from scanner.calls.under_way import find_stages, last_talks
from scanner.schema.documents import RateBook, Scan, Season
from scanner.schema.plan_tables import (
    CALL_BACK,
    LEADS,
    LETTER,
    NEW,
    QUOTE,
    SOLD,
    STAGES,
    TRIED,
    VISIT,
)
from scanner.schema.tables import CALLS, CLIENTS, OFFERS, check_table
from scanner.sheets.days import monday_of

FIRST_PHASE = 1


def list_leads(found: Scan, season: Season, *, with_letters: bool = False) -> pd.DataFrame:
    """Put every client who may still buy, or has bought, at his stage.

    Table `LEADS`: first what is under way, then the list in its order. A job that is sold and not
    built, and a quote with a number, has its own price and estimate; one without has what is offered.
    ``with_letters``: last come letters: those that are out, and those that may be sent to whoever only
    asked not to be called.
    """
    rates, today = found.rates, found.today
    calls, offers = check_table(found.calls, CALLS), check_table(found.offers, OFFERS)
    clients = check_table(found.clients, CLIENTS).set_index("client_id")
    trials = list_trials(season.calls, today=today)
    chosen = offers[offers["phase"] == FIRST_PHASE].merge(
        calls.drop(columns="client_id"), on="offer_id", validate="one_to_one"
    )
    known = _known(chosen, trials, clients)
    stage = _stage(known, season, clients, trials, rates=rates, today=today)
    if with_letters:
        letters = _letters(chosen, stage, season, clients, rates=rates, today=today)
        stage = pd.concat([stage[~stage["client_id"].isin(letters["client_id"])], letters])
    leads = known.merge(stage, on="client_id", validate="one_to_one")
    leads = leads.assign(
        factor=leads["factor"] * leads.get("silent", pd.Series(1.0, leads.index)).fillna(1.0)
    )
    leads = _as_quoted(leads, chosen, open_terms(season, rates=rates, today=today))
    jobs = _jobs(season, clients, rates=rates, today=today)
    # Beds of a sold job are no offer any more; what else the client has may still be sold later
    leads = leads[~leads["client_id"].isin(jobs["client_id"])]
    order = leads["stage"].map({name: place for place, name in enumerate((*STAGES, LETTER))})
    leads = leads.assign(_order=order).sort_values(["_order", "place", "client_id"], kind="stable")
    leads = pd.concat([jobs, leads[[*LEADS.columns]]], ignore_index=True)
    return check_table(leads, LEADS)


def _as_quoted(leads: pd.DataFrame, chosen: pd.DataFrame, terms: pd.DataFrame) -> pd.DataFrame:
    """Let what was quoted stand for what is offered, where a quote with a number is open."""
    offered = chosen.set_index("client_id")
    fee_cents = offered["price_cents"] / offered["price_over_annual"]
    years = (terms["price_cents"] / fee_cents).reindex(terms.index)
    is_own = leads["client_id"].isin(terms.index) & leads["stage"].eq(QUOTE)
    told = {
        "price_years": years, "upgrade_years": years,
        "profit_cents": terms["profit_cents"], "upgrade_profit_cents": terms["profit_cents"],
        "crew_days": terms["crew_days"], "upgrade_crew_days": terms["crew_days"],
    }  # fmt: skip
    own = {name: leads["client_id"].map(values) for name, values in told.items()}
    return leads.assign(**{name: leads[name].mask(is_own, own[name]) for name in own})


def _letters(
    chosen: pd.DataFrame, stage: pd.DataFrame, season: Season, clients: pd.DataFrame, *,
    rates: RateBook, today: date,
) -> pd.DataFrame:  # fmt: skip
    """List letters, with the day on which each comes: those not answered yet, and those that may be sent."""
    sent_on = open_letters(season.letters, season.calls)
    days = (pd.to_datetime(sent_on) - pd.Timestamp(monday_of(today))).dt.days
    past = (today - monday_of(today)).days
    out = pd.DataFrame({
        "client_id": sent_on.index, "stage": LETTER,
        "day": np.maximum(days.to_numpy(float) + rates.post_days.value, past),
        "silent": silent_shares(sent_on, today=today, rates=rates),
    })[(past - days < rates.letter_open_days.value).to_numpy()]  # fmt: skip
    flags = clients[["renter", "past_due"]]
    is_new = stage["stage"].isin([TRIED, NEW])
    under_way = {*stage.loc[~is_new, "client_id"], *flags.index[(flags == "yes").any(axis=1)]}
    out = out[out["client_id"].isin(chosen["client_id"]) & ~out["client_id"].isin(under_way)]
    is_barred = (chosen["left_out"] == NO_CALLS) & ~chosen["client_id"].isin(stage["client_id"])
    barred = pd.DataFrame({"client_id": chosen.loc[is_barred, "client_id"], "stage": LETTER})
    return pd.concat([out, barred])


def _known(chosen: pd.DataFrame, trials: Trials, clients: pd.DataFrame) -> pd.DataFrame:
    """What is known of each offer, whatever its stage."""
    tried = chosen["client_id"].map(trials.tried_counts).fillna(0).astype("int64")
    has_upgrade = chosen["upgrade_price_cents"] > 0

    def upgrade(of_upgrade: str, of_lead: str) -> pd.Series:
        return chosen[of_upgrade].where(has_upgrade, chosen[of_lead])

    return pd.DataFrame({
        "client_id": chosen["client_id"],
        "route": chosen["client_id"].map(clients["route"]),
        "place": chosen["rank"].where(chosen["rank"] > 0, np.inf),
        "tried_count": tried,
        "price_years": chosen["price_over_annual"],
        "profit_cents": chosen["gross_profit_cents"],
        "crew_days": chosen["crew_days"],
        "upgrade_years": upgrade("upgrade_over_annual", "price_over_annual"),
        "upgrade_profit_cents": upgrade("upgrade_gross_profit_cents", "gross_profit_cents"),
        "upgrade_crew_days": upgrade("upgrade_crew_days", "crew_days"),
        # What calls this year leave of being reached is a stage's own, not a factor
        "factor": chosen["chance_factor"] / chosen["still_reached"],
    })  # fmt: skip


def _stage(
    known: pd.DataFrame, season: Season, clients: pd.DataFrame, trials: Trials, *,
    rates: RateBook, today: date,
) -> pd.DataFrame:  # fmt: skip
    """Tell where each client stands, and the day that counts there; who stands nowhere is no row."""
    monday = pd.Timestamp(monday_of(today))
    last = last_talks(season, today).reindex(known["client_id"])
    under_way = find_stages(season, clients.reset_index(), trials.quotes, today=today)
    stages = under_way["stage"].reindex(known["client_id"]).astype("str").fillna("").to_numpy()
    quoted = under_way["day"].where(under_way["stage"] == QUOTE).reindex(known["client_id"])
    quoted_on = pd.to_datetime(quoted, format="ISO8601").to_numpy()
    called_on = pd.to_datetime(last["called_on"], format="ISO8601").to_numpy()
    next_on = pd.to_datetime(last["next_date"].replace("", None), format="ISO8601").to_numpy()
    outcome = last["outcome"].fillna("").to_numpy()
    usual = {
        "sold": rates.start_days.value, "visit": rates.visit_days.value,
        "call back": rates.rest_call_back_days.value,
    }  # fmt: skip
    waits = pd.to_timedelta([usual.get(word, 0.0) for word in outcome], unit="D").to_numpy()
    due = np.where(np.isnat(next_on) | (outcome == "sold"), called_on + waits, next_on)
    asked = known["client_id"].map(asked_letters(season.letters, season.calls))
    asked_on = pd.to_datetime(asked, format="ISO8601").to_numpy()
    has_asked = ~np.isnat(asked_on) & (stages == "")
    due = np.where(has_asked, asked_on + pd.Timedelta(days=usual["visit"]), due)
    flags = clients.loc[known["client_id"], ["do_not_call", "renter", "past_due"]]
    may_buy = ~(flags == "yes").any(axis=1).to_numpy() & (outcome != "do not call")
    is_on_list = np.isfinite(known["place"]).to_numpy()
    is_tried = known["tried_count"].to_numpy() > 0
    stage = np.select(
        [stages != "", has_asked, (outcome == "sold") | ~may_buy, outcome == "call back", is_tried, is_on_list],
        [stages, VISIT, "", CALL_BACK, TRIED, NEW], "",
    )  # fmt: skip
    day = np.where(stage == QUOTE, quoted_on, due)
    days = (day - monday.to_numpy()) / np.timedelta64(1, "D")
    days = np.where(np.isin(stage, [TRIED, NEW]), np.nan, days)
    table = pd.DataFrame({"client_id": known["client_id"].to_numpy(), "stage": stage, "day": days})
    return table[table["stage"] != ""]


def _jobs(season: Season, clients: pd.DataFrame, *, rates: RateBook, today: date) -> pd.DataFrame:
    open_jobs = season.jobs[season.jobs["built_on"] == ""]
    tasks = season.job_tasks.groupby("job_id")[["estimated_hours", "estimated_cents"]].sum()
    own = tasks.reindex(open_jobs["job_id"]).fillna(0.0).astype(float)
    jobs = open_jobs.assign(
        profit_cents=open_jobs["sold_cents"].to_numpy() - own["estimated_cents"].to_numpy(),
        crew_days=own["estimated_hours"].to_numpy() / rates.crew_day_hours,
    )
    by_client = jobs.groupby("client_id")[["profit_cents", "crew_days"]].sum().reset_index()
    sold = season.calls[season.calls["outcome"] == "sold"]
    sold_on = by_client["client_id"].map(sold.groupby("client_id")["called_on"].max())
    since = pd.to_datetime(sold_on, format="ISO8601") - pd.Timestamp(monday_of(today))
    weeks = season.schedule[season.schedule["job_id"].isin(open_jobs["job_id"])]
    week = by_client["client_id"].map(weeks.groupby("client_id")["week"].min())
    planned = pd.to_datetime(week, format="ISO8601") - pd.Timestamp(monday_of(today))
    profit = by_client["profit_cents"].round().astype("int64")
    return pd.DataFrame({
        "client_id": by_client["client_id"],
        "route": by_client["client_id"].map(clients["route"]).fillna("").astype("str"),
        "stage": SOLD,
        # In the week that it was given, else as soon as it may start
        "day": (planned / pd.Timedelta(days=1)).fillna(
            (since / pd.Timedelta(days=1)).fillna(0.0) + rates.start_days.value
        ),
        "tried_count": 0,
        "price_years": 0.0,
        "profit_cents": profit,
        "crew_days": by_client["crew_days"],
        "upgrade_years": 0.0,
        "upgrade_profit_cents": profit,
        "upgrade_crew_days": by_client["crew_days"],
        "factor": 1.0,
    })  # fmt: skip
