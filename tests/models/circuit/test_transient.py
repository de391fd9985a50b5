"""Integration in time, and harmonic balance against it."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.circuit.common_base import OscillatorCircuit
from models.circuit.oscillator import small_signal, steady_state
from models.circuit.switch_on import thermal_kick
from models.circuit.transient import POINTS_PER_CYCLE, TransientRecord, crossings, measure, run_length, simulate
from models.circuit.transistor import Transistor
from synth.comparisons.oscillator import CIRCUITS

SOONEST = "100 kHz"
"""From switch-on the others take longer: `beatfield benchmark` starts all of them, test_envelope.py five, and
test_drawn_circuits.py drawn ones. Here they start from a disturbed state."""
LONGER = {"antenna branch": 300}
"""Cycles until it has settled; 120 for the others."""


def agree(balanced, read):
    assert abs(balanced.frequency / read.frequency - 1) < 20e-6
    assert abs(balanced.tank_amplitude / read.amplitude - 1) < 0.01
    assert_allclose(read.peak_to_peak, balanced.peak_to_peak("collector"), rtol=0.01)


def returned(balanced, cycles):
    """Start 5 % too large, and see where it goes."""
    duration = (cycles + 60) / balanced.frequency
    record = simulate(balanced.circuit, duration, start=balanced, disturbance=0.05, frequency=balanced.frequency)
    return measure(record)


@pytest.mark.parametrize(
    ("name", "cycles"),
    [
        pytest.param("low Q", 60, marks=pytest.mark.slow),
        *(
            pytest.param(name, LONGER.get(name, 120), marks=pytest.mark.slow)
            for name in CIRCUITS
            if name not in ("low Q", "heavy drive", "pot at 1", SOONEST)
        ),
    ],
)
def test_a_disturbed_oscillation_returns_to_the_balanced_one(name, cycles):
    balanced = steady_state(CIRCUITS[name])
    agree(balanced, returned(balanced, cycles))


def test_a_run_waits_for_the_growth_to_begin():
    # at rest the swing grows by e in 4 us, but until the bias is half set it does not grow at all
    balanced = steady_state(CIRCUITS["heavy drive"])
    opening, _ = thermal_kick(balanced.circuit, 1e-2)
    settling, read = 8.0 * balanced.settling_time, 60 / balanced.frequency
    assert opening > 50.0 / small_signal(balanced.circuit).growth_rate
    assert opening < run_length(balanced) - settling - read < 3.0 * opening


@pytest.mark.slow
def test_agreement_with_early_effect_and_base_resistance():
    part = Transistor(early_voltage=60.0, base_resistance=100.0)
    balanced = steady_state(replace(CIRCUITS["low Q"], transistor=part))
    agree(balanced, returned(balanced, 60))


@pytest.mark.soak
def test_from_switch_on_it_reaches_the_balanced_oscillation():
    balanced = steady_state(CIRCUITS[SOONEST])
    read = measure(simulate(CIRCUITS[SOONEST], run_length(balanced), frequency=balanced.frequency))
    agree(balanced, read)
    assert 0 < read.startup_time < run_length(balanced)


def test_small_oscillations_grow_at_the_rate_of_the_roots():
    circuit = CIRCUITS["light drive"]
    signal = small_signal(circuit)
    rest = signal.point.states.copy()
    rest[signal.point.names.index("collector")] += 1e-4
    record = simulate(circuit, 60 / signal.frequency, start=rest, frequency=signal.frequency, relative_tolerance=1e-10)
    swing = record.voltage("tank") - record.voltage("tank").mean()
    instants = crossings(record.times, swing, 0.0)[20:50]
    assert_allclose(1 / np.diff(instants).mean(), signal.frequency, rtol=1e-4)
    peaks = [np.abs(swing[(record.times >= a) & (record.times < b)]).max() for a, b in zip(instants, instants[1:])]  # noqa: B905
    rate = np.polyfit(instants[:-1], np.log(peaks), 1)[0]
    assert_allclose(rate, signal.growth_rate, rtol=0.02)


def test_crossings_are_far_finer_than_the_samples():
    period = 4.23e-6
    times = np.arange(4000) * 1.0137 * period / POINTS_PER_CYCLE
    values = np.sin(2 * np.pi * times / period - 0.7) + 0.03 * np.sin(4 * np.pi * times / period)
    found = crossings(times, values, 0.0)
    exact = found[0] + period * np.arange(len(found))
    assert_allclose(found, exact, atol=5e-7 * period, rtol=0)
    assert abs(np.diff(found).mean() / period - 1) < 1e-7


def test_an_unsettled_tail_is_refused():
    times = np.arange(200 * POINTS_PER_CYCLE) / (236e3 * POINTS_PER_CYCLE)
    swing = np.sin(2 * np.pi * 236e3 * (times + 0.1 * times**2))
    with pytest.raises(ValueError, match="not settled"):
        measure(
            TransientRecord(times, np.stack([swing, 0 * swing]), ("collector", "cold end"), ("collector", "cold end"))
        )


def test_a_dead_circuit_gives_no_frequency():
    dead = replace(OscillatorCircuit(), inductor_q=2.0)
    with pytest.raises(ValueError, match="does not oscillate"):
        measure(simulate(dead, 40 / 236e3))


def test_bad_duration():
    with pytest.raises(ValueError, match="duration"):
        simulate(OscillatorCircuit(), -1.0)
    with pytest.raises(ValueError, match="nothing to keep"):
        simulate(OscillatorCircuit(), 1e-5, keep_from=1e-5)
