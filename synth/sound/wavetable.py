"""The detector's waveform as tables that do not alias: each level keeps only harmonics that fit the band.

K is the highest harmonic of a level. Level by level it falls by about sqrt 2 to 1, then to 0: silence, the
beat is too high to hear. As the frequency rises past a level's band (synth.sound.band_edges) it crosses over into
the next one, so that harmonics leave the top of the band gradually. Tables are read at a beat phase: straight between
points, and between a row and the next. Neglected: harmonics above
MOST_HARMONICS, and those below FAINT of the greatest.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from functools import lru_cache

import numpy as np

from models.arrays import Floats, Ints
from models.detector.memoryless import Detector, band_limited_tables
from synth.sound.band_edges import FoldingLines, crossings
from synth.sound.beat_phase import TURN_BITS

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


class Cycles:
    """Rows of one cycle each, (rows, size + 1) with the first point repeated at the end; size is a power of two."""

    def __init__(self, rows: Floats) -> None:
        self._stride = rows.shape[1]
        size = self._stride - 1
        points = rows.ravel()
        self._here, self._above = (points, points[1:]), (points[self._stride :], points[self._stride + 1 :])
        """Points and the points after them: of a row, and at the same places of the row above."""
        self._shift = TURN_BITS - int(math.log2(size))
        self._mask, self._part_mask = size - 1, 2**self._shift - 1
        self._part_scale = 2.0**-self._shift

    def row(self, phase: Ints, number: int) -> Floats:
        """Row `number` at beat phases (n,), in steps of synth.sound.beat_phase."""
        index, part = self._places(phase)
        index += number * self._stride
        return _between(self._here, index, part)

    def across(self, phase: Ints, position: Floats) -> Floats:
        """At each phase (n,) the mixture of two neighbouring rows that `position` (n,), a row number, lies between."""
        index, part = self._places(phase)
        whole = np.floor(position)
        share = position - whole
        number = whole.astype(np.int64)
        number *= self._stride
        index += number
        first = _between(self._here, index, part)
        second = _between(self._above, index, part)
        second -= first
        second *= share
        second += first
        return second

    def _places(self, phase: Ints) -> tuple[Ints, Floats]:
        """Point of the cycle before each phase, and the share of the way to the next."""
        index = phase >> self._shift
        index &= self._mask
        return index, (phase & self._part_mask) * self._part_scale


def _between(points: tuple[Floats, Floats], index: Ints, part: Floats) -> Floats:
    """Straight lines from each point to the one after it, at `part` of the way."""
    low = points[0].take(index, mode="clip")  # every index fits: clipping is only quicker than checking
    rise = points[1].take(index, mode="clip")
    rise -= low
    rise *= part
    rise += low
    return rise


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
        peak = np.abs(levels[0]).max()
        levels /= peak
        self._cycles = Cycles(levels)
        self._folding = FoldingLines(sample_rate, lock_range)
        self._fundamental = np.array([float(harmonics[1] / peak)] * (len(tops) - 1) + [0.0, 0.0])  # of each level
        self._edges, self._positions = crossings(harmonics, tops, sample_rate, lock_range)
        self._edge_list = self._edges.tolist()

    def steady(self, offset: float) -> float:
        """Steady part at an offset: none."""
        return 0.0

    def sound(self, phase: Ints, offset: Floats) -> Floats:
        """Waveform (n,) at beat phases (n,), in steps of synth.sound.beat_phase, and offsets (n,), Hz, of any sign."""
        lowest, highest = float(np.minimum.reduce(offset)), float(np.maximum.reduce(offset))
        nearest, farthest = max(lowest, -highest, 0.0), max(highest, -lowest)
        first = bisect_right(self._edge_list, nearest)
        if first % 2 == 0 and first == bisect_right(self._edge_list, farthest):
            number: Floats | int = first // 2
            waveform = self._cycles.row(phase, first // 2)
        else:
            number = np.interp(np.abs(offset), self._edges, self._positions)
            waveform = self._cycles.across(phase, number)
        if farthest > self._folding.lowest:
            strength = np.interp(number, np.arange(self._fundamental.size), self._fundamental)
            waveform -= strength * self._folding.wave(phase, offset).real
        return waveform


@lru_cache(maxsize=32)
def wavetable(detector: Detector, sample_rate: float, lock_range: float = 0.0) -> Wavetable:
    """The tables of a detector at a sample rate and lock range, Hz; the last few are kept."""
    return Wavetable(detector, sample_rate, lock_range)
