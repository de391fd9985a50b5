"""What part tolerances do to an even pitch field: many seeded builds of one circuit, each tuned to zero beat again.

A build takes its tank coil, tank capacitance, series coil, self-capacitance and antenna stray each from a band, every
value in it equally likely, independent of one another (chokes of one chain alike, as from one reel). Its reference is
then trimmed for zero beat at the hand distance of the design; `retuned` sets the variable tank's trimmer for the
straightest field as well. Neglected: the reference's own limits of trimming, and the tolerance of the antenna's size.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from models.checks import fraction
from models.straight.evenness import SAMPLES, Candidates, FieldTable, Goal

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
        """(builds, 5): of tank coil, tank capacitance, series coil, self-capacitance, antenna stray."""
        if builds < 1:
            raise ValueError(f"builds must be >= 1; got {builds}")
        widths = np.array([self.coil, self.capacitor, self.coil, self.stray, self.stray])
        return np.asarray(1.0 + widths * np.random.default_rng(seed).uniform(-1.0, 1.0, (builds, 5)))


class Spread(NamedTuple):
    """RMS cents over the builds that hold the notes: mean, 95th percentile (None if none does), and their share."""

    mean_cents: float | None
    worst_cents: float | None
    held: float


def builds_of(candidates: Candidates, zero_beat: Floats, factors: Floats) -> tuple[Candidates, Floats]:
    """Every build of every candidate, builds running fastest: (n x builds,), and the zero beat of each, m."""
    count = factors.shape[0]
    names = ("tank_inductance", "tank_capacitance", "branch_inductance", "self_capacitance", "antenna_stray")
    rows: dict[str, Any] = {
        name: (getattr(candidates, name)[:, None] * column).ravel()
        for name, column in zip(names, factors.T, strict=True)
    }
    return (
        replace(candidates, low_distance=np.repeat(candidates.low_distance, count), **rows),
        np.repeat(zero_beat, count),
    )


def tuned_rms(
    table: FieldTable, goal: Goal, candidates: Candidates, zero_beat: Floats, samples: int = SAMPLES
) -> Floats:
    """RMS cents of each candidate with zero beat at the given distances (m); NaN where the notes are not held."""
    usable = np.isfinite(zero_beat)
    place = np.where(usable, zero_beat, table.curve.farthest)
    capacitance = table.capacitance(place) + candidates.antenna_stray
    low = candidates.frequency(capacitance[:, None])[:, 0] - np.hypot(goal.low_frequency, goal.lock_range)
    low_distance = table.distance_of(candidates.capacitance_at(low) - candidates.antenna_stray)
    usable &= np.isfinite(low_distance)
    rows = candidates.with_low_distance(np.where(usable, low_distance, table.curve.farthest))
    return np.asarray(np.where(usable, table.evenness(rows, goal, samples).rms_cents, np.nan))


def expected_rms(table: FieldTable, goal: Goal, candidates: Candidates, zero_beat: Floats, factors: Floats) -> Floats:
    """Mean RMS cents over the builds of each candidate (n,), a build without the notes counting as `NOT_HELD`."""
    rms = tuned_rms(table, goal, *builds_of(candidates, zero_beat, factors), COARSE).reshape(-1, factors.shape[0])
    return np.asarray(np.where(np.isfinite(rms), np.minimum(rms, NOT_HELD), NOT_HELD).mean(axis=1))


def spread(table: FieldTable, goal: Goal, candidates: Candidates, zero_beat: Floats, factors: Floats) -> Spread:
    """The builds of one candidate with the reference tuned to zero beat again."""
    return _summary(tuned_rms(table, goal, *builds_of(candidates, zero_beat, factors)))


def retuned_spread(
    table: FieldTable, goal: Goal, candidates: Candidates, zero_beat: Floats, factors: Floats, trim: tuple[float, float]
) -> Spread:
    """The builds of one candidate with the variable trimmer set for the straightest field too.

    `trim`: F, how much the trimmer can take from and add to the tank's capacitance.
    """
    rows, places = builds_of(candidates, zero_beat, factors)
    count = factors.shape[0]
    names = ("tank_inductance", "tank_capacitance", "branch_inductance", "self_capacitance", "antenna_stray")
    every: dict[str, Any] = {name: np.repeat(getattr(rows, name), RETUNINGS) for name in (*names, "low_distance")}
    every["tank_capacitance"] = every["tank_capacitance"] + np.tile(np.linspace(*trim, RETUNINGS), count)
    rms = tuned_rms(table, goal, replace(rows, **every), np.repeat(places, RETUNINGS), COARSE).reshape(count, RETUNINGS)
    best = np.where(np.isfinite(rms), rms, np.inf).min(axis=1)
    return _summary(np.where(np.isinf(best), np.nan, best))


def _summary(rms: Floats) -> Spread:
    held = rms[np.isfinite(rms)]
    if held.size == 0:
        return Spread(None, None, 0.0)
    return Spread(float(held.mean()), float(np.percentile(held, 95.0)), held.size / rms.size)
