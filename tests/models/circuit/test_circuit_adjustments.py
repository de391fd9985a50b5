"""What pot, trimmers and load do."""

from dataclasses import replace

import numpy as np
from numpy.testing import assert_allclose

from models.circuit.adjustments import constant_collector_junction, load_effect, pot_sweep, trimmer_coverage
from models.circuit.common_base import Load, OscillatorCircuit
from models.circuit.operating_point import operating_point
from models.circuit.transistor import TransistorPorts
from models.tank import resonant_frequency

DEFAULT = OscillatorCircuit()


def frequencies(circuit, positions=(0.0, 0.25, 0.5, 0.75, 1.0)):
    return np.array([state.frequency for state in pot_sweep(circuit, positions)[1]])


def test_the_pot_moves_the_oscillator_by_100_to_300_hz_each_way():
    # common practice: a fine-tune pot moves the reference by roughly 100-300 Hz each way
    swept = frequencies(DEFAULT)
    assert (np.diff(swept) > 0).all()
    assert 100 < swept[2] - swept[0] < 300
    assert 100 < swept[4] - swept[2] < 300


def test_the_junction_capacitance_alone_lowers_the_frequency_as_the_base_rises():
    share = frequencies(DEFAULT) - frequencies(constant_collector_junction(DEFAULT))
    assert (np.diff(share) < 0).all()
    assert -100 < share[-1] - share[0] < -30


def test_the_held_junction_capacitance_is_that_at_rest_at_every_voltage():
    held = TransistorPorts(constant_collector_junction(DEFAULT).transistor)
    rest = operating_point(DEFAULT).port_voltages
    expected = TransistorPorts(DEFAULT.transistor).currents_and_capacitances(rest)[1][1]
    reverse = np.stack([np.full(5, rest[0]), np.linspace(-20.0, 0.2, 5)])
    assert_allclose(held.currents_and_capacitances(reverse)[1][1], float(expected[0]), rtol=1e-4, atol=0)


def test_warm_and_cold_sweeps_agree():
    backwards = frequencies(DEFAULT, (1.0, 0.5, 0.0))
    assert_allclose(backwards[::-1], frequencies(DEFAULT, (0.0, 0.5, 1.0)), rtol=1e-7)


def test_trimmer_coverage_follows_the_resonance():
    low, middle, high = trimmer_coverage(DEFAULT)
    assert low.frequency > middle.frequency > high.frequency
    # two trimmers of 5 to 60 pF; the transistor adds the same small shift at all three to first order
    ends = [resonant_frequency(1e-3, DEFAULT.tank_capacitance + change) for change in (-55e-12, 55e-12)]
    assert_allclose(low.frequency / high.frequency, ends[0] / ends[1], rtol=2e-3)


def test_a_load_lowers_amplitude_and_a_heavier_one_more():
    light, heavy = load_effect(DEFAULT), load_effect(DEFAULT, Load(10e3, 100e-12))
    assert heavy.loaded.tank_amplitude < light.loaded.tank_amplitude < light.unloaded.tank_amplitude
    assert light.frequency_shift != 0.0
    assert heavy.loaded.output_peak_to_peak < light.loaded.output_peak_to_peak
    assert light.unloaded.circuit.load is None


def test_load_capacitance_behind_the_output_resistor_hardly_tunes():
    more = load_effect(replace(DEFAULT, load=Load(100e3, 30e-12))).loaded.frequency
    steady = load_effect(DEFAULT).loaded.frequency
    assert abs(more - steady) < 100.0
