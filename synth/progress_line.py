"""A line of progress on a terminal for work that takes more than a second; pipes and files never see one."""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import suppress
from typing import TypeVar

from synth.terminal import columns

QUIET_TIME = 1.0  # seconds before a line is shown
RENEWAL = 0.2  # seconds between two states of a line
TELLING = 0.02  # share done, from which what is left can be told

Item = TypeVar("Item")

_open: list[ProgressLine] = []  # from the outermost to the innermost
_lock = threading.Lock()
_written = 0  # characters of the line that stands on the terminal
_finished = threading.Event()
_renewing: threading.Thread | None = None
_silent = False


class ProgressLine:
    """Work in hand, as a context: `what` with the seconds it has taken, or with those left once a share is told.

    Call it with that share, 0 to 1; 0 where what is counted begins later than the context. Where what begins now has
    lines of its own, give the share that is done after it as well: they fill the way there. Of lines within each other
    the outermost that counts is shown; where none does, the innermost. At its end the line is erased.
    """

    def __init__(self, what: str) -> None:
        self._what = what
        self._begin = self._counted_from = time.monotonic()
        self._share, self._after = 0.0, 0.0

    def __enter__(self) -> ProgressLine:
        global _renewing
        self._begin = self._counted_from = time.monotonic()
        if _can_renew():
            with _lock:
                _open.append(self)
                if len(_open) == 1:
                    _finished.clear()
                    _renewing = threading.Thread(target=_renew, name="progress", daemon=True)
                    _renewing.start()
        return self

    def __call__(self, share: float, after: float | None = None) -> None:
        if share == 0.0:
            self._counted_from = time.monotonic()
        self._share, self._after = share, share if after is None else after

    def each(self, items: Sequence[Item]) -> Iterator[Item]:
        """The items, one after the other, each an equal part of the work; one alone is told by the lines within."""
        for number, item in enumerate(items):
            if len(items) > 1:
                self(number / len(items), (number + 1) / len(items))
            yield item

    def __exit__(self, *_: object) -> None:
        with _lock:
            if self in _open:
                _open.remove(self)
            ended = None if _open else _renewing
            if not _open:
                _finished.set()
            _erase()
        if ended is not None:
            ended.join(RENEWAL)  # at once; without it this process can be forked again

    def text(self, now: float, within: Sequence[ProgressLine] = ()) -> str:
        """What is shown at the time `now` of time.monotonic, with the lines within this one; nothing at first."""
        taken = now - self._begin
        if taken < QUIET_TIME:
            return ""
        share = min(self.share(within), 1.0)
        if share < TELLING:
            return f"{self._what}, {_duration(taken)} so far"
        left = (now - self._counted_from) * (1.0 - share) / share
        return f"{self._what} {share:4.0%}, {'about ' if left >= 1.0 else ''}{_duration(left)} left"

    def share(self, within: Sequence[ProgressLine] = ()) -> float:
        """The share that is done, with what the lines within this one have done of their part of it.

        A line that counts nothing is as far as the line within it.
        """
        inner = within[0].share(within[1:]) if within else 0.0
        return self._share + (self._after - self._share) * inner if self._after > 0.0 else inner

    @property
    def counts(self) -> bool:
        """Whether it knows how far it is, and is not done."""
        return self._after > 0.0 and self._share < 1.0


def erase_progress() -> None:
    """Make room for something else on the terminal; the line comes back after it."""
    with _lock:
        _erase()


def no_more_progress() -> None:
    """Show no line from now on: in a process that works beside the one which tells."""
    global _silent
    _silent = True


def _can_renew() -> bool:
    """Whether stderr is a terminal that can write a line anew."""
    return not _silent and sys.stderr is not None and sys.stderr.isatty() and os.environ.get("TERM") != "dumb"


def _renew() -> None:
    while not _finished.wait(RENEWAL):
        with _lock:
            if _open and not _finished.is_set():
                place = next((place for place, line in enumerate(_open) if line.counts), len(_open) - 1)
                _write(_open[place].text(time.monotonic(), _open[place + 1 :]))


def _write(text: str) -> None:
    global _written
    if not text:
        _erase()
        return
    text = text[: (columns(sys.stderr) or 80) - 1]
    _put(f"\r{text:<{_written}}")
    _written = len(text)


def _erase() -> None:
    global _written
    if _written:
        _put(f"\r{'':<{_written}}\r")
        _written = 0


def _put(text: str) -> None:
    with suppress(OSError, ValueError):  # the terminal has gone
        print(text, end="", file=sys.stderr, flush=True)


def _duration(seconds: float) -> str:
    """A time to wait, as said."""
    if seconds < 1.0:
        return "less than 1 s"
    return f"{seconds:.0f} s" if seconds < 99.5 else f"{seconds / 60.0:.0f} min"
