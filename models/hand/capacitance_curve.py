"""Antenna capacitance as a smooth function of the hand's distance, rebuilt from a table of computed points.

Symbols: d distance, m; C capacitance, F; E capacitance with no player, F; u = ln d; y = ln(C - E).
Needs numpy only, so that a cached table becomes a curve in well under a millisecond.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.checks import finite_array, positive, positive_array

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class CapacitanceCurve:
    """Capacitance of the pitch antenna against hand distance, F against m.

    distances: (n,) m, strictly increasing, n >= 2: nearest skin to the surface of the rod.
    capacitances: (n,) F, strictly decreasing, all above `empty_capacitance`.
    empty_capacitance: F, the antenna with no player at all.

    Between the points y(u) is the cubic spline through all of them (not-a-knot ends, continuous second
    derivative) where that spline is strictly monotone; otherwise the monotone cubic with Fritsch-Butland slopes
    (continuous first derivative) is used. Either way C(d) falls strictly and its slope is continuous.
    Raises ValueError for malformed tables and for distances outside nearest..farthest.
    """

    distances: Floats
    capacitances: Floats
    empty_capacitance: float
    _log_distances: Floats = field(init=False, repr=False)
    _log_added: Floats = field(init=False, repr=False)
    _log_slopes: Floats = field(init=False, repr=False)

    def __post_init__(self) -> None:
        distances = np.array(positive_array("distances", self.distances))
        capacitances = np.array(positive_array("capacitances", self.capacitances))
        empty = positive("empty_capacitance", self.empty_capacitance)
        if distances.ndim != 1 or distances.size < 2 or distances.shape != capacitances.shape:
            raise ValueError(
                "distances and capacitances must be two lists of the same length, at least 2; "
                f"got shapes {distances.shape} and {capacitances.shape}"
            )
        if not (np.diff(distances) > 0.0).all():
            raise ValueError("distances must increase strictly")
        if not (np.diff(capacitances) < 0.0).all():
            raise ValueError("capacitances must decrease strictly as the distance grows")
        if not capacitances[-1] > empty:
            raise ValueError(
                "capacitances must stay above empty_capacitance; "
                f"got {capacitances[-1]:g} F with empty_capacitance {empty:g} F"
            )
        log_distances, log_added = np.log(distances), np.log(capacitances - empty)
        computed = {
            "distances": distances,
            "capacitances": capacitances,
            "_log_distances": log_distances,
            "_log_added": log_added,
            "_log_slopes": monotone_slopes(log_distances, log_added),
        }
        object.__setattr__(self, "empty_capacitance", empty)
        for name, array in computed.items():
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, CapacitanceCurve):
            return NotImplemented
        return (
            self.empty_capacitance == other.empty_capacitance
            and np.array_equal(self.distances, other.distances)
            and np.array_equal(self.capacitances, other.capacitances)
        )

    def __hash__(self) -> int:
        return hash((self.distances.tobytes(), self.capacitances.tobytes(), self.empty_capacitance))

    @property
    def nearest(self) -> float:
        """Smallest tabulated distance, m."""
        return float(self.distances[0])

    @property
    def farthest(self) -> float:
        """Largest tabulated distance, m."""
        return float(self.distances[-1])

    def capacitance(self, distance: ArrayLike) -> Floats:
        """Antenna capacitance, F, at `distance`, m (any shape). ValueError outside nearest..farthest."""
        _, added, _ = self._added(distance)
        return np.asarray(self.empty_capacitance + added)

    def slope(self, distance: ArrayLike) -> Floats:
        """dC/dd, F/m (negative), at `distance`, m (any shape). ValueError outside nearest..farthest."""
        values, added, log_slope = self._added(distance)
        return np.asarray(added * log_slope / values)

    def _added(self, distance: ArrayLike) -> tuple[Floats, Floats, Floats]:
        """Distances, C - E and dy/du there."""
        values = finite_array("distance", distance)
        outside = (values < self.nearest) | (values > self.farthest)
        if outside.any():
            raise ValueError(
                f"distance must be between {self.nearest:g} and {self.farthest:g} m; "
                f"got {float(values[outside].flat[0]):g}"
            )
        log_added, log_slope = hermite(self._log_distances, self._log_added, self._log_slopes, np.log(values))
        return values, np.exp(log_added), log_slope


def hermite(knots: Floats, values: Floats, slopes: Floats, points: Floats) -> tuple[Floats, Floats]:
    """Piecewise cubic through `values` with `slopes` at `knots`: (value, derivative) at `points` (any shape)."""
    index = np.clip(np.searchsorted(knots, points, side="right") - 1, 0, knots.size - 2)
    step = knots[index + 1] - knots[index]
    t = (points - knots[index]) / step
    secant = (values[index + 1] - values[index]) / step
    start, end = slopes[index], slopes[index + 1]
    curvature, twist = 3.0 * secant - 2.0 * start - end, start + end - 2.0 * secant
    value = values[index] + step * t * (start + t * (curvature + t * twist))
    return value, start + t * (2.0 * curvature + 3.0 * t * twist)


def monotone_slopes(knots: Floats, values: Floats) -> Floats:
    """Slopes at the knots for strictly monotone `values`: of the cubic spline if monotone, else Fritsch-Butland."""
    secants = np.diff(values) / np.diff(knots)
    if secants.size == 1:
        return np.repeat(secants, 2)
    spline = spline_slopes(knots, values)
    return spline if is_strictly_monotone(secants, spline) else limited_slopes(np.diff(knots), secants)


def spline_slopes(knots: Floats, values: Floats) -> Floats:
    """Knot slopes of the not-a-knot cubic spline (the parabola for three points).

    Source: C. de Boor, A Practical Guide to Splines, ch. IV (from memory); tested against scipy.interpolate.
    """
    steps = np.diff(knots)
    secants = np.diff(values) / steps
    size = knots.size
    if size == 3:
        middle = (steps[1] * secants[0] + steps[0] * secants[1]) / (steps[0] + steps[1])
        return np.array([2.0 * secants[0] - middle, middle, 2.0 * secants[1] - middle])
    matrix, right = np.zeros((size, size)), np.empty(size)
    inner = np.arange(1, size - 1)
    matrix[inner, inner - 1] = steps[1:]
    matrix[inner, inner] = 2.0 * (steps[:-1] + steps[1:])
    matrix[inner, inner + 1] = steps[:-1]
    right[inner] = 3.0 * (steps[1:] * secants[:-1] + steps[:-1] * secants[1:])
    matrix[0, :2], right[0] = _not_a_knot(steps[0], steps[1], secants[0], secants[1])
    matrix[-1, -1:-3:-1], right[-1] = _not_a_knot(steps[-1], steps[-2], secants[-1], secants[-2])
    return np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)


def _not_a_knot(first: float, second: float, first_secant: float, second_secant: float) -> tuple[Floats, float]:
    """Row (end slope, next slope) and right side that continue the third derivative across the next knot."""
    total = first + second
    right = ((first + 2.0 * total) * second * first_secant + first**2 * second_secant) / total
    return np.array([second, total]), right


def is_strictly_monotone(secants: Floats, slopes: Floats) -> bool:
    """Whether the cubic pieces with these secants and end slopes never turn.

    Condition: with a = start slope / secant, b = end slope / secant both > 0, a piece is monotone when
    a + b <= 3 or when (a, b) lies inside the ellipse a^2 + ab + b^2 - 6a - 6b + 9 = 0.
    Source: F. N. Fritsch, R. E. Carlson, SIAM J. Numer. Anal. 17 (1980) 238, lemmas 1-2 (from memory).
    """
    start, end = slopes[:-1] / secants, slopes[1:] / secants
    ellipse = start**2 + start * end + end**2 - 6.0 * (start + end) + 9.0
    return bool(((start > 0.0) & (end > 0.0) & ((start + end <= 3.0) | (ellipse < 0.0))).all())


def limited_slopes(steps: Floats, secants: Floats) -> Floats:
    """Monotone slopes: weighted harmonic means of the neighbouring secants, the nearest secant at the ends.

    Source: F. N. Fritsch, J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300 (from memory).
    """
    left, right = 2.0 * steps[1:] + steps[:-1], steps[1:] + 2.0 * steps[:-1]
    middle = (left + right) / (left / secants[:-1] + right / secants[1:])
    return np.concatenate([secants[:1], middle, secants[-1:]])
