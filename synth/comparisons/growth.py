"""Cost against size: seconds of processor time at several sizes, and the exponent of the power law through them."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from models.builds.tolerance import monte_carlo
from models.electrostatics import mesh
from models.electrostatics.boundary_elements import capacitance_matrix
from models.quick_dataclass import dataclass
from synth.analysis.compare_figures import compare_figures
from synth.analysis.tolerance import trial_of
from synth.build.workbench import open_loaded
from synth.comparisons.benchmark_report import BenchmarkGoal, Cell, Column, Comparison, timed
from synth.comparisons.radio_rate import RATE, example_instrument, moving_hand
from synth.designs.template import template_design
from synth.sound.voice import Voice

BEST_OF = 3
LOWEST_NOTE, HIGHEST_NOTE = 130.8, 523.3  # Hz, that designs are judged over
COLUMNS = (
    Column("work", "work"),
    Column("of", "size"),
    Column("smallest", "from", shown=".0f"),
    Column("largest", "to", shown=".0f"),
    Column("shortest", "time, ms", "s", 1e3, ".2f"),
    Column("longest", "to, ms", "s", 1e3, ".1f"),
    Column("exponent", "exponent", shown=".2f"),
    Column("exponent_low", "95 %: from", shown=".2f"),
    Column("exponent_high", "to", shown=".2f"),
)


@dataclass(frozen=True, slots=True)
class PowerLaw:
    """time = factor x size^exponent, by least squares in the logarithms, with the 95 % interval of the exponent."""

    exponent: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Work:
    """Something done at several sizes. `make(size)` prepares and returns what is timed; goal: the highest exponent."""

    name: str
    of: str
    sizes: tuple[int, ...]
    make: Callable[[int], tuple[int, Callable[[], object]]]
    goal: float


def power_law(sizes: Sequence[float], seconds: Sequence[float]) -> PowerLaw:
    """Exponent through at least three points; Student's t for the interval."""
    from scipy.special import stdtrit
    from scipy.stats import linregress

    if len(sizes) != len(seconds) or len(sizes) < 3:
        raise ValueError(f"sizes and seconds must be of one length >= 3; got {len(sizes)} and {len(seconds)}")
    fit = linregress(np.log(sizes), np.log(seconds))
    slope, reach = float(fit.slope), float(stdtrit(len(sizes) - 2, 0.975) * fit.stderr)
    return PowerLaw(slope, slope - reach, slope + reach)


def works(quick: bool) -> tuple[Work, ...]:
    """What is timed against size."""
    return (
        Work("voice", "frames", (1 << 12, 1 << 13, 1 << 14, 1 << 15, 1 << 16), _voice, 1.1),
        Work(
            "capacitance matrix", "panels", (200, 400, 600, 800) if quick else (200, 400, 800, 1600, 2400), _panels, 3.0
        ),
        Work(
            "random builds",
            "builds",
            (2000, 5000, 10_000, 20_000) if quick else (2000, 10_000, 50_000, 200_000),
            _builds,
            1.1,
        ),
        Work("comparison of designs", "designs", (1, 2, 4) if quick else (1, 2, 4, 8, 16), _designs, 1.1),
    )


def _voice(frames: int) -> tuple[int, Callable[[], object]]:
    voice, hand = Voice(example_instrument(), RATE), moving_hand(frames / RATE)
    voice.render(hand, hand.size)
    return frames, lambda: voice.render(hand, hand.size)


def _panels(panels: int) -> tuple[int, Callable[[], object]]:
    rod = mesh.rod(0.45, 0.01, panels=panels)
    return len(rod), lambda: capacitance_matrix([rod])


def _builds(builds: int) -> tuple[int, Callable[[], object]]:
    trial = trial_of(open_loaded(template_design()))
    return builds, lambda: monte_carlo(trial, builds, 1)


def _designs(designs: int) -> tuple[int, Callable[[], object]]:
    pieces = [open_loaded(template_design())] * designs
    return designs, lambda: compare_figures(pieces, LOWEST_NOTE, HIGHEST_NOTE)


def growth_section(quick: bool, each: Callable[[str], None] = lambda text: None) -> Comparison:
    """Time every work at every size and fit."""
    rows: list[tuple[Cell, ...]] = []
    goals = []
    for work in works(quick):
        each(f"growth: {work.name}")
        made = [work.make(size) for size in work.sizes]
        for _, action in made[:1]:
            action()  # what is loaded late
        rounds = [[timed(action)[1] for _, action in made] for _ in range(BEST_OF)]
        sizes, seconds = [size for size, _ in made], [min(times) for times in zip(*rounds, strict=True)]
        law = power_law(sizes, seconds)
        rows.append((work.name, work.of, sizes[0], sizes[-1], seconds[0], seconds[-1], law.exponent, law.low, law.high))
        goals.append(BenchmarkGoal(work.name, "exponent", law.exponent, work.goal, at_least=False))
    notes = (
        f"best of {BEST_OF} at each size; exponent by least squares in the logarithms with Student's 95 % interval; "
        "what every call costs whatever its size keeps it low",
        "panels: their couplings grow with the square, the solution with the cube",
    )
    return Comparison("growth", "Cost against size", COLUMNS, tuple(rows), tuple(goals), notes)
