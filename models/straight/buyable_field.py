"""From a straight pitch field in ideal values to one in parts that are sold: preferred chokes, coil and capacitor.

Around a continuous solution every pair of preferred choke and preferred tank coil is tried; for each, tank tuning and
the lowest note's distance are found again on a grid that narrows. The tank's capacitance is then a preferred
capacitor with the trimmer making up the rest, as far as it goes.
"""

from __future__ import annotations

import math

import numpy as np

from models.arrays import Floats
from models.builds.build_law import Builds
from models.checks import non_negative
from models.hand.capacitance_curve import CapacitanceCurve
from models.quick_dataclass import dataclass
from models.straight.evenness import Evenness, FieldGoal, rms_of_builds
from models.straight.search import Effort, FieldParts, Place, Search, Solution
from models.straight.shelf import Shelf

ZOOMS = 4
NARROWING = 0.3
FITTED = 20  # pairs at least whose capacitor and trimmer are tried


class RobustSearch(Search):
    """A search for the least expected RMS over builds, in place of that of the nominal circuit."""

    grid = 7
    around = 1.25

    def __init__(
        self, curve: CapacitanceCurve, goal: FieldGoal, parts: FieldParts, place: Place, effort: Effort, factors: Floats
    ) -> None:
        super().__init__(curve, goal, parts, place, effort)
        self.factors = factors  # of the builds, (k, 5)

    def straightness(self, rows: Builds, even: Evenness) -> Floats:
        """The expected RMS over the builds."""
        return np.asarray(self._of_builds(rows, even).mean(axis=1))

    def shares(self, rows: Builds, even: Evenness) -> Floats:
        """Their squares sum to the expected RMS with what its drift costs."""
        missing = np.where(np.isfinite(even.rms_cents), self.wander(even), np.nan)
        return np.asarray(np.sqrt(np.column_stack([self._of_builds(rows, even) / len(self.factors), missing])))

    def _of_builds(self, rows: Builds, even: Evenness) -> Floats:
        return rms_of_builds(self.law, self.goal, rows, even.zero_beat, self.factors)


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

    def fitted(self, capacitance: float, shelf: Shelf, smallest: float = 1e-12) -> tuple[float, float]:
        """A capacitor of `shelf`, F, and trimmer setting (0 to 1) for a tank of `capacitance` in all.

        The setting is held at its end where the trimmer does not reach: read what comes of it with `total`.
        """
        middle = self.board_stray + 0.5 * (self.minimum + self.maximum)
        capacitor = shelf.capacitor(max(capacitance - middle, smallest))
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


def buyable(search: Search, ideal: Solution, tank: TankParts, shelf: Shelf) -> Buyable | None:
    """The best parts of `shelf` near `ideal` by the cost of `search`; None where none of them keeps to the goal."""
    count, around = ideal.place.chokes, search.around
    chokes = shelf.chokes_near(ideal.choke_inductance, around, count) if count else (0.0,)
    pairs = [(choke, coil) for choke in chokes for coil in shelf.coils_near(ideal.tank_inductance, around)]
    if not pairs:
        return None
    refined = _refined(search, ideal, np.array(pairs))
    options = [_fitted(search, row, tank, shelf, ideal) for row in refined]
    kept = [option for option in options if option is not None]
    return min(kept, key=lambda option: option.cost_cents, default=None)


def _refined(search: Search, ideal: Solution, pairs: Floats) -> Floats:
    """Rows (pairs, 5), best first: choke, coil, tank capacitance, lowest note's distance and cost, on a narrowing grid;
    with each narrowing half of the pairs are left behind, down to FITTED.
    """
    scale = np.log(ideal.tank_capacitance * ideal.tank_inductance / pairs[:, 1])
    if ideal.place.chokes:
        scale = scale + np.log(pairs[:, 0] / ideal.choke_inductance)  # keeps the branch's tuning over the tank's
    rows = np.column_stack([pairs, scale, np.full(len(pairs), ideal.low_distance)])
    width = np.array([0.08, 0.06])  # of the logarithm of the capacitance, and m
    steps = np.linspace(-1.0, 1.0, search.grid)
    grid = np.stack([axis.ravel() for axis in np.meshgrid(steps, steps)])
    for _ in range(ZOOMS):
        tried = np.repeat(rows[:, :4, None], grid.shape[1], axis=2)
        tried[:, 2:] += width[:, None] * grid
        tried[:, 3] = np.clip(tried[:, 3], search.goal.near, search.farthest)
        choke, coil, logs, distance = tried.transpose(1, 0, 2).reshape(4, -1)
        found = search.cost_of(choke, coil, np.exp(logs), distance)[0].reshape(len(rows), -1)
        best, row = found.argmin(axis=1), np.arange(len(rows))
        rows = np.column_stack([tried[row, :, best], found[row, best]])
        rows = rows[np.argsort(rows[:, -1])[: max(FITTED, len(rows) // 2)]]
        width = width * NARROWING
    rows[:, 2] = np.exp(rows[:, 2])
    return rows


def _fitted(search: Search, row: Floats, tank: TankParts, shelf: Shelf, ideal: Solution) -> Buyable | None:
    """The row with a preferred capacitor, the lowest note's distance found again where the trimmer fell short."""
    capacitor, trimmer = tank.fitted(float(row[2]), shelf)
    total = tank.total(capacitor, trimmer)
    distances = np.clip(row[3] + np.linspace(-0.04, 0.04, 81), search.goal.near, search.farthest)
    ones = np.ones_like(distances)
    cost, _, penalty = search.cost_of(row[0] * ones, row[1] * ones, total * ones, distances)
    best = int(np.argmin(cost))
    if not math.isfinite(float(cost[best])) or float(penalty[best]) > 0.5:
        return None
    solution = Solution(ideal.place, float(row[0]), float(row[1]), total, float(distances[best]))
    return Buyable(solution, capacitor, trimmer, float(cost[best]))
