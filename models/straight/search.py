"""Global search for the series inductor, tank and zero beat that make the pitch field straightest.

Unknown: inductance of the chokes, tank inductance, branch tuning over tank tuning (with the hand at the lowest note),
distance of the lowest note. Circuits are drawn at random with a fixed seed; from the best of them it goes down by least
squares, all at once (`models.straight.descent`), with soft walls at the bounds of what a candidate must keep to; the
best of these are settled by scipy's SLSQP, which keeps the bounds exactly (D. Kraft, DFVLR-FB 88-28 (1988); from
memory). To compare candidates, what is broken is added to the RMS as a penalty; a solution that still pays one is
refused. Of circuits equally straight within half a cent the one with the lower carrier, whose zero beat drifts less, is
preferred. The oscillators are taken lossless here; what loss costs is measured afterwards (`models.straight.front`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import cache, partial
from typing import Protocol, TypeVar

import numpy as np

from models.arrays import Floats
from models.branch.choke_chain import USUAL_JOINT_STRAY, pi_equivalent
from models.branch.modes import MODES
from models.branch.tapped_coil import TYPICAL_COUPLING, Tap, with_leakage
from models.builds.build_law import BuildLaw, Builds
from models.checks import non_negative, one_of, positive
from models.hand.capacitance_curve import CapacitanceCurve
from models.quick_dataclass import dataclass
from models.straight.descent import descend
from models.straight.evenness import Evenness, FieldGoal, evenness, starting_margin

Item = TypeVar("Item")
Found = TypeVar("Found")
Progress = Callable[[float], None]
MARGIN = 1.65  # of the other mode's starting conductance over ours: a tenth above where the program warns of a hop
SELF_RESONANCE_ROOM = 0.8  # (f / self-resonance)^2 of a choke at most
NO_FIELD = 5000.0  # cents, cost of a field that does not hold the notes
PER_METRE = 2e4  # cents of penalty per metre short
PER_UNIT = 1e4  # cents of penalty per unit of a logarithm short
PER_MARGIN = 400.0  # cents of penalty per unit of the starting margin short
MOST_MARGIN = 100.0  # that counts
UNIT = 100.0  # cents that count as 1 for the last steps, whose first ones are then of the right size
ROOMS = (1000.0, 100.0)  # cents of penalty before a bound that it is felt, in the descents one after the other
WALL = 3.0  # cents that a wall costs there, about
DIFFERENCE = 1e-6  # of a bound's width, for derivatives
UNHEARD = 0.5  # cents RMS that are not worth a drift
RATIOS = (0.55, 1.8)  # branch tuning over tank tuning that is searched
INDUCTANCES = (0.1e-3, 10e-3)  # H, of the tank
FAR_BELOW = 1e-6  # of the room: that chokes without any self-capacitance have a logarithm too
BRANCHES = (2e-3, 0.4)  # H, of all chokes together


class Mapped(Protocol):
    """Applies a function to every item, in any order, perhaps on several processors: gives the number of an item and
    what was found for it as soon as that is known.
    """

    def __call__(self, function: Callable[[Item], Found], items: Sequence[Item], /) -> Iterator[tuple[int, Found]]: ...


def one_by_one(function: Callable[[Item], Found], items: Sequence[Item]) -> Iterator[tuple[int, Found]]:
    """One item after the other."""
    for number, item in enumerate(items):
        yield number, function(item)


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
    the ITU is 30 to 300 kHz), coupling of both parts of a tapped tank coil; and the inductances, H, that the coil
    of the tank may have, and one choke (None: any that makes BRANCHES in all).
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
    tank_inductances: tuple[float, float] = INDUCTANCES
    choke_inductances: tuple[float, float] | None = None

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
    """How much is tried. draws: circuits drawn at random, fewer of them for the robust search; starts: the best of
    them, from which `steps` lead down twice; finalists of these that are settled by at most `settling` steps; builds
    that a robust search sees and that an option is judged by; places tried; room and carriers (Hz) of the front.
    """

    draws: int = 2000
    robust_draws: int = 300
    starts: int = 12
    steps: int = 6
    finalists: int = 3
    settling: int = 40
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
    be trusted), below 0 where there is room. Each chain goes in by its pi equivalent at the tank's frequency, a tapped
    tank as the chain sees it (`models.branch.tapped_coil`).
    """
    if place.chokes == 0:
        zero = np.zeros_like(tank)
        return Builds(tank, capacitance, zero, zero, zero + parts.antenna_stray), zero
    angular = 1.0 / np.sqrt(tank * capacitance)
    near = angular**2 * choke * parts.choke_self_capacitance
    tapped = angular**2 * place.chokes**2 * choke * parts.joint_stray
    share = np.maximum(np.maximum(near, tapped) / SELF_RESONANCE_ROOM, FAR_BELOW)
    excess = np.maximum(share, 1.0)
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
    return rows, PER_UNIT * np.log(share)


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
        tank = (math.log(self.parts.tank_inductances[0]), math.log(self.parts.tank_inductances[1]))
        least, most = self.parts.least_tank_capacitance, self.parts.most_tank_capacitance
        if self.place.chokes == 0:
            return [tank, (math.log(least), math.log(most)), distance]
        ends = BRANCHES
        if self.parts.choke_inductances is not None:
            ends = (
                self.place.chokes * self.parts.choke_inductances[0],
                self.place.chokes * self.parts.choke_inductances[1],
            )
        return [(math.log(ends[0]), math.log(ends[1])), tank, (math.log(RATIOS[0]), math.log(RATIOS[1])), distance]

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
        rows, even, breaches = self._judged(choke, tank, capacitance, low_distance)
        held = np.isfinite(even.rms_cents)
        penalty = np.maximum(breaches, 0.0).sum(axis=0) + np.where(held, 0.0, NO_FIELD)
        return np.where(held, self.straightness(rows, even), 0.0) + self.wander(even) + penalty, even, penalty

    def straightness(self, rows: Builds, even: Evenness) -> Floats:
        """What is to be small, cents (n,), of circuits and their evenness."""
        return even.rms_cents

    def shares(self, rows: Builds, even: Evenness) -> Floats:
        """Residuals (n, m): their squares sum to what rises and falls with `straightness` and `wander`."""
        wander = self.wander(even)
        return np.column_stack([even.deviations, np.sqrt(wander * (2.0 * even.rms_cents + wander))])

    def residuals(self, room: float, unknowns: Floats) -> Floats:
        """Residuals (n, m) of unknowns (d, n) for `descend`: of the straightness, and a wall at every bound; NaN where
        the notes are not held. A wall begins to be felt `room` (cents of penalty) before the bound.
        """
        rows, even, breaches = self._judged(*self.values(unknowns))
        walls = 0.5 * WALL / room * (breaches + np.hypot(breaches, room))
        return np.column_stack([self.shares(rows, even), walls.T])

    def _judged(
        self, choke: Floats, tank: Floats, capacitance: Floats, low_distance: Floats
    ) -> tuple[Builds, Evenness, Floats]:
        """The circuits, their evenness, and by how many cents (k, n) each bound is broken: below 0 if not."""
        rows, near_resonance = circuits(self.place, self.parts, choke, tank, capacitance)
        even = evenness(self.law, rows, low_distance, self.goal)
        held = np.isfinite(even.rms_cents)
        goal, parts = self.goal, self.parts
        high = np.where(held, even.high_distance, goal.near)
        short = [
            goal.near - high,
            goal.fill * (goal.far - goal.near) - (low_distance - high),
            np.where(held, even.zero_beat, 0.0) - goal.farthest_zero,
            low_distance - goal.far,
        ]
        outside = [
            np.log(parts.least_tank_capacitance / capacitance),
            np.log(capacitance / parts.most_tank_capacitance),
            np.log(even.carrier / parts.highest_carrier),
            np.log(parts.lowest_carrier / even.carrier),
        ]
        places = np.stack([np.full_like(low_distance, goal.near), low_distance])
        hops = MARGIN - starting_margin(self.law, rows, places, parts.tank_q, parts.branch_q)
        hops = np.maximum(hops, -MOST_MARGIN)  # infinite where there is no other mode
        broken = PER_METRE * np.array(short), PER_UNIT * np.array(outside), PER_MARGIN * hops
        return rows, even, np.vstack([*broken, near_resonance])

    def wander(self, even: Evenness) -> Floats:
        """Cents that a carrier (n,) costs by its drift: UNHEARD at the upper end of the band, in proportion."""
        return np.asarray(UNHEARD * even.carrier / self.parts.highest_carrier)

    def best(self, seed: int, draws: int | None = None) -> Solution | None:
        """The straightest field found, or None where no circuit keeps to the goal. draws: in place of the effort's."""
        effort = self.effort
        low, high = np.array(self.bounds()).T
        found = scattered(low, high, draws or effort.draws, np.random.default_rng(seed))
        found = _least(found, self.cost(found), effort.starts)
        for room in ROOMS:
            found, _ = descend(partial(self.residuals, room), found, low, high, effort.steps)
        found = _least(found, self.cost(found), effort.finalists)
        found = np.column_stack([found, *(self._settled(start, low, high) for start in found.T)])
        row = self.values(_least(found, self.cost(found), 1))
        if float(self.cost_of(*row)[2][0]) > 0.5:  # cents: a search rests against a border with a little penalty
            return None
        return Solution(self.place, *(float(value[0]) for value in row))

    def _settled(self, start: Floats, low: Floats, high: Floats) -> Floats:
        """The lowest place within every bound that scipy's SLSQP reaches from unknowns `start` (d,)."""
        from scipy import optimize

        settling = _Settling(self, low, high)
        found = optimize.minimize(
            settling.merit,
            start,
            jac=settling.slope,
            method="SLSQP",
            bounds=list(zip(low, high, strict=True)),
            constraints={"type": "ineq", "fun": settling.room, "jac": settling.slope_of_room},
            options={"maxiter": self.effort.settling, "ftol": 1e-4 / UNIT},
        )
        return np.asarray(np.clip(found.x, low, high))

    def near(self, at: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
        """Cents and the breaches of bounds at unknowns `at` (d,), then their derivatives: (d + 1,), (d + 1, k)."""
        step = np.where(at + DIFFERENCE * (high - low) > high, -1.0, 1.0) * DIFFERENCE * (high - low)
        rows, even, breaches = self._judged(*self.values(at[:, None] + np.column_stack([0.0 * at, np.diag(step)])))
        merit = self.straightness(rows, even) + self.wander(even)
        table = np.nan_to_num(np.column_stack([merit, breaches.T]), nan=NO_FIELD)
        table[1:] = (table[1:] - table[0]) / step[:, None]
        return table[:, 0], table[:, 1:]


class _Settling:
    """Cents, bounds and their derivatives as SLSQP asks for them, one after the other at the same place."""

    def __init__(self, search: Search, low: Floats, high: Floats) -> None:
        self._table = cache(lambda place: search.near(np.frombuffer(place), low, high))

    def merit(self, at: Floats) -> float:
        """In units of UNIT."""
        return float(self._table(at.tobytes())[0][0]) / UNIT

    def slope(self, at: Floats) -> Floats:
        """Its derivatives (d,)."""
        return np.asarray(self._table(at.tobytes())[0][1:] / UNIT)

    def room(self, at: Floats) -> Floats:
        """What is left to each bound (k,), in units of UNIT."""
        return np.asarray(-self._table(at.tobytes())[1][0] / UNIT)

    def slope_of_room(self, at: Floats) -> Floats:
        """Its derivatives (k, d)."""
        return np.asarray(-self._table(at.tobytes())[1][1:].T / UNIT)


def scattered(low: Floats, high: Floats, count: int, rng: np.random.Generator) -> Floats:
    """Unknowns (d, count) scattered within bounds (d,): in each of `count` equal parts of every unknown lies one (a
    Latin hypercube: M. D. McKay, R. J. Beckman, W. J. Conover, Technometrics 21 (1979) 239; from memory).
    """
    parts = np.array([rng.permutation(count) for _ in low]) + rng.uniform(size=(len(low), count))
    return np.asarray(low[:, None] + (high - low)[:, None] * parts / count)


def _least(unknowns: Floats, costs: Floats, count: int) -> Floats:
    """Of unknowns (d, n) the `count` columns of least cost."""
    return np.asarray(unknowns[:, np.argsort(costs, kind="stable")[:count]])


def with_ideal_coils(parts: FieldParts) -> FieldParts:
    """The same without self-capacitance and tap stray, of any inductance."""
    return replace(
        parts, choke_self_capacitance=0.0, joint_stray=0.0, tank_inductances=INDUCTANCES, choke_inductances=None
    )
