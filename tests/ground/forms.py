"""A lot drawn in several ways, side by side, so that all are surveyed at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from scanner.ground.survey import Survey
from scanner.schema.documents import LocalRules
from tests.sites import Drawing, densified, moved, restarted, surveys, turned

FORMS = {
    "plain": lambda shape: shape,
    "turned37": turned(37),
    "turned200": turned(200),
    "reversed": restarted,
    "densified": densified(3.7),
    "moved": moved(0.3, -0.4),
}
"""Ways to draw the same lot."""

APART_FT = 3000.0
"""Far beyond what any lot looks at."""


def in_all_forms(drawing: Drawing) -> Drawing:
    """Lay a lot of client A down once a form, by a client named for it."""
    rows = ()
    for at, (name, change) in enumerate(FORMS.items()):
        laid = drawing.change(change).change(moved(APART_FT * at, 0.0))
        rows += tuple(
            (kind, shape, {**row, "client_id": name if row["client_id"] == "A" else ""})
            for kind, shape, row in laid.features
        )
    return replace(drawing, features=rows)


def shaken(
    drawings: Mapping[Any, Drawing], turns: Iterable[float], rules: LocalRules | None = None
) -> dict[Any, Survey]:
    """Survey drawings turned and rounded as files hold them, by name and degrees."""
    ways = {
        (name, degrees): drawing.change(turned(degrees))
        for name, drawing in drawings.items()
        for degrees in turns
    }
    return surveys(ways, rules, decimals=9)
