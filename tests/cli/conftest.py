"""What tests of several commands share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.cli.desk import scanning_once


@pytest.fixture(scope="module")
def scanned_once() -> Iterator[None]:
    """What is asked of the same book and log is asked of the same scan: for tests of what is made of it."""
    with scanning_once():
        yield
