"""What one call sells: a lead, an upgrade in the same job, and jobs that may follow; its words and cautions."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from itertools import groupby
from math import floor
from typing import Any

import pandas as pd

from scanner.errors import SchemaError
from scanner.job.bundles import ADDED, LATER, LEAD, LIMIT_SLACK, UPGRADE
from scanner.job.quantities import kept
from scanner.schema.crew_answers import YES, numbers_by_client, words_by_client
from scanner.schema.documents import FINISH_LONG_WORDS, LocalRules, RateBook
from scanner.schema.edge_kinds import EDGE_KINDS, STREET_SIDE
from scanner.schema.locating import LOCATING
from scanner.schema.log_tables import ANSWERS
from scanner.schema.tables import OFFERS, check_table, empty_table
from scanner.units import FT2_IN_PER_YD3, list_words, usd_said

Row = dict[Any, Any]
"""A row of a table by column."""

DESIGNER = "refer to a landscape designer: "

LIFTING = (
    "Lifting: what is stripped weighs some {weight_lb:.0f} lb a square foot when wet; 51 lb is the most for"
    " nearly everyone in an ideal lift (NIOSH 94-110), from the ground less than half of it: cut it small, keep"
    " backs straight, work in pairs"
)

MACHINE = (
    "machines: only trained people run them, with eye, ear and foot protection, and everyone else"
    " keeps clear"
)

UPGRADE_TIMES = 3
"""An upgrade is said where it costs at most so many times the lead (our rule, no source)."""

_PLACES = {name: kind.words for name, kind in EDGE_KINDS.items()} | {"house": "the house {face}"}
LEAD_PLACES = {name: f"of {words}" for name, words in _PLACES.items()} | {"curb": "of your curb"}
MORE_PLACES = {name: f"at {words}" for name, words in _PLACES.items()} | {"curb": "more of curb"}

COVERS = {
    "mulch": "mulch",
    "accent": "mulch and {count} low plant{s}",
    "planted": "mulch and {count} plant{s}",
    "gravel": "gravel and {count} low plant{s}",
}


def name_offer(beds: Sequence[Row], finish: str, *, needs_designer: bool) -> str:
    """
    Name an offer by its beds' lengths [ft], what they lie along, and the finish.

    >>> beds = [{"edge_ft": 52.4, "along": "curb", "face": ""}, {"edge_ft": 29.5, "along": "house", "face": "front"}]
    >>> name_offer(beds, "mulch", needs_designer=False)
    '52 ft curb bed and 30 ft house bed, mulch only'
    """
    words = [
        f"{floor(bed['edge_ft'] + 0.5)} ft {bed['along']}"
        f"{'-' + bed['face'].replace('+', '-and-') if bed['face'] not in ('', 'front') else ''} bed"
        for bed in beds
    ]
    return f"{DESIGNER * needs_designer}{list_words(words)}, {FINISH_LONG_WORDS[finish]}"


def gather_cautions(beds: Sequence[Row], lead: Row) -> str:
    """Gather the cautions of an offer's beds, each once; what stands in every offer comes last."""
    # a tiller is a machine too: a full planting takes one
    has_machine = lead["method"] != "hand" or lead["finish"] == "planted"
    told = [sentence for bed in beds for sentence in bed["cautions"].split("; ") if sentence]
    told += [MACHINE] * has_machine
    return "; ".join(sorted(dict.fromkeys(told), key=lambda text: text.startswith(LOCATING)))


def usual_cautions(rates: RateBook, rules: LocalRules) -> str:
    """Say what every bed asks for, and no row of a list repeats: weights lifted, the state's locating law."""
    weight_lb = rates.soil_wet_lb_per_yd3.value * rates.cut_depth_in.value / FT2_IN_PER_YD3
    locating = rules.locating[0].upper() + rules.locating[1:]
    return f"{locating}. {LIFTING.format(weight_lb=weight_lb)}."


def say_offer(lead: Row, beds: Sequence[Row], upgrade: Row | None, added: Sequence[Row]) -> str:
    """
    Say an offer in up to three sentences that can be read out.

    `lead` and `upgrade` (None: there is none): rows of `PRICES`; `beds` and `added`: rows of
    `OFFER_BEDS`, the latter laid without the lead.
    """
    count, finish = lead["plant_count"], lead["finish"]
    cover = COVERS[finish] if count else "gravel" if finish == "gravel" else "mulch"
    cover = cover.format(count=count, s="" if count == 1 else "s")
    until = "" if all(bed["edge_source"] == "measured" for bed in beds) else " until we measure"
    price, low, high = (
        usd_said(lead[f"{name}_cents"]) for name in ("price", "price_low", "price_high")
    )
    said = (
        f"We could put a bed along {_places(beds, LEAD_PLACES)}, {cover}, about {price}"
        f" ({low} to {high}{until})."
    )
    if sum(bed["trim_ft"] for bed in beds) > 0:
        said += " No more trimming there."
    if upgrade and upgrade["price_cents"] <= UPGRADE_TIMES * lead["price_cents"]:
        whole = usd_said(upgrade["price_cents"])
        said += f" With {_places(added, MORE_PLACES)}, all in one job, about {whole}."
    return said


def _places(beds: Sequence[Row], words: dict[str, str]) -> str:
    """Say along what beds lie; lengths of one kind are added up."""
    feet = defaultdict[tuple[str, str], float](float)
    for bed in beds:
        feet[bed["along"], bed["face"]] += bed["edge_ft"]
    return list_words([
        f"{floor(edge_ft + 0.5)} ft {words[along].format(face=face.replace('+', ' and ') or 'wall')}"
        for (along, face), edge_ft in feet.items()
    ])  # fmt: skip


SKETCH_PIECES = 6
"""More pieces than this are not sketched in a quarter of an hour (our rule, no source)."""

SKETCH_SLOPE_PERCENT = 25.0
"""Steeper ground than this is not sketched in a quarter of an hour (our rule, no source)."""


def make_offers(
    bundles: pd.DataFrame,
    prices: pd.DataFrame,
    offer_beds: pd.DataFrame,
    *,
    rules: LocalRules,
    answers: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """
    Write out what each client is offered: table `OFFERS`, by client.

    Phase 1 is the lead with its upgrade, later jobs are the phases after it. `prices` and
    `offer_beds` hold the sets that `bundle_beds` chose, and each bed alone; `answers`: slopes, and
    edges that a crew has seen; None: none has looked yet.
    """
    if bundles.empty:
        return empty_table(OFFERS)
    answers = empty_table(ANSWERS) if answers is None else answers
    leads = {row["offer_id"]: row for row in prices[prices["is_lead"]].to_dict("records")}
    missing = [name for name in bundles["offer_id"] if name not in leads]
    if missing:
        message = f"offers that are due were not drawn: {', '.join(missing[:20])}"
        raise SchemaError(message)
    beds = _Beds(offer_beds, answers)
    slopes = numbers_by_client(answers, "slope percent").to_dict()
    offers = list[Row]()
    for client_id, own in groupby(bundles.to_dict("records"), key=lambda row: row["client_id"]):
        roles = defaultdict[str, list[Row]](list)
        for row in own:
            roles[row["role"]].append(row)
        is_steep = slopes.get(client_id, 0.0) > SKETCH_SLOPE_PERCENT
        made = [
            _offer(row, leads, beds, rules, is_steep=is_steep)
            for row in (*roles[LEAD], *roles[LATER])
        ]
        made[0] |= _more(made, roles, leads, beds)
        offers += made
    table = pd.DataFrame(offers).sort_values(["client_id", "phase"], ignore_index=True)
    return check_table(table[[*OFFERS.columns]], OFFERS)


class _Beds:
    """Beds as they lie in offers, and whether somebody has seen each."""

    def __init__(self, offer_beds: pd.DataFrame, answers: pd.DataFrame) -> None:
        names = ["offer_id", "bed_id", "client_id", "along", "face", "lawn_source", "edge_source",
                 "is_opening_guessed", "edge_ft", "area_ft2", "right_of_way_ft2", "trim_ft", "cautions"]  # fmt: skip
        rows = kept(offer_beds)[names].to_dict("records")
        self._rows = {(row["offer_id"], row["bed_id"]): row for row in rows}
        by_crew = {
            (client_id, kind.name)
            for kind in EDGE_KINDS.values()
            for client_id, answer in words_by_client(answers, kind.question).items()
            if answer == YES
        }
        # A wall's lawn must have been seen; a curb shows itself unless its drive is a guess
        self.seen = {
            row["bed_id"] for row in rows
            if (row["client_id"], row["along"]) in by_crew
            or (not row["is_opening_guessed"] and (
                row["along"] in STREET_SIDE or row["lawn_source"] == "drawn"
                or row["edge_source"] in ("measured", "drawn")
            ))
        }  # fmt: skip

    def of(self, bundle: Row) -> list[Row]:
        return [self._rows[bundle["offer_id"], bed_id] for bed_id in bundle["beds"]]


def _offer(
    bundle: Row, leads: dict[str, Row], beds: _Beds, rules: LocalRules, *, is_steep: bool
) -> Row:  # fmt: skip
    """Write one job out, lead or later."""
    lead, own, names = leads[bundle["offer_id"]], beds.of(bundle), bundle["beds"]
    is_over = lead["crew_days"] > rules.job_limit_crew_days + LIMIT_SLACK
    needs_designer = is_over or is_steep or len(own) > SKETCH_PIECES
    return lead | {
        "phase": 1 if bundle["role"] == LEAD else bundle["job"] + 1,
        "offer": name_offer(own, lead["finish"], needs_designer=needs_designer),
        "bed_ids": " ".join(names),
        "bed_count": len(own),
        **{
            name: sum(bed[name] for bed in own)
            for name in ("edge_ft", "area_ft2", "right_of_way_ft2")
        },
        "is_confirmed": beds.seen.issuperset(names),
        "unseen_bed_ids": " ".join(name for name in names if name not in beds.seen),
        "needs_designer": needs_designer,
        "cautions": gather_cautions(own, lead),
        **dict.fromkeys(("later", "say", "upgrade_offer_id", "upgrade_bed_ids"), ""),
        **dict.fromkeys(("later_jobs", "later_price_cents", "upgrade_price_cents"), 0),
        **dict.fromkeys(("upgrade_gross_profit_cents", "upgrade_saving_cents"), 0),
        "upgrade_crew_days": 0.0,
    }


def _more(made: list[Row], roles: dict[str, list[Row]], leads: dict[str, Row], beds: _Beds) -> Row:
    """Put beside a lead what it is said with: its upgrade, what one job saves against two, later jobs."""
    lead, *later = made
    more = {
        "later": "; ".join(job["offer"] for job in later),
        "later_jobs": len(later),
        "later_price_cents": sum(job["price_cents"] for job in later),
    }
    own = beds.of(roles[LEAD][0])
    if not roles[UPGRADE]:
        return more | {"say": say_offer(lead, own, None, [])}
    upgrade, added = roles[UPGRADE][0], roles[ADDED][0]
    whole = leads[upgrade["offer_id"]]
    apart_cents = lead["price_cents"] + leads[added["offer_id"]]["price_cents"]
    # ground that only opens up when beds lie together may cost more than apart
    saving_cents = max(apart_cents - whole["price_cents"], 0)
    return more | {
        "say": say_offer(lead, own, whole if saving_cents else None, beds.of(added)),
        "upgrade_offer_id": upgrade["offer_id"],
        "upgrade_bed_ids": " ".join(upgrade["beds"]),
        "upgrade_price_cents": whole["price_cents"],
        "upgrade_crew_days": whole["crew_days"],
        "upgrade_gross_profit_cents": whole["gross_profit_cents"],
        "upgrade_saving_cents": saving_cents,
        "unseen_bed_ids": " ".join(name for name in upgrade["beds"] if name not in beds.seen),
    }
