"""Antenna capacitance as a smooth function of the hand's distance, rebuilt from a table of computed points.

Symbols: d distance, m; C capacitance, F; E capacitance with no player, F; u = ln d; y = ln(C - E).
A cached table becomes a curve in well under a millisecond.
"""

from __future__ import annotations

from dataclasses import field

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import finite_array, positive, positive_array
from models.quick_dataclass import dataclass
from models.spline import Cubic, inner_slopes, spline


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
    _log_added: Cubic = field(init=False, repr=False)

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
        object.__setattr__(self, "empty_capacitance", empty)
        object.__setattr__(self, "_log_added", monotone_cubic(np.log(distances), np.log(capacitances - empty)))
        for name, array in (("distances", distances), ("capacitances", capacitances)):
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
        return np.asarray(self.empty_capacitance + np.exp(self._log_added(np.log(self._within(distance)))))

    def slope(self, distance: ArrayLike) -> Floats:
        """dC/dd, F/m (negative), at `distance`, m (any shape). ValueError outside nearest..farthest."""
        values = self._within(distance)
        logs = np.log(values)
        return np.asarray(np.exp(self._log_added(logs)) * self._log_added(logs, 1) / values)

    def log_added(self, log_distance: ArrayLike, order: int = 0) -> Floats:
        """ln(C - E) at ln d (any shape, within the table: not checked), or its derivative of an `order` by ln d."""
        return np.asarray(self._log_added(log_distance, order))

    def _within(self, distance: ArrayLike) -> Floats:
        values = finite_array("distance", distance)
        outside = (values < self.nearest) | (values > self.farthest)
        if outside.any():
            raise ValueError(
                f"distance must be between {self.nearest:g} and {self.farthest:g} m; "
                f"got {float(values[outside].flat[0]):g}"
            )
        return values


def distance_table(distances: ArrayLike) -> Floats:
    """Distances (n,), m, at which a curve is to be computed: at least two, strictly increasing; else ValueError."""
    table = positive_array("distances", distances)
    if table.ndim != 1 or table.size < 2 or not (np.diff(table) > 0.0).all():
        raise ValueError("distances must be a list of at least two, strictly increasing")
    return table


def monotone_cubic(knots: Floats, values: Floats) -> Cubic:
    """The not-a-knot cubic spline through strictly monotone `values` where it never turns, else `shape_preserving`."""
    smooth = spline(knots, values)
    never_turns = is_strictly_monotone(np.diff(values) / np.diff(knots), smooth(knots, 1))
    return smooth if never_turns else shape_preserving(knots, values)


def shape_preserving(knots: Floats, values: Floats) -> Cubic:
    """A cubic along the last axis of `values` that stays between its neighbours and turns only where the values do."""
    return Cubic(knots, np.moveaxis(values, -1, 0), np.moveaxis(shape_preserving_slopes(knots, values), -1, 0))


def shape_preserving_slopes(knots: Floats, values: Floats) -> Floats:
    """Slopes of `shape_preserving` at its knots, of the shape of `values`.

    At the ends the nearest secant, so that a curve that falls still falls there.
    """
    secants = np.diff(values) / np.diff(knots)
    inner = inner_slopes(knots, values)
    return np.concatenate([secants[..., :1], inner, secants[..., -1:]], axis=-1)


def is_strictly_monotone(secants: Floats, slopes: Floats) -> bool:
    """Whether the cubic pieces with these secants and end slopes never turn.

    Condition: with a = start slope / secant, b = end slope / secant both > 0, a piece is monotone when
    a + b <= 3 or when (a, b) lies inside the ellipse a^2 + ab + b^2 - 6a - 6b + 9 = 0.
    Source: F. N. Fritsch, R. E. Carlson, SIAM J. Numer. Anal. 17 (1980) 238, lemmas 1-2 (from memory).
    """
    start, end = slopes[:-1] / secants, slopes[1:] / secants
    ellipse = start**2 + start * end + end**2 - 6.0 * (start + end) + 9.0
    return bool(((start > 0.0) & (end > 0.0) & ((start + end <= 3.0) | (ellipse < 0.0))).all())
