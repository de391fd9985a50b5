"""The adjoint against differences of solved circuits: every derivative of the frequency by both, agreement and time.

A difference takes two circuits solved from their neighbour, the value a ten-thousandth off either way; the adjoint one
solve for all of them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from models.arrays import Floats
from models.circuit.adjoint import oscillator_adjoint
from models.circuit.oscillator import steady_state
from models.circuit.part_values import part_values, with_part_value
from models.circuit.steady_state import SteadyState
from models.quick_dataclass import dataclass
from synth.comparisons.benchmark_report import BenchmarkGoal, Cell, Column, Comparison, side_by_side
from synth.comparisons.oscillator import CIRCUITS

STEP = 1e-4
QUICK_CASES = ("normal",)
CASES = ("normal", "light drive", "heavy drive", "supply-limited", "antenna branch")
FASTER, MOST_OFF = 5.0, 1e-4
COLUMNS = (
    Column("case", "circuit"),
    Column("values", "values", shown=".0f"),
    Column("adjoint", "adjoint, ms", "s", 1e3, ".1f"),
    Column("differences", "differences, ms", "s", 1e3, ".0f"),
    Column("ratio", "times faster", shown=".0f"),
    Column("off", "differ by, of the largest", shown=".1g"),
)


@dataclass(frozen=True, slots=True)
class Derivatives:
    """How many derivatives, the time for all of them by either way, s, and by how much of the largest they differ."""

    values: int
    adjoint: float
    differences: float
    off: float


def by_adjoint(state: SteadyState) -> Floats:
    """Relative change of frequency per relative change of each value that is not 0, in their order."""
    slopes, values = oscillator_adjoint(state).frequency_sensitivities(), part_values(state.circuit)
    return np.array([slopes[name] * value / state.frequency for name, value in values.items() if value != 0.0])


def by_differences(state: SteadyState) -> Floats:
    """The same from two solved circuits each."""

    def solved(name: str, value: float) -> float:
        return steady_state(with_part_value(state.circuit, name, value), warm_start=state).frequency

    found = []
    for name, value in part_values(state.circuit).items():
        if value != 0.0:
            above, below = (solved(name, value * (1.0 + sign * STEP)) for sign in (1.0, -1.0))
            found.append((above - below) / (2.0 * STEP * state.frequency))
    return np.array(found)


def compare(state: SteadyState, rounds: int = 3) -> Derivatives:
    """All derivatives of one solved circuit both ways."""
    one, other = by_adjoint(state), by_differences(state)
    times = side_by_side({"adjoint": lambda: by_adjoint(state), "differences": lambda: by_differences(state)}, rounds)
    off = float(np.abs(one - other).max() / np.abs(other).max())
    return Derivatives(one.size, times["adjoint"], times["differences"], off)


def adjoint_section(
    quick: bool, cases: Sequence[str] = (), each: Callable[[str], None] = lambda text: None
) -> Comparison:
    """The comparison over `cases` of the oscillators' (default: one if quick, else CASES)."""
    rows: list[tuple[Cell, ...]] = []
    found = []
    for name in cases or (QUICK_CASES if quick else CASES):
        each(f"adjoint: {name}")
        one = compare(steady_state(CIRCUITS[name]), 1 if quick else 3)
        found.append(one)
        ratio = one.differences / one.adjoint
        rows.append((name, one.values, one.adjoint, one.differences, ratio, one.off))
    ratios = [one.differences / one.adjoint for one in found]
    goals = (
        BenchmarkGoal("every circuit", "times faster", min(ratios), FASTER),
        BenchmarkGoal(
            "every circuit", "differ by, of the largest", max(one.off for one in found), MOST_OFF, at_least=False
        ),
    )
    notes = ("both from the solved circuit; the differences start from it as well",)
    title = "Every derivative by the adjoint against differences of solutions"
    return Comparison("adjoint", title, COLUMNS, tuple(rows), goals, notes)
