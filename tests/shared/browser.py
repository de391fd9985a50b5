"""One Chromium for the tests of the pages, driven by Playwright: the browser is the system's own, none is fetched."""

from __future__ import annotations

import os
import shutil
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:  # only the few tests that use a browser load it
    from playwright.sync_api import Browser as Chromium
    from playwright.sync_api import CDPSession, ConsoleMessage, Playwright
    from playwright.sync_api import Page as Tab

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


class Browser:
    """A running Chromium."""

    def __init__(self, playwright: Playwright, chromium: Chromium) -> None:
        self._playwright, self._chromium = playwright, chromium

    def page(self, path: Path, width: int = 1280, height: int = 800, reduced: bool = False) -> Page:
        """Open a file in a tab of that size."""
        motion = "reduce" if reduced else "no-preference"
        return Page(
            self._chromium.new_page(viewport={"width": width, "height": height}, reduced_motion=motion), path.as_uri()
        )

    def close(self) -> None:
        """End it."""
        self._chromium.close()
        self._playwright.stop()


class Page:
    """One tab with a file in it; what it complains of and what it asks for is kept."""

    def __init__(self, tab: Tab, address: str) -> None:
        self._tab = tab
        self._complaints: list[str] = []
        self._requests: list[str] = []
        tab.on("console", self._said)
        tab.on("pageerror", lambda error: self._complaints.append(str(error)))
        tab.on("request", lambda request: self._requests.append(request.url))
        tab.goto(address)
        self.until("document.documentElement?.dataset.ready === 'yes'")

    def _said(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self._complaints.append(message.text)

    def tools(self) -> CDPSession:
        """The developer tools of this tab, for what Playwright has no word of its own."""
        return self._tab.context.new_cdp_session(self._tab)

    def resize(self, width: int, height: int) -> None:
        """Give the page that many pixels."""
        self._tab.set_viewport_size({"width": width, "height": height})

    def value(self, code: str) -> Any:
        """What an expression comes to; a promise is waited for. `code` counts as a click of the user."""
        return self._tab.evaluate(code)

    def until(self, code: str, seconds: float = 10.0) -> None:
        """Wait until an expression is true (Playwright's own wait needs eval, which the page forbids)."""
        end = time.monotonic() + seconds
        while not self.value(code):
            assert time.monotonic() < end, f"never true: {code}"
            self._tab.wait_for_timeout(50.0)

    def click(self, selector: str) -> None:
        """Click the middle of an element; what covers it would be an error."""
        self._tab.click(selector)

    def key(self, name: str) -> None:
        """Press and release a key."""
        self._tab.keyboard.press(name)

    def picture(self, path: Path, whole: bool = True) -> None:
        """Write what it looks like as PNG."""
        self._tab.screenshot(path=path, full_page=whole)

    def printed(self, path: Path) -> None:
        """Write what it prints as PDF."""
        self._tab.pdf(path=path, prefer_css_page_size=True)

    def complaints(self) -> list[str]:
        """Errors and warnings in its console, and uncaught errors."""
        self.value("1")
        return self._complaints

    def requests(self) -> list[str]:
        """Addresses that the page asked for."""
        self.value("1")
        return self._requests

    def close(self) -> None:
        """Close the tab."""
        self._tab.close()


def started_browser() -> Browser:
    """A Chromium with a fresh profile; skipped with the reason where there is none, a failure on a build machine."""
    found = shutil.which("chromium")
    if found is None:
        text = "the tests of the pages need chromium (Debian package chromium)"
        (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)(text)
    from playwright.sync_api import sync_playwright

    playwright = sync_playwright().start()
    return Browser(playwright, playwright.chromium.launch(executable_path=found, args=[*FLAGS, "--mute-audio"]))
