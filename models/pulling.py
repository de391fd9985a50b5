"""Two oscillators that leak into each other: the beat is pulled toward zero, and locks near it.

Adler's equation for the phase between them, phi:

    d(phi)/dt = dw(t) - wL sin(phi)                    dw = 2 pi offset, wL = 2 pi lock_range

R. Adler, Proc. IRE 34 (1946) 351; B. Razavi, IEEE JSSC 39 (2004) 1415. Valid for weak injection, where the
coupled signal is much smaller than the oscillator's own and the offset is small against f / 2Q. Neglected:
amplitude changes, pulling of the second oscillator by the first as a separate unknown (its share may be put
into `lock_range`), and noise.

With tan(phi / 2) = p / q the equation is linear: the pair (q, p), at the angle phi / 2, obeys

    d/dt (q, p) = (wL / 2 S + dw / 2 J) (q, p),    S = [[1, 0], [0, -1]],  J = [[0, -1], [1, 0]]

For dw linear over a step of length h the exponent of its matrix is taken from the Magnus series to the sixth order in h
(S. Blanes, F. Casas, J. A. Oteo, J. Ros, Physics Reports 470 (2009) 151; citation from memory, the terms derived here).
As a complex number w = q + j p, with w* its conjugate, a step is w -> P w + Q w*, |P|^2 - |Q|^2 = 1. Most of it is the
turning P, whose running product is E; for u = w / E there remains

    u[k + 1] = u[k] + R[k] u[k]*,    R[k] = Q[k] E[k]* / E[k + 1],    |R| <= wL h / 2

which a series in R solves for all samples together: each order is one running sum (`_series`).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.checks import finite, finite_array, non_negative, positive

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
TURN = 2.0 * math.pi
LONGEST_PIECE = 128
"""Steps of one series; longer rows are cut into pieces, side by side. One piece holds a live block."""
MOST_PULL = 0.3
"""Sum of |R| over a piece, above which it is cut shorter (down to one step, for which the first order is exact)."""
SERIES_ERROR = 1e-14
"""Bound of what the series leaves out, relative: some 1e-14 rad a piece."""


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
    wrapped = _pulled_angle(remainder, free, lock, step)
    # pulling moves a step less than half a turn off its free advance: that settles the turn of each sample
    moved = np.diff(wrapped, prepend=remainder)
    counted = remainder + np.cumsum(moved - TURN * np.rint((moved - advances) / TURN))
    return wrapped + TURN * (np.rint((counted - wrapped) / TURN) + round((start - remainder) / TURN))


def advance_angle(phase: float, offsets: ArrayLike, lock_range: float, time_step: float) -> Floats:
    """The phases of `advance_phase` but for whole turns, which then need not be counted; within -2 pi..2 pi.

    For lock_range > 0 only (ValueError otherwise): without pulling there is nothing to save.
    """
    start, free, lock, step = _checked(phase, offsets, lock_range, time_step)
    if lock == 0.0:
        raise ValueError("lock_range must be > 0; got 0")
    if free.size == 1:
        return np.empty(0)
    return _pulled_angle(math.remainder(start, TURN), free, lock, step)


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


def _pulled_angle(start: float, free: Floats, lock: float, step: float) -> Floats:
    """Phase after each step, rad, but for whole turns, from `start` within half a turn."""
    count, pull = free.size - 1, TURN * lock * step
    length = min(count, LONGEST_PIECE, max(1, int(MOST_PULL / max(0.5 * pull, 1e-9))))  # pull may be as small as 0
    turning, pulling = _step_pair(
        _in_pieces((free[1:] + free[:-1]) * (0.25 * TURN * step), length),
        _in_pieces((free[1:] - free[:-1]) * (0.5 * TURN * step), length),
        pull,
    )
    turned = np.empty((turning.shape[0], length + 1), dtype=np.complex128)
    turned[:, 0] = 1.0
    np.multiply.accumulate(turning, axis=1, out=turned[:, 1:])
    # |E| = 1 is not needed: a factor common to P and Q changes no angle
    pulling *= np.conj(turned[:, :-1])
    pulling /= turned[:, 1:]
    kept, mirrored = _series(pulling, 0.5 * pull)
    starts = _starts(turned[:, -1] * kept[:, -1], turned[:, -1] * np.conj(mirrored[:, -1]), start)
    vectors = mirrored[:, 1:] * starts
    np.conj(vectors, out=vectors)
    vectors += kept[:, 1:] * starts
    vectors *= turned[:, 1:]
    angles = np.arctan2(vectors.imag, vectors.real).ravel()[:count]
    angles *= 2.0
    return angles


def _running_sum(values: Floats, block: int = 256) -> Floats:
    """Running sum in blocks, so that rounding grows with the block and the number of blocks only."""
    whole = values.size // block * block
    sums = np.cumsum(values[:whole].reshape(-1, block), axis=1)
    carried = np.cumsum(sums[:, -1])
    sums[1:] += carried[:-1, None]
    base = carried[-1] if carried.size else 0.0
    return np.concatenate([sums.ravel(), base + np.cumsum(values[whole:])])


def _step_pair(beta: Floats, half_rise: Floats, pull: float) -> tuple[Complexes, Complexes]:
    """(P, Q) of each step, any shape: half its free advance and half the rise of dw h in it, rad, and wL h, rad.

    alpha S + beta J + gamma X, X = [[0, 1], [1, 0]], is the Magnus exponent of the generator a S + (b + tau d) J over
    tau = -1/2..1/2. With A = a S + b J, B = d J it is A - [A, B] / 12 + [[A, B], B] / 240 + [A, [A, [A, B]]] / 720. Its
    square is (alpha^2 + gamma^2 - beta^2) times the unit matrix, so the exponential is closed. S, J, X take w to w*,
    j w and j w*.
    """
    mean, beta_square = 0.5 * pull, beta * beta
    alpha = half_rise * half_rise
    alpha *= -mean / 60.0
    alpha += mean
    gamma = beta_square * (mean / 90.0)
    gamma += (mean / 6.0) * (1.0 - mean * mean / 15.0)
    gamma *= half_rise
    even, odd = _hyperbolic_pair(alpha * alpha + gamma * gamma - beta_square)
    turning, pulling = np.empty(beta.shape, np.complex128), np.empty(beta.shape, np.complex128)
    turning.real = even
    np.multiply(beta, odd, out=turning.imag)
    np.multiply(alpha, odd, out=pulling.real)
    np.multiply(gamma, odd, out=pulling.imag)
    return turning, pulling


def _hyperbolic_pair(square: Floats) -> tuple[Floats, Floats]:
    """cosh(s) and sinh(s) / s for s^2 = `square` of either sign (cos and sin / s where it is negative)."""
    size = np.sqrt(np.abs(square))
    if square.max() < 0.0:
        return np.cos(size), np.sin(size) / size
    turning = square < 0.0
    small = size < 1e-4
    safe = np.where(small, 1.0, size)
    even = np.where(turning, np.cos(size), np.cosh(size))
    odd = np.where(turning, np.sin(safe), np.sinh(safe)) / safe
    return even, np.where(small, 1.0 + square / 6.0, odd)


def _in_pieces(values: Floats, length: int) -> Floats:
    """A row cut into pieces of `length` steps, shape (pieces, length); 0 beyond the end."""
    pieces = -(-values.size // length)
    if values.size != pieces * length:
        values = np.append(values, np.zeros(pieces * length - values.size))
    return values.reshape(pieces, length)


def _series(pulling: Complexes, most: float) -> tuple[Complexes, Complexes]:
    """(a, b), both (pieces, n + 1), with u[k] = a[k] u[0] + (b[k] u[0])* for R = `pulling` (pieces, n), |R| <= `most`.

    a = 1 + sum of R b and b = sum of R* a, put into each other in turn. Order m adds at most (n most)^m / m!: that
    many products of m different |R| there are, each counted once.
    """
    pieces, length = pulling.shape
    mirrored_pulling = np.conj(pulling)
    kept, mirrored = np.ones((pieces, length + 1), np.complex128), np.zeros((pieces, length + 1), np.complex128)
    np.add.accumulate(mirrored_pulling, axis=1, out=mirrored[:, 1:])
    order, size = 1, length * most
    left_out = 0.5 * size * size
    while left_out > SERIES_ERROR and order < length:
        order += 1
        if order % 2 == 0:
            np.multiply(pulling, mirrored[:, :-1], out=kept[:, 1:])
            np.add.accumulate(kept, axis=1, out=kept)
        else:
            np.multiply(mirrored_pulling, kept[:, :-1], out=mirrored[:, 1:])
            np.add.accumulate(mirrored, axis=1, out=mirrored)
        left_out *= size / (order + 1)
    return kept, mirrored


def _starts(kept: Complexes, mirrored: Complexes, start: float) -> Complexes:
    """w / |w| at the start of each piece, (pieces, 1), from the angle `start`, rad, and what each piece makes of it."""
    vector = complex(math.cos(0.5 * start), math.sin(0.5 * start))
    vectors = []
    for first, second in zip(kept.tolist(), mirrored.tolist(), strict=True):
        vectors.append(vector)
        vector = first * vector + second * vector.conjugate()
        vector /= abs(vector)
    return np.array(vectors)[:, np.newaxis]


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
