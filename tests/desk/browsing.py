"""A real browser, headless, and a window of it."""

from __future__ import annotations

import atexit
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
NO_CHROMIUM = "no Chromium on this computer (Debian: apt-get install chromium)"


@cache
def _driver() -> Any:
    """Playwright itself: one for the whole run, as a second in the same thread is refused."""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415  (skipped where it is not installed)

    started = sync_playwright().start()
    atexit.register(started.stop)
    return started


@contextmanager
def launched(*options: str) -> Iterator[Any]:
    """The browser, without any talk of its own to the network."""
    quiet = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]
    quiet += ["--disable-component-update", "--disable-sync", "--autoplay-policy=no-user-gesture-required"]
    browser = _driver().chromium.launch(executable_path=CHROMIUM, args=[*quiet, *options])
    yield browser
    browser.close()


class Window:
    """A page of the browser, and how often a key was pressed in it."""

    def __init__(self, page: Any, address: str) -> None:
        self.page, self.address, self.presses = page, address, 0
        self.faults: list[str] = []
        self.played: list[str] = []
        page.on("pageerror", lambda fault: self.faults.append(str(fault)))
        page.on("console", lambda m: self.faults.append(m.text) if m.type == "error" else None)
        page.on("request", lambda r: self.played.append(r.url) if "/sound?" in r.url else None)
        page.set_default_timeout(30_000)

    def open(self, path: str) -> None:
        """Go to a page."""
        self.page.goto(self.address + path)

    def press(self, *keys: str) -> None:
        """Press keys as a person does, without waiting for the page."""
        for key in keys:
            self.page.keyboard.press(key)
            self.presses += 1

    def settled(self, expression: str, *, within: float = 30) -> None:
        """Wait until something holds in the page, for so many seconds."""
        deadline = time.monotonic() + within
        while not self.page.evaluate(expression):  # wait_for_function would need "unsafe-eval"
            assert time.monotonic() < deadline, expression
            self.page.wait_for_timeout(20)


def window_of(chromium: Any, desk: Any, address: str, **options: Any) -> Window:
    context = chromium.new_context(**options)
    port = address.rpartition(":")[2]
    for name, value in ((f"earside_{port}", "the-key"), (f"earside_who_{port}", "Ann%20Example")):
        context.add_cookies([{"name": name, "value": value, "url": address}])
    return Window(context.new_page(), address)
