"""Why to call a client, and why to leave one out, in plain words taken from the data: one text a row, or blank."""

from __future__ import annotations

from collections import defaultdict
from datetime import date

import numpy as np
import pandas as pd

from scanner.calls.post import WANTS_VISIT
from scanner.calls.texts import join_texts, say_each, text_where
from scanner.schema.documents import RateBook
from scanner.schema.edge_kinds import EDGE_KINDS, STREET_SIDE

WORST = 3
BAD_FROM = 2
"""Conditions run from 0, as good as the rest, to 3, bare or weeds; these and worse are bad."""

BAD_EDGE_COLUMN = "bad_edges"
"""Column of clients: edges that a crew saw in a bad state, ``along condition day`` each."""


def list_bad_edges(answers: pd.DataFrame) -> pd.DataFrame:
    """List the edges that a crew saw in a bad state.

    >>> rows = [("A", "curb condition", "3", "2027-02-01"), ("B", "curb condition", "1", "2027-02-01"), ("C", "curb condition", "", "")]
    >>> answers = pd.DataFrame(rows, columns=["client_id", "question", "answer", "seen_on"])
    >>> list_bad_edges(answers)[["client_id", "along", "condition"]].values.tolist()
    [['A', 'curb', 3.0]]
    """
    kinds = {kind.condition: kind.name for kind in EDGE_KINDS.values() if kind.condition}
    told = answers[["client_id", "question", "answer", "seen_on"]].to_numpy().tolist()
    rows = [
        (client_id, kinds[question], float(answer), day)
        for client_id, question, answer, day in told if answer and question in kinds
    ]  # fmt: skip
    bad = sorted(row for row in rows if row[2] >= BAD_FROM)
    return pd.DataFrame(bad, columns=["client_id", "along", "condition", "seen_on"])


def add_bad_edges(clients: pd.DataFrame, answers: pd.DataFrame) -> pd.DataFrame:
    """Put beside each client the edges that a crew saw in a bad state."""
    words = defaultdict[str, list[str]](list)
    for client_id, along, condition, day in list_bad_edges(answers).to_numpy().tolist():
        words[client_id].append(f"{along} {condition:.0f} {day}")
    report = ["|".join(words.get(client_id, ())) for client_id in clients["client_id"]]
    return clients.assign(**{BAD_EDGE_COLUMN: pd.Series(report, clients.index, dtype="str")})


def bad_edge_reasons(offers: pd.DataFrame, clients: pd.DataFrame) -> pd.Series[str]:
    """Say of each offer which of its beds lies along an edge that a crew saw in a bad state."""
    if BAD_EDGE_COLUMN not in clients:
        return pd.Series("", index=offers.index, dtype="str")
    is_seen = (clients[BAD_EDGE_COLUMN] != "").to_numpy()
    texts = np.full(len(offers), "", dtype=object)
    report = zip(offers["bed_ids"][is_seen], clients[BAD_EDGE_COLUMN][is_seen], strict=True)
    texts[is_seen] = [
        "; ".join(
            f"the crew saw a bad edge along the {along} on {day}: {condition} of {WORST}"
            for along, condition, day in (edge.split(" ") for edge in edges.split("|"))
            if f"-{along}-" in bed_ids
        )
        for bed_ids, edges in report
    ]
    return pd.Series(texts, index=offers.index, dtype="str")


TURF_WIDTH_FT_WORDS = (
    # Under 4 ft: very hard to irrigate (irrigationtutorials.com, narrow lawn strips), and
    # narrower than a walk-behind mower's deck and turn (judgment)
    (4.0, "too narrow to mow and water"),
    # No turf in areas under 8 ft wide: North Salt Lake UT, Ord. 2022-03, 10-22-3
    (8.0, "hard to water"),
    # Under 10 ft: no overspray allowed, California MWELO, 23 CCR 492.7(a)(1)(T)
    (10.0, "narrower than the strictest local rules allow for new turf"),
)
"""Turf narrower than so many feet, narrowest first, and what is said of it."""

NO_CALLS = "asked not to be called"

JUST_BUILT_DAYS = 365
"""A neighbor's bed counts as just built for so long (starting value, no source)."""

MONTHS_PER_YEAR = 12


def reasons_to_call(
    offers: pd.DataFrame, beds: pd.DataFrame, clients: pd.DataFrame, *,
    signs: pd.DataFrame, bad_edges: pd.Series,
) -> pd.Series:  # fmt: skip
    """Say why each offer is worth a call, reasons joined by ``"; "``; ``signs`` as `warm_signs` tells them."""
    parts = _parts(offers, beds)
    absorbed_ft2 = _sum(offers, parts, "absorbed_ft2")
    since = clients["client_since"].str.slice(0, 4)
    return join_texts([
        text_where("refer to a landscape designer: too much for a quick sketch", offers["needs_designer"]),
        *_edge_reasons(offers, parts),
        _trim_reason(offers, parts, clients),
        _numbers("takes in {:.0f} ft² of turf too narrow to mow", absorbed_ft2),
        # Where what was narrow is taken in, what stays elsewhere is no second reason
        _width_reason(offers, parts).where(~absorbed_ft2.round().gt(0), ""),
        bad_edges,
        text_where("bought extra work before", signs["bought_before"]),
        ("a client since " + since).where(signs["long_client"], ""),
        text_where("a neighbor's bed was just built", signs["neighbor_built"]),
        _numbers("new tract: house built in {:.0f}", clients["year_built"].where(signs["new_tract"])),
    ])  # fmt: skip


def reasons_to_leave_out(clients: pd.DataFrame, *, rates: RateBook, today: date) -> pd.Series:
    """Say why a client is not to be called.

    The client list says when somebody was last spoken to but not how it ended, so the
    rest is the shortest that follows a talk, `rest_call_back_days`. The log, which knows
    outcomes (columns that `add_history` adds), sets the others.
    """
    listed = clients["last_contact"]
    if "last_called_on" in clients:
        listed = listed.where(listed != clients["last_called_on"], "")
    last_contact = pd.to_datetime(listed, format="ISO8601", errors="coerce")
    free_again = last_contact + pd.to_timedelta(rates.rest_call_back_days.value, unit="D")
    resting = (
        "last contact " + last_contact.dt.strftime("%Y-%m-%d")
        + ", rests until " + free_again.dt.strftime("%Y-%m-%d")
    )  # fmt: skip
    return join_texts([
        text_where(NO_CALLS, clients["do_not_call"] == "yes"),
        text_where(f"but {WANTS_VISIT}", (clients["do_not_call"] == "yes") & (clients.get("next_action", "") == WANTS_VISIT)),
        text_where("rents: the owner would have to decide", clients["renter"] == "yes"),
        text_where("payment past due: settle that first", clients["past_due"] == "yes"),
        resting.where(free_again > pd.Timestamp(today), ""),
        _logged_rest(clients, today),
        _written_rest(clients, rates, today),
    ])  # fmt: skip


def warm_signs(clients: pd.DataFrame, *, rates: RateBook, today: date) -> pd.DataFrame:
    """Tell which signs each client shows: ``bought_before long_client new_tract``, by the log ``neighbor_built``."""
    since = pd.to_datetime(clients["client_since"], format="ISO8601", errors="coerce")
    months = round(rates.long_client_years.value * MONTHS_PER_YEAR)
    return pd.DataFrame(
        {
            "bought_before": clients["bought_before"] == "yes",
            "long_client": since <= pd.Timestamp(today) - pd.DateOffset(months=months),
            "neighbor_built": clients.get("neighbor_built", False),
            "new_tract": is_new_tract(clients["year_built"], today.year, rates),
        }
    )


def is_just_built(built_on: pd.Series[str], days: date | pd.Series[str]) -> pd.Series[bool]:
    """Tell which beds, by the day on which each was built, were just built on a day."""
    age = pd.to_datetime(days) - pd.to_datetime(built_on, format="ISO8601")
    return age.dt.days.between(0, JUST_BUILT_DAYS - 1)


def is_new_tract(
    year_built: pd.Series[float], year: int | pd.Series[int], rates: RateBook
) -> pd.Series[bool]:
    """Tell whose house was new in a year: a yard that nobody has done anything to yet."""
    return (year - year_built).between(0, rates.new_tract_years.value)


def _logged_rest(clients: pd.DataFrame, today: date) -> pd.Series:
    """Say how the last call ended and until when the client rests, as the log has it."""
    if "free_on" not in clients:
        return pd.Series("", index=clients.index, dtype="str")
    ended = clients["last_outcome"] + " on " + clients["last_called_on"]
    report = ended.where(clients["last_called_on"] != "", "noted") + ", rests until " + clients["free_on"]  # fmt: skip
    # Whoever asked not to be called is told of already
    is_resting = (clients["free_on"] > today.isoformat()) & (clients["do_not_call"] != "yes")
    return report.where(is_resting, "")


def _written_rest(clients: pd.DataFrame, rates: RateBook, today: date) -> pd.Series:
    """Say when the letter went out that a client may still answer."""
    if "written_on" not in clients:
        return pd.Series("", index=clients.index, dtype="str")
    sent = pd.to_datetime(clients["written_on"], format="ISO8601", errors="coerce")
    free_again = sent + pd.to_timedelta(rates.letter_open_days.value, unit="D")
    until = free_again.dt.strftime("%Y-%m-%d")
    report = "letter sent " + clients["written_on"] + ", rests until " + until
    return report.where(free_again > pd.Timestamp(today), "")


def _parts(offers: pd.DataFrame, beds: pd.DataFrame) -> pd.DataFrame:
    parts = offers[["offer_id"]].assign(bed_id=offers["bed_ids"].str.split()).explode("bed_id")
    measures = ["bed_id", "along", "edge_ft", "trim_ft", "absorbed_ft2", "turf_left_width_ft"]
    return parts.merge(pd.DataFrame(beds[measures]), on="bed_id", how="left")


def _sum(offers: pd.DataFrame, parts: pd.DataFrame, column: str) -> pd.Series:
    sums = parts.groupby("offer_id")[column].sum()
    return offers["offer_id"].map(sums).fillna(0.0).astype(float)


def _edge_reasons(offers: pd.DataFrame, parts: pd.DataFrame) -> list[pd.Series]:
    return [
        _numbers(
            f"turf up to {kind.words} for {{:.0f}} ft",
            _sum(offers, parts[parts["along"] == kind.name], "edge_ft"),
        )
        for kind in EDGE_KINDS.values() if (parts["along"] == kind.name).any()
    ]  # fmt: skip


def _trim_reason(offers: pd.DataFrame, parts: pd.DataFrame, clients: pd.DataFrame) -> pd.Series:
    trimming = _numbers("string-trimming saved on {:.0f} ft ", _sum(offers, parts, "trim_ft"))
    visits = _numbers("at each of {:.0f} visits a year", clients["visits_per_year"])
    return (trimming + visits.mask(visits == "", "at each visit")).where(trimming != "", "")


def _width_reason(offers: pd.DataFrame, parts: pd.DataFrame) -> pd.Series:
    """Name the narrowest turf left behind a street-side bed; none left is no remark."""
    strips = parts[parts["along"].isin(STREET_SIDE)]
    width_ft = offers["offer_id"].map(strips.groupby("offer_id")["turf_left_width_ft"].min())
    bounds_ft = [bound_ft for bound_ft, _ in TURF_WIDTH_FT_WORDS]
    words = [word for _, word in TURF_WIDTH_FT_WORDS]
    place = np.searchsorted(bounds_ft, width_ft.to_numpy(dtype=float), side="right")
    remarks = pd.Series([*words, ""], dtype="str").iloc[place].to_numpy()
    said = _numbers("only {:.0f} ft of turf stays behind it, ", width_ft)
    return (said + remarks).where((said != "") & (remarks != ""), "")


def _numbers(template: str, numbers: pd.Series) -> pd.Series:
    """Put each number into the sentence; blank where it rounds to nothing or is not known."""
    whole = numbers.round()
    return say_each(
        whole.where(whole > 0.0, 0.0), lambda number: template.format(number) if number else ""
    )
