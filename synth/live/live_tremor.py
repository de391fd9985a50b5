"""The trembling hand, live: the tremor of the generated gestures added to the distance, sample by sample."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from synth.hands.gestures import TREMOR_PARTIALS, tremor_partials

Floats = NDArray[np.float64]

STAMPS_A_SECOND = 500.0  # as the generated gestures have
SLEW = 0.005  # m/s by which its size changes


class LiveTremor:
    """Displacement, m, that does not depend on the size of the blocks while its size is constant.

    `set` may be called from another thread. `size` is the root mean square, m; the same seed gives the same tremor,
    counted from the first sample.
    """

    def __init__(self, sample_rate: float) -> None:
        self._rate = sample_rate
        self._wanted = (0.0, 1)
        self._size = 0.0
        self._seed = 1
        self._rates, self._phases = tremor_partials(self._seed)

    def set(self, size: float, seed: int) -> None:
        """Go to another size or seed from the next block on."""
        self._wanted = (size, seed)

    def displacement(self, first_frame: int, frames: int) -> Floats | None:
        """Displacement, m, at `frames` samples from number `first_frame` on; None while the hand is steady."""
        wanted, seed = self._wanted
        if wanted == 0.0 and self._size == 0.0:
            return None
        if seed != self._seed:
            self._seed = seed
            self._rates, self._phases = tremor_partials(seed)
        instants = np.arange(first_frame, first_frame + frames) / self._rate * STAMPS_A_SECOND
        stamps = np.arange(math.floor(instants[0]), math.ceil(instants[-1]) + 1)
        shape = np.interp(instants, stamps, self._unit(stamps / STAMPS_A_SECOND))
        return np.asarray(shape * self._sizes(wanted, frames))

    def _unit(self, times: Floats) -> Floats:
        """The tremor of size 1 at `times` (n,), s: what `synth.hands.gestures.tremor` gives, all sines at once."""
        turns = self._rates[:, np.newaxis] * times + self._phases[:, np.newaxis] / (2.0 * np.pi)
        return np.asarray(np.sin(2.0 * np.pi * turns).sum(axis=0) / math.sqrt(0.5 * TREMOR_PARTIALS))

    def _sizes(self, wanted: float, frames: int) -> Floats | float:
        if self._size == wanted:
            return wanted
        longest = SLEW * frames / self._rate
        change = min(max(wanted - self._size, -longest), longest)
        sizes = self._size + change * np.arange(1, frames + 1) / frames
        self._size = wanted if abs(wanted - self._size) <= longest else self._size + change
        return np.asarray(sizes)
