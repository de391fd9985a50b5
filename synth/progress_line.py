"""A line of progress on stderr for work that takes a while."""

from __future__ import annotations

import sys
import time

QUIET_TIME = 1.0  # seconds before a count is shown
RENEWAL = 0.2  # seconds between two states of a count
TELLING = 0.02  # share done, from which what is left can be told


class ProgressLine:
    """Call it with the share that is done, 0 to 1; as a context it ends its line, else the share 1 does.

    On a terminal one line is renewed in place; elsewhere it is printed once.
    """

    def __init__(self, what: str) -> None:
        self._what = what
        self._begin = self._shown = time.monotonic()
        self._open = False

    def __enter__(self) -> ProgressLine:
        return self

    def __exit__(self, *_: object) -> None:
        self._end()

    def __call__(self, share: float) -> None:
        now = time.monotonic()
        if share >= 1.0:
            self._end()
        elif now - self._begin >= QUIET_TIME and now - self._shown >= RENEWAL and self._may_write():
            self._shown, self._open = now, True
            left = (now - self._begin) * (1.0 - share) / max(share, 1e-3)
            start = "\r" if sys.stderr.isatty() else ""
            told = f", {left:.0f} s left " if share >= TELLING else "            "
            print(f"{start}{self._what} {share:4.0%}{told}", end="", file=sys.stderr, flush=True)

    def _may_write(self) -> bool:
        return not self._open or sys.stderr.isatty()

    def _end(self) -> None:
        if self._open:
            self._open = False
            print(file=sys.stderr, flush=True)
