"""Bench readings of one oscillator as one set of figures; text, JSON and plot are all written from it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from models.circuit.common_base import BASE, COLD, COLLECTOR, EMITTER, WIPER, Load, OscillatorCircuit
from models.circuit.operating_point import operating_point
from models.circuit.oscillator import steady_state
from models.circuit.small_signal import small_signal
from models.circuit.startup_time import REACHED, startup_estimate
from models.circuit.steady_state import SteadyState
from models.circuit.transient import Trace
from synth.analysis.oscillator import Bench
from synth.analysis.start_up import startup_time
from synth.build.circuit_assembly import blaming
from synth.build.start_notices import explained
from synth.designs.design_file import design_hash
from synth.report.stray_words import explanation

SCHEMA = "beatfield.oscillator/1"
OUTPUT = "output"
TEST_POINTS = (
    ("supply", COLD),
    ("wiper", WIPER),
    ("base", BASE),
    ("emitter", EMITTER),
    ("collector", COLLECTOR),
    (OUTPUT, OUTPUT),
)
STOPS = (("low", 0.0), ("mid", 0.5), ("high", 1.0))
PROBE = 10e-12  # F, of a usual probe on the collector
LOWEST_FUNDAMENTAL = 1e-6  # V, below which a THD says nothing
REVERSE_EMITTER_LIMIT = 5.0  # V, common for small-signal parts, from memory
ESTIMATED, SIMULATED = "rough estimate; --trace computes it", "transient"


@dataclass(frozen=True, slots=True)
class TestPoint:
    """One point of the circuit, read while it oscillates; thd is a ratio, None where the point hardly swings."""

    name: str
    dc_v: float
    peak_to_peak_v: float
    frequency_hz: float
    thd: float | None
    startup_s: float | None


@dataclass(frozen=True, slots=True)
class Reading:
    """The oscillator with one thing changed; None and a `remark` where it does not oscillate."""

    name: str
    setting: float | None
    frequency_hz: float | None
    shift_hz: float | None
    collector_pp_v: float | None
    output_pp_v: float | None
    remark: str


@dataclass(frozen=True, slots=True)
class OscillatorReport:
    """Every figure of the report, SI units in the names; None where there is no such thing."""

    design: str
    design_hash: str
    which: str
    frequency_hz: float
    pot: float
    trimmer: float | None
    antenna_f: float | None
    hand_distance_m: float | None
    load_ohm: float | None
    load_f: float | None
    supply_v: float
    supply_current_a: float
    supply_power_w: float
    collector_current_at_rest_a: float
    growth_rate_per_s: float
    loop_gain_margin_db: float
    startup_s: float | None
    startup_by: str
    settling_s: float
    probe_shift_hz: float | None
    stray_f: float
    board: str | None
    stray_explanation: str | None
    test_points: tuple[TestPoint, ...]
    pot_readings: tuple[Reading, ...]
    trimmer_readings: tuple[Reading, ...]
    load_readings: tuple[Reading, ...]
    notices: tuple[str, ...]

    def document(self) -> dict[str, Any]:
        """The report as JSON-ready values."""
        return {"schema": SCHEMA, **asdict(self)}


def steady(bench: Bench) -> SteadyState:
    """The steady oscillation on the bench; DesignError names the oscillator and why there is none."""
    with blaming(bench.design, bench.which):
        return steady_state(bench.circuit)


def oscillator_report(bench: Bench, state: SteadyState, trace: Trace | None = None) -> OscillatorReport:
    """Collect the readings of `bench`, whose steady state is `state`; start-up from `trace` where there is one."""
    circuit, design = bench.circuit, bench.design
    signal, load, antenna = small_signal(circuit), circuit.load, circuit.antenna
    board = None if design.circuit is None else design.circuit.board
    probed = _read("", None, replace(circuit, board_stray=circuit.board_stray + PROBE), state)
    startup = startup_estimate(state) if trace is None else startup_time(trace, state, COLLECTOR)
    return OscillatorReport(
        design=design.name,
        design_hash=design_hash(design),
        which=bench.which,
        frequency_hz=state.frequency,
        pot=circuit.bias.position,
        trimmer=bench.trimmer if circuit.trimmers else None,
        antenna_f=None if antenna is None else antenna.capacitance,
        hand_distance_m=bench.hand_distance,
        load_ohm=None if load is None else load.resistance,
        load_f=None if load is None else load.capacitance,
        supply_v=circuit.supply_voltage,
        supply_current_a=state.supply_current,
        supply_power_w=state.supply_power,
        collector_current_at_rest_a=operating_point(circuit).collector_current,
        growth_rate_per_s=signal.growth_rate,
        loop_gain_margin_db=signal.margin_db,
        startup_s=startup,
        startup_by=ESTIMATED if trace is None else SIMULATED,
        settling_s=state.settling_time,
        probe_shift_hz=probed.shift_hz,
        stray_f=circuit.board_stray,
        board=board,
        stray_explanation=None if board is None else explanation(circuit.board_stray, board),
        test_points=tuple(_test_point(name, node, state, trace, startup) for name, node in TEST_POINTS),
        pot_readings=_readings(circuit.with_pot, STOPS, state),
        trimmer_readings=_readings(circuit.with_trimmer, STOPS, state) if circuit.trimmers else (),
        load_readings=_load_readings(bench, state),
        notices=bench.notices + _remarks(state),
    )


def _test_point(name: str, node: str, state: SteadyState, trace: Trace | None, startup: float | None) -> TestPoint:
    fundamental = float(state.harmonic_amplitudes(node)[0])
    swings = fundamental >= LOWEST_FUNDAMENTAL
    if trace is not None and swings:
        known = node != OUTPUT or state.circuit.load is not None
        startup = startup_time(trace, state, node if known else COLLECTOR)
    return TestPoint(
        name=name,
        dc_v=float(state.coefficients(node)[0].real),
        peak_to_peak_v=state.peak_to_peak(node),
        frequency_hz=state.frequency,
        thd=state.total_harmonic_distortion(node) if swings else None,
        startup_s=startup if swings else None,
    )


def _readings(
    change: Callable[[float], OscillatorCircuit], stops: Iterable[tuple[str, float]], state: SteadyState
) -> tuple[Reading, ...]:
    return tuple(_read(name, setting, change(setting), state) for name, setting in stops)


def _load_readings(bench: Bench, state: SteadyState) -> tuple[Reading, ...]:
    """Without a load, with that of the design, and with the one asked for where that is another."""
    loads: list[tuple[str, Load | None]] = [("none", None), ("as designed", bench.design_load)]
    if bench.circuit.load not in (None, bench.design_load):
        loads.append(("as asked", bench.circuit.load))
    return tuple(
        _read(name, None if load is None else load.resistance, replace(bench.circuit, load=load), state)
        for name, load in loads
    )


def _read(name: str, setting: float | None, circuit: OscillatorCircuit, base: SteadyState) -> Reading:
    """The oscillator `circuit`, compared with the steady state `base`; a remark where it does not oscillate."""
    try:
        same_states = (circuit.load is None) == (base.circuit.load is None)
        state = steady_state(circuit, warm_start=base if same_states else None)
    except ValueError as error:
        return Reading(name, setting, None, None, None, None, " ".join(explained(error).split()))
    collector, output = state.peak_to_peak(COLLECTOR), state.output_peak_to_peak
    return Reading(name, setting, state.frequency, state.frequency - base.frequency, collector, output, "")


def pot_curve(circuit: OscillatorCircuit, base: SteadyState, points: int = 21) -> tuple[Reading, ...]:
    """Readings at `points` positions of the pot, evenly from low to high."""
    stops = [(f"{place:.2f}", float(place)) for place in np.linspace(0.0, 1.0, points)]
    return _readings(circuit.with_pot, stops, base)


def _remarks(state: SteadyState) -> tuple[str, ...]:
    peak = state.reverse_emitter_peak
    if peak <= REVERSE_EMITTER_LIMIT:
        return ()
    return (
        f"the emitter junction is driven {peak:.1f} V backwards; above some {REVERSE_EMITTER_LIMIT:.0f} V a real one "
        "breaks down, which is not computed: lower the feedback capacitor or the supply",
    )


__all__ = ["REACHED", "OscillatorReport", "Reading", "TestPoint", "oscillator_report", "pot_curve", "steady"]
