"""One test of many cases: all are tried, and each that fails is reported by its name."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from functools import update_wrapper
from typing import Any

import pytest


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
