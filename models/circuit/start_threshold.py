"""Characteristic roots of a linear circuit, and the conductance at which a pair of them reaches the imaginary axis."""

from __future__ import annotations

import math

import numpy as np

from models.arrays import Complexes, Floats
from models.roots import root

HIGHEST_RATIO = 1e6
"""The critical transconductance is looked for up to this many times the present one, and down to as much less."""

SETTLED = 1e-11
"""The threshold is found when a Newton step is less than this of the frequency: what is left goes with its square, and
rounding alone makes steps of some 1e-12 where a part is very large.
"""


def characteristic_roots(capacitance: Floats, conductance: Floats) -> Complexes:
    """Return the roots s, 1/s, of det(G + s C) = 0, largest real part first; C (n, n) regular."""
    roots: Complexes = np.linalg.eigvals(-np.linalg.solve(capacitance, conductance)).astype(np.complex128)
    return roots[np.argsort(-roots.real)]


def leading_pair(roots: Complexes, near: float | None = None) -> complex | None:
    """Return the complex root (positive frequency) of largest growth, or the one nearest to `near`, Hz; None if
    none.
    """
    pairs = [complex(root) for root in roots if root.imag > 1e-9 * abs(root)]
    if not pairs:
        return None
    if near is None:
        return max(pairs, key=lambda root: root.real)
    return min(pairs, key=lambda root: abs(abs(root.imag) - 2.0 * math.pi * near))


def growing(roots: Complexes) -> complex | None:
    """Return the leading pair, two positive real roots counted as one: a pair that grows within less than a cycle.

    As gain rises a pair of roots meets on the real axis and parts there; of these the lesser one's growth and the
    geometric mean of both are returned, both of which go on as the pair's did. One positive root alone is no
    oscillation.
    """
    pair = leading_pair(roots)
    real = np.sort(roots.real[(np.abs(roots.imag) <= 1e-9 * np.abs(roots)) & (roots.real > 0.0)])
    if real.size < 2 or (pair is not None and pair.real > real[-2]):
        return pair
    return complex(real[-2], math.sqrt(real[-1] * real[-2]))


def mode_shape(capacitance: Floats, conductance: Floats, root: complex) -> Complexes:
    """Return the null vector x (n,), unit length, of (G + s C) at a root s."""
    matrix = conductance + root * capacitance
    scale = np.abs(matrix).max(axis=1, keepdims=True)
    shape: Complexes = np.linalg.svd(matrix / scale)[2][-1].conj()
    return shape


def rank_one_threshold(
    capacitance: Floats, conductance: Floats, out: Floats, sense: Floats, angular_frequency: float, value: float
) -> tuple[float, float]:
    """Return the conductance g, S, and the angular frequency, rad/s, at which G + g out sense^T has a root at j omega.

    Newton on 1 + g h(j omega) = 0 with h(s) = sense^T (G + s C)^-1 out, dh/ds = -sense^T (..)^-1 C (..)^-1 out,
    from a first guess. Raises ValueError when it does not settle.
    """
    omega, strength = angular_frequency, value
    for _ in range(50):
        matrix = conductance + 1j * omega * capacitance
        forward = np.linalg.solve(matrix, out)
        backward = np.linalg.solve(matrix.T, sense)
        response, slope = sense @ forward, -1j * (backward @ capacitance @ forward)
        # linear in 1/g: h(j omega) + 1/g = 0
        omega_step = -float(response.imag / slope.imag)
        omega += omega_step
        turned = float(response.real + slope.real * omega_step)
        if turned == 0.0 or not math.isfinite(turned):
            break
        strength = -1.0 / turned
        if abs(omega_step) <= SETTLED * abs(omega):
            return float(strength), float(omega)
    raise ValueError("start-up: the threshold of oscillation does not settle")


def transconductance_window(
    capacitance: Floats, conductance: Floats, out: Floats, sense: Floats, start: float
) -> tuple[tuple[float, float] | None, tuple[float, float] | None]:
    """Return the lowest and the highest transconductance, S, that starts the circuit, each with its angular frequency.

    `conductance` holds everything but the transconductance, whose current leaves the network by `out` (n,) for the
    voltage taken by `sense` (n,). Beyond the highest, the conductance of the emitter itself shorts the feedback;
    None when there is no such end, or none at which the pair still swings. (None, None) when nothing within
    HIGHEST_RATIO of `start`, S, makes it oscillate. The leading pair is followed in steps of half an octave, so a
    window narrower than that can be missed.
    """

    def growth(value: float) -> tuple[float, float]:
        pair = growing(characteristic_roots(capacitance, conductance + value * np.outer(out, sense)))
        return (-math.inf, 0.0) if pair is None else (pair.real, pair.imag)

    def edge(inside: float, outside: float) -> tuple[float, float]:
        tolerance = 1e-4 * min(inside, outside)
        grows = root(lambda value: growth(value)[0], outside, inside, xtol=tolerance)
        first = grows + math.copysign(2e-4 * grows, inside - outside)  # just within, where the pair is sure to be
        return rank_one_threshold(capacitance, conductance, out, sense, growth(first)[1], first)

    def walk(origin: float, ratio: float, wanted: bool) -> float | None:
        value = origin
        while 1.0 / HIGHEST_RATIO < value / start < HIGHEST_RATIO:
            value *= ratio
            if (growth(value)[0] > 0.0) == wanted:
                return value
        return None

    step = math.sqrt(2.0)
    inside: float | None = start
    if growth(start)[0] <= 0.0:
        inside = walk(start, step, True) or walk(start, 1.0 / step, True)
    if inside is None:
        return None, None
    below, above = walk(inside, 1.0 / step, False), walk(inside, step, False)
    if below is None:
        raise ValueError(
            "start-up: it oscillates whatever the transconductance of the device that is to amplify: another device "
            "keeps it up, or this one is joined the wrong way round"
        )
    upper = None
    if above is not None:
        try:
            upper = edge(above / step, above)
        except ValueError:  # there the pair becomes real: it no longer swings, but does not come to rest either
            upper = None
        if upper is not None and upper[0] < inside:
            upper = None
    return edge(below * step, below), upper
