"""Harmonic balance against the integration in time of the same circuits: agreement and speed.

Both start from the parts alone: harmonic balance without a neighbouring solution, the integration from switch-on until
the slowest disturbance has died down (eight of its time constants) and the tail has been read.

The circuits are our own, light to heavy. Their decouplings are 22 nF instead of 100 nF so that the bias settles within
some hundred cycles after switch-on.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from statistics import median

from models.circuit.bias import Bias
from models.circuit.common_base import AntennaLoad, Load, OscillatorCircuit
from models.circuit.oscillator import steady_state
from models.circuit.transient import measure, run_length, simulate
from models.quick_dataclass import dataclass
from synth.comparisons.benchmark_report import BenchmarkGoal, Cell, Column, Comparison, timed

SMALL = Bias(wiper_capacitor=22e-9, base_capacitor=22e-9)
NORMAL = OscillatorCircuit(bias=SMALL)
HARD = replace(NORMAL, feedback_capacitor=470e-12, emitter_capacitor=4.7e-9, fixed_capacitor=47e-12)

CIRCUITS: dict[str, OscillatorCircuit] = {
    "normal": NORMAL,
    "light drive": replace(NORMAL, bias=replace(SMALL, emitter_resistor=220e3)),
    "heavy drive": replace(HARD, inductor_q=30.0, bias=replace(SMALL, emitter_resistor=18e3)),
    "supply-limited": replace(
        HARD, bias=replace(SMALL, emitter_resistor=22e3, upper_resistor=22e3, lower_resistor=22e3)
    ),
    "low Q": replace(NORMAL, inductor_q=12.0),
    "heavy load": replace(NORMAL, output_resistor=15e3, load=Load(8.2e3, 100e-12)),
    "pot at 0": NORMAL.with_pot(0.0),
    "pot at 1": NORMAL.with_pot(1.0),
    "100 kHz": replace(NORMAL, inductance=2.2e-3, inductor_q_frequency=100e3, fixed_capacitor=910e-12),
    "500 kHz": replace(
        NORMAL,
        inductance=220e-6,
        inductor_q_frequency=500e3,
        fixed_capacitor=200e-12,
        bias=replace(SMALL, emitter_resistor=33e3),
    ),
    "antenna branch": replace(
        NORMAL, fixed_capacitor=100e-12, antenna=AntennaLoad(12e-12, 40e-3, 1000.0, 2e-12), load=None
    ),
}


QUICK_CASES = ("100 kHz",)
MOST_PPM, MOST_PERCENT, FASTER = 20.0, 1.0, 50.0
COLUMNS = (
    Column("case", "circuit"),
    Column("frequency", "frequency", "Hz", 1e-3, ".3f"),
    Column("balance", "harmonic balance, ms", "s", 1e3, ".1f"),
    Column("warm", "from a neighbour, ms", "s", 1e3, ".1f"),
    Column("integration", "integration, s", "s", 1.0, ".2f"),
    Column("ratio", "times faster", shown=".0f"),
    Column("frequency_ppm", "frequency, ppm", "ppm", shown=".3f"),
    Column("amplitude_percent", "amplitude, %", "%", shown=".4f"),
)


@dataclass(frozen=True, slots=True)
class Compared:
    """One circuit by both ways: times, s, and how far harmonic balance is from the integration."""

    frequency: float
    balance: float
    warm: float
    integration: float
    ppm: float
    percent: float

    @property
    def ratio(self) -> float:
        """How many times faster harmonic balance is."""
        return self.integration / self.balance


def compare(circuit: OscillatorCircuit, rounds: int = 5) -> Compared:
    """Solve one circuit both ways."""
    balanced = steady_state(circuit)  # first call of everything
    quick = median(timed(lambda: steady_state(circuit))[1] for _ in range(rounds))
    nearby = replace(circuit, board_stray=circuit.board_stray + 0.1e-12)
    warm = median(timed(lambda: steady_state(nearby, warm_start=balanced))[1] for _ in range(rounds))
    duration = run_length(balanced)
    read, slow = timed(lambda: measure(simulate(circuit, duration, frequency=balanced.frequency)))
    return Compared(
        balanced.frequency,
        quick,
        warm,
        slow,
        (balanced.frequency / read.frequency - 1.0) * 1e6,
        (balanced.tank_amplitude / read.amplitude - 1.0) * 100.0,
    )


def oscillator_section(
    quick: bool, cases: Sequence[str] = (), each: Callable[[str], None] = lambda text: None
) -> Comparison:
    """The comparison over `cases` of CIRCUITS (default: the one soonest settled if quick, else all)."""
    rows: list[tuple[Cell, ...]] = []
    found = []
    for name in cases or (QUICK_CASES if quick else tuple(CIRCUITS)):
        each(f"oscillator: {name}")
        one = compare(CIRCUITS[name])
        found.append(one)
        rows.append((name, one.frequency, one.balance, one.warm, one.integration, one.ratio, one.ppm, one.percent))
    goals = (
        BenchmarkGoal("every circuit", "times faster", min(one.ratio for one in found), FASTER),
        BenchmarkGoal("every circuit", "frequency, ppm", max(abs(one.ppm) for one in found), MOST_PPM, at_least=False),
        BenchmarkGoal(
            "every circuit", "amplitude, %", max(abs(one.percent) for one in found), MOST_PERCENT, at_least=False
        ),
    )
    notes = ("both from the parts alone; the integration runs from switch-on until it has settled",)
    return Comparison(
        "oscillator", "Harmonic balance against integration in time (kHz)", COLUMNS, tuple(rows), goals, notes
    )
