"""A line of progress on a terminal for work that takes more than a second; pipes and files never see one."""

from __future__ import annotations

import os
import sys
import threading
import time

from synth.terminal import columns

QUIET_TIME = 1.0  # seconds before a line is shown
RENEWAL = 0.2  # seconds between two states of a line
TELLING = 0.02  # share done, from which what is left can be told

_open: list[ProgressLine] = []  # the innermost is shown
_lock = threading.Lock()
_written = 0  # characters of the line that stands on the terminal
_finished = threading.Event()


class ProgressLine:
    """Work in hand, as a context: `what` with the seconds it has taken, or with those left once a share is told.

    Call it with that share, 0 to 1. Within another one it is shown in its place. At its end the line is erased.
    """

    def __init__(self, what: str) -> None:
        self._what = what
        self._begin, self._share = time.monotonic(), 0.0

    def __enter__(self) -> ProgressLine:
        self._begin = time.monotonic()
        if _can_renew():
            with _lock:
                _open.append(self)
                if len(_open) == 1:
                    _finished.clear()
                    threading.Thread(target=_renew, name="progress", daemon=True).start()
        return self

    def __call__(self, share: float) -> None:
        self._share = share

    def __exit__(self, *_: object) -> None:
        with _lock:
            if self in _open:
                _open.remove(self)
            if not _open:
                _finished.set()
            _erase()

    def text(self, now: float) -> str:
        """What is shown at the time `now` of time.monotonic; nothing at first."""
        taken = now - self._begin
        if taken < QUIET_TIME:
            return ""
        if self._share < TELLING:
            return f"{self._what}, {_duration(taken)}"
        left = taken * (1.0 - self._share) / self._share
        return f"{self._what} {min(self._share, 1.0):4.0%}, {_duration(left)} left"


def erase_progress() -> None:
    """Make room for something else on the terminal; the line comes back after it."""
    with _lock:
        _erase()


def _can_renew() -> bool:
    """Whether stderr is a terminal that can write a line anew."""
    return sys.stderr is not None and sys.stderr.isatty() and os.environ.get("TERM") != "dumb"


def _renew() -> None:
    while not _finished.wait(RENEWAL):
        with _lock:
            if _open and not _finished.is_set():
                _write(_open[-1].text(time.monotonic()))


def _write(text: str) -> None:
    global _written
    if not text:
        _erase()
        return
    text = text[: (columns(sys.stderr) or 80) - 1]
    print(f"\r{text:<{_written}}", end="", file=sys.stderr, flush=True)
    _written = len(text)


def _erase() -> None:
    global _written
    if _written:
        print(f"\r{'':<{_written}}\r", end="", file=sys.stderr, flush=True)
        _written = 0


def _duration(seconds: float) -> str:
    """A time to wait, as said."""
    return f"{seconds:.0f} s" if seconds < 99.5 else f"{seconds / 60.0:.0f} min"
