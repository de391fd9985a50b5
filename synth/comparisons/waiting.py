"""How long a person waits for a command: a fresh program each time, beside the loading of whole libraries alone.

These are what a command would load that took its cubics, roots and linear algebra from scipy.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Callable
from functools import partial
from statistics import median
from time import perf_counter

from models.hand.hand_field import hand_field
from models.hand.scene import Scene
from synth.comparisons.benchmark_report import BenchmarkGoal, Cell, Column, Comparison

WAITED_FOR = {
    "oscillator willow --plot plot.png": 1.5,
    "sheet willow -o sheet.html": 1.0,
    "tolerance willow --builds 10000": 1.0,
    "choose willow --target-frequency 260kHz": 3.0,
    "field meadow": 1.0,
}
"""Commands of a design that is solved as circuits, its hand field known, and the seconds that each may take."""
FIRST_FIELD, LONGEST_FIELD = "a hand field without a ring, solved", 3.0
LIBRARIES = "import numpy, scipy.interpolate, scipy.optimize, matplotlib.figure, matplotlib.backends.backend_agg"
ROUNDS = 5
COLUMNS = (
    Column("what", "waited for"),
    Column("waited", "time, s", "s", 1.0, ".2f"),
    Column("libraries", "whole libraries alone, s", "s", 1.0, ".2f"),
    Column("ratio", "ratio", shown=".1f"),
)


def waited(action: Callable[[], object], rounds: int) -> float:
    """Wall time of `action`, s: the middle one of some runs."""
    times = []
    for _ in range(rounds):
        start = perf_counter()
        action()
        times.append(perf_counter() - start)
    return median(times)


def waiting_section(quick: bool, each: Callable[[str], None] = lambda text: None) -> Comparison:
    """The comparison over WAITED_FOR (one run each if quick), and a hand field."""
    rounds = 1 if quick else ROUNDS
    rows: list[tuple[Cell, ...]] = []
    goals = []
    with tempfile.TemporaryDirectory() as folder:

        def program(*words: str) -> None:
            subprocess.run([sys.executable, *words], cwd=folder, capture_output=True, check=True)

        libraries = waited(lambda: program("-c", LIBRARIES), rounds)
        for command, most in WAITED_FOR.items():
            each(f"waiting: {command}")
            words = ("-m", "synth", *command.split(), *(("--force",) if "." in command else ()))
            program(*words)  # what it keeps of the hand field is there from now on
            time = waited(partial(program, *words), rounds)
            rows.append((command, time, libraries, time / libraries))
            goals.append(BenchmarkGoal(command, "time, s", time, most, at_least=False))
    each(f"waiting: {FIRST_FIELD}")
    solved = waited(lambda: hand_field(Scene()), rounds)
    rows.append((FIRST_FIELD, solved, None, None))
    goals.append(BenchmarkGoal(FIRST_FIELD, "time, s", solved, LONGEST_FIELD, at_least=False))
    notes = ("what passes by the clock, for whoever waits: it takes longer where others use the processors",)
    return Comparison("waiting", "Commands as a person waits for them", COLUMNS, tuple(rows), tuple(goals), notes)
