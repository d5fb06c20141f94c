"""What tests of several commands share."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import pytest

from tests.cli.desk import all_heard, lots_heard, scanning_once


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
    """A scan writes an empty map, which takes a third as long as the rest: for tests that look at lists and beds."""

    def no_pages(_scan: object, parts: Iterable[object]) -> Iterator[list[tuple[str, bytes]]]:
        yield [("map.html", b"")]
        yield from ([] for _ in parts)
        yield []

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("scanner.pages.webmap.map_pages", no_pages)
        yield
