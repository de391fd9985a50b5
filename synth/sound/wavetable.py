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

from models.arrays import Floats, Ints, SingleComplexes, Singles
from models.detector.memoryless import Detector, band_limited_tables
from synth.sound.band_edges import FoldingLines, crossings
from synth.sound.beat_phase import TURN_BITS
from synth.sound.row_finder import RowFinder

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
    """Rows of one cycle each, (rows, size + 1) with the first point repeated at the end; size is a power of two.

    Point and rise to the next lie side by side in single precision: one look-up brings both. Rounded to that, a sound
    that peaks at 1 has a noise below -140 dB (a test).
    """

    def __init__(self, rows: Floats) -> None:
        self._stride = rows.shape[1]
        size = self._stride - 1
        self._shift = TURN_BITS - int(math.log2(size))
        self._mask, self._part_mask = size - 1, 2**self._shift - 1
        lines = np.zeros(rows.shape, dtype=np.complex64)
        lines.real = rows
        lines.imag[:, :-1] = np.diff(rows, axis=1) * 2.0**-self._shift  # for each step of the phase
        self._lines = lines.ravel()

    def row(self, phase: Ints, number: int) -> Singles:
        """Row `number` at beat phases (n,), in steps of synth.sound.beat_phase."""
        return _between(self._lines[number * self._stride :], *self._places(phase))

    def finder(self, points: Floats, places: Floats) -> RowFinder:
        """What finds the rows for `across`, at offsets of which the `points` (n,) lie at the row numbers `places`."""
        return RowFinder(points, places, self._stride)

    def across(self, phase: Ints, beginning: Ints, share: Singles) -> Singles:
        """At each phase (n,) the mixture of the row of that `beginning` (n,) and, by its `share` (n,), of the next."""
        index, part = self._places(phase)
        index += beginning
        first, second = _between(self._lines, index, part), _between(self._lines[self._stride :], index, part)
        second -= first
        second *= share
        second += first
        return second

    def _places(self, phase: Ints) -> tuple[Ints, Singles]:
        """Point of the cycle before each phase, and the steps from there."""
        index = phase >> self._shift
        index &= self._mask
        return index, (phase & self._part_mask).astype(np.float32)


def _between(lines: SingleComplexes, index: Ints, part: Singles) -> Singles:
    """Straight lines from each point to the one after it, `part` steps of the way."""
    found = lines.take(index, mode="clip")  # every index fits: clipping is only quicker than checking
    values = found.imag * part
    values += found.real
    return values


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
        self._finder = self._cycles.finder(self._edges, self._positions)

    def steady(self, offset: float) -> float:
        """Steady part at an offset: none."""
        return 0.0

    def sound(self, phase: Ints, offset: Floats) -> Singles:
        """Waveform (n,) at beat phases (n,), in steps of synth.sound.beat_phase, and offsets (n,), Hz, of any sign."""
        lowest, highest = float(np.minimum.reduce(offset)), float(np.maximum.reduce(offset))
        nearest, farthest = max(lowest, -highest, 0.0), max(highest, -lowest)
        first = bisect_right(self._edge_list, nearest)
        if first % 2 == 0 and first == bisect_right(self._edge_list, farthest):
            waveform = self._cycles.row(phase, first // 2)
        else:
            waveform = self._cycles.across(phase, *self._finder.find(offset if lowest >= 0.0 else np.abs(offset)))
        if farthest > self._folding.lowest:
            number = np.interp(np.abs(offset), self._edges, self._positions)
            strength = np.interp(number, np.arange(self._fundamental.size), self._fundamental)
            waveform -= strength * self._folding.wave(phase, offset).real
        return waveform


@lru_cache(maxsize=32)
def wavetable(detector: Detector, sample_rate: float, lock_range: float = 0.0) -> Wavetable:
    """The tables of a detector at a sample rate and lock range, Hz; the last few are kept."""
    return Wavetable(detector, sample_rate, lock_range)
