"""The transistor's two-port: Jacobians, gain, saturation voltage, symmetry."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import brentq

from models.circuit.transistor import DepletionJunction, Transistor, TransistorPorts


@pytest.mark.parametrize("early", [None, 60.0])
def test_jacobians_are_the_slopes(early):
    ports = TransistorPorts(Transistor(early_voltage=early))
    voltages = np.array([[0.62, 0.55, 0.65, -2.0], [-8.0, 0.5, 0.62, -1.0]])
    state, step = ports.evaluate(voltages), 1e-6
    for port in range(2):
        shift = np.zeros((2, 1))
        shift[port] = step
        above, below = ports.evaluate(voltages + shift), ports.evaluate(voltages - shift)
        scale = np.abs(state.conductances).max()
        slope = (above.currents - below.currents) / (2 * step)
        assert_allclose(state.conductances[:, port], slope, rtol=1e-5, atol=1e-9 * scale)
        slope = (above.charges - below.charges) / (2 * step)
        assert_allclose(state.capacitances[:, port], slope, rtol=1e-5, atol=1e-20)


def test_both_evaluations_agree():
    ports = TransistorPorts(Transistor())
    voltages = np.array([[0.62, -1.0], [-8.0, 0.5]])
    currents, capacitances = ports.currents_and_capacitances(voltages)
    state = ports.evaluate(voltages)
    assert_allclose(currents, state.currents, rtol=1e-14)
    assert_allclose(capacitances, np.stack([state.capacitances[0, 0], state.capacitances[1, 1]]), rtol=1e-14)


def test_forward_gain_and_transconductance_in_the_active_region():
    ports = TransistorPorts(Transistor(forward_gain=150.0))
    state = ports.evaluate(np.array([[0.6], [-5.0]]))
    base, collector = state.currents.sum(), -state.currents[1, 0]
    assert_allclose(collector / base, 150.0, rtol=1e-6)
    # g_m = I_C / V_T (any electronics textbook)
    assert_allclose(ports.transconductance(np.array([0.6, -5.0])), collector / ports.thermal, rtol=1e-6)


def test_saturation_voltage_of_ebers_and_moll():
    # V_CE = V_T ln((1 + (1 + b) / beta_R) / (1 - b / beta_F)) at the forced gain b = I_C / I_B
    # (Ebers & Moll, Proc. IRE 42 (1954) 1761, in today's notation; from memory)
    transistor, forced = Transistor(), 20.0
    ports = TransistorPorts(transistor)

    def excess(collector_junction: float) -> float:
        currents = ports.evaluate(np.array([[0.7], [collector_junction]])).currents[:, 0]
        return float(-currents[1] - forced * currents.sum())

    junction = brentq(excess, 0.3, 0.7, xtol=1e-14)
    expected = ports.thermal * np.log(
        (1 + (1 + forced) / transistor.reverse_gain) / (1 - forced / transistor.forward_gain)
    )
    assert_allclose(0.7 - junction, expected, rtol=1e-6)


def test_early_effect_raises_the_current_with_collector_voltage():
    low, high = (
        -TransistorPorts(Transistor(early_voltage=50.0)).evaluate(np.array([[0.6], [junction]])).currents[1, 0]
        for junction in (-1.0, -11.0)
    )
    assert_allclose(high / low, (1 + 11 / 50) / (1 + 1 / 50), rtol=1e-9)


@pytest.mark.parametrize(
    ("build", "word"),
    [
        (lambda: Transistor(forward_gain=0.0), "forward_gain"),
        (lambda: Transistor(saturation_current=float("nan")), "saturation_current"),
        (lambda: Transistor(base_resistance=-1.0), "base_resistance"),
        (lambda: Transistor(early_voltage=-1.0), "early_voltage"),
        (lambda: DepletionJunction(0.0), "zero_bias_capacitance"),
        (lambda: DepletionJunction(1e-12, grading=1.0), "grading"),
        (lambda: DepletionJunction(1e-12, transit_time=-1e-9), "transit_time"),
    ],
)
def test_bad_parts_are_refused(build, word):
    with pytest.raises(ValueError, match=word):
        build()
