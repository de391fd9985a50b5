"""What pot, trimmers and load do."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.circuit.common_base import Load, OscillatorCircuit
from models.circuit.operating_point import operating_point
from models.circuit.oscillator import SteadyState, pot_sweep, steady_state
from models.circuit.transistor import TransistorPorts
from models.junction import depletion_capacitance
from models.tank import resonant_frequency

DEFAULT = OscillatorCircuit()


@dataclass(frozen=True)
class LoadEffect:
    """What a load does: frequency shift, Hz (loaded less unloaded), and both states."""

    frequency_shift: float
    unloaded: SteadyState
    loaded: SteadyState


def load_effect(circuit: OscillatorCircuit, load: Load | None = None) -> LoadEffect:
    """The effect of `load` (None: the circuit's own) at the output resistor."""
    unloaded, loaded = (steady_state(replace(circuit, load=given)) for given in (None, load or circuit.load))
    return LoadEffect(loaded.frequency - unloaded.frequency, unloaded, loaded)


def trimmer_coverage(circuit: OscillatorCircuit) -> list[SteadyState]:
    """The steady states with all trimmers at minimum, half and maximum capacitance."""
    return [steady_state(circuit.with_trimmer(setting)) for setting in (0.0, 0.5, 1.0)]


def constant_collector_junction(circuit: OscillatorCircuit) -> OscillatorCircuit:
    """The circuit with the depletion capacitance of its collector junction fixed at its value at rest."""
    junction = circuit.transistor.collector_junction
    fixed = depletion_capacitance(
        operating_point(circuit).port_voltages[1],
        junction.zero_bias_capacitance,
        junction.potential,
        junction.grading,
        junction.knee,
    )
    frozen = replace(junction, zero_bias_capacitance=float(fixed), grading=1e-9)
    return replace(circuit, transistor=replace(circuit.transistor, collector_junction=frozen))


def frequencies(circuit, positions=(0.0, 0.25, 0.5, 0.75, 1.0)):
    return np.array([state.frequency for state in pot_sweep(circuit, positions)[1]])


def test_a_fine_tune_pot_moves_the_oscillator_by_100_to_300_hz_each_way():
    # common practice: a fine-tune pot moves the reference by roughly 100-300 Hz each way
    fine = frequencies(replace(DEFAULT, bias=replace(DEFAULT.bias, potentiometer=10e3)))
    assert (np.diff(fine) > 0).all()
    assert 100 < fine[2] - fine[0] < 300
    assert 100 < fine[4] - fine[2] < 300
    # the default's pot of 22 kilohm turns the bias further
    wide = frequencies(DEFAULT)
    assert (np.diff(wide) > 0).all()
    assert fine[2] - fine[0] < wide[2] - wide[0] < 3e-3 * wide[2]
    assert fine[4] - fine[2] < wide[4] - wide[2] < 3e-3 * wide[2]


def test_the_junction_capacitance_alone_lowers_the_frequency_as_the_base_rises():
    share = frequencies(DEFAULT) - frequencies(constant_collector_junction(DEFAULT))
    assert (np.diff(share) < 0).all()
    # df = -f dC / (2 C): the junction's 8 pF at no voltage gain 0.3 to 1 pF from one end to the other
    gained = -(share[-1] - share[0]) * 2.0 * DEFAULT.tank_capacitance / frequencies(DEFAULT, (0.5,))[0]
    assert 0.3e-12 < gained < 1e-12


def test_the_held_junction_capacitance_is_that_at_rest_at_every_voltage():
    held = TransistorPorts(constant_collector_junction(DEFAULT).transistor)
    rest = operating_point(DEFAULT).port_voltages
    expected = TransistorPorts(DEFAULT.transistor).currents_and_capacitances(rest)[1][1]
    reverse = np.stack([np.full(5, rest[0]), np.linspace(-20.0, 0.2, 5)])
    assert_allclose(held.currents_and_capacitances(reverse)[1][1], float(expected[0]), rtol=1e-4, atol=0)


@pytest.mark.slow
def test_warm_and_cold_sweeps_agree():
    backwards = frequencies(DEFAULT, (1.0, 0.5, 0.0))
    assert_allclose(backwards[::-1], frequencies(DEFAULT, (0.0, 0.5, 1.0)), rtol=1e-7)


def test_trimmer_coverage_follows_the_resonance():
    low, middle, high = trimmer_coverage(DEFAULT)
    assert low.frequency > middle.frequency > high.frequency
    # two trimmers of 5 to 60 pF; the transistor adds the same small shift at all three to first order
    ends = [resonant_frequency(820e-6, DEFAULT.tank_capacitance + change) for change in (-55e-12, 55e-12)]
    assert_allclose(low.frequency / high.frequency, ends[0] / ends[1], rtol=2e-3)


def test_a_load_lowers_amplitude_and_a_heavier_one_more():
    light, heavy = load_effect(DEFAULT), load_effect(DEFAULT, Load(10e3, 100e-12))
    assert heavy.loaded.tank_amplitude < light.loaded.tank_amplitude < light.unloaded.tank_amplitude
    assert light.frequency_shift != 0.0
    assert heavy.loaded.output_peak_to_peak < light.loaded.output_peak_to_peak
    assert light.unloaded.circuit.load is None


def test_load_capacitance_behind_the_output_resistor_hardly_tunes():
    # straight across the tank, the 10 pF move it by -f dC / (2 C), some -2.1 kHz
    straight = -frequencies(DEFAULT, (0.5,))[0] * 10e-12 / (2.0 * DEFAULT.tank_capacitance)
    for resistor, most in ((100e3, 0.05), (47e3, 0.125)):
        circuit = replace(DEFAULT, output_resistor=resistor)
        more = load_effect(replace(circuit, load=Load(100e3, 30e-12))).loaded.frequency
        moved = more - load_effect(circuit).loaded.frequency
        # upwards: through 47 kilohm, 30 pF show as 4.6 pF where 20 pF show as 4.9 pF, and the greater loss asks for
        # more transconductance, whose delay through the divider acts as a negative capacitance
        assert 0.0 < moved < most * abs(straight)
