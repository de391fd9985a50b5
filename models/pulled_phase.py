"""The phase between two oscillators that leak into each other, solved step by step.

Adler's equation for it (`models.pulling`), for a phase phi, dw(t) = 2 pi offset and wL = 2 pi lock_range:

    d(phi)/dt = dw(t) - wL sin(phi)

With tan(phi / 2) = p / q the equation is linear: the pair (q, p), at the angle phi / 2, obeys

    d/dt (q, p) = (wL / 2 S + dw / 2 J) (q, p),    S = [[1, 0], [0, -1]],  J = [[0, -1], [1, 0]]

For dw linear over a step of length h the exponent of its matrix is taken from the Magnus series to the fourth order
in h (S. Blanes, F. Casas, J. A. Oteo, J. Ros, Physics Reports 470 (2009) 151; citation from memory, the term derived
here). At 48 kHz the phase then stays within 1e-7 rad of a tight integration along a moving hand, and within 5e-7 rad
where the offset runs from 0 to 20 kHz in 50 ms at a lock range of 150 Hz (the tests).

A pair hangs on the one before it, which is slow to work out one by one. So two steps are made one first, by the product
of their matrices, everywhere at once; the pairs after these are a triangular system of three side diagonals, which BLAS
solves downwards, and those in the middle follow, again everywhere at once.
"""

from __future__ import annotations

import math

import numpy as np

from models.arrays import Floats

Pair = tuple[float, float]
TURN = 2.0 * math.pi
LONGEST_PIECE = 4096
"""Double steps solved at once: some 240 bytes each."""
MOST_GROWTH = 150.0
"""Largest sum of wL h / 2 over the steps solved at once: by it the pair grows or shrinks by e to that at most, and by
1.4 % a step at most through the scale of `_fill`."""
TINY = np.array(1e-150)
"""Added to q, so that nothing is divided by 0: far below any q after that growth, and p over it is a number still."""
NEAR = (-0.08, 0.01)
"""s^2 for which a polynomial stands for s coth(s): offsets below 0.09 of the sample rate, locks below 0.03 of it."""
COTANGENT = (1.0, 0.33333333334346893, -0.022222222868340632, 0.0021162867147777715, -0.0002146642833006537)
"""s coth(s) in powers of s^2, within 1e-12 where NEAR: 1 + s^2 times the cubic that meets the series 1/3 - s^2/45 ...
(M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions, 4.5.67, from memory) at Chebyshev's points."""
MOST_ROOMS = 8  # kept, each for one length of calls


class PulledPhase:
    """The phases of `models.pulling.advance_phase` but for whole turns, which then need not be counted, call after
    call.

    Unchecked: what a voice computes with every block. The same to the last bit however the offsets are cut: steps are
    taken by twos from where the phase was set, and one that is left over is taken again with the next.
    """

    def __init__(self, lock_range: float, time_step: float, phase: float = 0.0) -> None:
        """`lock_range`, Hz, > 0; `time_step`, s; `phase` at the start, rad."""
        from scipy.linalg.blas import dtbsv, idamax  # heavy to load

        self._solve, self._place_of_largest = dtbsv, idamax
        self._scale, alpha = 0.25 * TURN * time_step, 0.5 * TURN * lock_range * time_step
        self._most = max(1, min(LONGEST_PIECE, int(0.5 * MOST_GROWTH / max(alpha, 1e-9))))
        # s coth(s) in powers of beta^2; numbers as arrays, which numpy takes up in two thirds of the time
        alone, *series = (
            (-1.0) ** power
            * sum(
                math.comb(order, power) * coefficient * alpha ** (2 * (order - power))
                for order, coefficient in enumerate(COTANGENT)
                if order >= power
            )
            for power in range(len(COTANGENT))
        )
        self._alpha, self._series = alpha, [np.array(coefficient) for coefficient in series[::-1]]
        self._longer, self._shorter = np.array(alone + alpha), np.array(alone - alpha)
        self._bending = np.array(alpha / 3.0)
        self._rooms: dict[int, _Room] = {}
        self.set(phase)

    def set(self, phase: float) -> None:
        """Go on from this phase, rad: from the pair of length 1 at half of it."""
        self._pair = math.cos(0.5 * phase), math.sin(0.5 * phase)
        self._left = np.empty(0)

    def half_phases(self, offsets: Floats) -> Floats:
        """Half the phases (n,), rad, within -pi/2..pi/2, after n >= 1 steps between the offsets (n + 1,), Hz, linear in
        between. The first offset is the last of the call before.
        """
        return np.arctan(self.tangents(offsets))

    def tangents(self, offsets: Floats) -> Floats:
        """The tangents of `half_phases`, none of them infinite."""
        left, scaled = self._left.size, offsets * self._scale
        steps = left + scaled.size - 1
        if left or steps % 2:
            scaled = np.concatenate([self._left, scaled, scaled[-1:]])  # the last is read where a step is left over
        farthest = 2.0 * abs(float(scaled[self._place_of_largest(scaled)]))
        near = farthest * farthest <= -NEAR[0] and self._alpha * self._alpha <= NEAR[1]
        whole, count = steps // 2, (steps + 1) // 2
        tangents = np.empty((count, 2))
        for first in range(0, count, self._most):
            last = min(first + self._most, count)
            room = self._rooms.get(last - first) or self._make_room(last - first)
            self._fill(room, scaled[2 * first : 2 * last + 1], near)
            self._advance(room, min(whole, last) - first, tangents[first:last])
        self._left = scaled[2 * whole : steps]
        return tangents.reshape(-1)[left:steps]

    def _make_room(self, count: int) -> _Room:
        """A room for so many double steps, which later calls find ready."""
        if len(self._rooms) >= MOST_ROOMS:
            self._rooms.clear()
        room = self._rooms[count] = _Room(count)
        return room

    def _fill(self, room: _Room, scaled: Floats, near: bool) -> None:
        """The matrices of n double steps, between offsets times pi h / 2 (2 n + 1,).

        Per step, in rad: beta half the free advance, d half the rise of dw h, alpha = wL h / 2. The exponent is alpha S
        + beta J + gamma X, X = [[0, 1], [1, 0]]: the Magnus exponent of the generator a S + (b + tau d) J over tau =
        -1/2..1/2, A - [A, B] / 12 for A = a S + b J and B = d J. Its square is s^2 = alpha^2 - beta^2 times the unit
        matrix but for gamma^2, which is of the sixth order in h, so M = cosh(s) + sinh(s) / s times it, which turns a
        pair like s coth(s) + 1 times it. `near`: every s^2 lies within NEAR.
        """
        beta, gamma, square, even = room.beta, room.gamma, room.square, room.even
        before, after = scaled[:-1].reshape(-1, 2).T, scaled[1:].reshape(-1, 2).T
        np.add(after, before, out=room.betas)
        np.subtract(after, before, out=room.gammas)
        gamma *= self._bending
        np.multiply(beta, beta, out=square)
        np.multiply(square, self._series[0], out=even)
        for coefficient in self._series[1:]:
            even += coefficient
            even *= square
        np.add(even, self._longer, out=room.matrices[0])
        np.subtract(gamma, beta, out=room.matrices[1])
        np.add(gamma, beta, out=room.matrices[2])
        np.add(even, self._shorter, out=room.matrices[3])
        if not near:
            self._fill_far(room)

    def _fill_far(self, room: _Room) -> None:
        """The matrices of those steps whose s^2 lies beyond NEAR, by cosines and sines."""
        squares = self._alpha * self._alpha - room.square
        far = np.flatnonzero((squares < NEAR[0]) | (squares > NEAR[1]))
        size, turning = np.sqrt(np.abs(squares[far])), squares[far] < 0.0
        even = np.where(turning, np.cos(size), np.cosh(size))
        odd = np.where(turning, np.sin(size), np.sinh(size)) / size
        stretched, bent, turned = self._alpha * odd, room.gamma[far] * odd, room.beta[far] * odd
        for entry, values in zip(
            room.matrices, (even + stretched, bent - turned, bent + turned, even - stretched), strict=True
        ):
            entry[far] = values

    def _advance(self, room: _Room, whole: int, tangents: Floats) -> None:
        """p / q (n, 2) after each step of n double ones, by the matrices in the room, into `tangents`; the pair after
        the whole double steps is kept, its length brought back near 1 by a power of 2, which rounds nothing.

        The system solved reads v[k + 1] + M[k] v[k] = 0: every double step turns the pair's sign round as well, which
        twice its angle, the phase, does not see.
        """
        room.add_products(room.joined)
        room.pairs[:2], room.pairs[2:] = self._pair, 0.0
        self._solve(3, room.system, room.pairs, trans=1, diag=1, overwrite_x=1)
        self._pair = _near_one(*room.ends[whole].tolist())
        room.add_products(room.halfway)
        for (first, second), place in ((room.middles, 0), (room.ends[1:].T, 1)):
            first += TINY
            np.divide(second, first, out=tangents[:, place])


class _Room:
    """Where the numbers of so many double steps go, and views of them, which would take longer to make than the work
    of a short block.
    """

    def __init__(self, count: int) -> None:
        # of all first steps, then of all second ones
        self.beta, self.gamma, self.square, self.even = np.empty((4, 2 * count))
        self.betas, self.gammas = self.beta.reshape(2, count), self.gamma.reshape(2, count)
        entries = np.empty((2, 2, 2 * count))
        self.matrices = list(entries.reshape(4, -1))
        # the system: two columns a double step, from what they take of q and p before down to the diagonal, not read
        columns = np.zeros((count + 1, 8))
        self.system = columns.reshape(-1, 4).T
        self.pairs = np.empty(2 * count + 2)
        self.ends, self.middles = self.pairs.reshape(-1, 2), np.empty((2, count))
        # sums of two products, and where they go: both steps of a double one as one matrix, and the pairs between them
        first, second = entries[..., :count], entries[..., count:]
        before = self.ends[:-1].T
        self.joined = [
            (second[row, 0], first[0, column], second[row, 1], first[1, column], columns[1:, 1 + 3 * row + column])
            for row in (0, 1)
            for column in (0, 1)
        ]
        self.halfway = [(first[row, 0], before[0], first[row, 1], before[1], self.middles[row]) for row in (0, 1)]
        self._spare = np.empty((2, count))

    def add_products(self, sums: list[tuple[Floats, Floats, Floats, Floats, Floats]]) -> None:
        """Each a b + c d of (a, b, c, d, where it goes)."""
        one, other = self._spare
        for first, factor, second, its_factor, total in sums:
            np.multiply(first, factor, out=one)
            np.multiply(second, its_factor, out=other)
            np.add(one, other, out=total)


def _near_one(first: float, second: float) -> Pair:
    """The pair times the power of 2 that brings the larger of its numbers between 1/2 and 1."""
    shift = -math.frexp(max(abs(first), abs(second)))[1]
    return math.ldexp(first, shift), math.ldexp(second, shift)
