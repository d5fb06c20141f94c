"""One test of many cases: all are tried, and each that fails is reported by its name."""

from __future__ import annotations

import inspect
import os
from collections.abc import Callable, Mapping
from functools import update_wrapper
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings

DEPTH = int(os.environ.get("TEST_DEPTH", "1"))
"""How many times as many examples as usual are drawn: ``TEST_DEPTH=20`` by hand, for a night."""


def examples(count: int) -> settings:
    """
    Draw so many examples.

    Few where each of them is a whole street of lots or a table of beds, which is looked at at
    once and takes little longer than one lot or bed. One that fails says enough unshrunk.
    """
    return settings(
        max_examples=count * DEPTH,
        deadline=None,
        phases=set(Phase) - {Phase.shrink},
        suppress_health_check=[HealthCheck.too_slow],
    )


def each(find: Callable[[], Mapping[Any, Any]]) -> Callable[[Callable[..., None]], Callable]:
    """Check every case of a mapping made when the test runs: ``check(what)`` or ``check(what, name)``."""

    def decorate(check: Callable[..., None]) -> Callable[[pytest.Subtests], None]:
        wants_name = len(inspect.signature(check).parameters) == 2

        def test(subtests: pytest.Subtests) -> None:
            cases = find()
            assert cases, "no case to check"
            for name, what in cases.items():
                with subtests.test(str(name)):
                    check(what, name) if wants_name else check(what)

        update_wrapper(test, check)
        del test.__wrapped__  # pytest would ask for the check's own arguments
        return test

    return decorate
