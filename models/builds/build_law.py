"""The law of many builds at once: rows of part values, all sharing one hand field, to frequency, distance and evenness.

A build is a tank L0 || C0 with an antenna behind a coil La (self-capacitance Cs; La = 0: straight across), swinging in
one of its modes (`models.branch.modes`). Its determinant is linear in the antenna's capacitance, so the way back from a
frequency to the capacitance, and with it to the hand distance of a note, needs no search.

Of a solved circuit the resonance without loss does not know everything. What it lacks is written as a capacitance
across the tank that is not there (`models.builds.circuit_share`): of the nominal design a table against the antenna's
capacitance, with which the law gives the solved frequency itself; of each build a little more or less. Neglected: what
`models.instrument` neglects, and any change of the hand field between builds.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import field, fields
from typing import NamedTuple

import numpy as np

from models.arrays import Floats
from models.branch.modes import MODES, antenna_capacitance, squared_frequency
from models.checks import finite_array, non_negative, one_of
from models.hand.capacitance_curve import CapacitanceCurve
from models.pitch import cents, from_line
from models.pulling import pulled_beat
from models.quick_dataclass import dataclass
from models.roots import roots

TABLE, FINE_TABLE = 1500, 8192  # points of the inverse of the capacitance curve
CIRCUIT_STEPS = 6
SETTLED = 1e-11  # of a capacitance, within which it counts as found
END_SLACK = 1e-9  # of a logarithm, by which rounding may leave the ends of the table


class Rule(NamedTuple):
    """Where a range of distances is looked at, shares of it (m,). `away` (m, m) takes pitches there to how far they lie
    from their best straight line, each times the root of its weight: the squares sum to the squared RMS.
    """

    shares: Floats
    away: Floats


def gauss(points: int) -> Rule:
    """A Gauss-Legendre rule, exact for polynomials of degree 2 points - 1: for lines and their like of half of it."""
    nodes, weights = np.polynomial.legendre.leggauss(points)
    shares, weights = 0.5 * (nodes + 1.0), 0.5 * weights
    return Rule(shares, from_line(np.eye(points), shares, weights) * np.sqrt(weights))


@dataclass(frozen=True, slots=True, eq=False)
class Builds:
    """Part values of the variable oscillators, rows (n,), H and F; `antenna_stray` adds to the hand field's value.

    added: (n, terms), F: what the circuits of each build add across the tank, as a polynomial in the antenna's
    capacitance, which runs from -1 to 1 over the table of the law; no terms without a circuit.
    """

    tank_inductance: Floats
    tank_capacitance: Floats
    branch_inductance: Floats
    self_capacitance: Floats
    antenna_stray: Floats
    added: Floats = field(default_factory=lambda: np.empty((0, 0)))

    def __post_init__(self) -> None:
        rows = np.broadcast_arrays(*[np.atleast_1d(finite_array(name, getattr(self, name))) for name in PARTS])
        for name, row in zip(PARTS, rows, strict=True):
            object.__setattr__(self, name, np.asarray(row))

    def each(self, change: Callable[[Floats], Floats]) -> Builds:
        """The same change made to every row: builds left out, repeated, ..."""
        l0, c0, la, cs, stray = (change(getattr(self, name)) for name in PARTS)
        return Builds(l0, c0, la, cs, stray, change(self.added) if self.added.size else self.added)

    def columns(self) -> tuple[Floats, ...]:
        """The rows as columns (n, 1)."""
        return tuple(getattr(self, name)[:, None] for name in PARTS)


PARTS = tuple(part.name for part in fields(Builds) if part.name != "added")


@dataclass(frozen=True, slots=True, eq=False)
class BuildLaw:
    """What all builds share: the hand field, the mode they swing in and the lock range, Hz.

    fine: distances to the last digits, with the curve itself in place of a table straight in the logarithms between its
    points, which is within 1e-5 of it and faster. circuit_added: F, what the nominal circuit adds across the tank, a
    row of values at `circuit_capacitances` (F, without stray); both empty without a circuit. Raises ValueError for a
    value out of its domain. Everywhere `hand` is an antenna capacitance in F without stray.
    """

    curve: CapacitanceCurve
    mode: str = "low"
    lock_range: float = 0.0
    fine: bool = False
    circuit_capacitances: Floats = field(default_factory=lambda: np.empty(0))
    circuit_added: Floats = field(default_factory=lambda: np.empty(0))
    _log_distances: Floats = field(init=False, repr=False)
    _log_added: Floats = field(init=False, repr=False)

    def __post_init__(self) -> None:
        one_of("mode", self.mode, MODES)
        non_negative("lock_range", self.lock_range)
        curve = self.curve
        distances = np.geomspace(curve.nearest, curve.farthest, FINE_TABLE if self.fine else TABLE)
        distances[[0, -1]] = curve.nearest, curve.farthest
        object.__setattr__(self, "_log_distances", np.log(distances[::-1]))
        object.__setattr__(self, "_log_added", np.log(curve.capacitance(distances)[::-1] - curve.empty_capacitance))

    def hand_at(self, distance: Floats) -> Floats:
        """Antenna capacitance, F, at hand distances (m, any shape); those beyond the field's ends count as the ends.

        NaN where the distance is.
        """
        if self.fine:
            known = ~np.isnan(distance)
            places = np.clip(np.where(known, distance, self.curve.farthest), self.curve.nearest, self.curve.farthest)
            return np.asarray(np.where(known, self.curve.capacitance(places), np.nan))
        added = np.interp(np.log(distance), self._log_distances[::-1], self._log_added[::-1])
        return np.asarray(self.curve.empty_capacitance + np.exp(added))

    def distance_of(self, hand: Floats) -> Floats:
        """Hand distances, m (any shape), the inverse of `hand_at`; NaN beyond the field's ends."""
        added = hand - self.curve.empty_capacitance
        logs = np.log(np.where(added > 0.0, added, np.nan))
        low, high = self._log_added[0] - END_SLACK, self._log_added[-1] + END_SLACK
        distance = np.exp(np.interp(logs, self._log_added, self._log_distances))
        inside = (logs >= low) & (logs <= high)
        if self.fine:  # a step of Newton's: from 3e-7 to rounding
            start = np.clip(np.where(inside, distance, self.curve.farthest), self.curve.nearest, self.curve.farthest)
            distance = start + (hand - self.curve.capacitance(start)) / self.curve.slope(start)
            distance = np.clip(distance, self.curve.nearest, self.curve.farthest)
        return np.asarray(np.where(inside, distance, np.nan))

    def frequency(self, builds: Builds, hand: Floats) -> Floats:
        """Frequency of the variable oscillators, Hz (n, m), with antenna capacitances (m,) or (n, m)."""
        l0, c0, la, cs, stray = builds.columns()
        if self.circuit_added.size:
            c0 = c0 + self._added(builds, hand)
        squared = squared_frequency(self.mode, l0, c0, la, hand + stray, cs)
        return np.asarray(np.sqrt(squared) / (2.0 * math.pi))

    def hand_with(self, builds: Builds, frequency: Floats) -> Floats:
        """The inverse of `frequency`: antenna capacitances, F, for frequencies (n, m), Hz; NaN where there is none."""
        l0, c0, la, cs, stray = builds.columns()
        squared = (2.0 * math.pi * frequency) ** 2
        if not self.circuit_added.size:
            return antenna_capacitance(squared, l0, c0, la, cs) - stray
        hand = before = np.full(frequency.shape, self.circuit_capacitances.mean())
        # what the circuit adds changes little along the hand: it settles at once, save in builds near a resonance
        for _ in range(CIRCUIT_STEPS):
            before, hand = hand, antenna_capacitance(squared, l0, c0 + self._added(builds, hand), la, cs) - stray
        lost = np.flatnonzero(~(np.abs(hand - before) <= SETTLED * np.abs(hand)).all(axis=1))
        if lost.size:
            hand[lost] = self._between_ends(builds.each(lambda row: row[lost]), frequency[lost])
        return hand

    def _between_ends(self, builds: Builds, frequency: Floats) -> Floats:
        """As `hand_with`, searched between the ends of the field; NaN where it is not there."""
        low, high = (np.full(frequency.shape, end) for end in self.curve.capacitances[[-1, 0]])
        farthest, nearest = (self.frequency(builds, end) for end in (low, high))
        inside = (farthest - frequency) * (nearest - frequency) <= 0.0
        wanted = np.where(inside, frequency, farthest)
        found = roots(lambda hand: self.frequency(builds, hand) - wanted, low, high, SETTLED * float(low.flat[0]))
        return np.asarray(np.where(inside, found, np.nan))

    def distance_at(self, builds: Builds, frequency: Floats) -> Floats:
        """Hand distances, m, at which the variable oscillators swing at frequencies (n, m), Hz; NaN where none does."""
        return self.distance_of(self.hand_with(builds, frequency))

    def deviations(self, builds: Builds, reference: Floats, near: Floats, far: Floats, rule: Rule) -> Floats:
        """Cents by which the pitch leaves its best straight line over distances `near` to `far`, m (n,), at the places
        of `rule` and weighted as it says: (n, m).

        Every distance counts alike. reference: Hz (n,); the pitch rises as the hand comes nearer, and what would be
        locked within the range counts as barely unlocked.
        """
        places = near[:, None] + (far - near)[:, None] * rule.shares
        offset = reference[:, None] - self.frequency(builds, self.hand_at(places))
        offset = np.maximum(offset, self.lock_range + 1e-9)
        return np.asarray(cents(pulled_beat(offset, self.lock_range), 1.0) @ rule.away)

    def unevenness(self, builds: Builds, reference: Floats, near: Floats, far: Floats, rule: Rule) -> Floats:
        """RMS of `deviations`, cents (n,)."""
        return root_of_squares(self.deviations(builds, reference, near, far, rule))

    def _added(self, builds: Builds, hand: Floats) -> Floats:
        """What the circuits add across the tanks, F (n, m) or, where all builds are alike, (m,)."""
        table = self.circuit_capacitances
        nominal = np.interp(hand, table, self.circuit_added)
        if not builds.added.size:
            return nominal
        turn = (2.0 * hand - (table[0] + table[-1])) / (table[-1] - table[0])
        total = builds.added[:, -1:]
        for term in range(builds.added.shape[1] - 2, -1, -1):
            total = total * turn + builds.added[:, term : term + 1]
        return nominal + total


def root_of_squares(deviations: Floats) -> Floats:
    """RMS (n,) of weighted deviations (n, m): the root of the sum of their squares."""
    return np.asarray(np.sqrt(np.sum(deviations**2, axis=-1)))
