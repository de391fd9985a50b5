"""A steady tone under the voice, to play against: a few partials, faded in and out."""

from __future__ import annotations

import numpy as np

from models.arrays import Floats
from synth.sound.fades import Fade

FADE_TIME = 0.03  # s
WEIGHTS = np.array([1.0, 1 / 4, 1 / 9, 1 / 16, 1 / 25])  # of the partials, as 1 / n^2
CYCLE = 512  # samples of a cycle in which its peak is sought
HIGHEST = 0.45  # of the sample rate: partials from there on are left out


class Drone:
    """Adds the tone to blocks of sound. `set` and `mute` may be called from another thread.

    A change of frequency or gain fades the old tone out and the new one in. The tone peaks at `gain`, of full scale.
    """

    def __init__(self, sample_rate: float) -> None:
        self._rate = sample_rate
        self._wanted: tuple[float, float] | None = None
        self._muted = False
        self._playing: tuple[float, float] | None = None
        self._fade = Fade(FADE_TIME, sample_rate)
        self._turn = 0.0
        self._orders = np.zeros((0, 1))
        self._weights = np.zeros(0)

    def set(self, frequency: float | None, gain: float) -> None:
        """Sound at `frequency`, Hz; None ends the tone."""
        self._wanted = None if frequency is None else (frequency, gain)

    def mute(self, muted: bool) -> None:
        """Fade out or in."""
        self._muted = muted

    def add(self, samples: Floats) -> bool:
        """Add the next of the tone to `samples` in place; False where there was nothing to add."""
        wanted = None if self._muted else self._wanted
        if wanted != self._playing and self._fade.rests_at(0.0):
            self._begin(wanted)
        if self._playing is None:
            return False
        turns = self._turn + self._playing[0] / self._rate * np.arange(1, samples.size + 1)
        self._turn = float(turns[-1]) % 1.0
        tone = self._weights @ np.sin(2.0 * np.pi * self._orders * turns)
        up = wanted == self._playing
        if not (up and self._fade.rests_at(1.0)):
            tone *= self._fade.gains(samples.size, up=up)
        samples += tone
        return True

    def _begin(self, wanted: tuple[float, float] | None) -> None:
        self._playing = wanted
        if wanted is None:
            return
        frequency, gain = wanted
        self._turn = 0.0
        orders = np.arange(1, WEIGHTS.size + 1)
        orders = orders[orders * frequency < HIGHEST * self._rate]
        weights = WEIGHTS[: orders.size]
        self._orders = orders[:, np.newaxis].astype(np.float64)
        cycle = weights @ np.sin(2.0 * np.pi * self._orders * np.arange(CYCLE) / CYCLE)
        self._weights = gain * weights / max(np.abs(cycle).max(), weights[:1].sum(), 1e-9)
