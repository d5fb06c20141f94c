"""What browser tests of several pages share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser

from tests.pages.tabs import Tabs
from tests.pages.trace_desk import Hand


@pytest.fixture(scope="session")
def tabs(chromium: Browser) -> Iterator[Tabs]:
    """A tab a device, with a hand that can draw."""
    tabs = Tabs(chromium, Hand)
    yield tabs
    tabs.close()
