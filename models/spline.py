"""Cubics between knots: the smooth curve through computed points.

The same as CubicSpline, CubicHermiteSpline and the inner slopes of PchipInterpolator of scipy.interpolate (tests
compare them). Written out here since that package brings in nearly all of scipy, a third of a second before a command
that only reads a curve begins.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.arrays import Floats

MANY = 250
"""Knots from which a whole matrix takes longer than cyclic reduction."""
Values = NDArray[Any]
"""Real or complex values (n, ...), one row a knot."""


class Cubic:
    """Through `values` (n, ...) with `slopes` (n, ...) at `knots` (n,), strictly increasing, n >= 2.

    Called with places of any shape and the order of a derivative (0 to 3) it gives values of the shape of the places
    and then of one row. The first and the last cubic go on beyond the knots.
    """

    def __init__(self, knots: Floats, values: Values, slopes: Values) -> None:
        width = np.diff(knots).reshape(-1, *(1,) * (values.ndim - 1))
        secants = np.diff(values, axis=0) / width
        bend = slopes[:-1] + slopes[1:] - 2.0 * secants
        self.knots, self._inner = knots, knots[1:-1]
        self._powers = (values[:-1], slopes[:-1], (secants - slopes[:-1] - bend) / width, bend / width**2)

    def __call__(self, places: ArrayLike, order: int = 0) -> Values:
        at = np.asarray(places, dtype=np.float64)
        piece = self._inner.searchsorted(at, side="right")
        since = at - self.knots[piece]
        zero, one, two, three = (power[piece] for power in self._powers)
        if zero.ndim > since.ndim:
            since = since.reshape(*at.shape, *(1,) * (zero.ndim - since.ndim))
        if order == 0:
            return np.asarray(zero + since * (one + since * (two + since * three)))
        if order == 1:
            return np.asarray(one + since * (2.0 * two + since * (3.0 * three)))
        return np.asarray(2.0 * two + 6.0 * since * three if order == 2 else 6.0 * three)


def spline(knots: ArrayLike, values: ArrayLike) -> Cubic:
    """The cubic with `spline_slopes`."""
    places, rows = np.asarray(knots, dtype=np.float64), np.asarray(values)
    return Cubic(places, rows, spline_slopes(places, rows))


def spline_slopes(knots: Floats, values: Values) -> Values:
    """Slopes (n, ...) at the knots of the cubic spline through `values` (n, ...).

    Its second derivative is continuous; the first two pieces are one cubic, and the last two (not-a-knot). Through
    three points goes their parabola, through two their line.
    Symbols: h widths, s secants, m slopes. At every inner knot (C. de Boor, A Practical Guide to Splines, 1978, chapter
    IV, from memory)
        h_i m_(i-1) + 2 (h_(i-1) + h_i) m_i + h_(i-1) m_(i+1) = 3 (h_i s_(i-1) + h_(i-1) s_i)
    """
    h, count = np.diff(knots), knots.size
    flat = values.reshape(count, -1)
    s = np.diff(flat, axis=0) / h[:, None]
    if count == 2:
        slopes = np.concatenate([s, s])
    elif count == 3:
        middle = (h[1] * s[0] + h[0] * s[1]) / (h[0] + h[1])
        slopes = np.stack([2.0 * s[0] - middle, middle, 2.0 * s[1] - middle])
    else:
        before, own, after, right = *np.zeros((3, count, 1)), np.empty((count, flat.shape[1]), dtype=s.dtype)
        before[1:-1, 0], own[1:-1, 0], after[1:-1, 0] = h[1:], 2.0 * (h[:-1] + h[1:]), h[:-1]
        right[1:-1] = 3.0 * (h[1:, None] * s[:-1] + h[:-1, None] * s[1:])
        for end, near, far, beside in ((0, 0, 1, after), (-1, -1, -2, before)):
            both = h[near] + h[far]
            own[end], beside[end] = h[far], both
            right[end] = ((h[near] + 2.0 * both) * h[far] * s[near] + h[near] ** 2 * s[far]) / both
        if count > MANY:
            slopes = _tridiagonal(before, own, after, right)
        else:
            matrix = np.zeros((count, count))
            for row, band in ((matrix[1:, :-1], before[1:]), (matrix, own), (matrix[:-1, 1:], after[:-1])):
                np.fill_diagonal(row, band)
            slopes = np.linalg.solve(matrix, right)
    return slopes.reshape(values.shape)


def _tridiagonal(before: Floats, own: Floats, after: Floats, right: Values) -> Values:
    """Solution x (n, m) of before_i x_(i-1) + own_i x_i + after_i x_(i+1) = right_i; columns (n, 1), right (n, m).

    By cyclic reduction, all rows at once: each takes away so much of the rows `step` before and after it that only x_i
    and what lies twice as far from it is left (R. W. Hockney, J. ACM 12 (1965) 95; from memory). No pivots: for rows
    whose own share outweighs the others, and for the ends of a spline.
    """
    step = 1
    while step < len(own):
        low, high = before / _earlier(own, step, 1.0), after / _later(own, step, 1.0)
        right = right - low * _earlier(right, step) - high * _later(right, step)
        own = own - low * _earlier(after, step) - high * _later(before, step)
        before, after = -low * _earlier(before, step), -high * _later(after, step)
        step *= 2
    return np.asarray(right / own)


def _earlier(rows: Values, step: int, none: float = 0.0) -> Values:
    """The row `step` before each; `none` where there is none."""
    moved = np.full_like(rows, none)
    moved[step:] = rows[:-step]
    return moved


def _later(rows: Values, step: int, none: float = 0.0) -> Values:
    """The row `step` after each."""
    return _earlier(rows[::-1], step, none)[::-1]


def inner_slopes(knots: Floats, values: Floats) -> Floats:
    """Slopes at the inner knots along the last axis of `values`, with which no cubic passes its neighbours: the
    weighted harmonic mean of the secants, zero where these turn.

    F. N. Fritsch, J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300 (from memory).
    """
    h = np.diff(knots)
    s = np.diff(values, axis=-1) / h
    before, after = s[..., :-1], s[..., 1:]
    turns = before * after <= 0.0
    first, second = 2.0 * h[1:] + h[:-1], h[1:] + 2.0 * h[:-1]
    mean = first / np.where(turns, 1.0, before) + second / np.where(turns, 1.0, after)
    return np.where(turns, 0.0, (first + second) / mean)
