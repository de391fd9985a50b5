"""One Chromium for the tests of the pages, driven over the pipe of its developer tools; nothing has to be fetched.

Chromium reads commands from file descriptor 3 and writes answers and events to 4, JSON ended by a zero byte
(--remote-debugging-pipe, Chrome DevTools Protocol).
"""

from __future__ import annotations

import base64
import json
import os
import shutil
import subprocess
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

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
PATIENCE = 30.0  # s, for one answer


class Browser:
    """A running Chromium."""

    def __init__(self, profile: Path) -> None:
        commands_out, self._commands = os.pipe()
        self._answers, answers_in = os.pipe()
        flags = " ".join((*FLAGS, "--mute-audio", "--remote-debugging-pipe"))
        line = f'exec chromium {flags} --user-data-dir="{profile}" 3<&{commands_out} 4>&{answers_in}'
        self._process = subprocess.Popen(
            ["bash", "-c", line],
            pass_fds=(commands_out, answers_in),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(commands_out)
        os.close(answers_in)
        os.set_blocking(self._answers, False)
        self._rest, self._number = b"", 0
        self.events: list[dict[str, Any]] = []

    def call(self, method: str, session: str | None = None, **parameters: Any) -> dict[str, Any]:
        """Give one command and wait for its answer."""
        self._number += 1
        message: dict[str, Any] = {"id": self._number, "method": method, "params": parameters}
        if session is not None:
            message["sessionId"] = session
        os.write(self._commands, json.dumps(message).encode() + b"\0")
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end:
            for found in self._messages():
                if found.get("id") == self._number:
                    assert "error" not in found, found["error"]
                    return dict(found["result"])
                self.events.append(found)
        raise TimeoutError(f"Chromium did not answer {method}")

    def _messages(self) -> list[dict[str, Any]]:
        with suppress(BlockingIOError):
            while piece := os.read(self._answers, 1 << 20):
                self._rest += piece
        *whole, self._rest = self._rest.split(b"\0")
        if not whole:
            time.sleep(0.005)
        return [json.loads(message) for message in whole]

    def page(self, path: Path, width: int = 1280, height: int = 800, reduced: bool = False) -> Page:
        """Open a file in a tab of that size."""
        return Page(self, path, width, height, reduced)

    def close(self) -> None:
        """End it."""
        with suppress(TimeoutError, OSError):
            self.call("Browser.close")
        try:
            self._process.wait(10.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
        os.close(self._commands)
        os.close(self._answers)


class Page:
    """One tab with a file in it; what it complains of and what it asks for is kept."""

    def __init__(self, browser: Browser, path: Path, width: int, height: int, reduced: bool) -> None:
        self._browser = browser
        self._target = str(browser.call("Target.createTarget", url="about:blank")["targetId"])
        attached = browser.call("Target.attachToTarget", targetId=self._target, flatten=True)
        self._session = str(attached["sessionId"])
        for room in ("Page", "Runtime", "Network", "Log"):
            self.call(f"{room}.enable")
        self.resize(width, height)
        value = "reduce" if reduced else "no-preference"
        self.call("Emulation.setEmulatedMedia", features=[{"name": "prefers-reduced-motion", "value": value}])
        self.call("Page.navigate", url=path.as_uri())
        self.until("document.documentElement?.dataset.ready === 'yes'")

    def call(self, method: str, **parameters: Any) -> dict[str, Any]:
        """One command to this tab."""
        return self._browser.call(method, self._session, **parameters)

    def resize(self, width: int, height: int) -> None:
        """Give the page that many pixels."""
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)

    def value(self, code: str) -> Any:
        """What an expression comes to; a promise is waited for. `code` counts as a click of the user."""
        answer = self.call("Runtime.evaluate", expression=code, awaitPromise=True, returnByValue=True, userGesture=True)
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def until(self, code: str, seconds: float = 10.0) -> None:
        """Wait until an expression is true."""
        end = time.monotonic() + seconds
        while not self.value(code):
            assert time.monotonic() < end, f"never true: {code}"
            time.sleep(0.05)

    def click(self, selector: str) -> None:
        """Click the middle of an element."""
        place = self.value(
            f"(() => {{const e = document.querySelector({json.dumps(selector)}); e.scrollIntoView({{block: 'center'}});"
            "const b = e.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2];})()"
        )
        for kind in ("mousePressed", "mouseReleased"):
            self.call("Input.dispatchMouseEvent", type=kind, x=place[0], y=place[1], button="left", clickCount=1)

    def key(self, name: str, code: int, text: str = "") -> None:
        """Press and release a key."""
        for kind in ("keyDown", "keyUp"):
            given = {"text": text} if text and kind == "keyDown" else {}
            self.call("Input.dispatchKeyEvent", type=kind, key=name, code=name, windowsVirtualKeyCode=code, **given)

    def picture(self, path: Path, whole: bool = True) -> None:
        """Write what it looks like as PNG."""
        shown = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=whole)
        path.write_bytes(base64.b64decode(shown["data"]))

    def printed(self, path: Path) -> None:
        """Write what it prints as PDF."""
        path.write_bytes(base64.b64decode(self.call("Page.printToPDF", preferCSSPageSize=True)["data"]))

    def complaints(self) -> list[str]:
        """Errors in its console, and uncaught ones."""
        found = []
        for event in self._events():
            if event["method"] == "Runtime.exceptionThrown":
                found.append(json.dumps(event["params"]["exceptionDetails"]))
            if event["method"] == "Runtime.consoleAPICalled" and event["params"]["type"] in ("error", "warning"):
                found.append(json.dumps(event["params"]["args"]))
            if event["method"] == "Log.entryAdded" and event["params"]["entry"]["level"] in ("error", "warning"):
                found.append(event["params"]["entry"]["text"])
        return found

    def requests(self) -> list[str]:
        """Addresses that the page asked for."""
        asked = [event for event in self._events() if event["method"] == "Network.requestWillBeSent"]
        return [str(event["params"]["request"]["url"]) for event in asked]

    def _events(self) -> list[dict[str, Any]]:
        self.value("1")
        return [event for event in self._browser.events if event.get("sessionId") == self._session]

    def close(self) -> None:
        """Close the tab."""
        self._browser.call("Target.closeTarget", targetId=self._target)


def started_browser(folder: Path) -> Browser:
    """A Chromium with a fresh profile; skipped with the reason where there is none, a failure on a build machine."""
    if shutil.which("chromium") is None:
        text = "the tests of the pages need chromium (Debian package chromium)"
        (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)(text)
    return Browser(folder)
