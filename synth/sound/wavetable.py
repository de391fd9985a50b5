"""The detector's waveform as tables that do not alias: each level keeps only harmonics that fit the band.

K is the highest harmonic of a level. Level by level it falls by about sqrt 2 to 1, then to 0: silence, the
beat is too high to hear. As the frequency rises past a level's band (synth.sound.band_edges) it crosses over into
the next one, so that harmonics leave the top of the band gradually. Neglected: harmonics above
MOST_HARMONICS, and those below FAINT of the greatest.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from models.detector.memoryless import Detector, band_limited_tables
from synth.sound.band_edges import crossings
from synth.sound.cycles import Cycles

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST_HARMONICS = 1024
FAINT = 1e-7
SMALLEST_SIZE, LARGEST_SIZE = 4096, 65536
IMAGE_LEVEL = 1e-6  # -120 dB: strongest image that straight lines between table points may leave


def top_harmonics(highest: int) -> tuple[int, ...]:
    """K of each level: from `highest` down by about sqrt 2 to 1, then 0."""
    tops = [max(1, highest)]
    while tops[-1] > 1:
        tops.append(min(tops[-1] - 1, round(tops[-1] / math.sqrt(2.0))))
    return (*tops, 0)


def table_size(harmonics: Floats) -> int:
    """Points a cycle, a power of two, so that images of straight interpolation stay below IMAGE_LEVEL.

    Harmonic n between points 1/size apart leaves images of A_n (n/size)^2 next to multiples of `size` (from
    memory; the spectrum test is the check).
    """
    orders = np.arange(harmonics.size)
    curvature = float((np.abs(harmonics) * orders**2).max() / np.abs(harmonics[1:]).max())
    least = max(math.sqrt(curvature / IMAGE_LEVEL), 4.0 * (harmonics.size - 1), SMALLEST_SIZE)
    return int(min(2 ** math.ceil(math.log2(least)), LARGEST_SIZE))


def significant_harmonics(detector: Detector) -> Floats:
    """A_0..A_K with K the last harmonic above FAINT of the greatest, at most MOST_HARMONICS."""
    harmonics = np.asarray(detector.harmonics(MOST_HARMONICS), dtype=np.float64)
    sizes = np.abs(harmonics[1:])
    return harmonics[: int(np.flatnonzero(sizes > FAINT * sizes.max())[-1]) + 2]


class Wavetable:
    """One detector's waveform, without its steady part, at a peak of 1 with all harmonics; never changed.

    The scale stays that of the full waveform at every level, so each harmonic keeps its strength while others
    leave.
    """

    def __init__(self, detector: Detector, sample_rate: float, lock_range: float = 0.0) -> None:
        harmonics = significant_harmonics(detector)
        size = table_size(harmonics)
        tops = top_harmonics(harmonics.size - 1)
        levels = band_limited_tables(harmonics, size, [*tops, 0])  # the last level's neighbour too is silent
        levels /= np.abs(levels[0]).max()
        self._cycles = Cycles(levels)
        self._edges, self._positions = crossings(harmonics, tops, sample_rate, lock_range)
        self._edge_list = self._edges.tolist()

    def steady(self, offset: float) -> float:
        """Steady part at an offset: none."""
        return 0.0

    def sound(self, phase: Ints, offset: Floats) -> Floats:
        """Waveform (n,) at beat phases (n,), in steps of synth.sound.beat_phase, and offsets (n,), Hz, of any sign."""
        offset_size = np.abs(offset)
        first = bisect_right(self._edge_list, np.minimum.reduce(offset_size))
        if first % 2 == 0 and first == bisect_right(self._edge_list, np.maximum.reduce(offset_size)):
            return self._cycles.row(phase, first // 2)
        return self._cycles.across(phase, np.interp(offset_size, self._edges, self._positions))


@lru_cache(maxsize=32)
def wavetable(detector: Detector, sample_rate: float, lock_range: float = 0.0) -> Wavetable:
    """The tables of a detector at a sample rate and lock range, Hz; the last few are kept."""
    return Wavetable(detector, sample_rate, lock_range)
