"""What a job would cost if its beds came out longer or shorter: prices to say on a visit."""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.ground.corrections import scale_beds
from scanner.job.prices import full_price_cents, price_offers
from scanner.job.quantities import know_lots, take_off
from scanner.schema.documents import Book, Scan, Season

STEP_FT, REACH_SHARE = 4.0, 0.25
"""Lengths are priced in such steps, so far either way."""
MOST_STEPS = 5
"""More rows than this to a side do not fit a clipboard: the step is doubled then."""


def price_lengths(
    book: Book, season: Season, found: Scan, offer_id: str
) -> tuple[pd.DataFrame, int]:
    """Price an offer at other lengths, all its beds longer or shorter alike.

    Rows: ``length_ft``, ``is_drawn`` and ``price_cents`` of each finish by name; and what one more
    sprinkler head adds [cents].
    """
    offer_beds, prices = found.table("offer_beds"), found.table("prices")
    beds = offer_beds[offer_beds["offer_id"] == offer_id].assign(share=np.nan, room_ft=np.nan)
    every = found.table("beds")
    every = every[every["client_id"] == beds["client_id"].iloc[0]]
    lots = know_lots(every, book.clients, rates=book.rates, answers=season.answers)
    drawn_ft = float(beds["edge_ft"].sum())
    lengths = [drawn_ft + off_ft for off_ft in _steps(drawn_ft)]
    # All at once: as drawn, the same with a head more, then every length
    sets = [beds, beds, *(beds.assign(share=length_ft / drawn_ft) for length_ft in lengths)]
    laid = pd.concat([one.assign(offer_id=str(at)) for at, one in enumerate(sets)])
    # Whoever asks for a shorter bed is told its price, however short
    scaled = scale_beds(laid.reset_index(drop=True), rules=book.rules).assign(skip_reason="")
    taken = take_off(scaled, lots, rates=book.rates)
    taken["head_count"] += np.arange(len(taken)) == len(beds)
    priced = price_offers(scaled, taken, lots, rates=book.rates).groupby("offer_id")
    bare, with_head = (priced.get_group(at)["direct_cost_cents"].iloc[0] for at in ("0", "1"))
    rows = [_row(prices[prices["offer_id"] == offer_id], drawn_ft, is_drawn=True)]
    rows += [
        _row(priced.get_group(str(at)), length_ft, is_drawn=False)
        for at, length_ft in enumerate(lengths, start=2)
    ]
    table = pd.DataFrame(rows).sort_values("length_ft", ignore_index=True)
    return table, int(full_price_cents(np.array([with_head - bare]), book.rates)[0])


def _steps(drawn_ft: float) -> list[float]:
    """How much longer or shorter, without nothing.

    >>> _steps(34.0), len(_steps(130.0))
    ([-8.0, -4.0, 4.0, 8.0], 8)
    """
    step = STEP_FT
    while drawn_ft * REACH_SHARE >= step * (MOST_STEPS + 1):
        step *= 2
    count = int(drawn_ft * REACH_SHARE / step + 1e-9)
    return [step * at for at in range(-count, count + 1) if at]


def _row(prices: pd.DataFrame, length_ft: float, *, is_drawn: bool) -> dict[str, float]:
    by_finish = dict(zip(prices["finish"], prices["price_cents"], strict=True))
    return {"length_ft": length_ft, "is_drawn": is_drawn, **by_finish}
