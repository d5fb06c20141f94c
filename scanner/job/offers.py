"""What one call sells: a lead, an upgrade in the same job, and jobs that may follow."""

from __future__ import annotations

from collections import defaultdict
from itertools import groupby

import pandas as pd

from scanner.errors import SchemaError
from scanner.job.bundles import ADDED, LATER, LEAD, LIMIT_SLACK, UPGRADE
from scanner.job.quantities import kept
from scanner.job.wording import Row, gather_cautions, name_offer, say_offer
from scanner.schema.crew_answers import YES, numbers_by_client, words_by_client
from scanner.schema.documents import LocalRules
from scanner.schema.edge_kinds import EDGE_KINDS, STREET_SIDE
from scanner.schema.log_tables import ANSWERS
from scanner.schema.tables import OFFERS, check_table, empty_table

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
