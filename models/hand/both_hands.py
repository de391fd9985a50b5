"""One antenna and both hands: its capacitance against the distance of its own hand, and what the other hand and the
fingers of its own do to it.

How to play with it, without solving anything: `capacitance(distance, other, opening)` is what the antenna has, and
`equal_distance(distance, other, opening)` the distance that gives the same with the other hand at rest and the fingers
as the design holds them, so that every law that is told of one distance hears other hand and fingers as well. `other`
is the place of the other hand, m, `opening` that of the fingers: 1 stretched, 0 closed to a fist; None leaves either as
it is. The distance is always that of the stretched hand: whatever the fingers do, the wrist stays where it is. Of an
opened design: `OpenedDesign.hands[posture]`, with or without a volume antenna; `BothHands.pitch_distance` with one.
`heeds_other` and `heeds_opening` say what a curve knows of (a fist has no fingers to move).

Symbols: d distance of the antenna's own hand, s place of the other hand, m; s0 its place at rest; o opening, o0 that of
the curve; C, E as in `models.hand.capacitance_curve`; u = ln d; v = ln s.
    C(d, s, o) = E + (C(d, s0, o0) - E) e^(D(u, v) + W(u, v, o)),   D(u, v0) = 0,   W(u, v, o0) = 0
D is a cubic spline along u, and along v a cubic between the solved places that never passes their values (its slopes
at the solved places are themselves splines along u): smooth in u, of continuous slope in v, and monotone between
solved places of one solved distance. W is put together likewise, by `Fingers`. Beyond the solved places of the other
hand the nearest counts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import finite_array, positive
from models.hand.capacitance_curve import CapacitanceCurve, shape_preserving, shape_preserving_slopes
from models.quick_dataclass import dataclass
from models.spline import Cubic, spline, spline_slopes

#: Steps of Newton's method towards the distance of equal effect; each doubles the digits.
_STEPS = 12
_SMALLEST = 1e-7  # share of a distance; after a step as small as this the next would be lost in rounding


@dataclass(frozen=True, slots=True, eq=False)
class Changes:
    """A table of ln(C - E) against what a curve has, smooth between its places.

    distances: (n,) m, of the own hand; others: (m,) m, of the other hand, both strictly increasing (one place of the
    other hand, or none: it does not matter). values: (n, m or 1).
    """

    distances: Floats
    others: Floats
    values: Floats
    _along: Cubic = field(init=False, repr=False)
    _slopes: Cubic | None = field(init=False, repr=False, default=None)

    def __post_init__(self) -> None:
        if self.values.shape != (self.distances.size, max(self.others.size, 1)) or not np.isfinite(self.values).all():
            raise ValueError(
                f"change must be one finite value for each of {self.distances.size} distances and {self.others.size} "
                f"places of the other hand; got shape {self.values.shape}"
            )
        logs = np.log(self.distances)
        object.__setattr__(self, "_along", spline(logs, self.values))
        if self.others.size > 1:
            slopes = shape_preserving_slopes(np.log(self.others), self.values)
            object.__setattr__(self, "_slopes", spline(logs, slopes))

    def at(self, distance: ArrayLike, other: ArrayLike) -> Floats:
        """The change with the hands at these places, m (broadcast)."""
        u = np.log(np.asarray(distance, dtype=np.float64))
        if self._slopes is None:
            return np.asarray(np.broadcast_arrays(self._along(u)[..., 0], finite_array("other", other))[0])
        knots = np.log(self.others)
        v = np.clip(np.log(np.maximum(finite_array("other", other), self.others[0])), knots[0], knots[-1])
        u, v = np.broadcast_arrays(u, v)
        return _between(knots, self._along(u), self._slopes(u), v)


@dataclass(frozen=True, slots=True, eq=False)
class Fingers:
    """What the opening of the fingers changes, the wrist held.

    openings: (k,) strictly increasing, 0 to 1. changes: S at each. own: opening of the curve that is changed.
    most_open: L against ln d of the hand with its fingers at the last of the openings. drawn_in: m, how much nearer to
    the wrist the foremost skin is with closed fingers than with stretched ones.

    Near the antenna that way alone makes nearly all of the change:
        W = L(d + (o1 - o) a) - L(d + (o1 - o0) a) + S(u, v, o)
    L ln(C - E) of `most_open`, whose last cubic goes on beyond its last distance; o1 its opening; a drawn_in.
    """

    openings: Floats
    changes: tuple[Changes, ...]
    most_open: Cubic
    drawn_in: float = 0.0
    own: float = 1.0

    @classmethod
    def of_table(
        cls,
        distances: Floats,
        others: Floats,
        added: Mapping[float, Floats],
        most_open: tuple[Floats, Floats],
        drawn_in: float,
        own: float = 1.0,
    ) -> Fingers:
        """From ln(C - E) (n, m or 1) by opening, that of the curve, `own`, among them; distances and others as of
        `Changes`. most_open: distances (any number), m, and ln(C - E) there of the most open hand.
        """
        openings = np.array(sorted(added))
        skin = spline(np.log(most_open[0]), most_open[1])
        plain = cls(openings, (), skin, drawn_in, own)
        changes = [added[each] - added[own] - plain.way(distances, each)[:, None] for each in openings.tolist()]
        return cls(openings, tuple(Changes(distances, others, each) for each in changes), skin, drawn_in, own)

    def way(self, distance: ArrayLike, opening: ArrayLike) -> Floats:
        """W - S: what the way of the foremost skin alone changes."""
        return self._at_skin(distance, opening) - self._at_skin(distance, self.own)

    def at(self, distance: ArrayLike, other: ArrayLike, opening: ArrayLike) -> Floats:
        """W with the hands at these places, m, and the fingers so far open (broadcast; held within the openings)."""
        o = np.clip(finite_array("opening", opening), self.openings[0], self.openings[-1])
        table = np.stack([change.at(distance, other) for change in self.changes], axis=-1)
        table, o = np.broadcast_arrays(table, o[..., None])
        slopes = np.moveaxis(spline_slopes(self.openings, np.moveaxis(table, -1, 0)), 0, -1)
        rest = _between(self.openings, table, slopes, o[..., 0])
        return rest + self.way(distance, o[..., 0])

    def _at_skin(self, distance: ArrayLike, opening: ArrayLike) -> Floats:
        back = (self.openings[-1] - np.asarray(opening)) * self.drawn_in
        return np.asarray(self.most_open(np.log(np.asarray(distance) + back)))


@dataclass(frozen=True, slots=True, eq=False)
class HandCurve:
    """Capacitance of an antenna against the distance of its own hand, and how the place of the other hand and the
    opening of its own fingers change it.

    curve: the other hand at rest at `rest`, m. change: D, left out where there is no other hand; fingers: W, left out
    where nothing is known of them. `heeds_other` and `heeds_opening` say what there is.
    """

    curve: CapacitanceCurve
    change: Changes | None = None
    fingers: Fingers | None = None
    rest: float = 1.0

    @classmethod
    def of_table(
        cls,
        distances: Floats,
        others: Floats,
        capacitances: Floats,
        empty: float,
        rest: float | None = None,
        fingers: Fingers | None = None,
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
        return cls(curve, Changes(distances, others, change), fingers, float(np.exp(place)))

    @property
    def heeds_other(self) -> bool:
        """Whether the other hand is part of the field."""
        return self.change is not None

    @property
    def heeds_opening(self) -> bool:
        """Whether the opening of the fingers can be changed."""
        return self.fingers is not None

    @property
    def opening(self) -> float:
        """Of the fingers where nothing is said of it; 1 for a curve that knows of none."""
        return 1.0 if self.fingers is None else self.fingers.own

    def capacitance(
        self, distance: ArrayLike, other: ArrayLike | None = None, opening: ArrayLike | None = None
    ) -> Floats:
        """C, F, with the own hand at `distance` and the other at `other`, m, the fingers `opening` open (broadcast).

        ValueError for distances outside the curve.
        """
        rest = self.curve.capacitance(distance)
        if not self._heeds(other, opening):
            return rest
        empty = self.curve.empty_capacitance
        return np.asarray(empty + (rest - empty) * np.exp(self._change(distance, other, opening)))

    def equal_distance(
        self, distance: ArrayLike, other: ArrayLike | None = None, opening: ArrayLike | None = None
    ) -> Floats:
        """The distance, m, that with the other hand at rest and the fingers as designed gives the capacitance of these
        places and this opening (broadcast).

        Every law that is told of the own hand alone hears both hands and the fingers through it. Held within the curve.
        """
        own = np.clip(finite_array("distance", distance), self.curve.nearest, self.curve.farthest)
        if not self._heeds(other, opening):
            return np.asarray(own)
        ends = np.log(self.curve.nearest), np.log(self.curve.farthest)
        place = np.log(own)
        wanted = self.curve.log_added(place) + self._change(own, other, opening)
        for _ in range(_STEPS):
            missing = wanted - self.curve.log_added(place)
            before, step = place, np.clip(missing / self.curve.log_added(place, 1), -1.0, 1.0)
            place = np.clip(before + step, *ends)
            if np.abs(place - before).max(initial=0.0) < _SMALLEST:
                break
        return np.asarray(np.clip(np.exp(place), self.curve.nearest, self.curve.farthest))

    def _heeds(self, other: ArrayLike | None, opening: ArrayLike | None) -> bool:
        return (other is not None and self.heeds_other) or (opening is not None and self.heeds_opening)

    def _change(self, distance: ArrayLike, other: ArrayLike | None, opening: ArrayLike | None) -> Floats:
        """D(u, v) + W(u, v, o)."""
        total = np.zeros(())
        if other is not None and self.change is not None:
            total = self.change.at(distance, other)
        if opening is not None and self.fingers is not None:
            total = total + self.fingers.at(distance, self.rest if other is None else other, opening)
        return np.asarray(total)


def _between(knots: Floats, values: Floats, slopes: Floats, at: Floats) -> Floats:
    """The cubic with these `values` and `slopes` (..., k) at the knots (k,), at one place `at` (...) within them each.

    The cubic Hermite form (any textbook).
    """
    piece = np.clip(np.searchsorted(knots, at, side="right") - 1, 0, knots.size - 2)
    width = np.diff(knots)[piece]
    t = (at - knots[piece]) / width
    low, high = (np.take_along_axis(values, (piece + k)[..., None], -1)[..., 0] for k in (0, 1))
    low_slope, high_slope = (np.take_along_axis(slopes, (piece + k)[..., None], -1)[..., 0] * width for k in (0, 1))
    return np.asarray(
        low * (1.0 + 2.0 * t) * (1.0 - t) ** 2
        + low_slope * t * (1.0 - t) ** 2
        + high * t**2 * (3.0 - 2.0 * t)
        - high_slope * t**2 * (1.0 - t)
    )
