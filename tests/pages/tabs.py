"""Pages in the system's Chromium with the network cut: one tab a device, which goes from story to story."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import pytest

DESK = {"width": 1280, "height": 800}
PHONE = {"width": 390, "height": 844}
TOUCH = {"size": PHONE, "has_touch": True, "is_mobile": True}


class Opened:
    """A tab, and all that its page asked for or complained of."""

    def __init__(self, browser, **device):
        self.context = browser.new_context(reduced_motion="reduce", **device)
        self.context.set_default_timeout(8000)
        self.is_touch = bool(device.get("has_touch"))
        self.place, self.asked, self.complaints = "", [], []
        self.page = self.context.new_page()
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("dialog", self._answer)

    def _answer(self, dialog) -> None:
        self.complaints.append(dialog.message)
        dialog.accept()  # a page that asks whether it may be left is left

    def go(self, place: str, size) -> None:
        """Leave the page of another story, with all that belongs to it, and open one."""
        self.context.unroute_all()
        self.context.set_offline(True)
        self.page.emulate_media(media="null", reduced_motion="reduce")
        self.page.set_viewport_size(size)
        self.asked.clear()
        self.complaints.clear()
        self.place = place
        self.page.goto(place)

    def quiet(self) -> None:
        assert set(self.asked) == {self.place}
        assert self.complaints == []

    def until(self, condition: str) -> None:
        """Wait in steps: the page's policy forbids the evaluation that Playwright would wait with."""
        for _ in range(100):
            if self.page.evaluate(condition):
                return
            self.page.wait_for_timeout(50)
        pytest.fail(f"never came true: {condition}")


class Tabs:
    """The tabs of all stories: a new one takes longer than most of them."""

    def __init__(self, browser, kind):
        self.browser, self.kind, self.tabs = browser, kind, {}

    def open(self, file: Path, *, size=DESK, **device):
        """Open a file on a device."""
        key = frozenset(device.items())
        if key not in self.tabs:
            self.tabs[key] = self.kind(self.browser, **device)
        self.tabs[key].go(file.as_uri(), size)
        return self.tabs[key]

    def close(self) -> None:
        for tab in self.tabs.values():
            tab.context.close()


def white_dot():
    """Write the smallest PNG (PNG specification, section 5: signature, IHDR, IDAT, IEND)."""

    def chunk(kind, body):
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    head = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    parts = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0\xff")) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + parts


def runs_alien_scripts(page):
    """Whether a page runs a script that somebody puts into it."""
    page.evaluate("""() => {
        const alien = document.createElement("script");
        alien.textContent = "window.alien = true";
        document.body.append(alien);
    }""")
    return page.evaluate("window.alien !== undefined")


def serve_dots(one):
    """Answer whatever is asked of the network with a white dot; gives what was asked."""
    one.context.set_offline(False)
    served = []

    def serve(route):
        served.append(route.request.url)
        route.fulfill(body=white_dot(), content_type="image/png")

    one.context.route("**/*", serve)
    one.page.click("#grounds summary")
    one.page.check("input[value=imagery]")
    return served
