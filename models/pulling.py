"""Two oscillators that leak into each other: the beat is pulled toward zero, and locks near it.

Adler's equation for the phase between them, phi:

    d(phi)/dt = dw(t) - wL sin(phi)                    dw = 2 pi offset, wL = 2 pi lock_range

R. Adler, Proc. IRE 34 (1946) 351; B. Razavi, IEEE JSSC 39 (2004) 1415. Valid for weak injection, where the
coupled signal is much smaller than the oscillator's own and the offset is small against f / 2Q. Neglected:
amplitude changes, pulling of the second oscillator by the first as a separate unknown (its share may be put
into `lock_range`), and noise.

How its phase is solved step by step: `models.pulled_phase`.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import finite, finite_array, non_negative, positive
from models.pulled_phase import TURN, PulledPhase


def pulled_beat(offset: ArrayLike, lock_range: ArrayLike) -> Floats:
    """Beat in Hz of oscillators `offset` Hz apart if free, pulled with `lock_range` Hz; broadcasts.

    sign(offset) sqrt(offset^2 - lock_range^2), and 0 where |offset| <= lock_range (locked). Adler 1946;
    steady offset. Raises ValueError for values that are not finite and for a negative lock range.
    """
    free = finite_array("offset", offset)
    lock = finite_array("lock_range", lock_range)
    if np.any(lock < 0.0):
        raise ValueError(f"lock_range must be >= 0; got {lock.min():g}")
    size = np.abs(free)
    # a difference of squares as a product keeps its digits near the edge of lock
    beat = np.sign(free) * np.sqrt(np.maximum(size - lock, 0.0)) * np.sqrt(size + lock)
    return np.asarray(beat + 0.0)  # locked below zero beat is 0, not -0


def pulled_beat_of(offset: float, lock_range: float) -> float:
    """`pulled_beat` of one finite offset, Hz, unchecked: what a live voice publishes with every block."""
    size = abs(offset)
    if size <= lock_range:
        return 0.0
    return math.copysign(math.sqrt(size - lock_range) * math.sqrt(size + lock_range), offset)


def advance_phase(phase: float, offsets: ArrayLike, lock_range: float, time_step: float) -> Floats:
    """Beat phase in rad after each of n steps, from `phase` at the start.

    `offsets` (Hz, shape (n + 1,)): the free-running difference at the start and after every step, linear in
    between. `lock_range` in Hz, `time_step` in s. Returns shape (n,), continuous with `phase`, which may be
    any number of turns (kept within a turn or so it saves the last digits). Splitting the offsets over
    several calls, each starting with the last offset and phase of the one before, gives the same phases but
    for rounding. Without pulling the result is the exact integral. Where the true offset curves between the
    samples, taking it as linear leaves an error of about time_step^2 / 12 times the change of its slope,
    times 2 pi. Raises ValueError for no offset at all, for values that are not finite, and for lock_range *
    time_step >= 1/2, where a step could lose count of the turns.
    """
    start, free, lock, step = _checked(phase, offsets, lock_range, time_step)
    if free.size == 1:
        return np.empty(0)
    advances = (0.5 * TURN * step) * (free[:-1] + free[1:])
    if lock == 0.0:
        return start + _running_sum(advances)
    # whole turns of the start are set aside and put back, so that a long piece loses no digits
    remainder = math.remainder(start, TURN)
    wrapped = 2.0 * PulledPhase(lock, step, remainder).half_phases(free)
    # pulling moves a step less than half a turn off its free advance: that settles the turn of each sample
    moved = np.diff(wrapped, prepend=remainder)
    counted = remainder + np.cumsum(moved - TURN * np.rint((moved - advances) / TURN))
    return wrapped + TURN * (np.rint((counted - wrapped) / TURN) + round((start - remainder) / TURN))


def _checked(
    phase: float, offsets: ArrayLike, lock_range: float, time_step: float
) -> tuple[float, Floats, float, float]:
    """The arguments of `advance_phase`, checked."""
    start = finite("phase", phase)
    free = _finite_row(offsets)
    if free.ndim != 1 or free.size == 0:
        raise ValueError(f"offsets must be a row of at least one number; got shape {free.shape}")
    lock = non_negative("lock_range", lock_range)
    step = positive("time_step", time_step)
    if lock * step >= 0.5:
        raise ValueError(f"lock_range must be < 1 / (2 time_step) = {0.5 / step:g}; got {lock:g}")
    return start, free, lock, step


def _finite_row(offsets: ArrayLike) -> Floats:
    """The offsets as finite numbers; a row that is an array already is checked by one product, for short blocks."""
    plain = isinstance(offsets, np.ndarray) and offsets.dtype == np.float64 and offsets.ndim == 1
    if plain and math.isfinite(np.dot(offsets, offsets)):  # else one is not finite, or the sum overflows
        return np.asarray(offsets)
    return finite_array("offsets", offsets)


def _running_sum(values: Floats, block: int = 256) -> Floats:
    """Running sum in blocks, so that rounding grows with the block and the number of blocks only."""
    whole = values.size // block * block
    sums = np.cumsum(values[:whole].reshape(-1, block), axis=1)
    carried = np.cumsum(sums[:, -1])
    sums[1:] += carried[:-1, None]
    base = carried[-1] if carried.size else 0.0
    return np.concatenate([sums.ravel(), base + np.cumsum(values[whole:])])


def pulled_line_ratio(offset: float, lock_range: float) -> float:
    """Amplitude of each harmonic of cos(phi) over the one before, for a steady pulled beat; 0 to 1.

    exp(j phi) runs round the unit circle as a Moebius map of exp(j 2 pi beat t), whose lines fall off in a geometric
    row on one side: ratio (|offset| - |beat|) / lock_range. A. Armand, Proc. IEEE 57 (1969) 1337, on the one-sided
    spectrum of a pulled oscillator (from memory; derived here). ValueError if locked.
    """
    size, lock = abs(finite("offset", offset)), non_negative("lock_range", lock_range)
    if size <= lock:
        raise ValueError(f"offset must be beyond the lock range {lock:g}; got {offset:g}")
    return 0.0 if lock == 0.0 else (size - math.sqrt((size - lock) * (size + lock))) / lock


def bent_below(lock_range: float, bend_cents: float) -> float:
    """Note, Hz, below which the pulled beat lies more than `bend_cents` under the beat of oscillators left free.

    Symbols: wL lock range, d offset (the free beat), b pulled beat, q = b / d = 2^(-cents / 1200). From
    b^2 = d^2 - wL^2:  b = wL / sqrt(1 / q^2 - 1). The farther above the lock range a note lies, the less it is bent.
    """
    lock, bend = non_negative("lock_range", lock_range), positive("bend_cents", bend_cents)
    return lock / math.sqrt(math.expm1(bend * math.log(2.0) / 600.0))


def held_from(lock_range: float, wander: float, hold_cents: float) -> float:
    """Lowest note, Hz, that a `wander` of the offset, Hz (peak), moves by no more than `hold_cents` (peak).

    The pulled beat b follows the offset d by d(b)/b = d d(d) / b^2, with d^2 = b^2 + wL^2, so with
    h = 1200 wander / (ln 2 cents), the lowest note without pulling:

        b^2 / sqrt(b^2 + wL^2) = h,    b = sqrt(h (h + sqrt(h^2 + 4 wL^2)) / 2)

    To first order in the wander. With a lock range far above h it is sqrt(h wL).
    """
    lock, free = non_negative("lock_range", lock_range), non_negative("wander", wander)
    free *= 1200.0 / (math.log(2.0) * positive("hold_cents", hold_cents))
    return math.sqrt(0.5 * free * (free + math.hypot(free, 2.0 * lock)))
