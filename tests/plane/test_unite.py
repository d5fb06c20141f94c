"""Unions are looked over: what the library leaves out is put back."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from scanner.plane.grid import unite


def _joined(shapes):
    whole = shapely.Polygon()
    for shape in shapes:
        whole = shapely.union(whole, shape)
    return whole


def test_a_shape_that_a_union_leaves_out_is_put_back(monkeypatch):
    """As GEOS 3.14 did on a lot turned 336°: of three strips side by side the first was gone."""

    def forgetful(groups, **_axis):
        return np.array([_joined(shapely.get_parts(one)[1:]) for one in groups[:, 0]])

    monkeypatch.setattr(shapely, "union_all", forgetful)
    strips = shapely.box([0, 4, 8], 0, [4, 8, 12], 58)
    (whole,) = unite(strips, np.zeros(3, int), 1)
    assert whole.area == pytest.approx(12 * 58)
