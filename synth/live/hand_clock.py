"""The hand clock: which moment of the hand each block of sound shows.

It runs at the pace of the samples, `HAND_DELAY` and a little behind the moment a block is asked for, so that the events
a block interpolates between have arrived whatever the host's rhythm of asking. A slow correction keeps it there when
the sound card's clock and the computer's drift apart.
"""

from __future__ import annotations

HAND_DELAY = 0.004  # s: two events of a pointer read 250 times a second, and one that is a little late
SETTLING = 0.2  # s in which the correction takes 63 % of an error away
SLEW = 0.05  # share of real time by which the clock may run fast or slow: a 6 Hz vibrato turns into 6.3 Hz at most
DEAD_BAND = 0.0003  # s of error that is left alone
LOST = 0.05  # s of error that no correction waits for: the stream has stopped and gone on
BUCKET = 0.5  # s over which the tightest moment is sought, twice


class HandClock:
    """Hand time (time.monotonic, s) of each block; it advances steadily, whatever the rhythm of the calls.

    The error is the smallest time between a block's last sample and the moment it was asked for, over half a second to
    a second, less `HAND_DELAY`: hosts ask for several blocks at once and then wait.
    """

    def __init__(self, sample_rate: float) -> None:
        self._rate = sample_rate
        self._next: float | None = None
        self._tightest = self._before = 0.0
        self._bucket_end = 0.0

    def start_of(self, frames: int, now: float) -> float:
        """Hand time of the first of the next `frames` samples, asked for at `now` (monotonic, s)."""
        length = frames / self._rate
        slack = 0.0 if self._next is None else now - (self._next + length)
        if self._next is None or abs(slack - HAND_DELAY) > LOST + length:
            self._next = now - HAND_DELAY - length
            slack = HAND_DELAY
            self._tightest = self._before = slack
            self._bucket_end = now + BUCKET
        elif now > self._bucket_end:
            self._before, self._tightest = self._tightest, slack
            self._bucket_end = now + BUCKET
        self._tightest = min(self._tightest, slack)
        start = self._next + self._correction(length)
        self._next = start + length
        return start

    def _correction(self, length: float) -> float:
        error = min(self._tightest, self._before) - HAND_DELAY
        if abs(error) <= DEAD_BAND:
            return 0.0
        share = min(max(error / SETTLING, -SLEW), SLEW)
        step = share * length
        self._tightest -= step
        self._before -= step
        return step
