"""Builds of a solved design by the adjoint, all at once, against the same builds solved one by one."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from models.arrays import Floats
from models.builds.tolerance import Trial, build_values, monte_carlo
from models.circuit.drawing import Drawable
from models.circuit.oscillator import steady_state
from models.circuit.part_values import part_values, with_part_value
from models.circuit.steady_state import SteadyState
from models.quick_dataclass import dataclass
from synth.analysis.circuit_builds import OF_RESONANCE, SHARED
from synth.analysis.tolerance import trial_of
from synth.build.workbench import OpenedDesign, open_design
from synth.comparisons.benchmark_report import BenchmarkGoal, Cell, Column, Comparison, timed

DESIGN = "willow"
BUILDS, QUICK_BUILDS, AT_ONCE, SEED = 50, 5, 10_000, 3
FASTER, MOST_PERCENT, MOST_SHIFT_PERCENT, MOST_SECONDS = 100.0, 0.2, 1.0, 1.0
WORDS = {
    "reference": "reference",
    "variable": "variable, zero beat",
    "shift": "zero beat to nearest hand",
    "tuned": "reference as tuned",
}
COLUMNS = (
    Column("what", "frequency of"),
    Column("builds", "builds", shown=".0f"),
    Column("rms", "off, Hz RMS", "Hz", shown=".3f"),
    Column("worst", "worst, Hz", "Hz", shown=".2f"),
    Column("percent", "RMS, % of the spread", "%", shown=".3f"),
)


@dataclass(frozen=True, slots=True, eq=False)
class SolvedBuilds:
    """Builds solved one by one, Hz (n,); NaN where one does not oscillate.

    reference: as set in the nominal design; variable, nearest: with the hand at zero beat and at the nearest playing
    distance; tuned: the reference with its trimmer where the law of builds brings it to zero beat (NaN out of reach).
    """

    reference: Floats
    variable: Floats
    nearest: Floats
    tuned: Floats


def factors_of(trial: Trial, row: Floats) -> dict[str, float]:
    """By how much every part of one build is off: its value over the nominal one."""
    nominal = [part.nominal for part in trial.parts]
    return {
        name: value / usual if usual else 1.0
        for name, value, usual in zip(trial.law.quantities, row.tolist(), nominal, strict=True)
    }


def built(circuit: Drawable, which: str, factor: Mapping[str, float], stray: float) -> Drawable:
    """`circuit` with the values of one build; `stray`, F, is the antenna's as the whole coil sees it."""
    values = part_values(circuit)
    by = {name: factor[f"{which}_{kind}"] for kind, names in OF_RESONANCE.items() for name in names}
    by |= {name: factor[f"{which}_trimmer"] for name in values if name.startswith("trimmers.") and "mum" in name}
    by |= {"antenna.inductance": factor["branch_inductance"]}
    by |= {"antenna.self_capacitance": factor["branch_self_capacitance"]}
    by |= {name.partition(".")[2]: each for name, each in factor.items() if name.startswith(f"{which}.")}
    by |= {name: factor[name] for name in SHARED}  # the temperature last: it acts on the transistor as it is built
    for name, each in by.items():
        if each != 1.0 and name in values:
            circuit = with_part_value(circuit, name, values[name] * each)
    if "antenna.capacitance" in values:
        more = stray * (factor["antenna_stray"] - 1.0)
        circuit = with_part_value(circuit, "antenna.capacitance", values["antenna.capacitance"] + more)
    return circuit


def solved_builds(opened: OpenedDesign, trial: Trial, rows: Floats) -> SolvedBuilds:
    """The builds `rows` (n, columns), solved one by one from the nominal design."""
    instrument, law = opened.instrument, trial.law
    stray = instrument.antenna_stray * instrument.tap_ratio**2
    hands = [float(instrument.antenna_capacitance(place)) for place in (law.zero_beat, law.nearest)]
    bases = [opened.loaded_variable(hand) for hand in hands]
    assert opened.adjoints is not None
    reference, variable = (adjoint.state for adjoint in opened.adjoints)
    found = np.full((len(rows), 4), np.nan)
    settings = law.outcomes(rows).trimmer_setting
    for place, row in enumerate(rows):
        factor = factors_of(trial, row)
        own = built(reference.circuit, "reference", factor, 0.0)
        found[place, 0] = _frequency(own, reference)
        for column, base in enumerate(bases, 1):
            found[place, column] = _frequency(built(base, "variable", factor, stray), variable)
        if 0.0 <= settings[place] <= 1.0:
            found[place, 3] = _frequency(own.with_trimmer(float(settings[place])), reference)
    return SolvedBuilds(*found.T)


@dataclass(frozen=True, slots=True)
class Agreement:
    """How far builds are off those solved: of how many, RMS and worst, Hz, and RMS in percent of their own scatter."""

    builds: int
    rms: float
    worst: float
    percent: float


def agreement(trial: Trial, rows: Floats, solved: SolvedBuilds) -> dict[str, Agreement]:
    """The law of builds against `solved`: each oscillator, the shift from zero beat to the nearest hand, and how far
    the reference tuned as the law says is off the variable oscillator.
    """
    law = trial.law
    variable, nearest = law.variable_frequency(rows, law.law.curve.capacitance([law.zero_beat, law.nearest])).T
    reference = law.reference_frequency(rows, law.trimmer_setting)[:, 0]
    pairs = {
        "reference": (reference, solved.reference),
        "variable": (variable, solved.variable),
        "shift": (variable - nearest, solved.variable - solved.nearest),
        "tuned": (solved.variable + 0.0 * solved.tuned, solved.tuned),
    }
    found = {}
    for name, (here, there) in pairs.items():
        known = np.isfinite(here - there)
        off, scatter = (here - there)[known], float(np.std(there[known]))
        rms = float(np.sqrt(np.mean(off**2)))
        found[name] = Agreement(int(known.sum()), rms, float(np.abs(off).max()), 100.0 * rms / scatter)
    return found


def _frequency(circuit: Drawable, near: SteadyState) -> float:
    try:
        return steady_state(circuit, warm_start=near).frequency
    except ValueError:
        return float("nan")


def circuit_builds_section(
    quick: bool, workpiece: OpenedDesign | None = None, each: Callable[[str], None] = lambda text: None
) -> Comparison:
    """The comparison for one design with solved circuits, by default DESIGN."""
    piece = open_design(DESIGN) if workpiece is None else workpiece
    count = QUICK_BUILDS if quick else BUILDS
    each(f"circuit_builds: {count} builds one by one")
    trial, linearised = timed(lambda: trial_of(piece))
    rows = next(build_values(trial, count, SEED, count))
    solved, one_by_one = timed(lambda: solved_builds(piece, trial, rows))
    _, at_once = timed(lambda: monte_carlo(trial, AT_ONCE, SEED))
    found = agreement(trial, rows, solved)
    table: list[tuple[Cell, ...]] = [
        (WORDS[name], one.builds, one.rms, one.worst, one.percent) for name, one in found.items()
    ]
    ratio = (one_by_one / count) / ((linearised + at_once) / AT_ONCE)
    percent = max(one.percent for name, one in found.items() if name != "shift")
    goals = (
        BenchmarkGoal(piece.design.name, "times faster a build", ratio, FASTER),
        BenchmarkGoal(piece.design.name, f"s for {AT_ONCE} builds", linearised + at_once, MOST_SECONDS, at_least=False),
        BenchmarkGoal(piece.design.name, "oscillators, % of their spread", percent, MOST_PERCENT, at_least=False),
        BenchmarkGoal(
            piece.design.name, "shift, % of its spread", found["shift"].percent, MOST_SHIFT_PERCENT, at_least=False
        ),
    )
    notes = (
        f"{AT_ONCE} builds at once with all that is told of each: {1e3 * at_once:.0f} ms after "
        f"{1e3 * linearised:.0f} ms for the derivatives; {count} builds solved one by one, four circuits each: "
        f"{one_by_one:.2f} s",
    )
    title = f"Builds by the adjoint against builds solved one by one ({piece.design.name}, every part off)"
    return Comparison("circuit_builds", title, COLUMNS, tuple(table), goals, notes)
