"""How evenly the notes of many candidate circuits lie in space, all at once: RMS cents from the best straight line.

A candidate is a build of `models.builds.build_law` and the hand distance at which the lowest note sounds. The reference
then follows: zero beat lies a lowest note further out. Lossless; the field rises as the hand comes nearer.

Tolerances: many seeded builds of one circuit, each tuned to zero beat again.
A build takes its tank coil, tank capacitance, series coil, self-capacitance and antenna stray each from a band, every
value in it equally likely, independent of one another (chokes of one chain alike, as from one reel). Its reference is
then trimmed for zero beat at the hand distance of the design; `retuned` sets the variable tank's trimmer for the
straightest field as well. Neglected: the reference's own limits of trimming, and the tolerance of the antenna's size.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from models.arrays import Floats
from models.branch.modes import MODES, squared_frequencies, voltage_ratio
from models.builds.build_law import PARTS, BuildLaw, Builds, Rule, gauss, root_of_squares
from models.checks import finite, fraction, non_negative, positive
from models.pitch import cents
from models.quick_dataclass import dataclass

RULE = gauss(16)  # distances along the played range; what more of them change is measured by a test


@dataclass(frozen=True, slots=True)
class FieldGoal:
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
    carrier frequency (Hz) at the lowest note; NaN for a range that the field does not hold. `deviations`: (n, m), the
    squares of which sum to the squared RMS.
    """

    rms_cents: Floats
    high_distance: Floats
    low_distance: Floats
    zero_beat: Floats
    carrier: Floats
    deviations: Floats


def evenness(law: BuildLaw, builds: Builds, low_distance: Floats, goal: FieldGoal, rule: Rule = RULE) -> Evenness:
    """The evenness of every build with its lowest note at `low_distance` (m, (n,)), wherever the goal's notes lie."""
    low_offset, high_offset = goal.offsets
    carrier = law.frequency(builds, law.hand_at(low_distance)[:, None])[:, 0]
    reference = carrier + low_offset
    zero_beat, high_distance = law.distance_at(builds, reference[:, None] - [0.0, high_offset]).T
    held = np.isfinite(high_distance) & np.isfinite(zero_beat) & (high_distance < low_distance)
    near = np.where(held, high_distance, 0.5 * low_distance)
    missing = np.where(held, 0.0, np.nan)
    deviations = law.deviations(builds, reference, near, low_distance, rule) + missing[:, None]
    rms = root_of_squares(deviations)
    return Evenness(rms, high_distance + missing, low_distance, zero_beat + missing, carrier, deviations)


def starting_margin(law: BuildLaw, builds: Builds, distances: Floats, tank_q: float, branch_q: float) -> Floats:
    """Conductance the other mode needs to start over that of the law's own, with the hand at (n,) m, or (k, n).

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


NOT_HELD = 400.0  # cents, what a build that does not hold the notes counts in an expected cost
COARSE = gauss(10)  # where builds are many
RETUNINGS = 81  # trimmer settings tried on each build


@dataclass(frozen=True, slots=True)
class Tolerances:
    """Half widths of the bands, as fractions."""

    coil: float = 0.05
    capacitor: float = 0.02
    stray: float = 0.20

    def __post_init__(self) -> None:
        for name in ("coil", "capacitor", "stray"):
            fraction(name, getattr(self, name))

    def factors(self, builds: int, seed: int) -> Floats:
        """(builds, 5): of tank coil, tank capacitance, series coil, self-capacitance, antenna stray, as PARTS."""
        if builds < 1:
            raise ValueError(f"builds must be >= 1; got {builds}")
        widths = np.array([self.coil, self.capacitor, self.coil, self.stray, self.stray])
        return np.asarray(1.0 + widths * np.random.default_rng(seed).uniform(-1.0, 1.0, (builds, 5)))


class BuildSpread(NamedTuple):
    """RMS cents over the builds that hold the notes: mean, 95th percentile (None if none does), and their share."""

    mean_cents: float | None
    worst_cents: float | None
    held: float


def builds_of(circuit: Builds, factors: Floats) -> Builds:
    """Every build of every circuit, builds running fastest: (n x builds,)."""
    return Builds(
        *((getattr(circuit, name)[:, None] * column).ravel() for name, column in zip(PARTS, factors.T, strict=True))
    )


def tuned_rms(law: BuildLaw, goal: FieldGoal, builds: Builds, zero_beat: Floats, rule: Rule = RULE) -> Floats:
    """RMS cents of each build with zero beat at the given distances (m); NaN where the notes are not held."""
    usable, farthest = np.isfinite(zero_beat), law.curve.farthest
    hand = law.hand_at(np.where(usable, zero_beat, farthest))
    low_distance = law.distance_at(builds, law.frequency(builds, hand[:, None]) - goal.offsets[0])[:, 0]
    usable &= np.isfinite(low_distance)
    even = evenness(law, builds, np.where(usable, low_distance, farthest), goal, rule)
    return np.asarray(np.where(usable, even.rms_cents, np.nan))


def rms_of_builds(law: BuildLaw, goal: FieldGoal, circuits: Builds, zero_beat: Floats, factors: Floats) -> Floats:
    """RMS cents (n, builds) of the builds of each circuit (n,); one without the notes counts as `NOT_HELD`."""
    count = factors.shape[0]
    rms = tuned_rms(law, goal, builds_of(circuits, factors), np.repeat(zero_beat, count), COARSE).reshape(-1, count)
    return np.asarray(np.where(np.isfinite(rms), np.minimum(rms, NOT_HELD), NOT_HELD))


def spread(law: BuildLaw, goal: FieldGoal, circuit: Builds, zero_beat: float, factors: Floats) -> BuildSpread:
    """The builds of one circuit with the reference tuned to zero beat (m) again."""
    return _summary(tuned_rms(law, goal, builds_of(circuit, factors), np.full(factors.shape[0], zero_beat)))


def retuned_spread(
    law: BuildLaw, goal: FieldGoal, circuit: Builds, zero_beat: float, factors: Floats, trim: tuple[float, float]
) -> BuildSpread:
    """The builds of one circuit with the variable trimmer set for the straightest field too.

    `trim`: F, how much the trimmer can take from and add to the tank's capacitance.
    """
    count = factors.shape[0]
    every = builds_of(circuit, factors).each(lambda row: np.repeat(row, RETUNINGS))
    turned = every.tank_capacitance + np.tile(np.linspace(*trim, RETUNINGS), count)
    every = replace(every, tank_capacitance=turned)
    rms = tuned_rms(law, goal, every, np.full(turned.shape, zero_beat), COARSE).reshape(count, RETUNINGS)
    best = np.where(np.isfinite(rms), rms, np.inf).min(axis=1)
    return _summary(np.where(np.isinf(best), np.nan, best))


def _summary(rms: Floats) -> BuildSpread:
    held = rms[np.isfinite(rms)]
    if held.size == 0:
        return BuildSpread(None, None, 0.0)
    return BuildSpread(float(held.mean()), float(np.percentile(held, 95.0)), held.size / rms.size)
