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

from models.arrays import Complexes, Floats, Ints, SingleComplexes, Singles
from models.detector.memoryless import Detector, band_limited_tables
from synth.sound.band_edges import FoldingLines, crossings
from synth.sound.beat_phase import TURN_BITS
from synth.sound.extent import extent
from synth.sound.row_finder import RowFinder

MOST_HARMONICS = 1024
FAINT = 1e-7
SMALLEST_SIZE, LARGEST_SIZE = 4096, 65536
MOST_SUMMED = 128  # harmonics: beyond, a Fourier transform takes less time than a product
SUMMED_ROWS = 16  # at once
IMAGE_LEVEL = 1e-6  # -120 dB: strongest image that straight lines between table points may leave


def top_harmonics(highest: int) -> tuple[int, ...]:
    """K of each level: from `highest` down by about sqrt 2 to 1, then 0."""
    tops = [max(1, highest)]
    while tops[-1] > 1:
        tops.append(min(tops[-1] - 1, round(tops[-1] / math.sqrt(2.0))))
    return (*tops, 0)


def table_size(harmonics: Floats) -> int:
    """Points a cycle, a power of two, so that images of straight interpolation stay below IMAGE_LEVEL, for harmonics
    A_0..A_K (K + 1,) or rows of them, in each of which one above A_0 is not 0.

    Harmonic n between points 1/size apart leaves images of A_n (n/size)^2 next to multiples of `size` (from
    memory; the spectrum test is the check).
    """
    sizes = np.abs(np.atleast_2d(harmonics))
    curvatures = (sizes * np.arange(sizes.shape[1]) ** 2).max(axis=1) / sizes[:, 1:].max(axis=1)
    least = max(math.sqrt(curvatures.max() / IMAGE_LEVEL), 4.0 * (sizes.shape[1] - 1), SMALLEST_SIZE)
    return int(min(2 ** math.ceil(math.log2(least)), LARGEST_SIZE))


def significant_harmonics(detector: Detector) -> Floats:
    """A_0..A_K with K the last harmonic above FAINT of the greatest, at most MOST_HARMONICS."""
    harmonics = np.asarray(detector.harmonics(MOST_HARMONICS), dtype=np.float64)
    sizes = np.abs(harmonics[1:])
    return harmonics[: int(np.flatnonzero(sizes > FAINT * sizes.max())[-1]) + 2]


def _half_cycles(amplitudes: Floats, size: int) -> Floats:
    """Sums of A_k cos(k phi) for amplitudes A_0..A_K (rows, K + 1), at the points 0..size / 2 of a cycle of `size`.

    cos(k (pi - phi)) = (-1)^k cos(k phi): the second quarter follows from the even and the odd ones of the first.
    """
    used = int(np.flatnonzero(amplitudes.any(axis=0)).max(initial=1)) + 1
    even, odd = (amplitudes[:, start:used:2] @ _quarter_cosines(size)[start:used:2] for start in (0, 1))
    return np.concatenate([even + odd, (even - odd)[:, -2::-1]], axis=1)


@lru_cache(maxsize=4)
def _quarter_cosines(size: int) -> Floats:
    """cos(k phi) for k = 0..MOST_SUMMED - 1 (MOST_SUMMED, size / 4 + 1) at the points of the first quarter of a cycle
    of `size`.
    """
    steps = np.outer(np.arange(MOST_SUMMED), np.arange(size // 4 + 1)) % size  # whole, so that no digits are lost
    return np.asarray(np.cos(np.arange(size) * (2.0 * math.pi / size))[steps])


class Cycles:
    """Rows of one cycle each, (rows, size + 1) with the first point repeated at the end; size is a power of two.

    Point and rise to the next lie side by side in single precision: one look-up brings both. Rounded to that, a sound
    that peaks at 1 has a noise below -140 dB (a test).
    """

    def __init__(self, rows: Floats) -> None:
        lines = self._room(*rows.shape)
        lines.real = rows
        np.subtract(rows[:, 1:], rows[:, :-1], out=lines.imag[:, :-1], casting="same_kind")
        lines.imag *= 2.0**-self._shift

    @classmethod
    def of_waves(cls, waves: Complexes, size: int) -> Cycles:
        """Rows of C_0 + sum over k >= 1 of Re(C_k exp(j k phi)), C_0..C_K (rows, K + 1), `size` points a cycle.

        Few cosines alone, as a detector without memory makes them, are summed over half a cycle by products.
        """
        rows, count = waves.shape
        if count > MOST_SUMMED or waves.imag.any():
            spectrum = np.zeros((rows, size // 2 + 1), dtype=np.complex128)
            spectrum[:, :count] = 0.5 * size * waves
            spectrum[:, 0] *= 2.0
            cycles = np.fft.irfft(spectrum, n=size, axis=1)
            return cls(np.concatenate([cycles, cycles[:, :1]], axis=1))
        made, middle = cls.__new__(cls), size // 2
        lines = made._room(rows, size + 1)
        step = np.float32(2.0**-made._shift)
        for first in range(0, rows, SUMMED_ROWS):
            part = lines[first : first + SUMMED_ROWS]
            half = _half_cycles(waves.real[first : first + SUMMED_ROWS], size).astype(np.float32)
            values, rises = part.real, part.imag
            values[:, : middle + 1], values[:, middle:] = half, half[:, ::-1]
            half *= step
            np.subtract(half[:, 1:], half[:, :-1], out=rises[:, :middle])
            np.negative(rises[:, :middle][:, ::-1], out=rises[:, middle:-1])
        return made

    def _room(self, rows: int, stride: int) -> SingleComplexes:
        """Lines (rows, stride) to be filled: points as real parts, and rises to the next as imaginary ones."""
        self._stride = stride
        self._shift = TURN_BITS - int(math.log2(stride - 1))
        self._mask, self._part_mask = stride - 2, 2**self._shift - 1
        lines = np.empty((rows, stride), dtype=np.complex64)
        lines.imag[:, -1] = 0.0
        self._lines = lines.ravel()
        return lines

    def row(self, phase: Ints, number: int) -> Singles:
        """Row `number` at beat phases (n,), in steps of synth.sound.beat_phase."""
        return _between(self._lines[number * self._stride :], *self._places(phase))

    def finder(self, points: Floats, places: Floats) -> RowFinder:
        """What finds the rows for `across`, at offsets of which the `points` (n,) lie at the row numbers `places`."""
        return RowFinder(points, places, self._stride)

    def across(self, phase: Ints, beginning: Ints | int, share: Singles) -> Singles:
        """At each phase (n,) the mixture of the row of that `beginning`, a number or (n,), and, by its `share` (n,), of
        the next.
        """
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
        lowest, highest = extent(offset)
        nearest, farthest = max(lowest, -highest, 0.0), max(highest, -lowest)
        first = bisect_right(self._edge_list, nearest)
        if first % 2 == 0 and first == bisect_right(self._edge_list, farthest):
            waveform = self._cycles.row(phase, first // 2)
        else:
            sizes = offset if lowest >= 0.0 else np.abs(offset)
            waveform = self._cycles.across(phase, *self._finder.find(sizes, nearest, farthest))
        if farthest > self._folding.lowest:
            number = np.interp(np.abs(offset), self._edges, self._positions)
            strength = np.interp(number, np.arange(self._fundamental.size), self._fundamental)
            waveform -= strength * self._folding.wave(phase, offset).real
        return waveform


@lru_cache(maxsize=32)
def wavetable(detector: Detector, sample_rate: float, lock_range: float = 0.0) -> Wavetable:
    """The tables of a detector at a sample rate and lock range, Hz; the last few are kept."""
    return Wavetable(detector, sample_rate, lock_range)
