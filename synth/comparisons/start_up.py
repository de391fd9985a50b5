"""The envelope of a start-up against the integration in time of the same circuit, both from switching on.

The integration goes on until the envelope has found its steady state. Compared are the time at which the tank swings by
90 % of that state, and the envelope all along the way.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.interpolate import PchipInterpolator

from models.circuit.common_base import OscillatorCircuit
from models.circuit.start_up import REACHED, StartUp, start_up
from models.circuit.transient import POINTS_PER_CYCLE, cycle_swings, simulate
from models.quick_dataclass import dataclass
from synth.comparisons.benchmark_report import BenchmarkGoal, Cell, Column, Comparison, timed
from synth.comparisons.oscillator import CIRCUITS

QUICK_CASES = ("100 kHz",)
CASES = ("normal", "light drive", "heavy load", "100 kHz")
MOST_PERCENT, MOST_SWING_PERCENT, FASTER = 1.0, 6.0, 3.0
COLUMNS = (
    Column("case", "circuit"),
    Column("started", "90 % after, ms", "s", 1e3, ".4f"),
    Column("envelope", "envelope, s", "s", 1.0, ".2f"),
    Column("integration", "integration, s", "s", 1.0, ".2f"),
    Column("ratio", "times faster", shown=".1f"),
    Column("time_percent", "its time, %", "%", shown=".3f"),
    Column("swing_percent", "its swing, % of the last", "%", shown=".3f"),
)


@dataclass(frozen=True, slots=True)
class Compared:
    """One start-up by both ways: times, s, and how far the envelope is from the integration, %."""

    started: float
    envelope: float
    integration: float
    time_percent: float
    swing_percent: float

    @property
    def ratio(self) -> float:
        """How many times faster the envelope is."""
        return self.integration / self.envelope


def quickly_biased(name: str) -> OscillatorCircuit:
    """One of CIRCUITS with bias capacitors of 4.7 nF: the swing of switching on is then what grows, not noise."""
    circuit = CIRCUITS[name]
    return replace(circuit, bias=replace(circuit.bias, wiper_capacitor=4.7e-9, base_capacitor=4.7e-9))


def compare(circuit: OscillatorCircuit) -> Compared:
    """Start one circuit both ways. Raises ValueError where it does not settle."""
    found, quick = timed(lambda: start_up(circuit))
    if found.state is None or found.started is None:
        raise ValueError("start-up: the circuit does not settle")
    frequency, end = found.state.frequency, float(found.times[-1])
    record, slow = timed(lambda: simulate(circuit, end, frequency=frequency, relative_tolerance=1e-7))
    swings = cycle_swings(record, "tank")
    middles = record.times[: swings.size * POINTS_PER_CYCLE : POINTS_PER_CYCLE] + 0.5 / frequency
    started, differs = _against(found, middles, swings)
    return Compared(found.started, quick, slow, 100.0 * (found.started / started - 1.0), 100.0 * differs)


def _against(found: StartUp, middles: np.ndarray, swings: np.ndarray) -> tuple[float, float]:
    """When the integrated swing reaches its share, and the largest difference of the envelope, of the last swing."""
    assert found.state is not None
    goal, quiet = REACHED * found.state.peak_to_peak("tank"), int(np.argmin(swings))
    place = quiet + int(np.argmax(swings[quiet:] >= goal))
    started = float(np.interp(goal, swings[place - 1 : place + 1], middles[place - 1 : place + 1]))
    inside = (middles > found.times[0]) & (middles < found.times[-1])
    envelope = np.exp(PchipInterpolator(found.times, np.log(found.tank))(middles[inside]))
    return started, float(np.max(np.abs(envelope - swings[inside])) / swings[-1])


def start_up_section(quick: bool, each: Callable[[str], None] = lambda text: None) -> Comparison:
    """The comparison over CASES (the one soonest settled if quick)."""
    rows: list[tuple[Cell, ...]] = []
    found = []
    for name in QUICK_CASES if quick else CASES:
        each(f"start-up: {name}")
        one = compare(quickly_biased(name))
        found.append(one)
        rows.append((name, one.started, one.envelope, one.integration, one.ratio, one.time_percent, one.swing_percent))
    goals = (
        BenchmarkGoal("every circuit", "times faster", min(one.ratio for one in found), FASTER),
        BenchmarkGoal(
            "every circuit", "its time, %", max(abs(one.time_percent) for one in found), MOST_PERCENT, at_least=False
        ),
        BenchmarkGoal(
            "every circuit", "its swing, %", max(one.swing_percent for one in found), MOST_SWING_PERCENT, at_least=False
        ),
    )
    notes = (
        "both from switching on until the envelope has found its steady state; bias capacitors of 4.7 nF",
        "heavy load: the transistor's turning on rings the tank by some 10 uV, beside 20 uV that are left to grow; the "
        "envelope does not tell that, and the whole rise comes a fraction of a growth time late",
    )
    return Comparison(
        "start_up", "The envelope of a start-up against integration in time", COLUMNS, tuple(rows), goals, notes
    )
