"""Time between hand and sound: which moment of the hand each block shows, and how long a gesture takes to be heard.

The hand clock runs at the pace of the samples, `HAND_DELAY` and a little behind the moment a block is asked for, so
that the events a block interpolates between have arrived whatever the host's rhythm of asking. A slow correction keeps
it there when the sound card's clock and the computer's drift apart.

Latency of a gesture, from the time stamp of a hand event to the moment its value leaves the sound device: t_dac = time
of the first sample of a block at the output of the device, from the stream's clock, on the scale of time.monotonic;
t_hand = hand time of that sample; l = t_dac - t_hand the lag of all hands in the block; an event that came too late for
its time stamp adds by how much. Not in it: what lies before the time stamp (pointer and window system) and behind the
device (converters, loudspeaker, the way through the air: 2.9 ms a metre), and the voice's 5 ms pole, which has covered
63 % of a movement after 5 ms.
"""

from __future__ import annotations

import numpy as np

HAND_DELAY = 0.004  # s: two events of a pointer read 250 times a second, and one that is a little late
SETTLING = 0.2  # s in which the correction takes 63 % of an error away
SLEW = 0.05  # share of real time by which the clock may run fast or slow: a 6 Hz vibrato turns into 6.3 Hz at most
DEAD_BAND = 0.0003  # s of error that is left alone
LOST = 0.05  # s of error that no correction waits for: the stream has stopped and gone on
BUCKET = 0.5  # s over which the tightest moment is sought, twice
KEPT = 1024  # events whose latency is remembered
WINDOW = 1.0  # s over which the median is taken


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


class GestureLatency:
    """Collects latencies in the rendering thread; another thread asks for the median."""

    def __init__(self) -> None:
        self._values = np.zeros(KEPT)
        self._times = np.full(KEPT, -np.inf)
        self._count = 0
        self._lag: float | None = None

    def follow(self, lag: float | None, late: list[float], now: float) -> None:
        """Note a block: its lag, s (None: unknown), and how much after its stamp each of its events was reached, s."""
        self._lag = lag
        if lag is None:
            return
        for lateness in late:
            place = self._count % KEPT
            self._values[place] = lag + lateness
            self._times[place] = now
            self._count += 1

    def median(self, now: float) -> float:
        """Median over the events of the last `WINDOW`, s; without events the lag of the newest block; else 0."""
        recent = self._values[self._times > now - WINDOW]
        if recent.size:
            return float(np.median(recent))
        return self._lag or 0.0
