"""What bears on a lot: what its walls may look across to a street, and what lies near."""

import numpy as np
import pandas as pd
import pytest
from shapely import box

from scanner.ground.setting.bearing import list_bearing
from scanner.store.land import ENDS
from tests.sites import Drawing, features_of, rules_of_cases

LOT = box(0, 0, 80, 120)
"""The house of A lies in the middle of it; the only street runs north of it, 150 ft beyond its line."""


def bearing(drawing, client="A"):
    """Places in the drawing of what bears on a lot."""
    features = features_of(drawing)
    table = pd.DataFrame(features.drop(columns="geometry")).join(
        features.geometry.bounds.set_axis(ENDS, axis=1)
    )
    shapes = features.geometry.to_numpy()
    pairs = list_bearing(
        table, shapes.__getitem__, np.array([client], object), rules=rules_of_cases()
    )
    assert {*pairs["client_id"]} == {client}
    return sorted(pairs["row"])


TOWN = (
    Drawing().add("property", LOT).add("house", box(20, 40, 60, 80))
    .add("street", box(-300, 270, 380, 300), client="")
)  # fmt: skip


@pytest.mark.parametrize(
    ("other", "bears"),
    [
        (box(0, 180, 80, 240), True),  # between the house and the street, 60 ft off the lot
        (box(75, 180, 120, 240), True),  # a corner of it may be
        (box(180, 180, 260, 240), False),  # far to the side of every view
        (box(0, -140, 80, -60), False),  # behind the house, farther off than what lies near
        (box(0, -80, 80, -30), True),  # near
    ],
)  # fmt: skip
@pytest.mark.parametrize("owner", ["", "B"])
def test_outlines_bear_where_a_wall_may_look_across_them(other, bears, owner):
    rows = bearing(TOWN.add("property", other, client=owner))
    assert rows == ([0, 1, 2, 3] if bears else [0, 1, 2])


def test_a_street_bears_from_afar_and_a_drive_from_nearby():
    town = TOWN.add("drive", box(90, 0, 100, 50), client="").add("drive", box(130, 0, 140, 50), client="")  # fmt: skip
    assert bearing(town.add("street", box(500, -300, 530, 0), client="")) == [0, 1, 2, 3]
    assert bearing(town.add("street", box(350, -300, 370, 0), client="")) == [0, 1, 2, 3, 5]


def test_an_outline_drawn_again_bears_with_the_one_that_it_repeats():
    """Whether nobody's outline stands in the way hangs on a client's outline that is the same ground."""
    again = TOWN.add("property", box(0, 180, 80, 240), client="")
    behind = box(30, 239, 200, 265)
    assert bearing(again.add("property", behind, client="B")) == [0, 1, 2, 3, 4]


def test_what_a_neighbors_strip_hangs_on_bears_where_both_may_claim_the_same_ground():
    """Lots side by side on a street may; lots back to back have no street between them."""
    row = Drawing().add("street", box(-200, -40, 400, -10), client="").add("property", LOT)
    beside = row.add("property", box(80, 0, 160, 120), client="B")
    shed = ("outbuilding", box(150, 0, 158, 8))
    assert bearing(beside.add(*shed, client="B")) == [0, 1, 2, 3]
    back = row.add("property", box(0, 120, 80, 240), client="B")
    assert bearing(back.add("outbuilding", box(20, 160, 28, 168), client="B")) == [0, 1, 2]
