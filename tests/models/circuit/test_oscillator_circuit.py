"""Parts, bias and operating point of the oscillator."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

import models.circuit.operating_point as operating_point_module
from models.circuit.bias import Bias
from models.circuit.common_base import AntennaLoad, Load, OscillatorCircuit, Trimmer, network
from models.circuit.operating_point import operating_point, solve
from models.circuit.start_threshold import characteristic_roots
from models.circuit.transistor import TransistorPorts

DEFAULT = OscillatorCircuit()


def open_wiper_voltage(supply: float, above: float, below: float) -> float:
    """Voltage of the wiper, V, with no base current: the divider of the resistances above and below it."""
    return supply * below / (above + below)


def emitter_current(
    wiper_voltage: float, source_resistance: float, emitter_resistor: float, forward_gain: float, junction: float
) -> float:
    """I_e = (V - V_be) / (R_e + R_s / (beta + 1)), any electronics textbook."""
    return (wiper_voltage - junction) / (emitter_resistor + source_resistance / (forward_gain + 1.0))


def test_tank_capacitance_adds_up():
    circuit = OscillatorCircuit(
        inductor_self_capacitance=10e-12,
        fixed_capacitor=300e-12,
        trimmers=(Trimmer(5e-12, 45e-12, 0.5), Trimmer(0.0, 10e-12, 0.0)),
        board_stray=20e-12,
        feedback_capacitor=200e-12,
        emitter_capacitor=1.8e-9,
    )
    assert_allclose(circuit.tank_capacitance, 535e-12, rtol=1e-14)  # 10 + 300 + 25 + 20 + 200 in series with 1800
    assert_allclose(circuit.divider_capacitance, 180e-12, rtol=1e-14)


def test_series_resistance_from_quality_factor():
    # Q = omega L / r
    circuit = OscillatorCircuit(inductance=1e-3, inductor_q=50.0, inductor_q_frequency=100e3)
    assert_allclose(circuit.series_resistance, 2 * np.pi * 100e3 * 1e-3 / 50.0, rtol=1e-14)


@pytest.mark.parametrize("antenna", [None, AntennaLoad(), AntennaLoad(10e-12, 20e-3, 500.0, 2e-12)])
@pytest.mark.parametrize("load", [None, Load()])
def test_the_network_alone_is_passive_and_rings_at_its_resonance(antenna, load):
    linear = network(replace(DEFAULT, antenna=antenna, load=load))
    joined = linear.capacitance + linear.ports @ np.diag([1e-12, 1e-12]) @ linear.ports.T
    roots = characteristic_roots(joined, linear.conductance)
    assert roots.real.max() < 0.0
    if antenna is None and load is None:
        ringing = roots[roots.imag > 0][0].imag / (2 * np.pi)
        expected = 1 / (2 * np.pi * np.sqrt(DEFAULT.inductance * DEFAULT.tank_capacitance))
        assert_allclose(ringing, expected, rtol=2e-3)


def test_operating_point_follows_the_hand_analysis_of_the_bias():
    bias, point = DEFAULT.bias, operating_point(DEFAULT)
    above, below = bias.above_wiper + DEFAULT.supply_resistor, bias.below_wiper
    wiper = float(open_wiper_voltage(9.0, above, below))
    source = above * below / (above + below) + bias.feed_resistor
    junction = point.base_voltage - point.emitter_voltage
    # the supply resistor also carries the collector current, some 70 uA on 100 ohm: 7 mV of 9 V
    expected = emitter_current(wiper, source, bias.emitter_resistor, DEFAULT.transistor.forward_gain, junction)
    assert_allclose(point.emitter_current, expected, rtol=2e-3)
    assert_allclose(point.emitter_current, point.emitter_voltage / bias.emitter_resistor, rtol=1e-9)
    assert_allclose(point.collector_current + point.base_current, point.emitter_current, rtol=1e-9)
    assert point.region == "active"
    assert 0.5 < junction < 0.7


def test_the_pot_raises_the_base():
    bases = [
        operating_point(replace(DEFAULT, bias=replace(DEFAULT.bias, position=p))).base_voltage for p in (0, 0.5, 1)
    ]
    assert bases[0] < bases[1] < bases[2]


def test_regions_are_named():
    low = replace(DEFAULT.bias, lower_resistor=1.0, position=0.0)
    assert operating_point(replace(DEFAULT, bias=low)).region == "cut off"
    high = replace(DEFAULT.bias, upper_resistor=1.0, position=1.0, feed_resistor=1.0, emitter_resistor=100.0)
    weak = replace(DEFAULT, bias=high, inductor_q=1.0)
    assert operating_point(weak).region == "saturated"


class CountedPorts(TransistorPorts):
    """A transistor that counts how often it is asked; the first `restless` times its current never stands still."""

    def __init__(self, restless: int = 0) -> None:
        super().__init__(DEFAULT.transistor)
        self.asked, self.restless = 0, restless

    def evaluate(self, voltages):
        self.asked += 1
        state = super().evaluate(voltages)
        if self.asked > self.restless:
            return state
        return replace(state, currents=state.currents + 1e-3 * (-1.0) ** self.asked)


@pytest.mark.parametrize("emitter_resistor", [100.0, 33e3, 4.7e6])
def test_limited_newton_needs_no_stepping_and_few_iterations(emitter_resistor):
    ports = CountedPorts()
    solve(network(replace(DEFAULT, bias=Bias(emitter_resistor=emitter_resistor))), ports, 9.0)
    assert ports.asked <= 16


def test_source_stepping_reaches_the_same_point():
    heavy = replace(DEFAULT, bias=Bias(emitter_resistor=100.0, feed_resistor=10.0))
    ports = CountedPorts(restless=operating_point_module.ITERATIONS)  # the direct way fails
    assert_allclose(solve(network(heavy), ports, 9.0), operating_point(heavy).states, rtol=1e-9, atol=1e-12)
    assert ports.asked > operating_point_module.ITERATIONS + 10


def test_failure_names_the_node(monkeypatch):
    monkeypatch.setattr(operating_point_module, "ITERATIONS", 1)
    with pytest.raises(ValueError, match=r"operating point: the .* does not settle"):
        operating_point(DEFAULT)


@pytest.mark.parametrize(
    ("build", "word"),
    [
        (lambda: OscillatorCircuit(inductance=-1e-3), "inductance"),
        (lambda: OscillatorCircuit(inductor_q=0.0), "inductor_q"),
        (lambda: OscillatorCircuit(supply_voltage=0.0), "supply_voltage"),
        (lambda: OscillatorCircuit(board_stray=float("inf")), "board_stray"),
        (lambda: OscillatorCircuit(emitter_capacitor=0.0), "emitter_capacitor"),
        (lambda: Trimmer(10e-12, 5e-12), "trimmer maximum"),
        (lambda: Trimmer(setting=1.5), "trimmer setting"),
        (lambda: Load(resistance=0.0), "load resistance"),
        (lambda: AntennaLoad(capacitance=0.0), "antenna capacitance"),
        (lambda: AntennaLoad(series_resistance=-1.0), "antenna series resistance"),
        (lambda: Bias(position=-0.1), "position"),
        (lambda: Bias(emitter_resistor=True), "emitter_resistor"),
    ],
)
def test_bad_parts_are_refused_by_name(build, word):
    with pytest.raises(ValueError, match=word):
        build()
