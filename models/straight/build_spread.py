"""What part tolerances do to an even pitch field: many seeded builds of one circuit, each tuned to zero beat again.

A build takes its tank coil, tank capacitance, series coil, self-capacitance and antenna stray each from a band, every
value in it equally likely, independent of one another (chokes of one chain alike, as from one reel). Its reference is
then trimmed for zero beat at the hand distance of the design; `retuned` sets the variable tank's trimmer for the
straightest field as well. Neglected: the reference's own limits of trimming, and the tolerance of the antenna's size.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from models.builds.build_law import PARTS, BuildLaw, Builds
from models.checks import fraction
from models.straight.evenness import SAMPLES, Goal, evenness

Floats = NDArray[np.float64]
NOT_HELD = 400.0  # cents, what a build that does not hold the notes counts in an expected cost
COARSE = 24  # distances along the played range where builds are many
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


class Spread(NamedTuple):
    """RMS cents over the builds that hold the notes: mean, 95th percentile (None if none does), and their share."""

    mean_cents: float | None
    worst_cents: float | None
    held: float


def builds_of(circuit: Builds, factors: Floats) -> Builds:
    """Every build of every circuit, builds running fastest: (n x builds,)."""
    return Builds(
        *((getattr(circuit, name)[:, None] * column).ravel() for name, column in zip(PARTS, factors.T, strict=True))
    )


def tuned_rms(law: BuildLaw, goal: Goal, builds: Builds, zero_beat: Floats, samples: int = SAMPLES) -> Floats:
    """RMS cents of each build with zero beat at the given distances (m); NaN where the notes are not held."""
    usable, farthest = np.isfinite(zero_beat), law.curve.farthest
    hand = law.hand_at(np.where(usable, zero_beat, farthest))
    low_distance = law.distance_at(builds, law.frequency(builds, hand[:, None]) - goal.offsets[0])[:, 0]
    usable &= np.isfinite(low_distance)
    even = evenness(law, builds, np.where(usable, low_distance, farthest), goal, samples)
    return np.asarray(np.where(usable, even.rms_cents, np.nan))


def expected_rms(law: BuildLaw, goal: Goal, circuits: Builds, zero_beat: Floats, factors: Floats) -> Floats:
    """Mean RMS cents over the builds of each circuit (n,), a build without the notes counting as `NOT_HELD`."""
    count = factors.shape[0]
    rms = tuned_rms(law, goal, builds_of(circuits, factors), np.repeat(zero_beat, count), COARSE).reshape(-1, count)
    return np.asarray(np.where(np.isfinite(rms), np.minimum(rms, NOT_HELD), NOT_HELD).mean(axis=1))


def spread(law: BuildLaw, goal: Goal, circuit: Builds, zero_beat: float, factors: Floats) -> Spread:
    """The builds of one circuit with the reference tuned to zero beat (m) again."""
    return _summary(tuned_rms(law, goal, builds_of(circuit, factors), np.full(factors.shape[0], zero_beat)))


def retuned_spread(
    law: BuildLaw, goal: Goal, circuit: Builds, zero_beat: float, factors: Floats, trim: tuple[float, float]
) -> Spread:
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


def _summary(rms: Floats) -> Spread:
    held = rms[np.isfinite(rms)]
    if held.size == 0:
        return Spread(None, None, 0.0)
    return Spread(float(held.mean()), float(np.percentile(held, 95.0)), held.size / rms.size)
