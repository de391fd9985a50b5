"""A line of progress on stderr for work that takes a while."""

from __future__ import annotations

import sys
import time

QUIET_TIME = 1.0  # seconds before a count is shown
RENEWAL = 0.2  # seconds between two states of a count


class ProgressLine:
    """Call it with how many of `total` are done, or, without a total, with the share; as a context it ends its line.

    On a terminal one line is renewed in place. Elsewhere a share is not shown.
    """

    def __init__(self, what: str, total: int | None = None) -> None:
        self._what, self._total = what, total
        self._begin = self._shown = time.monotonic()
        self._open = False
        self._percent = -1

    def __enter__(self) -> ProgressLine:
        return self

    def __exit__(self, *_: object) -> None:
        if self._open:
            print(file=sys.stderr, flush=True)

    def __call__(self, done: float) -> None:
        live = sys.stderr.isatty()
        if self._total is None:
            percent = int(100.0 * done)
            if live and percent != self._percent:
                self._percent = percent
                end = "" if percent < 100 else "\n"
                print(f"\r{self._what} {percent:3d} %", end=end, file=sys.stderr, flush=True)
            return
        now = time.monotonic()
        if now - self._begin < QUIET_TIME or now - self._shown < RENEWAL or (self._open and not live):
            return
        self._shown, self._open = now, True
        left = (now - self._begin) * (self._total - done) / max(done, 1)
        start = "\r" if live else ""
        print(f"{start}{done} of {self._total} {self._what}, {left:.0f} s left ", end="", file=sys.stderr, flush=True)
