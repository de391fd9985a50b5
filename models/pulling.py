"""Two oscillators that leak into each other: the beat is pulled toward zero, and locks near it.

Adler's equation for the phase between them, phi:

    d(phi)/dt = dw(t) - wL sin(phi)                    dw = 2 pi offset, wL = 2 pi lock_range

R. Adler, Proc. IRE 34 (1946) 351; B. Razavi, IEEE JSSC 39 (2004) 1415. Valid for weak injection, where the
coupled signal is much smaller than the oscillator's own and the offset is small against f / 2Q. Neglected:
amplitude changes, pulling of the second oscillator by the first as a separate unknown (its share may be put
into `lock_range`), and noise.

With tan(phi / 2) = p / q the equation is linear: the pair (q, p), at the angle phi / 2, obeys

    d/dt (q, p) = (wL / 2 S + dw / 2 J) (q, p),    S = [[1, 0], [0, -1]],  J = [[0, -1], [1, 0]]

so a step multiplies by a 2 x 2 matrix of determinant 1, and many steps are a product of matrices, which numpy
forms for all samples together. For dw linear over a step the exponent of the matrix is taken from the Magnus
series to the sixth order in the step (S. Blanes, F. Casas, J. A. Oteo, J. Ros, Physics Reports 470 (2009)
151; citation from memory, the terms derived here).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.checks import finite, finite_array, non_negative, positive

Floats = NDArray[np.float64]
TURN = 2.0 * math.pi
LONGEST_BLOCK = 24
"""Steps whose matrices are multiplied one after the other, all blocks side by side: about the fastest for a voice."""


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
    wrapped = _pulled_angle(remainder, free, advances, lock, step)
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
    advances = (0.5 * TURN * step) * (free[:-1] + free[1:])
    return _pulled_angle(math.remainder(start, TURN), free, advances, lock, step)


def _checked(
    phase: float, offsets: ArrayLike, lock_range: float, time_step: float
) -> tuple[float, Floats, float, float]:
    """The arguments of `advance_phase`, checked."""
    start = finite("phase", phase)
    free = finite_array("offsets", offsets)
    if free.ndim != 1 or free.size == 0:
        raise ValueError(f"offsets must be a row of at least one number; got shape {free.shape}")
    lock = non_negative("lock_range", lock_range)
    step = positive("time_step", time_step)
    if lock * step >= 0.5:
        raise ValueError(f"lock_range must be < 1 / (2 time_step) = {0.5 / step:g}; got {lock:g}")
    return start, free, lock, step


def _pulled_angle(start: float, free: Floats, advances: Floats, lock: float, step: float) -> Floats:
    """Phase after each step, rad, but for whole turns, from `start` within half a turn; `advances` rad without pull."""
    rises = np.diff(free) * (TURN * step)
    matrices = _step_matrices(_in_blocks(advances), _in_blocks(rises), TURN * lock * step)
    cosine, sine = _apply_in_turn(matrices, math.cos(0.5 * start), math.sin(0.5 * start), advances.size)
    return np.asarray(2.0 * np.arctan2(sine, cosine))


def _running_sum(values: Floats, block: int = 256) -> Floats:
    """Running sum in blocks, so that rounding grows with the block and the number of blocks only."""
    whole = values.size // block * block
    sums = np.cumsum(values[:whole].reshape(-1, block), axis=1)
    carried = np.cumsum(sums[:, -1])
    sums[1:] += carried[:-1, None]
    base = carried[-1] if carried.size else 0.0
    return np.concatenate([sums.ravel(), base + np.cumsum(values[whole:])])


def _step_matrices(advances: Floats, rises: Floats, pull: float) -> Floats:
    """Matrix of each step from its free advance, the rise of dw h in it (rad, shapes (m, k)), and wL h (rad).

    alpha S + beta J + gamma X, X = [[0, 1], [1, 0]], is the Magnus exponent of the generator a S + (b + tau d) J over
    tau = -1/2..1/2. With A = a S + b J, B = d J it is A - [A, B] / 12 + [[A, B], B] / 240 + [A, [A, [A, B]]] / 720. Its
    square is (alpha^2 + gamma^2 - beta^2) times the unit matrix, so the exponential is closed. Shape (m, 2, 2, k).
    """
    mean, beta, half_rise = 0.5 * pull, 0.5 * advances, 0.5 * rises
    alpha = mean * (1.0 - half_rise * half_rise / 60.0)
    gamma = (mean / 6.0) * half_rise * (1.0 + (beta * beta - mean * mean) / 15.0)
    even, odd = _hyperbolic_pair(alpha * alpha + gamma * gamma - beta * beta)
    matrices = np.empty((advances.shape[0], 2, 2, advances.shape[1]))
    alpha, beta, gamma = alpha * odd, beta * odd, gamma * odd
    np.add(even, alpha, out=matrices[:, 0, 0])
    np.subtract(gamma, beta, out=matrices[:, 0, 1])
    np.add(gamma, beta, out=matrices[:, 1, 0])
    np.subtract(even, alpha, out=matrices[:, 1, 1])
    return matrices


def _hyperbolic_pair(square: Floats) -> tuple[Floats, Floats]:
    """cosh(s) and sinh(s) / s for s^2 = `square` of either sign (cos and sin / s where it is negative)."""
    size = np.sqrt(np.abs(square))
    turning = square < 0.0
    if turning.all():
        return np.cos(size), np.sin(size) / size
    small = size < 1e-4
    safe = np.where(small, 1.0, size)
    even = np.where(turning, np.cos(size), np.cosh(size))
    odd = np.where(turning, np.sin(safe), np.sinh(safe)) / safe
    return even, np.where(small, 1.0 + square / 6.0, odd)


def _in_blocks(values: Floats) -> Floats:
    """A row cut into k blocks of m steps, shape (m, k): time runs down the columns in turn; 0 beyond the end."""
    length = min(LONGEST_BLOCK, max(4, math.isqrt(values.size)))
    blocks = -(-values.size // length)
    padded = np.zeros(blocks * length)
    padded[: values.size] = values
    return np.ascontiguousarray(padded.reshape(blocks, length).T)


def _apply_in_turn(matrices: Floats, cosine: float, sine: float, count: int) -> tuple[Floats, Floats]:
    """Direction of (cosine, sine) after each of the first `count` matrices, as two parts of any length; shapes (n,).

    `matrices` (m, 2, 2, k), blocks as in `_in_blocks`, is overwritten by the products within each block.
    """
    length, _, _, blocks = matrices.shape
    first_part, second_part = np.empty((2, 2, blocks)), np.empty((2, 2, blocks))
    for index in range(1, length):
        new, old = matrices[index], matrices[index - 1]
        np.multiply(new[:, :1], old[:1], out=first_part)
        np.multiply(new[:, 1:], old[1:], out=second_part)
        np.add(first_part, second_part, out=new)
    starts = np.empty((2, blocks))
    ends = matrices[-1].transpose(2, 0, 1).reshape(blocks, 4).tolist()
    for index, (first, second, third, fourth) in enumerate(ends):
        starts[0, index], starts[1, index] = cosine, sine
        cosine, sine = first * cosine + second * sine, third * cosine + fourth * sine
        size = math.hypot(cosine, sine)
        cosine, sine = cosine / size, sine / size
    vectors = matrices[:, :, 0] * starts[0] + matrices[:, :, 1] * starts[1]
    return vectors[:, 0].T.ravel()[:count], vectors[:, 1].T.ravel()[:count]


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
