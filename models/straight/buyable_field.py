"""From a straight pitch field in ideal values to one in parts that are sold: preferred chokes, coil and capacitor.

Around a continuous solution every pair of preferred choke and preferred tank coil is tried; for each, tank tuning and
the lowest note's distance are found again on a grid that narrows. The tank's capacitance is then a preferred
capacitor with the trimmer making up the rest, as far as it goes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from models.arrays import Floats
from models.checks import non_negative
from models.hand.capacitance_curve import CapacitanceCurve
from models.preferred_values import nearest, values_in_range
from models.straight.evenness import Evenness, FieldGoal, expected_rms
from models.straight.search import INDUCTANCES, Effort, FieldParts, Place, Search, Solution, circuits

ZOOMS = 4
NARROWING = 0.3
FITTED = 20  # pairs whose capacitor and trimmer are tried


class RobustSearch(Search):
    """A search for the least expected RMS over builds, in place of that of the nominal circuit."""

    grid = 7
    around = 1.25

    def __init__(
        self, curve: CapacitanceCurve, goal: FieldGoal, parts: FieldParts, place: Place, effort: Effort, factors: Floats
    ) -> None:
        super().__init__(curve, goal, parts, place, effort)
        self.factors = factors  # of the builds, (k, 5)

    def cost_of(
        self, choke: Floats, tank: Floats, capacitance: Floats, low_distance: Floats
    ) -> tuple[Floats, Evenness, Floats]:
        """As of `Search`, with the expected RMS in place of the nominal one."""
        _, even, penalty = super().cost_of(choke, tank, capacitance, low_distance)
        rows = circuits(self.place, self.parts, choke, tank, capacitance)[0]
        expected = expected_rms(self.law, self.goal, rows, even.zero_beat, self.factors)
        return expected + self.wander(even) + penalty, even, penalty


@dataclass(frozen=True, slots=True)
class TankParts:
    """What else stands across the tank, F: `board_stray` fixed, trimmer from `minimum` to `maximum`."""

    board_stray: float
    minimum: float
    maximum: float

    def __post_init__(self) -> None:
        for name in ("board_stray", "minimum", "maximum"):
            non_negative(name, getattr(self, name))
        if self.maximum < self.minimum:
            raise ValueError(f"maximum must be >= minimum ({self.minimum:g}); got {self.maximum:g}")

    def fitted(self, capacitance: float, series: str, smallest: float = 1e-12) -> tuple[float, float]:
        """Preferred capacitor, F, and trimmer setting (0 to 1) for a tank of `capacitance` in all.

        The setting is held at its end where the trimmer does not reach: read what comes of it with `total`.
        """
        middle = self.board_stray + 0.5 * (self.minimum + self.maximum)
        capacitor = nearest(series, max(capacitance - middle, smallest))
        span = self.maximum - self.minimum
        if span == 0.0:
            return capacitor, 0.5
        return capacitor, min(max((capacitance - self.board_stray - capacitor - self.minimum) / span, 0.0), 1.0)

    def total(self, capacitor: float, setting: float) -> float:
        """Capacitance of the tank, F."""
        return self.board_stray + capacitor + self.minimum + setting * (self.maximum - self.minimum)


@dataclass(frozen=True, slots=True)
class Buyable:
    """A solution in preferred parts: `solution` with the tank as fitted, its capacitor F and trimmer setting."""

    solution: Solution
    capacitor: float
    trimmer: float
    cost_cents: float


def buyable(search: Search, ideal: Solution, tank: TankParts, series: str) -> Buyable | None:
    """The best preferred parts near `ideal` by the cost of `search`; None where none of them keeps to the goal."""
    chokes = (
        (0.0,)
        if ideal.place.chokes == 0
        else values_in_range(series, ideal.choke_inductance / search.around, ideal.choke_inductance * search.around)
    )
    factors = 1.0 / search.around, search.around
    low, high = (np.clip(ideal.tank_inductance * factor, *INDUCTANCES) for factor in factors)
    pairs = [(choke, coil) for choke in chokes for coil in values_in_range(series, float(low), float(high))]
    if not pairs:
        return None
    refined = _refined(search, ideal, np.array(pairs))
    order = np.argsort(refined[:, -1])[:FITTED]
    options = [_fitted(search, row, tank, series, ideal) for row in refined[order]]
    kept = [option for option in options if option is not None]
    return min(kept, key=lambda option: option.cost_cents, default=None)


def _refined(search: Search, ideal: Solution, pairs: Floats) -> Floats:
    """Rows (pairs, 5): choke, coil, tank capacitance, lowest note's distance, cost, on a narrowing grid."""
    count = len(pairs)
    scale = np.log(ideal.tank_capacitance * ideal.tank_inductance / pairs[:, 1])
    if ideal.place.chokes:
        scale = scale + np.log(pairs[:, 0] / ideal.choke_inductance)  # keeps the branch's tuning over the tank's
    middle = np.stack([scale, np.full(count, ideal.low_distance)])
    width = np.array([0.08, 0.06])  # of the logarithm of the capacitance, and m
    steps = np.linspace(-1.0, 1.0, search.grid)
    grid = np.stack([axis.ravel() for axis in np.meshgrid(steps, steps)])
    cost = np.full(count, np.inf)
    for _ in range(ZOOMS):
        tried = middle[:, :, None] + width[:, None, None] * grid[:, None, :]
        distance = np.clip(tried[1], search.goal.near, search.farthest).ravel()
        repeated = np.repeat(pairs, grid.shape[1], axis=0)
        found = search.cost_of(repeated[:, 0], repeated[:, 1], np.exp(tried[0]).ravel(), distance)[0]
        found = found.reshape(count, -1)
        best = found.argmin(axis=1)
        row = np.arange(count)
        middle = np.stack([tried[0][row, best], distance.reshape(count, -1)[row, best]])
        cost = found[row, best]
        width = width * NARROWING
    return np.column_stack([pairs, np.exp(middle[0]), middle[1], cost])


def _fitted(search: Search, row: Floats, tank: TankParts, series: str, ideal: Solution) -> Buyable | None:
    """The row with a preferred capacitor, the lowest note's distance found again where the trimmer fell short."""
    capacitor, trimmer = tank.fitted(float(row[2]), series)
    total = tank.total(capacitor, trimmer)
    distances = np.clip(row[3] + np.linspace(-0.04, 0.04, 81), search.goal.near, search.farthest)
    ones = np.ones_like(distances)
    cost, _, penalty = search.cost_of(row[0] * ones, row[1] * ones, total * ones, distances)
    best = int(np.argmin(cost))
    if not math.isfinite(float(cost[best])) or float(penalty[best]) > 0.5:
        return None
    solution = Solution(ideal.place, float(row[0]), float(row[1]), total, float(distances[best]))
    return Buyable(solution, capacitor, trimmer, float(cost[best]))
