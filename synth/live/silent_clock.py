"""Rendering at the pace of real time without a sound device, so that meters move and recording works."""

from __future__ import annotations

import threading
import time

from synth.live.sound_device import RenderBlock

PERIOD = 0.01  # s, length of a block


class SilentClock:
    """Calls `render` every 10 ms for as many frames as real time has moved on, in a thread of its own."""

    latency = 0.0

    def __init__(self, render: RenderBlock, sample_rate: int) -> None:
        self._render = render
        self._rate = sample_rate
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="silent clock", daemon=True)
        self._thread.start()

    def _run(self) -> None:
        started, rendered = time.monotonic(), 0
        while not self._stopping.wait(PERIOD):
            due = int((time.monotonic() - started) * self._rate) - rendered
            frames = min(due, self._rate // 10)  # after a sleep of the machine there is nothing to catch up
            if frames > 0:
                self._render(frames, False)
            rendered += due

    def close(self, at_once: bool = False) -> None:
        """Stop."""
        self._stopping.set()
        self._thread.join()
