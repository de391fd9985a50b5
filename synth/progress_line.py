"""A line of progress on stderr for work that takes longer than a second."""

from __future__ import annotations

import sys
import time

QUIET_TIME = 1.0  # seconds before anything is shown
RENEWAL = 0.2  # seconds between two states of the line


class ProgressLine:
    """Call it with how many are done; as a context it ends its line. On a terminal one line is renewed in place."""

    def __init__(self, what: str, total: int) -> None:
        self._what, self._total = what, total
        self._begin = self._shown = time.monotonic()
        self._open = False

    def __enter__(self) -> ProgressLine:
        return self

    def __exit__(self, *_: object) -> None:
        if self._open:
            print(file=sys.stderr, flush=True)

    def __call__(self, done: int) -> None:
        now = time.monotonic()
        if now - self._begin < QUIET_TIME or now - self._shown < RENEWAL or (self._open and not sys.stderr.isatty()):
            return
        self._shown, self._open = now, True
        left = (now - self._begin) * (self._total - done) / max(done, 1)
        start = "\r" if sys.stderr.isatty() else ""
        print(f"{start}{done} of {self._total} {self._what}, {left:.0f} s left ", end="", file=sys.stderr, flush=True)
