"""How evenly the notes of many candidate circuits lie in space, all at once: RMS cents from the best straight line.

A candidate is a build of `models.builds.build_law` and the hand distance at which the lowest note sounds. The reference
then follows: zero beat lies a lowest note further out. Lossless; the field rises as the hand comes nearer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from models.branch.modes import MODES, squared_frequencies, voltage_ratio
from models.builds.build_law import BuildLaw, Builds, midpoints
from models.checks import finite, fraction, non_negative, positive
from models.pitch import cents

Floats = NDArray[np.float64]
SAMPLES = 40  # distances along the played range; what more of them change is measured by a test


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
        return float(cents(self.high_frequency, self.low_frequency))

    @property
    def offsets(self) -> tuple[float, float]:
        """Of the lowest and the highest note: free difference of the oscillators' frequencies, Hz, before pulling."""
        return math.hypot(self.low_frequency, self.lock_range), math.hypot(self.high_frequency, self.lock_range)


class Evenness(NamedTuple):
    """Per candidate (n,): RMS cents from a straight line, distances (m) of highest note, lowest note and zero beat,
    carrier frequency (Hz) at the lowest note; NaN for a range that the field does not hold.
    """

    rms_cents: Floats
    high_distance: Floats
    low_distance: Floats
    zero_beat: Floats
    carrier: Floats


def evenness(law: BuildLaw, builds: Builds, low_distance: Floats, goal: Goal, samples: int = SAMPLES) -> Evenness:
    """The evenness of every build with its lowest note at `low_distance` (m, (n,)), wherever the goal's notes lie."""
    low_offset, high_offset = goal.offsets
    carrier = law.frequency(builds, law.hand_at(low_distance)[:, None])[:, 0]
    reference = carrier + low_offset
    zero_beat = law.distance_at(builds, reference[:, None])[:, 0]
    high_distance = law.distance_at(builds, (reference - high_offset)[:, None])[:, 0]
    held = np.isfinite(high_distance) & np.isfinite(zero_beat) & (high_distance < low_distance)
    near = np.where(held, high_distance, 0.5 * low_distance)
    rms = law.unevenness(builds, reference, near, low_distance, midpoints(samples))
    missing = np.where(held, 0.0, np.nan)
    return Evenness(rms + missing, high_distance + missing, low_distance, zero_beat + missing, carrier)


def starting_margin(law: BuildLaw, builds: Builds, distances: Floats, tank_q: float, branch_q: float) -> Floats:
    """Conductance the other mode needs to start over that of the law's own, with the hand at (n,) m.

    First order in the loss, resistances r0 = w0 L0 / Q0 and ra = w0 La / Qa held at the tank's own w0: a mode needs
    G = (r0 I0^2 + ra Ia^2) / V1^2 with I0 = V1 / (w L0), Ia = (V1 - V2) / (w La) and V2 / V1 of the lossless mode.
    Infinity for a direct antenna, which has one mode only.
    """
    finite("tank_q", tank_q)
    l0, c0, cs = builds.tank_inductance, builds.tank_capacitance, builds.self_capacitance
    capacitance = law.hand_at(distances) + builds.antenna_stray
    direct = builds.branch_inductance == 0.0
    la = np.where(direct, 1.0, builds.branch_inductance)
    tank_angular = 1.0 / np.sqrt(l0 * c0)
    needs = []
    for squared in squared_frequencies(l0, c0, la, capacitance, cs):
        ratio = voltage_ratio(squared, la, capacitance, cs)
        branch = tank_angular / (branch_q * squared * la) * (1.0 - ratio) ** 2
        needs.append(tank_angular / (tank_q * squared * l0) + branch)
    own = MODES.index(law.mode)
    return np.asarray(np.where(direct, np.inf, needs[1 - own] / needs[own]))
