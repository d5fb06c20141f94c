"""Shapes that cross themselves by a hair are put right, also where the library's first way fails."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from scanner.plane.grid import mend

# A strip of a bed whose border comes back over itself by less than a thousandth of a foot, and
# one beside it: making it valid by its rings ends in a side location conflict
STRIPS = (
    [(-22159.49072265625, 27224.84814453125), (-22131.84521484375, 27227.6708984375),
     (-22152.643902642063, 27225.547241399774), (-22152.87104484542, 27225.524048968433),
     (-22152.936042991572, 27225.516032211734)],
    [(-22158.780029296875, 27217.885009765625), (-22150.345511245676, 27218.746278352373),
     (-22149.686071467353, 27218.813615307783)],
)  # fmt: skip


def test_a_shape_that_defeats_the_first_way_is_mended_by_the_second():
    strips = shapely.MultiPolygon([shapely.Polygon(ring) for ring in STRIPS])
    with pytest.raises(shapely.errors.GEOSException):
        shapely.make_valid(strips, method="structure")
    whole, plain = mend(np.array([strips, shapely.box(0, 0, 4, 3)], dtype=object))
    assert shapely.is_valid(whole)
    assert whole.area == pytest.approx(sum(shapely.Polygon(ring).area for ring in STRIPS), abs=0.01)
    assert plain.area == 12
