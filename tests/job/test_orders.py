"""What to order over several jobs, worked out by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanner.book.plants import read_plants
from scanner.job.orders import round_parts, sum_order
from scanner.schema.log_tables import JOB_TASKS
from scanner.schema.tables import CHOSEN_PLANTS, empty_table
from tests.each import examples
from tests.job.job_cases import rate_book

RATES, SPECIES = rate_book(), read_plants(None)[0]


def tasks_of(job_id, **quantities):
    words = {
        "mulch": "spread mulch", "gravel": "spread gravel", "compost": "spread compost", "edging": "set edging",
        "fabric": "lay fabric", "heads": "cap or convert sprinkler heads", "mulch_ordered": "mulch with waste, by the half yard",
        "mulch_fetched": "fetch mulch", "mulch_delivered": "delivery of mulch",
    }  # fmt: skip
    blank = {
        name: np.nan if name.startswith(("actual", "estimated_h")) else 0
        for name in JOB_TASKS.columns
    }
    return pd.DataFrame([
        blank | {"job_id": job_id, "task": words[name], "quantity": quantity, "rate_key": "", "unit": ""}
        for name, quantity in quantities.items()
    ])  # fmt: skip


def planted(*rows):
    """Job, species, size and count of each bed."""
    if not rows:
        return empty_table(CHOSEN_PLANTS).assign(job_id="")
    return pd.DataFrame([
        {"job_id": job_id, "offer_id": job_id, "bed_id": f"{job_id}-{at}", "planting": "accent", "is_front": False,
         "plant": plant, "plants": f"{count} of them", "plant_count": count, "plant_size": size, "height_in": 16.0,
         "spread_in": 18.0, "extra_cents": 0}
        for at, (job_id, plant, size, count) in enumerate(rows)
    ])  # fmt: skip


def order(*tables, plants=(), species=SPECIES, rates=RATES):
    tasks = pd.concat(tables, ignore_index=True) if tables else empty_table(JOB_TASKS)
    return sum_order(tasks, planted(*plants), species=species, rates=rates)


def sums(ordered):
    rows = ordered[ordered["job_id"] == ""]
    return {row.material: (row.needed, row.order, row.sold_as) for row in rows.itertuples()}


def test_three_jobs_are_summed_first_then_wasted_once_then_rounded():
    # A is the worked bed: mulch 60 x 4 x 3 in = 2.222 yd3, edging 64 ft
    ordered = order(
        tasks_of("A", mulch=2.2222, edging=64, mulch_ordered=2.5), tasks_of("B", mulch=1.0, edging=33, mulch_ordered=1.5),
        tasks_of("C", mulch=0.6, edging=20, gravel=0.2, fabric=25, mulch_ordered=1.0),
        plants=[("A", "daylily", "3gal", 10), ("B", "catmint", "3gal", 4), ("C", "daylily", "3gal", 1), ("C", "daylily", "3gal", 2)],
    )  # fmt: skip
    assert sums(ordered) == {
        # 3.8222 x 1.1 = 4.204: 5 whole yards, where the jobs alone took 2.5 + 1.5 + 1.0, each with waste of its own
        "mulch": (4.2, 5.0, "whole yards, delivered"),
        # 0.2 yd3 x 1.3 ton x 1.1 = 0.286
        "gravel": (0.3, 0.3, "tons, to the shop"),
        # 117 ft are 15 sticks; job by job they would be 8 + 5 + 3 = 16
        "edging": (117, 15, "sticks of 8 ft"),
        # 25 x 1.1 = 27.5 of a roll's 400 ft2
        "fabric": (28, 1, "rolls of 4 × 100 ft"),
        "daylily, 3 gal": (13, 13, "pots"),
        "catmint, 3 gal": (4, 4, "pots"),
    }
    by_job = ordered[ordered["job_id"] != ""]
    assert by_job[by_job["material"] == "mulch"].set_index("job_id")["needed"].to_dict() == {
        "A": 2.4,
        "B": 1.1,
        "C": 0.7,
    }
    assert by_job[by_job["material"] == "daylily, 3 gal"].set_index("job_id")[
        "needed"
    ].to_dict() == {"A": 10, "C": 3}


def test_what_an_estimate_fetches_is_not_delivered_too():
    ordered = order(
        tasks_of("A", mulch=1.6, mulch_ordered=2.0, mulch_fetched=1), tasks_of("B", mulch=1.2, mulch_ordered=1.5, mulch_fetched=1),
        tasks_of("C", mulch=4.0, mulch_ordered=4.5, mulch_delivered=1),
    )  # fmt: skip
    assert sums(ordered) == {
        # C alone, 4.0 x 1.1 = 4.4: A and B come with 0.5 h each in their prices
        "mulch": (4.4, 5.0, "whole yards, delivered"),
        # 1.76 + 1.32 = 3.08; 2 yd3 and 1.5 yd3, the half yards of two trips
        "fetched mulch": (3.1, 3.5, "yards, crew fetches"),
    }
    by_job = ordered[ordered["job_id"] != ""].set_index("job_id")
    assert by_job["material"].to_dict() == {
        "A": "fetched mulch",
        "B": "fetched mulch",
        "C": "mulch",
    }
    assert by_job["order"].to_dict() == {"A": 2.0, "B": 1.5, "C": 0.0}


# computed in the trade's units for the worked bed of 60 x 4 ft: mulch 2.222 yd3, gravel 2.222 yd3 x 1.3 = 2.889 tons before
# waste, compost 0.96 yd3, edging 64 ft in sticks of 8, 10 and 16, fabric 240 ft2; half yards loaded, whole ones delivered
# (birchtreebarkandstone.com), whole tons delivered (mccauleysequipment.com)
@pytest.mark.parametrize(
    ("needs", "rates", "answer"),
    [
        ({"mulch": 2.2222}, {"waste_share": 0.0, "own_trailer_yd3": 3.0}, (2.2, 2.5, "yards, to the shop")),
        ({"mulch": 2.2222}, {"waste_share": 0.0}, (2.2, 3, "whole yards, delivered")),
        ({"mulch": 0.3}, {"own_trailer_yd3": 0.0}, (0.3, 1, "whole yards, delivered")),
        ({"gravel": 2.2222}, {"waste_share": 0.0}, (2.9, 3, "whole tons, delivered")),
        ({"compost": 0.96}, {}, (1.0, 1.0, "yards, to the shop")),
        ({"edging": 64}, {}, (64, 8, "sticks of 8 ft")),
        ({"edging": 64}, {"edging_stick_ft": 10}, (64, 7, "sticks of 10 ft")),
        ({"edging": 64}, {"edging_stick_ft": 16}, (64, 4, "sticks of 16 ft")),
        ({"fabric": 240}, {}, (264, 1, "rolls of 4 × 100 ft")),
        ({"heads": 4.8}, {}, (4.8, 5, "sets")),
        # 2 yd3 / 1.1 is 2 yd3 with its waste, which the own trailer takes
        ({"mulch": 2 / 1.1}, {}, (2.0, 2.0, "yards, to the shop")),
    ],
)  # fmt: skip
def test_each_material_comes_as_it_is_sold(needs, rates, answer):
    ordered = order(tasks_of("A", **needs), rates=rate_book(**rates))
    assert [*sums(ordered).values()] == [answer]


def test_flats_are_full():
    # 240 plants at 18 to a flat are 14 flats, 12 to spare; at 32 they are 8
    for flat, flats in ((18, 14), (32, 8)):
        thyme = {
            "creeping_thyme": SPECIES["creeping_thyme"].model_copy(update={"flat_count": flat})
        }
        ordered = order(
            plants=[("A", "creeping_thyme", "1gal", 140), ("B", "creeping_thyme", "1gal", 100)],
            species=thyme,
        )
        assert sums(ordered) == {"creeping thyme, 1 gal": (240, flats, f"flats of {flat}")}


def test_plants_that_nobody_named_are_ordered_all_the_same():
    assert sums(order(plants=[("A", "", "3gal", 7)])) == {
        "plant without a name, 3 gal": (7, 7, "pots")
    }


def test_no_job_needs_nothing():
    assert order().empty


@given(st.lists(st.floats(0, 40), min_size=1, max_size=9), st.sampled_from([0.1, 1.0]))
@examples(60)
def test_parts_as_printed_add_up_to_the_sum_as_printed(amounts, step):
    parts = round_parts(np.array(amounts), step)
    assert sum(parts) == pytest.approx(sum(amounts), abs=step / 2 + 1e-6)
    assert all(
        abs(part - amount) < step + 1e-6 for part, amount in zip(parts, amounts, strict=True)
    )
