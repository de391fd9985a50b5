"""Global search for the series inductor, tank and zero beat that make the pitch field straightest.

Unknown: inductance of the chokes, tank inductance, branch tuning over tank tuning (with the hand at the lowest note),
distance of the lowest note. Searched by differential evolution (R. Storn, K. Price, J. Global Optimization 11 (1997)
341; citation from memory) with a fixed seed, then polished by a simplex. What a candidate must keep to is added to its
RMS as a penalty; a solution that still pays one is refused. Of circuits equally straight within half a cent the one
with the lower carrier, whose zero beat drifts less, is preferred. The oscillators are taken lossless here; what loss
costs is measured afterwards (`models.straight.front`).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from models.arrays import Floats
from models.branch.choke_chain import USUAL_JOINT_STRAY, pi_equivalent
from models.branch.modes import MODES
from models.branch.tapped_coil import TYPICAL_COUPLING, Tap, with_leakage
from models.builds.build_law import BuildLaw, Builds
from models.checks import non_negative, one_of, positive
from models.hand.capacitance_curve import CapacitanceCurve
from models.straight.evenness import Evenness, FieldGoal, evenness, starting_margin

Progress = Callable[[float], None]
MARGIN = 1.65  # of the other mode's starting conductance over ours: a tenth above where the program warns of a hop
SELF_RESONANCE_ROOM = 0.8  # (f / self-resonance)^2 of a choke at most
NOT_HELD = 5000.0  # cents, cost of a field that does not hold the notes
PER_METRE = 2e4  # cents of penalty per metre short
PER_UNIT = 1e4  # cents of penalty per unit of a logarithm short
UNHEARD = 0.5  # cents RMS that are not worth a drift
RATIOS = (0.55, 1.8)  # branch tuning over tank tuning that is searched
INDUCTANCES = (0.1e-3, 10e-3)  # H, of the tank
BRANCHES = (2e-3, 0.4)  # H, of all chokes together


@dataclass(frozen=True, slots=True)
class Place:
    """How the antenna is joined: `chokes` 0 direct, 1 one choke, n a chain with n - 1 joints; the mode used; and the
    `tap` of the tank's coil that the chain begins at, as a share of the turns (1: the hot end).
    """

    chokes: int
    mode: str
    tap: float = 1.0

    def __post_init__(self) -> None:
        one_of("mode", self.mode, MODES)
        if self.chokes < 0 or (self.chokes == 0 and self.mode == "high"):
            raise ValueError(f"chokes must be >= 0, and a direct antenna has the low mode only; got {self.chokes}")
        if positive("tap", self.tap) > 1.0 or (self.chokes == 0 and self.tap != 1.0):
            raise ValueError(f"tap must be > 0 and at most 1, and 1 for a direct antenna; got {self.tap:g}")

    @property
    def name(self) -> str:
        """In words."""
        if self.chokes == 0:
            return "direct"
        kind = "one choke" if self.chokes == 1 else f"{self.chokes} chokes in series"
        tapped = "" if self.tap == 1.0 else f", coil tap {100.0 * self.tap:.3g} %"
        return f"{kind}{tapped}, {'upper' if self.mode == 'high' else 'lower'} mode"


@dataclass(frozen=True, slots=True)
class FieldParts:
    """What the parts bring along, F and Hz: self-capacitance of one choke, stray to earth at each joint of a chain,
    stray at the antenna, the least and the most the tank may have in all, quality factors, band of the carrier (LF of
    the ITU is 30 to 300 kHz), coupling of both parts of a tapped tank coil.
    """

    choke_self_capacitance: float = 4e-12
    joint_stray: float = USUAL_JOINT_STRAY
    antenna_stray: float = 0.0
    least_tank_capacitance: float = 50e-12
    most_tank_capacitance: float = 2e-9
    tank_q: float = 100.0
    branch_q: float = 60.0
    lowest_carrier: float = 30e3
    highest_carrier: float = 300e3
    tap_coupling: float = TYPICAL_COUPLING

    def __post_init__(self) -> None:
        for name in ("choke_self_capacitance", "joint_stray", "antenna_stray"):
            non_negative(name, getattr(self, name))
        for name in ("tank_q", "branch_q", "lowest_carrier", "highest_carrier"):
            positive(name, getattr(self, name))
        if not self.lowest_carrier < self.highest_carrier:
            raise ValueError(f"highest_carrier must be > lowest_carrier; got {self.highest_carrier:g}")
        Tap(1.0, self.tap_coupling)
        if not positive("least_tank_capacitance", self.least_tank_capacitance) < self.most_tank_capacitance:
            raise ValueError(f"most_tank_capacitance must be > the least; got {self.most_tank_capacitance:g}")


PLACES = (
    Place(0, "low"),
    Place(1, "high"),
    Place(2, "high"),
    Place(4, "high"),
    Place(1, "low"),
    Place(2, "low"),
    Place(2, "high", 0.5),
    Place(4, "high", 0.25),
)


@dataclass(frozen=True, slots=True)
class Effort:
    """How much is tried. population: candidates per unknown; generations: rounds, of the robust search and of each
    search of the front less; polishing: steps of the simplex; restarts of the nominal search; builds that a robust
    search sees and that an option is judged by; places tried; room and carriers (Hz) that the front is searched for.
    """

    population: int = 18
    generations: int = 150
    robust_generations: int = 60
    front_generations: int = 70
    polishing: int = 600
    restarts: int = 2
    search_builds: int = 12
    judge_builds: int = 300
    places: tuple[Place, ...] = PLACES
    front_bounds: tuple[tuple[float, ...], tuple[float, ...]] = ((0.5, 0.65, 0.8), (130e3, 180e3, 250e3, 500e3))


FULL_EFFORT = Effort()


@dataclass(frozen=True, slots=True)
class Solution:
    """A circuit found: of one choke H (0 for none), tank H and F in all, distance of the lowest note m."""

    place: Place
    choke_inductance: float
    tank_inductance: float
    tank_capacitance: float
    low_distance: float

    def build(self, parts: FieldParts) -> Builds:
        """As one row."""
        row = [np.array([value]) for value in (self.choke_inductance, self.tank_inductance, self.tank_capacitance)]
        return circuits(self.place, parts, *row)[0]


def circuits(
    place: Place, parts: FieldParts, choke: Floats, tank: Floats, capacitance: Floats
) -> tuple[Builds, Floats]:
    """Rows (n,) of circuits; and a penalty, cents, for chokes used too near their self-resonance (those rows are not to
    be trusted). Each chain goes in by its pi equivalent at the tank's frequency, a tapped tank as the chain sees it
    (`models.branch.tapped_coil`).
    """
    if place.chokes == 0:
        zero = np.zeros_like(tank)
        return Builds(tank, capacitance, zero, zero, zero + parts.antenna_stray), zero
    angular = 1.0 / np.sqrt(tank * capacitance)
    near = angular**2 * choke * parts.choke_self_capacitance
    tapped = angular**2 * place.chokes**2 * choke * parts.joint_stray
    excess = np.maximum(np.maximum(near, tapped) / SELF_RESONANCE_ROOM, 1.0)
    pi = pi_equivalent(
        choke / excess, parts.choke_self_capacitance, parts.joint_stray, angular / (2.0 * math.pi), place.chokes
    )
    tap = Tap(place.tap, parts.tap_coupling)
    coil, own = pi.inductance, pi.self_capacitance
    if tap.leakage_share > 0.0:
        coil, own = with_leakage(coil, own, tap.leakage_share * tank, angular / (2.0 * math.pi))
    rows = Builds(
        tank * tap.ratio**2,
        capacitance / tap.ratio**2 + pi.end_stray,
        coil,
        own,
        parts.antenna_stray + pi.end_stray,
    )
    return rows, PER_UNIT * np.log(excess)


class Search:
    """The cost of rows of unknowns for one place, and its minimum."""

    grid = 15  # points of each direction of the narrowing grid of `models.straight.buyable_field`
    around = 1.5  # factor either side of an ideal value from which preferred parts are taken there

    def __init__(
        self, curve: CapacitanceCurve, goal: FieldGoal, parts: FieldParts, place: Place, effort: Effort = FULL_EFFORT
    ) -> None:
        self.law = BuildLaw(curve, place.mode, goal.lock_range)
        self.goal, self.parts, self.place, self.effort = goal, parts, place, effort
        self.farthest = min(goal.far, curve.farthest)

    def evenness(self, solution: Solution) -> Evenness:
        """The evenness of a solution, one row."""
        return evenness(self.law, solution.build(self.parts), np.array([solution.low_distance]), self.goal)

    def rms_cents(self, solution: Solution) -> float:
        """RMS cents of a solution; NaN where it does not hold the notes."""
        return float(self.evenness(solution).rms_cents[0])

    def bounds(self) -> list[tuple[float, float]]:
        """Of the unknowns, logarithms but for the last."""
        distance = (self.goal.near + 0.5 * self.goal.fill * (self.goal.far - self.goal.near), self.farthest)
        tank = (math.log(INDUCTANCES[0]), math.log(INDUCTANCES[1]))
        least, most = self.parts.least_tank_capacitance, self.parts.most_tank_capacitance
        if self.place.chokes == 0:
            return [tank, (math.log(least), math.log(most)), distance]
        branch = (math.log(BRANCHES[0]), math.log(BRANCHES[1]))
        return [branch, tank, (math.log(RATIOS[0]), math.log(RATIOS[1])), distance]

    def values(self, unknowns: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Inductance of one choke and of the tank H, tank capacitance F, distance of the lowest note m; (n,) each."""
        if self.place.chokes == 0:
            tank, capacitance = np.exp(unknowns[0]), np.exp(unknowns[1])
            return np.zeros_like(tank), tank, capacitance, unknowns[2]
        branch, tank, ratio = np.exp(unknowns[:3])
        low = self.law.hand_at(unknowns[3]) + self.parts.antenna_stray
        own = self.parts.choke_self_capacitance / self.place.chokes
        return branch / self.place.chokes, tank, branch * (low + own) * ratio**2 / tank, unknowns[3]

    def cost(self, unknowns: Floats) -> Floats:
        """RMS cents and penalties of unknowns (k,) or (k, n)."""
        rows = np.asarray(unknowns, dtype=np.float64)
        found = self.cost_of(*self.values(rows.reshape(rows.shape[0], -1)))[0]
        return found if rows.ndim > 1 else found[0]

    def cost_of(
        self, choke: Floats, tank: Floats, capacitance: Floats, low_distance: Floats
    ) -> tuple[Floats, Evenness, Floats]:
        """Cost with its penalties, the evenness, and the penalties alone; (n,) each."""
        rows, penalty = circuits(self.place, self.parts, choke, tank, capacitance)
        even = evenness(self.law, rows, low_distance, self.goal)
        held = np.isfinite(even.rms_cents)
        goal, parts = self.goal, self.parts
        high = np.where(held, even.high_distance, goal.near)
        short = np.maximum(goal.near - high, 0.0)
        short = short + np.maximum(goal.fill * (goal.far - goal.near) - (low_distance - high), 0.0)
        short = short + np.maximum(np.where(held, even.zero_beat, 0.0) - goal.farthest_zero, 0.0)
        short = short + np.maximum(low_distance - goal.far, 0.0)
        penalty = penalty + PER_METRE * short
        penalty = penalty + PER_UNIT * np.maximum(np.log(parts.least_tank_capacitance / capacitance), 0.0)
        penalty = penalty + PER_UNIT * np.maximum(np.log(capacitance / parts.most_tank_capacitance), 0.0)
        outside = np.maximum(np.log(even.carrier / parts.highest_carrier), np.log(parts.lowest_carrier / even.carrier))
        penalty = penalty + PER_UNIT * np.maximum(outside, 0.0)
        for place in (np.full_like(low_distance, goal.near), low_distance):
            margin = starting_margin(self.law, rows, place, parts.tank_q, parts.branch_q)
            penalty = penalty + 400.0 * np.maximum(MARGIN - margin, 0.0)
        penalty = penalty + np.where(held, 0.0, NOT_HELD)
        return np.where(held, even.rms_cents, 0.0) + self.wander(even) + penalty, even, penalty

    def wander(self, even: Evenness) -> Floats:
        """Cents that a carrier (n,) costs by its drift: UNHEARD at the upper end of the band, in proportion."""
        return np.asarray(UNHEARD * even.carrier / self.parts.highest_carrier)

    def best(
        self, seed: int, generations: int | None = None, progress: Progress = lambda share: None
    ) -> Solution | None:
        """The straightest field found, or None where no circuit keeps to the goal."""
        from scipy import optimize

        effort = self.effort
        rounds = effort.generations if generations is None else generations
        solver: Any = optimize  # its published types do not know vectorised costs
        count = 0

        def told(*_: Any, **__: Any) -> None:
            nonlocal count
            count += 1
            progress(min(1.0, count / rounds))

        limits = self.bounds()
        evolved = solver.differential_evolution(
            self.cost,
            limits,
            rng=np.random.default_rng(seed),
            popsize=effort.population,
            maxiter=rounds,
            tol=1e-3,
            polish=False,
            updating="deferred",
            vectorized=True,
            callback=told,
        )
        steps = {"maxiter": effort.polishing, "xatol": 1e-7}
        polished = solver.minimize(self.cost, evolved.x, method="Nelder-Mead", options=steps)
        low, high = np.array(limits).T
        inside = np.clip(polished.x, low, high)
        point = inside if float(self.cost(inside)) < float(evolved.fun) else evolved.x
        row = self.values(np.asarray(point)[:, None])
        if float(self.cost_of(*row)[2][0]) > 0.5:  # cents: a polish rests against a border with a trace of penalty
            return None
        return Solution(self.place, *(float(value[0]) for value in row))


def with_ideal_coils(parts: FieldParts) -> FieldParts:
    """The same without self-capacitance and tap stray."""
    return replace(parts, choke_self_capacitance=0.0, joint_stray=0.0)
