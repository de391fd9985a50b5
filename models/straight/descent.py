"""Least squares from many starts at once: the method of Levenberg and Marquardt with every start a column of arrays.

With r the residuals, J their derivatives by the unknowns and D the diagonal of J'J, a step s solves

    (J'J + damping D) s = -J'r

K. Levenberg, Quart. Appl. Math. 2 (1944) 164; D. W. Marquardt, J. SIAM 11 (1963) 431 (from memory). Of several
dampings, tried together, the best is kept. Unknowns stay within bounds: one that rests on its bound and is pushed
beyond it is left out of the step. Derivatives are differences. Finds the lowest place near each start, no other.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from models.arrays import Floats

Residuals = Callable[[Floats], Floats]  # unknowns (d, n) to residuals (n, m); a row with no such thing is not finite
DIFFERENCE = 1e-5  # of a bound's width, for derivatives
DAMPINGS = np.array([0.03, 0.5, 5.0, 100.0])  # times the last that was kept, tried together
FIRST_DAMPING, LEAST_DAMPING, MOST_DAMPING = 1e-2, 1e-9, 1e9


def descend(residuals: Residuals, starts: Floats, low: Floats, high: Floats, rounds: int) -> tuple[Floats, Floats]:
    """Where `rounds` steps lead from `starts` (d, n) within `low` to `high` (d,): unknowns (d, n), and sums of squares.

    Every round takes two calls of `residuals`, with n d and then 4 n columns. A start whose residuals are not finite
    stays where it is, with an infinite sum.
    """
    count, at = starts.shape[1], starts.T.copy()
    values = residuals(at.T)
    sums = _sums(values)
    damping = np.full(count, FIRST_DAMPING)
    for _ in range(rounds):
        slopes = _slopes(residuals, at, values, low, high)
        downhill = -np.einsum("nmd,nm->nd", slopes, np.where(np.isfinite(values), values, 0.0))
        free = ~((at <= low) & (downhill < 0.0) | (at >= high) & (downhill > 0.0))
        normal = np.einsum("nmd,nme->nde", slopes, slopes) * (free[:, :, None] & free[:, None, :])
        diagonal = np.einsum("ndd->nd", normal)
        tried = np.clip(damping[:, None] * DAMPINGS, LEAST_DAMPING, MOST_DAMPING)
        scale = np.maximum(diagonal, 1e-12 * diagonal.max(axis=1, keepdims=True) + np.finfo(float).tiny)
        damped = normal[:, None] + tried[:, :, None, None] * (scale[:, :, None] * np.eye(len(low)))[:, None]
        steps = np.linalg.solve(
            damped, np.broadcast_to((downhill * free)[:, None, :, None], (*tried.shape, len(low), 1))
        )
        ahead = np.clip(at[:, None] + steps[..., 0], low, high)
        found = residuals(ahead.reshape(-1, len(low)).T)
        reached = _sums(found).reshape(tried.shape)
        best, row = reached.argmin(axis=1), np.arange(count)
        better = reached[row, best] < sums
        at = np.where(better[:, None], ahead[row, best], at)
        values = np.where(better[:, None], found.reshape(*tried.shape, -1)[row, best], values)
        sums = np.where(better, reached[row, best], sums)
        damping = np.where(better, tried[row, best], np.minimum(damping * DAMPINGS[-1], MOST_DAMPING))
    return at.T, sums


def _sums(residuals: Floats) -> Floats:
    squares = np.sum(residuals**2, axis=-1)
    return np.where(np.isfinite(squares), squares, np.inf)


def _slopes(residuals: Residuals, at: Floats, values: Floats, low: Floats, high: Floats) -> Floats:
    """Derivatives (n, m, d) by differences that stay within the bounds; 0 where one is not finite."""
    count, unknowns = at.shape
    width = DIFFERENCE * (high - low)
    step = np.where(at + width > high, -width, width)
    beside = at[:, None, :] + step[:, :, None] * np.eye(unknowns)
    there = residuals(beside.reshape(-1, unknowns).T).reshape(count, unknowns, -1)
    slopes = np.swapaxes((there - values[:, None, :]) / step[:, :, None], 1, 2)
    return np.asarray(np.where(np.isfinite(slopes), slopes, 0.0))
