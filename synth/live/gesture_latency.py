"""From gesture to sound: time stamp of a hand event to the moment its value leaves the sound device.

t_dac = time of the first sample of a block at the output of the device, from the stream's clock, on the scale of
time.monotonic; t_hand = hand time of that sample; l = t_dac - t_hand the lag of all hands in the block; an event that
came too late for its time stamp adds by how much. Not in it: what lies before the time stamp (pointer and window
system) and behind the device (converters, loudspeaker, the way through the air: 2.9 ms a metre), and the voice's 5 ms
pole, which has covered 63 % of a movement after 5 ms.
"""

from __future__ import annotations

from typing import Any

import numpy as np

KEPT = 1024  # events whose latency is remembered
WINDOW = 1.0  # s over which the median is taken
LONGEST = 10.0  # s; a stream that says more does not tell the time


def output_delay(times: Any) -> float | None:
    """Time from now to the first sample of the block at the device's output, s, from PortAudio's time structure.

    None where the host does not tell it (times of 0, or none at all).
    """
    if times is None:
        return None
    now, output = float(times.currentTime), float(times.outputBufferDacTime)
    if now <= 0.0 or output <= 0.0 or not 0.0 <= output - now <= LONGEST:
        return None
    return output - now


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
