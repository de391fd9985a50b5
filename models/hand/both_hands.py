"""One antenna and both hands: its capacitance against the distance of its own hand, and what the other hand does to it.

Symbols: d distance of the antenna's own hand, s place of the other hand, m; s0 its place at rest; C, E as in
`models.hand.capacitance_curve`; u = ln d; v = ln s.
    C(d, s) = E + (C(d, s0) - E) e^D(u, v),   D(u, v0) = 0
D is a cubic spline along u, and along v a cubic between the solved places that never passes their values (its slopes
at the solved places are themselves splines along u): smooth in u, of continuous slope in v, and monotone between
solved places of one solved distance. Beyond the solved places of the other hand the nearest counts.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import CubicSpline

from models.arrays import Floats
from models.checks import finite_array, positive
from models.hand.capacitance_curve import CapacitanceCurve, shape_preserving, shape_preserving_slopes

_NONE = np.zeros(0)
#: Steps of Newton's method towards the distance of equal effect; each doubles the digits.
_STEPS = 8
_SMALLEST = 1e-7  # share of a distance; after a step as small as this the next would be lost in rounding


@dataclass(frozen=True, slots=True, eq=False)
class HandCurve:
    """Capacitance of an antenna against the distance of its own hand, and how the place of the other hand changes it.

    curve: the other hand at rest. distances: (n,) m, of the own hand, and others: (m,) m, of the other hand, strictly
    increasing; change: (n, m) D there. Left out where there is no other hand. `heeds_other` says whether there is one.
    """

    curve: CapacitanceCurve
    distances: Floats = field(default_factory=lambda: _NONE)
    others: Floats = field(default_factory=lambda: _NONE)
    change: Floats = field(default_factory=lambda: _NONE)
    _values: CubicSpline | None = field(init=False, repr=False, default=None)
    _slopes: CubicSpline | None = field(init=False, repr=False, default=None)

    def __post_init__(self) -> None:
        if not self.others.size:
            return
        if self.change.shape != (self.distances.size, self.others.size) or not np.isfinite(self.change).all():
            raise ValueError(
                f"change must be one finite value for each of {self.distances.size} distances and {self.others.size} "
                f"places of the other hand; got shape {self.change.shape}"
            )
        knots, logs = np.log(self.others), np.log(self.distances)
        slopes = shape_preserving_slopes(knots, self.change)
        object.__setattr__(self, "_values", CubicSpline(logs, self.change))
        object.__setattr__(self, "_slopes", CubicSpline(logs, slopes))

    @classmethod
    def of_table(
        cls, distances: Floats, others: Floats, capacitances: Floats, empty: float, rest: float | None = None
    ) -> HandCurve:
        """From capacitances (n, m), F, at distances (n,) and places of the other hand (m,), m; `empty`, F, no player.

        rest: m, where the other hand is when nothing is said of it; None: the largest.
        """
        added = np.log(capacitances - empty)
        knots = np.log(others)
        place = knots[-1] if rest is None else float(np.clip(np.log(positive("rest", rest)), knots[0], knots[-1]))
        resting = np.asarray(shape_preserving(knots, added)(place))
        curve = CapacitanceCurve(distances, empty + np.exp(resting), empty)
        change = added - resting[:, None]
        if not np.isclose(knots, place, rtol=0.0, atol=1e-9).any():
            where = int(np.searchsorted(knots, place))
            others = np.insert(others, where, np.exp(place))
            change = np.insert(change, where, 0.0, axis=1)
        return cls(curve, distances, others, change)

    @property
    def heeds_other(self) -> bool:
        """Whether the other hand is part of the field."""
        return self.others.size > 0

    def capacitance(self, distance: ArrayLike, other: ArrayLike | None = None) -> Floats:
        """C, F, with the own hand at `distance` and the other at `other`, m (broadcast); None: at rest.

        ValueError for distances outside the curve.
        """
        rest = self.curve.capacitance(distance)
        if other is None or not self.heeds_other:
            return rest
        empty = self.curve.empty_capacitance
        return np.asarray(empty + (rest - empty) * np.exp(self._change(distance, other)))

    def equal_distance(self, distance: ArrayLike, other: ArrayLike | None) -> Floats:
        """The distance, m, that with the other hand at rest gives the capacitance of these two places (broadcast).

        Every law that is told of the own hand alone hears both hands through it. Held within the curve.
        """
        own = np.clip(finite_array("distance", distance), self.curve.nearest, self.curve.farthest)
        if other is None or not self.heeds_other:
            return np.asarray(own)
        empty = self.curve.empty_capacitance
        wanted = np.log(self.curve.capacitance(own) - empty) + self._change(own, other)
        found = np.broadcast_to(own, wanted.shape)
        for _ in range(_STEPS):
            added = self.curve.capacitance(found) - empty
            steepness = self.curve.slope(found) * found / added  # d ln(C - E) / d ln(d), negative
            change = np.clip((wanted - np.log(added)) / steepness, -1.0, 1.0)
            found = np.clip(found * np.exp(change), self.curve.nearest, self.curve.farthest)
            if (np.abs(change) < _SMALLEST).all():
                break
        return np.asarray(found)

    def _change(self, distance: ArrayLike, other: ArrayLike) -> Floats:
        """D(u, v)."""
        assert self._values is not None
        assert self._slopes is not None
        u = np.log(np.asarray(distance, dtype=np.float64))
        knots = np.log(self.others)
        v = np.clip(np.log(np.maximum(finite_array("other", other), self.others[0])), knots[0], knots[-1])
        u, v = np.broadcast_arrays(u, v)
        piece = np.clip(np.searchsorted(knots, v, side="right") - 1, 0, knots.size - 2)
        width = np.diff(knots)[piece]
        t = (v - knots[piece]) / width
        at, steep = self._values(u), self._slopes(u)
        low, high = (np.take_along_axis(at, (piece + k)[..., None], -1)[..., 0] for k in (0, 1))
        low_slope, high_slope = (np.take_along_axis(steep, (piece + k)[..., None], -1)[..., 0] * width for k in (0, 1))
        # cubic Hermite form (any textbook)
        return np.asarray(
            low * (1.0 + 2.0 * t) * (1.0 - t) ** 2
            + low_slope * t * (1.0 - t) ** 2
            + high * t**2 * (3.0 - 2.0 * t)
            - high_slope * t**2 * (1.0 - t)
        )
