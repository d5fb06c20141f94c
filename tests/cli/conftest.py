"""What tests of several commands share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.cli.desk import all_heard, leaving_map_out, lots_heard, scanning_once


@pytest.fixture(scope="module")
def scanned_once() -> Iterator[None]:
    """What is asked of the same book and log is asked of the same scan: for tests of what is made of it."""
    with scanning_once(all_heard):
        yield


@pytest.fixture(scope="module")
def lots_scanned_once() -> Iterator[None]:
    """The same for papers of a lot, which rest on no call."""
    with scanning_once(lots_heard):
        yield


@pytest.fixture(scope="module")
def without_map() -> Iterator[None]:
    """A scan writes an empty map: for tests that look at lists and beds."""
    with leaving_map_out():
        yield
