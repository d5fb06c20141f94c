"""What tests of every room share: the system's Chromium, and the skip where there is none."""

from __future__ import annotations

import gc
import multiprocessing
import os
import shutil
import tempfile
from collections.abc import Iterator
from multiprocessing.context import BaseContext
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import Phase, settings
from xdist.scheduler import LoadFileScheduling

from scanner.cli.group import SELDOM

if TYPE_CHECKING:
    from playwright.sync_api import Browser

    from tests.pages.tabs import Tabs

collect_ignore = ["fuzz/covered.py"]  # needs a fuzzer that is installed by hand

CHROMIUM_NAMES = (
    "chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome",
    "microsoft-edge", "msedge",
)  # fmt: skip
CHROMIUM_PLACES = (
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "C:/Program Files/Google/Chrome/Application/chrome.exe",
    "C:/Program Files (x86)/Google/Chrome/Application/chrome.exe",
    "C:/Program Files (x86)/Microsoft/Edge/Application/msedge.exe",
)
CHROMIUM_FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
NO_CHROMIUM = "no Chromium on this machine"


def chromium_path() -> str | None:
    """Say where this machine's Chromium is: $CHROMIUM_PATH, else the usual names and places."""
    if named := os.environ.get("CHROMIUM_PATH"):
        return named
    found = (shutil.which(name) for name in CHROMIUM_NAMES)
    placed = (place for place in CHROMIUM_PLACES if Path(place).exists())
    return next((path for path in (*found, *placed) if path), None)


LONGEST = (
    "test_trace_browser", "test_demo", "test_sample", "test_hostile_text", "test_record", "test_reuse", "test_season",
    "test_webmap_browser", "test_quote", "test_visit", "test_store", "test_build", "test_accessible_browser", "test_letters",
    "test_four_ways", "test_sold", "test_benchmarks", "test_ceilings", "test_properties", "test_assemble", "test_next_scan",
    "test_publish", "test_plan", "test_forget", "test_mutations", "test_calls",
)  # fmt: skip
"""Files of seconds, the longest first, what their browser takes included: a worker that takes one of them up last lets the others wait."""


SHARING = (
    ("test_trace_browser", "test_webmap_browser", "test_accessible_browser", "test_checklist", "test_demo", "test_hostile_text"),
    ("test_ceilings", "test_mutations", "test_log_bad_days"),
    ("test_season", "test_springs", "test_chance", "test_calibration"),
)  # fmt: skip
"""Files that one worker takes up together: those which open the browser, which fork from one warm parent, and which load `scipy.stats`."""


class Sharing(LoadFileScheduling):
    """Give each worker whole files, and all of those that share what takes a second to start."""

    def _split_scope(self, nodeid: str) -> str:
        file = super()._split_scope(nodeid)
        return next((some[0] for some in SHARING if Path(file).stem in some), file)


def pytest_xdist_make_scheduler(config: pytest.Config, log: object) -> Sharing | None:
    """Deal files to workers, unless another way was asked for."""
    return Sharing(config, log) if config.getvalue("dist") == "loadfile" else None


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the longest files; skip the tests marked ``browser`` where no Chromium is, and say so."""
    place = {stem: at for at, stem in enumerate(LONGEST)}
    items.sort(key=lambda item: place.get(item.path.stem, len(place)))
    if chromium_path():
        return
    for item in items:
        if item.get_closest_marker("browser"):
            item.add_marker(pytest.mark.skip(reason=NO_CHROMIUM))


IN_MEMORY, ROOM_BYTES = Path("/dev/shm"), 2 << 30  # noqa: S108  # a folder for passing files is what is wanted
"""Where folders of passing files lie in memory, and the room that all tests together never come near."""


def pytest_configure() -> None:
    """Keep folders of tests in memory, and let the garbage collector come less often: it took a sixth of a small scan."""
    # Pages and logs are flushed to the disk, for which the tests would wait longer than for a small scan
    if (
        "TMPDIR" not in os.environ
        and os.access(IN_MEMORY, os.W_OK)
        and shutil.disk_usage(IN_MEMORY).free > ROOM_BYTES
    ):
        os.environ["TMPDIR"] = tempfile.tempdir = str(IN_MEMORY)
    # What is frozen has no referrers for hypothesis, whose older versions warn of that.
    gc.set_threshold(*SELDOM)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Open the system's Chromium once for all tests of a worker."""
    path = chromium_path()
    if path is None:
        pytest.skip(NO_CHROMIUM)
    from playwright.sync_api import sync_playwright  # noqa: PLC0415  # which one worker loads

    with sync_playwright() as playwright:
        # Chromium refuses to run as root inside its sandbox, and a test container runs as root.
        browser = playwright.chromium.launch(executable_path=path, args=list(CHROMIUM_FLAGS))
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def tabs(chromium: Browser) -> Iterator[Tabs]:
    """A tab a device with the network cut, and a hand that can draw."""
    from tests.pages.tabs import Tabs  # noqa: PLC0415  # which only tests of pages load
    from tests.pages.trace_desk import Hand  # noqa: PLC0415

    tabs = Tabs(chromium, Hand)
    yield tabs
    tabs.close()


@pytest.fixture(scope="session")
def children() -> Iterator[BaseContext]:
    """Processes that have the readers and the log loaded and nothing else, so that each begins at once."""
    with pytest.MonkeyPatch.context() as patch:
        # Its own pool takes a gigabyte of addresses at once, used or not
        patch.setenv("ARROW_DEFAULT_MEMORY_POOL", "system")
        context = multiprocessing.get_context("forkserver")
        context.set_forkserver_preload(["tests.test_ceilings", "tests.calls.test_log_bad_days"])
        yield context


# On the gate the examples are the same each time, so that it judges the change and not the
# dice; at a desk they differ. Whole lots shrink for minutes and read as well unshrunk.
settings.register_profile("gate", derandomize=True, deadline=None)
settings.register_profile("desk", deadline=None, phases=set(Phase) - {Phase.shrink})
settings.load_profile("gate" if os.environ.get("CI") else "desk")
