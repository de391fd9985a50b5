"""How evenly the notes of many candidate circuits lie in space, all at once: RMS cents from the best straight line.

A candidate is tank L0 || C0 with an antenna behind a coil La (self-capacitance Cs; La = 0: straight across), in one of
its modes, and the hand distance at which the lowest note sounds. The reference then follows: zero beat lies a lowest
note further out. Going from a frequency back to the antenna's capacitance is closed, because the determinant of
`models.branch.modes` is linear in it:

    Ca = u v / (X (La u + L0 v)),   u = 1 - X L0 C0,  v = 1 - X La Cs,  X = (2 pi f)^2

so no candidate needs a root search. Lossless; the field rises as the hand comes nearer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.branch.modes import MODES, squared_frequencies
from models.checks import finite, finite_array, fraction, non_negative, one_of, positive
from models.hand.capacitance_curve import CapacitanceCurve

Floats = NDArray[np.float64]
SAMPLES = 40  # distances along the played range; what more of them change is measured by a test
TABLE = 1500  # points of the inverse of the capacitance curve


def rms_from_line(pitches: ArrayLike) -> Floats:
    """RMS by which pitches at evenly spaced distances leave their least-squares straight line, along the last axis."""
    values = finite_array("pitches", pitches)
    steps = np.arange(values.shape[-1]) - 0.5 * (values.shape[-1] - 1)
    centred = values - values.mean(axis=-1, keepdims=True)
    slope = (centred @ steps / (steps @ steps))[..., None]
    return np.asarray(np.sqrt(np.mean((centred - slope * steps) ** 2, axis=-1)))


@dataclass(frozen=True, slots=True)
class Goal:
    """What is asked of a field: notes from `low_frequency` to `high_frequency` (Hz) within `near` to `far` (m).

    They must take up at least the share `fill` of that reach, or the evenest field would be the most cramped one.
    `lock_range` (Hz) bends the lowest notes. `farthest_zero` (m) bounds the distance of zero beat.
    """

    low_frequency: float
    high_frequency: float
    near: float
    far: float
    fill: float = 0.6
    lock_range: float = 0.0
    farthest_zero: float = 0.75

    def __post_init__(self) -> None:
        if not positive("low_frequency", self.low_frequency) < positive("high_frequency", self.high_frequency):
            raise ValueError(f"high_frequency must be > low_frequency; got {self.high_frequency:g}")
        if not positive("near", self.near) < positive("far", self.far):
            raise ValueError(f"far must be > near; got {self.far:g}")
        fraction("fill", self.fill)
        non_negative("lock_range", self.lock_range)
        positive("farthest_zero", self.farthest_zero)

    @property
    def span_cents(self) -> float:
        """From the lowest note to the highest, cents."""
        return 1200.0 * math.log2(self.high_frequency / self.low_frequency)


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Circuits as rows (n,), H, F, m; `antenna_stray` beside the curve's value, `low_distance` of the lowest."""

    tank_inductance: Floats
    tank_capacitance: Floats
    branch_inductance: Floats
    self_capacitance: Floats
    antenna_stray: Floats
    low_distance: Floats
    mode: str = "high"

    def __post_init__(self) -> None:
        one_of("mode", self.mode, MODES)
        names = [field.name for field in fields(self) if field.name != "mode"]
        rows = np.broadcast_arrays(*[np.atleast_1d(finite_array(name, getattr(self, name))) for name in names])
        for name, row in zip(names, rows, strict=True):
            object.__setattr__(self, name, np.asarray(row))

    def frequency(self, capacitance: Floats) -> Floats:
        """Frequency, Hz, with antenna capacitances (n, k) F, stray included."""
        rows = (self.tank_inductance, self.tank_capacitance, self.branch_inductance)
        l0, c0, la = (row[:, None] for row in rows)
        squared = squared_frequencies(l0, c0, la, capacitance, self.self_capacitance[:, None])[MODES.index(self.mode)]
        return np.asarray(np.sqrt(squared) / (2.0 * math.pi))

    def capacitance_at(self, frequency: Floats) -> Floats:
        """Antenna capacitance, F, stray included, at which each swings at `frequency` (n,); NaN where none does."""
        squared = (2.0 * math.pi * frequency) ** 2
        u = 1.0 - squared * self.tank_inductance * self.tank_capacitance
        v = 1.0 - squared * self.branch_inductance * self.self_capacitance
        with np.errstate(divide="ignore", invalid="ignore"):
            found = u * v / (squared * (self.branch_inductance * u + self.tank_inductance * v))
        return np.asarray(np.where(np.isfinite(found) & (found > 0.0), found, np.nan))

    def with_low_distance(self, low_distance: Floats) -> Candidates:
        """The same circuits with their lowest note elsewhere (m)."""
        return replace(self, low_distance=low_distance)


class Evenness(NamedTuple):
    """Per candidate (n,): RMS cents from a straight line, distances (m) of highest note, lowest note and zero beat,
    carrier frequency (Hz) at the lowest note; NaN for a range that the field does not hold.
    """

    rms_cents: Floats
    high_distance: Floats
    low_distance: Floats
    zero_beat: Floats
    carrier: Floats


class FieldTable:
    """A capacitance curve with its inverse, for rows of candidates."""

    def __init__(self, curve: CapacitanceCurve) -> None:
        self.curve = curve
        distances = np.geomspace(curve.nearest, curve.farthest, TABLE)
        distances[[0, -1]] = curve.nearest, curve.farthest
        self._logs = np.log(distances[::-1])
        self._added = np.log(curve.capacitance(distances)[::-1] - curve.empty_capacitance)

    def capacitance(self, distance: Floats) -> Floats:
        """Capacitance of the antenna, F, from the table: straight in the logarithms between its points, which is within
        1e-5 of the curve's; distances (m) beyond its ends count as the ends.
        """
        added = np.interp(np.log(distance), self._logs[::-1], self._added[::-1])
        return np.asarray(self.curve.empty_capacitance + np.exp(added))

    def distance_of(self, capacitance: Floats) -> Floats:
        """Hand distance, m, for a capacitance of the curve, F; NaN beyond its ends."""
        added = capacitance - self.curve.empty_capacitance
        usable = np.where(added > 0.0, added, np.nan)
        return np.asarray(np.exp(np.interp(np.log(usable), self._added, self._logs, left=np.nan, right=np.nan)))

    def evenness(self, candidates: Candidates, goal: Goal, samples: int = SAMPLES) -> Evenness:
        """The evenness of every candidate over the goal's notes, wherever they lie on the curve."""
        low_distance, stray = candidates.low_distance, candidates.antenna_stray
        low_capacitance = self.capacitance(low_distance) + stray
        low_offset = math.hypot(goal.low_frequency, goal.lock_range)
        carrier = candidates.frequency(low_capacitance[:, None])[:, 0]
        reference = carrier + low_offset
        zero_beat = self.distance_of(candidates.capacitance_at(reference) - stray)
        high = reference - math.hypot(goal.high_frequency, goal.lock_range)
        high_distance = self.distance_of(candidates.capacitance_at(high) - stray)
        held = np.isfinite(high_distance) & np.isfinite(zero_beat) & (high_distance < low_distance)
        near = np.where(held, high_distance, 0.5 * low_distance)
        share = (np.arange(samples) + 0.5) / samples
        places = near[:, None] + (low_distance - near)[:, None] * share
        frequencies = candidates.frequency(self.capacitance(places) + stray[:, None])
        offset = np.maximum(reference[:, None] - frequencies, goal.lock_range + 1e-9)
        pitch = 600.0 * np.log2(offset**2 - goal.lock_range**2)
        missing = np.where(held, 0.0, np.nan)
        return Evenness(
            rms_from_line(pitch) + missing, high_distance + missing, low_distance, zero_beat + missing, carrier
        )

    def starting_margin(self, candidates: Candidates, distances: Floats, tank_q: float, branch_q: float) -> Floats:
        """Conductance the other mode needs to start over that of the candidate's own, with the hand at (n,) m.

        First order in the loss, resistances r0 = w0 L0 / Q0 and ra = w0 La / Qa held at the tank's own w0: a mode needs
        G = (r0 I0^2 + ra Ia^2) / V1^2 with I0 = V1 / (w L0), Ia = (V1 - V2) / (w La) and V2 / V1 of the lossless mode.
        Infinity for a direct antenna, which has one mode only.
        """
        finite("tank_q", tank_q)
        capacitance = self.capacitance(distances) + candidates.antenna_stray
        l0, c0, la = candidates.tank_inductance, candidates.tank_capacitance, candidates.branch_inductance
        cs = candidates.self_capacitance
        direct = la == 0.0
        la = np.where(direct, 1.0, la)
        tank_angular = 1.0 / np.sqrt(l0 * c0)
        needs = []
        for squared in squared_frequencies(l0, c0, la, capacitance, cs):
            ratio = (1.0 - squared * la * cs) / (1.0 - squared * la * (capacitance + cs))
            branch = tank_angular / (branch_q * squared * la) * (1.0 - ratio) ** 2
            needs.append(tank_angular / (tank_q * squared * l0) + branch)
        own = MODES.index(candidates.mode)
        return np.asarray(np.where(direct, np.inf, needs[1 - own] / needs[own]))
