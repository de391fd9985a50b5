"""From hand distance to beat phase: a dense table of the offset frequency, and the phase in whole numbers.

The phase is counted in turns times 2^56, the same however a sound is cut into blocks. A phase in floating point loses
digits as it grows and depends on the order of additions. Here a turn is 2^56 steps of an int64 that wraps every 256
turns, which changes nothing, as only the part of a turn is heard. Adding is exact; one step is 1.4e-17 of a turn, so
the frequency is off by at most f_s 2^-56: less than 1e-12 Hz at 48 kHz.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from models.arrays import Complexes, Floats, Ints
from models.hand.capacitance_curve import CapacitanceCurve
from models.instrument import Instrument
from synth.sound.extent import extent
from synth.sound.row_finder import bucket_of, bucket_starts, buckets_of

TURN_BITS = 56
STEPS_PER_TURN = float(2**TURN_BITS)
TURN_MASK = 2**TURN_BITS - 1
ANGLE_LINES = 16384  # of the table of angles
LINE_BITS = 13  # lines of the table of offset frequencies: 2^LINE_BITS to an octave of the distance
MOST_TURNS = 100.0  # a sample: what fits an int64 with room for the phase before


def fixed_from_radians(phase: Floats | float) -> Ints:
    """Phase in rad as steps of the part of a turn it leaves over whole turns."""
    turns = np.asarray(phase) * (0.5 / math.pi)
    turns -= np.floor(turns)
    return (turns * STEPS_PER_TURN).astype(np.int64)


def fixed_from_tangent(tangents: Floats) -> Ints:
    """Twice the angles whose tangents (n,) these are, as steps: negative ones stand for the same part of a turn.

    Straight lines between the points of a table over t / (1 + |t|), -1 to 1: 1e-8 rad off at most, in half the time of
    an arc tangent.
    """
    places = np.abs(tangents)
    places += 1.0
    np.divide(tangents, places, out=places)
    places *= 0.5 * ANGLE_LINES
    places += 0.5 * ANGLE_LINES
    lines = _angle_lines().take(places.astype(np.int64), mode="clip")
    places *= lines.imag
    places += lines.real
    return places.astype(np.int64)


@lru_cache(maxsize=1)
def _angle_lines() -> Complexes:
    """Lines of `fixed_from_tangent`: as real part the value at place 0, as imaginary part the slope."""
    places = np.arange(ANGLE_LINES + 1.0)
    spread = places * (2.0 / ANGLE_LINES) - 1.0
    steps = np.arctan2(spread, 1.0 - np.abs(spread)) * (STEPS_PER_TURN / math.pi)
    slopes = np.diff(steps)
    return np.asarray(steps[:-1] - slopes * places[:-1] + 1j * slopes)


def radians_from_fixed(phase: int) -> float:
    """Phase in rad, 0 to 2 pi, of a number of steps."""
    return float(phase & TURN_MASK) * (2.0 * math.pi / STEPS_PER_TURN)


def accumulate(phase: int, frequency: Floats, sample_rate: float) -> Ints:
    """Phases (n,) that follow `phase` under the frequencies (n + 1,), Hz, at n + 1 instants a sample apart.

    Trapezoid rule: phi[k] = phi[k-1] + (f[k-1] + f[k]) / (2 f_s) turns: exact for a frequency straight
    between samples. `phase` lies within a turn, and |f| <= MOST_TURNS f_s.
    """
    steps = frequency[:-1] + frequency[1:]
    steps *= 0.5 * STEPS_PER_TURN / sample_rate
    phases = steps.astype(np.int64)
    phases[0] += np.int64(phase)
    np.add.accumulate(phases, out=phases)
    return phases


@lru_cache(maxsize=4)
def _line_ends(curve: CapacitanceCurve, stray: float) -> tuple[int, Floats, Floats]:
    """Number of the first line of a `PitchLaw`, and where its lines begin and end, m, with the antenna capacitances
    there, F, with its stray: what stays while a control moves the oscillators. The first line begins with the curve,
    and the last one ends with it.
    """
    first, last = (bucket_of(end, LINE_BITS) for end in (curve.nearest, curve.farthest))
    ends = bucket_starts(first, last, LINE_BITS)
    ends[[0, -1]] = curve.nearest, curve.farthest
    return first, ends, curve.capacitance(ends) + stray


class PitchLaw:
    """Reference minus variable frequency, Hz, against distance, m: straight lines between dense points.

    The distance's own bits number the line (synth.sound.row_finder). Covers the instrument's capacitance curve,
    `nearest` to `farthest`. The test compares it with `Instrument.offset_frequency`: less than 0.01 cent off at beats
    of 20 Hz and more.
    """

    def __init__(self, instrument: Instrument) -> None:
        self.nearest = instrument.curve.nearest
        self.farthest = instrument.curve.farthest
        self._first, ends, capacitances = _line_ends(instrument.curve, instrument.antenna_stray)
        offsets = instrument.offset_with(capacitances)
        self.highest = float(np.abs(offsets).max())
        widths = np.diff(ends)
        slopes = np.divide(np.diff(offsets), widths, out=np.zeros(widths.size), where=widths > 0.0)
        # a line takes one look-up: its value at distance 0, and its slope beside it
        self._lines = np.empty(slopes.size, dtype=np.complex128)
        self._lines.real, self._lines.imag = offsets[:-1] - slopes * ends[:-1], slopes

    def within(self, distance: Floats) -> Floats:
        """Each distance (n,), m, n >= 1, or the end of the law it lies beyond; the row itself if all lie within."""
        least, most = extent(distance)
        if least >= self.nearest and most <= self.farthest:
            return distance
        limited = np.maximum(distance, self.nearest)
        return np.minimum(limited, self.farthest, out=limited)

    def at(self, distance: float) -> float:
        """`offset` of one distance, m, in a tenth of the time."""
        line = self._lines[min(max(bucket_of(distance, LINE_BITS) - self._first, 0), self._lines.size - 1)]
        return float(distance * line.imag + line.real)

    def offset(self, distance: Floats, out: Floats | None = None) -> Floats:
        """Offset frequency, Hz, at each distance, m, from `nearest` to `farthest`; rounding beyond them does no harm.

        Written to `out` if that is given.
        """
        numbers = buckets_of(distance, LINE_BITS)
        numbers -= self._first
        lines = self._lines.take(numbers, mode="clip")
        offset = np.multiply(distance, lines.imag, out=out)
        offset += lines.real
        return offset
