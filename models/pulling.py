"""Two oscillators that leak into each other: the beat is pulled toward zero, and locks near it.

Adler's equation for the phase between them, phi:

    d(phi)/dt = dw(t) - wL sin(phi)                    dw = 2 pi offset, wL = 2 pi lock_range

R. Adler, Proc. IRE 34 (1946) 351; B. Razavi, IEEE JSSC 39 (2004) 1415. Valid for weak injection, where the
coupled signal is much smaller than the oscillator's own and the offset is small against f / 2Q. Neglected:
amplitude changes, pulling of the second oscillator by the first as a separate unknown (its share may be put
into `lock_range`), and noise.

With tan(phi / 2) = p / q the equation is linear: the pair (q, p), at the angle phi / 2, obeys

    d/dt (q, p) = (wL / 2 S + dw / 2 J) (q, p),    S = [[1, 0], [0, -1]],  J = [[0, -1], [1, 0]]

For dw linear over a step of length h the exponent of its matrix is taken from the Magnus series to the fourth order
in h (S. Blanes, F. Casas, J. A. Oteo, J. Ros, Physics Reports 470 (2009) 151; citation from memory, the term derived
here). At 48 kHz the phase then stays within 1e-7 rad of a tight integration along a moving hand, and within 5e-7 rad
where the offset runs from 0 to 20 kHz in 50 ms at a lock range of 150 Hz (the tests).

Its 2 by 2 matrices M[k] make a row of steps a triangular system of three side diagonals, which BLAS solves downwards,
one step after the other (`PulledPhase`).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import finite, finite_array, non_negative, positive

Pair = tuple[float, float]
TURN = 2.0 * math.pi
STACK = 256
"""Steps whose matrices one product gives: always as many, so that sums are of one order however a sound is cut."""
LONGEST_PIECE = 32 * STACK
"""Steps solved at once: 64 bytes each, within the processor's cache."""
MOST_GROWTH = 300.0
"""Largest sum of wL h / 2 over the steps solved at once: by it the pair grows or shrinks by e to that at
most, and by 2 % a step at most through the scale of `_fill`."""
NEAR = (-0.08, 0.01)
"""s^2 for which a polynomial stands for s coth(s): offsets below 0.09 of the sample rate, locks below 0.03 of it."""
COTANGENT = (1.0, 0.33333333334346893, -0.022222222868340632, 0.0021162867147777715, -0.0002146642833006537)
"""s coth(s) in powers of s^2, within 1e-12 where NEAR: 1 + s^2 times the cubic that meets the series 1/3 - s^2/45 ...
(M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions, 4.5.67, from memory) at Chebyshev's points."""


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


class PulledPhase:
    """The phases of `advance_phase` but for whole turns, which then need not be counted, call after call.

    Unchecked: what a voice computes with every block. The same to the last bit however the offsets are cut.
    """

    def __init__(self, lock_range: float, time_step: float, phase: float = 0.0) -> None:
        """`lock_range`, Hz, > 0; `time_step`, s; `phase` at the start, rad."""
        from scipy.linalg.blas import dtbsv, idamax  # heavy to load

        self._solve, self._place_of_largest = dtbsv, idamax
        self._half_turn, self._pull = 0.5 * TURN * time_step, TURN * lock_range * time_step
        self._most = max(1, min(LONGEST_PIECE, int(MOST_GROWTH / max(0.5 * self._pull, 1e-9))))
        alpha, quarter = 0.5 * self._pull, 0.5 * self._half_turn
        # s coth(s) in powers of the square of beta over `quarter`, and a step's two columns from the four terms
        alone, *self._series = (
            (-quarter * quarter) ** power
            * sum(
                math.comb(order, power) * coefficient * alpha ** (2 * (order - power))
                for order, coefficient in enumerate(COTANGENT)
                if order >= power
            )
            for power in range(len(COTANGENT))
        )
        self._mixture = np.zeros((4, 8))
        self._mixture[0, [3, 5]] = quarter, -quarter
        self._mixture[1, [3, 5]] = self._half_turn * alpha / 6.0
        self._mixture[2:, [2, 6]] = (1.0, 1.0), (alone + alpha, alone - alpha)
        self._make_room(1)
        self.set(phase)

    def set(self, phase: float) -> None:
        """Go on from this phase, rad: from the pair of length 1 at half of it."""
        self._pair = math.cos(0.5 * phase), math.sin(0.5 * phase)

    def half_phases(self, offsets: Floats) -> Floats:
        """Half the phases (n,), rad, within -pi/2..pi/2, after n >= 1 steps between the offsets (n + 1,), Hz, linear in
        between.

        The first offset is the last of the call before. The system solved reads v[k + 1] + M[k] v[k] = 0: every step
        turns the pair's sign round as well, which twice its angle, the phase, does not see. Its length is brought back
        near 1 by powers of 2, which round nothing.
        """
        count = offsets.size - 1
        if self._columns.shape[0] <= min(count, self._most):
            self._make_room(min(count, self._most))
        farthest = abs(float(offsets[self._place_of_largest(offsets)]))
        near = (self._half_turn * farthest) ** 2 <= -NEAR[0] and (0.5 * self._pull) ** 2 <= NEAR[1]
        halves = np.empty(count)
        with np.errstate(divide="ignore"):  # p / 0 is infinite, and its arc tangent a quarter turn
            for first in range(0, count, self._most):
                last = min(first + self._most, count)
                columns = self._fill(offsets[first : last + 1], near)
                pairs = np.zeros(columns.shape[1])
                pairs[:2] = self._pair
                solved = self._solve(3, columns, pairs, lower=1, diag=1, overwrite_x=1)
                self._pair = _near_one(*solved[-2:].tolist())
                np.divide(solved[3::2], solved[2::2], out=halves[first:last])
        return np.arctan(halves, out=halves)

    def _make_room(self, steps: int) -> None:
        """Room for the terms and the columns of so many steps at once."""
        stacks = -(-steps // STACK)
        self._terms, self._square = np.zeros((4, stacks * STACK)), np.empty(stacks * STACK)
        self._terms[3] = 1.0
        self._columns = np.zeros((stacks * STACK + 1, 8))

    def _fill(self, offsets: Floats, near: bool) -> Floats:
        """The columns (4, 2 n + 2) of the system for n steps between offsets (n + 1,), Hz, two each, from the diagonal
        (1, not read) down; the last two are not read. `near`: every s^2 lies within NEAR.

        Per step, in rad: beta half the free advance, d half the rise of dw h. The exponent is alpha S + beta J +
        gamma X, X = [[0, 1], [1, 0]]: the Magnus exponent of the generator a S + (b + tau d) J over tau = -1/2..1/2,
        A - [A, B] / 12 for A = a S + b J and B = d J. Its square is s^2 = alpha^2 - beta^2 times the unit matrix but
        for gamma^2, which is of the sixth order in h, so M = cosh(s) + sinh(s) / s times it, which turns a pair like
        s coth(s) + 1 times it. The columns mix four terms: what beta and gamma are in proportion to, the part of
        s coth(s) with beta, and 1.
        """
        count = offsets.size - 1
        stacks = -(-count // STACK)
        beta, gamma, even, _ = self._terms[:, :count]
        np.add(offsets[1:], offsets[:-1], out=beta)
        np.subtract(offsets[1:], offsets[:-1], out=gamma)
        square = np.multiply(beta, beta, out=self._square[:count])
        np.multiply(square, self._series[-1], out=even)
        for coefficient in self._series[-2::-1]:
            even += coefficient
            even *= square
        terms = self._terms.reshape(4, -1, STACK).transpose(1, 2, 0)[:stacks]
        np.matmul(terms, self._mixture, out=self._columns[: stacks * STACK].reshape(stacks, STACK, 8))
        columns = self._columns[: count + 1]
        if not near:
            self._fill_far(columns[:-1], beta, gamma, square)
        return columns.reshape(-1, 4).T

    def _fill_far(self, columns: Floats, beta: Floats, gamma: Floats, square: Floats) -> None:
        """The columns of those steps whose s^2 lies beyond NEAR, by cosines and sines."""
        alpha, quarter = 0.5 * self._pull, 0.5 * self._half_turn
        squares = alpha * alpha - quarter * quarter * square
        far = np.flatnonzero((squares < NEAR[0]) | (squares > NEAR[1]))
        size, turning = np.sqrt(np.abs(squares[far])), squares[far] < 0.0
        even = np.where(turning, np.cos(size), np.cosh(size))
        odd = np.where(turning, np.sin(size), np.sinh(size)) / size
        turned, bent = quarter * beta[far], self._half_turn * alpha / 6.0 * gamma[far]
        columns[far, 2], columns[far, 6] = even + alpha * odd, even - alpha * odd
        columns[far, 3], columns[far, 5] = (bent + turned) * odd, (bent - turned) * odd


def _near_one(first: float, second: float) -> Pair:
    """The pair times the power of 2 that brings the larger of its numbers between 1/2 and 1."""
    shift = -math.frexp(max(abs(first), abs(second)))[1]
    return math.ldexp(first, shift), math.ldexp(second, shift)


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
