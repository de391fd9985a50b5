"""Capacitances by the boundary elements of this project against general finite elements, at equal accuracy.

Bodies of revolution are solved by the finite elements in the half plane, where they need one dimension less; the
boundary elements here always work in space, as a hand needs it. A cube, and a block of a hand's size before a square
bar, are solved in space by both.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from models.constants import VACUUM_PERMITTIVITY
from models.electrostatics import mesh
from models.electrostatics.boundary_elements import capacitance_matrix
from models.quick_dataclass import dataclass
from synth.comparisons import fem_axisymmetric, fem_blocks
from synth.comparisons.benchmark_report import BenchmarkGoal, Cell, Column, Comparison, timed
from synth.comparisons.fem_axisymmetric import NotSolvedError
from synth.comparisons.fem_blocks import Block
from synth.libraries import require

Action = Callable[[], tuple[float, int]]
BOUNDARY, FINITE = "boundary elements", "finite elements"
UNIT = 4.0 * math.pi * VACUUM_PERMITTIVITY  # F/m: a sphere, over its radius
ROD_LENGTH, ROD_RADIUS = 0.45, 0.005
ROD_TRUTH = 10.962681 * UNIT * ROD_RADIUS
"""F; solid cylinder, length 90 radii, computed beside this project by an independent method, to 3e-6."""
CUBE_TRUTH = 0.6606782 * UNIT
"""F, edge 1 m: C.-O. Hwang, M. Mascagni, J. Appl. Phys. 95 (2004) 3798."""
BAR = Block((-0.005, -0.005, 1.0), (0.005, 0.005, 1.45))
HAND_DISTANCE = 0.05
HAND = Block((0.005 + HAND_DISTANCE, -0.045, 1.145), (0.085 + HAND_DISTANCE, 0.045, 1.305))
FAR = 20.0  # m
COLUMNS = (
    Column("case", "case"),
    Column("way", "way"),
    Column("unknowns", "unknowns", shown=".0f"),
    Column("time", "time, ms", "s", 1e3, ".0f"),
    Column("capacitance", "capacitance, pF", "F", 1e12, ".5f"),
    Column("error", "relative error", shown="+.1e"),
)


@dataclass(frozen=True, slots=True)
class Case:
    """One body by both ways; `accuracies`: relative errors at which their times are compared; goal: the least ratio."""

    name: str
    truth: float
    boundary: tuple[Action, ...]
    finite: tuple[Action, ...]
    accuracies: tuple[float, ...]
    goal: float


def sphere_over_plane(height: float) -> float:
    """C, F, of a sphere of radius 1 m, middle `height` m above the earthed plane (Maxwell's images; from memory)."""
    beta, n = math.acosh(height), np.arange(1, 3000)
    return float(UNIT * (math.sinh(beta) / np.sinh(n[n * beta < 200.0] * beta)).sum())


def rod_case(quick: bool) -> Case:
    """The default antenna in free space."""
    panels = (200, 400, 800) if quick else (200, 400, 800, 1600, 2400)
    grids = ((0.25, 2.0), (0.1, 1.6), (0.06, 1.5)) if quick else ((0.25, 2.0), (0.1, 1.6), (0.03, 1.4), (0.01, 1.3))
    return Case(
        "rod, free space",
        ROD_TRUTH,
        tuple(_by_panels(partial(mesh.rod, ROD_LENGTH, 2.0 * ROD_RADIUS, panels=n)) for n in panels),
        tuple(_by_elements(partial(fem_axisymmetric.rod, ROD_LENGTH, ROD_RADIUS, *grid)) for grid in grids),
        (1e-3,) if quick else (1e-3, 2e-4),
        1.0,
    )


def sphere_case(height: float, quick: bool) -> Case:
    """A sphere before the earthed plane: what an approaching hand does, in closed form.

    Both meshes crowd towards the gap.
    """
    panels = (200, 400) if quick else (200, 400, 800, 1600)
    return Case(
        f"sphere, gap {height - 1.0:.2g} radii",
        sphere_over_plane(height),
        tuple(
            _by_panels(partial(mesh.sphere, (0.0, 0.0, height), panels=n, facing=mesh.ORIGIN), plane=True)
            for n in panels
        ),
        tuple(
            _by_elements(partial(fem_axisymmetric.sphere_over_plane, height, n, n))
            for n in ((8, 12, 16) if quick else (8, 12, 16, 24, 32))
        ),
        (1e-3,) if quick else (1e-3, 2e-4),
        1.0,
    )


def cube_case(quick: bool) -> Case:
    """The unit cube in space; the finite elements solve an eighth of it."""
    cube = Block((-0.5, -0.5, -0.5), (0.5, 0.5, 0.5))
    grids = ((0.12, 1.8),) if quick else ((0.12, 1.8), (0.06, 1.6), (0.04, 1.5))
    everywhere = (True, True, True)
    return Case(
        "cube, in space",
        CUBE_TRUTH,
        tuple(_by_panels(partial(mesh.box, (1.0, 1.0, 1.0), panels=n)) for n in (100, 200, 400)),
        tuple(_by_elements(partial(fem_blocks.capacitance, [cube], *grid, FAR, everywhere)) for grid in grids),
        (4e-3,) if quick else (4e-3, 2e-3),
        10.0,
    )


def hand_case() -> Case:
    """What an earthed block of a hand's size adds to a square bar over the earthed plane, both solved without it too.

    No closed form: the truth is the finest solution by boundary elements, which is no step of the comparison.
    """
    grids = ((0.5, 5.0), (0.5, 3.0))
    return Case(
        f"hand-sized block at {100 * HAND_DISTANCE:g} cm, added",
        added_by_panels(4.0)[0],
        tuple(partial(added_by_panels, fineness) for fineness in (0.5, 1.0, 2.0)),
        tuple(partial(added_by_elements, *grid) for grid in grids),
        (1e-2,),
        10.0,
    )


def added_by_panels(fineness: float) -> tuple[float, int]:
    """Capacitance, F, that the hand adds, and panels, by boundary elements."""
    bar = mesh.box(BAR.size, BAR.center, panels=round(400 * fineness))
    hand = mesh.box(HAND.size, HAND.center, panels=round(300 * fineness))
    both, alone = capacitance_matrix([bar, hand], True)[0, 0], capacitance_matrix([bar], True)[0, 0]
    return float(both - alone), len(bar) + len(hand)


def added_by_elements(first: float, growth: float) -> tuple[float, int]:
    """The same by finite elements in space, half of it by symmetry (a quarter without the hand)."""
    both = fem_blocks.capacitance([BAR, HAND], first, growth, FAR, (False, True, False), True)
    alone = fem_blocks.capacitance([BAR], first, growth, FAR, (True, True, False), True)
    return both.capacitance - alone.capacitance, both.unknowns


def _by_panels(make: Callable[[], np.ndarray], plane: bool = False) -> Action:
    def action() -> tuple[float, int]:
        triangles = make()
        return float(capacitance_matrix([triangles], plane)[0, 0]), len(triangles)

    return action


def _by_elements(solve: Callable[[], fem_axisymmetric.Found]) -> Action:
    def action() -> tuple[float, int]:
        found = solve()
        return found.capacitance, found.unknowns

    return action


def field_section(quick: bool, each: Callable[[str], None] = lambda text: None) -> Comparison:
    """Both ways on every case: time and error at several resolutions, ratio at equal accuracy.

    A case whose finite elements cannot be solved is skipped, and a note says why.
    """
    require("skfem", fem_axisymmetric.PURPOSE)
    makers: list[Callable[[], Case]] = [partial(rod_case, quick), partial(sphere_case, 1.5, quick)]
    makers += [partial(cube_case, quick)] if quick else [partial(sphere_case, 1.05, quick), partial(cube_case, quick)]
    makers += [] if quick else [hand_case]
    rows: list[tuple[Cell, ...]] = []
    goals: list[BenchmarkGoal] = []
    notes = [
        "goals: times faster than finite elements at equal accuracy, each by its cheapest step that is within it",
        "rod and spheres: the finite elements use the axial symmetry (two dimensions), the boundary elements do not; "
        "that is no way to a hand beside a rod",
        "in space the finite elements are quadratic tetrahedra on a graded grid, by conjugate gradients",
    ]
    for make in makers:
        case = make()
        each(f"field: {case.name}")
        try:
            steps = climb({BOUNDARY: case.boundary, FINITE: case.finite}, case.truth)
        except NotSolvedError as error:
            notes.append(f"{case.name}: skipped, without goals: {error}")
            continue
        rows += [(case.name, step.way, step.unknowns, step.seconds, step.value, step.error) for step in steps]
        for accuracy in case.accuracies:
            goal, note = judged(case, steps, accuracy)
            goals.append(goal)
            notes += note
    if quick:
        notes.append("the hand-sized block in space is in the full run only")
    else:
        notes.append("hand-sized block: truth is the finest solution by boundary elements, beyond the steps shown")
    return Comparison(
        "field",
        "Capacitance by boundary elements against finite elements (scikit-fem)",
        COLUMNS,
        tuple(rows),
        tuple(goals),
        tuple(notes),
    )


def judged(case: Case, steps: tuple[Step, ...], accuracy: float) -> tuple[BenchmarkGoal, list[str]]:
    """The ratio at one accuracy; where only the finite elements fall short of it, a bound with a note."""
    own, other = cost_at(steps, BOUNDARY, accuracy), cost_at(steps, FINITE, accuracy)
    goal = BenchmarkGoal(case.name, f"times faster at {accuracy:g}", None, case.goal)
    if own is None:
        return goal, [f"{case.name}: no step of the boundary elements is within {accuracy:g}"]
    if other is not None:
        return replace(goal, value=other.seconds / own.seconds), []
    longest = max(step.seconds for step in steps if step.way == FINITE)
    note = f"{case.name}: no step of the finite elements is within {accuracy:g}; the ratio is to the longest of them"
    return replace(goal, value=longest / own.seconds), [note]


BEST_OF = 3
LONG = 1.0  # s: what takes longer than this is done once


@dataclass(frozen=True, slots=True)
class Step:
    """One resolution of one way: unknowns, seconds of processor time, relative error (signed)."""

    way: str
    unknowns: int
    seconds: float
    value: float
    error: float


def climb(
    ways: Mapping[str, Sequence[Callable[[], tuple[float, int]]]], truth: float, rounds: int = BEST_OF
) -> tuple[Step, ...]:
    """Every step of every way, the ways in turn; an action returns (value, unknowns). Best time of `rounds`."""
    found: dict[tuple[str, int], Step] = {}
    for _ in range(rounds):
        for place in range(max(len(actions) for actions in ways.values())):
            for way, actions in ways.items():
                before = found.get((way, place))
                if place >= len(actions) or (before is not None and before.seconds > LONG):
                    continue
                (value, unknowns), seconds = timed(actions[place])
                best = seconds if before is None else min(before.seconds, seconds)
                found[way, place] = Step(way, unknowns, best, value, value / truth - 1.0)
    return tuple(found[key] for key in sorted(found, key=lambda key: (list(ways).index(key[0]), key[1])))


def cost_at(steps: Sequence[Step], way: str, accuracy: float) -> Step | None:
    """The cheapest step of a way from which on all its finer ones are within `accuracy`; None if there is none."""
    own = [step for step in steps if step.way == way]
    good = [step for place, step in enumerate(own) if all(abs(finer.error) <= accuracy for finer in own[place:])]
    return min(good, key=lambda step: step.seconds, default=None)
