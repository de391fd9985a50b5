"""Pushing, hum and slow ripple: the static limit, the time domain, and the sidebands of a vibrato."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp

from models.circuit.adjoint import oscillator_adjoint
from models.circuit.common_base import network
from models.circuit.modulation import (
    HUM_FREQUENCIES,
    base_ripple,
    sideband_decibels,
    slow_modulation,
    supply_ripple,
    vibrato_cents,
)
from models.circuit.oscillator import steady_state
from models.circuit.transient import crossings, state_derivative
from models.circuit.transistor import TransistorPorts
from synth.comparisons.oscillator import CIRCUITS
from tests.models.circuit.willow import willow


@pytest.fixture(scope="module")
def pair():
    return tuple(oscillator_adjoint(state) for state in willow())


def test_willow_is_pushed_by_its_supply(pair):
    # two whole circuits integrated in time by an independent program: some 37 Hz/V each, 0.87 Hz/V in the beat
    reference, variable = (adjoint.frequency_sensitivities()["supply_voltage"] for adjoint in pair)
    assert_allclose([reference, variable], 37.0, rtol=0.03)
    assert_allclose(reference - variable, 0.87, rtol=0.02)


def test_willow_at_one_base(pair):
    # by that program -55 Hz per volt at one base, the step not told: the frequency falls faster the higher the base,
    # by 51.5 Hz/V at rest and by 55 Hz/V over a rise of a quarter of a volt, which its pot makes here
    reference = pair[0].state
    raised = steady_state(reference.circuit.with_pot(reference.circuit.bias.position + 0.1), warm_start=reference)
    volts = (raised.coefficients("base")[0] - reference.coefficients("base")[0]).real
    assert 0.2 < volts < 0.3
    assert_allclose((raised.frequency - reference.frequency) / volts, -55.0, rtol=0.03)
    # at rest the curve through both steps of the pot has the slope of the projection
    lowered = steady_state(reference.circuit.with_pot(reference.circuit.bias.position - 0.1), warm_start=reference)
    points = [lowered, reference, raised]
    base = [state.coefficients("base")[0].real for state in points]
    curve = np.polynomial.Polynomial.fit(base, [state.frequency for state in points], 2)
    assert_allclose(base_ripple(pair[0], 0.01).deviation.real, curve.deriv()(base[1]), rtol=0.01)


def test_very_slow_ripple_is_the_static_change(pair):
    adjoint = pair[0]
    found = supply_ripple(adjoint, 0.01)
    assert_allclose(found.deviation.real, adjoint.frequency_sensitivities()["supply_voltage"], rtol=1e-6)
    static = adjoint.amplitude_sensitivities()["supply_voltage"] / adjoint.state.tank_amplitude
    assert_allclose(found.amplitude.real, static, rtol=1e-6)
    assert abs(found.deviation.imag) < 1e-3 * found.deviation.real
    node = adjoint.linear.unit("wiper")
    direct = adjoint.phase_response("wiper", 0).real
    assert_allclose(slow_modulation(adjoint, node, 0.01).deviation.real, direct, rtol=1e-6)


def test_the_beat_hums_by_the_difference(pair):
    for hum in HUM_FREQUENCIES:
        both = [supply_ripple(adjoint, hum).deviation for adjoint in pair]
        assert abs(both[0] - both[1]) < 0.1 * abs(both[0])


@pytest.mark.slow
def test_against_a_ripple_in_time():
    state = steady_state(CIRCUITS["normal"])
    adjoint, ripple, height = oscillator_adjoint(state), 4e3, 0.2
    linear, ports = network(state.circuit), TransistorPorts(state.circuit.transistor)
    volt = state.circuit.supply_voltage
    plain = state_derivative(linear, ports)
    higher = state_derivative(replace(linear, source=linear.source * (1.0 + height / volt)), ports)

    def slope(time, states):
        rest = plain(time, states)  # the slope is linear in the source
        return rest + np.sin(2 * np.pi * ripple * time) * (higher(time, states) - rest)

    spacing = 1.0 / (64 * state.frequency)
    times = spacing * np.arange(int(1.1e-3 / spacing))
    start = state.spectra[:, 0].real + 2.0 * state.spectra[:, 1:].sum(axis=1).real
    run = solve_ivp(slope, (0.0, times[-1]), start, "LSODA", t_eval=times, rtol=1e-8, atol=1e-10, max_step=4e-7)
    tank = run.y[linear.index("collector")] - run.y[linear.index("cold end")]
    rising = crossings(run.t, tank, float(tank.mean()))
    late = rising[rising > 0.3e-3]
    phase = 2 * np.pi * np.arange(late.size) - 2 * np.pi * state.frequency * (late - late[0])
    angle = 2 * np.pi * ripple * late
    basis = np.stack([np.sin(angle), np.cos(angle), np.ones_like(late), late, late**2])
    sine, cosine = np.linalg.lstsq(basis.T, phase, rcond=None)[0][:2]
    # phi = Im(P exp(j W t)) for a ripple sin W t; deviation = j W P / 2 pi
    found = 1j * ripple * (sine + 1j * cosine) / height
    assert_allclose(found, supply_ripple(adjoint, ripple).deviation, rtol=0.03)


def test_sidebands_of_a_vibrato():
    # J_1(1) = 0.4400506, J_0(1) = 0.7651977 (Abramowitz and Stegun, table 9.1)
    assert_allclose(sideband_decibels(50.0, 50.0), 20 * np.log10(0.4400506 / 0.7651977), rtol=1e-6)
    assert_allclose(sideband_decibels(0.01, 100.0), 20 * np.log10(0.5e-4), rtol=1e-6)
    assert_allclose(vibrato_cents(440.0, 440.0 * (2 ** (1 / 1200) - 1)), 1.0, rtol=1e-9)
    with pytest.raises(ValueError, match="twice the ripple"):
        sideband_decibels(200.0, 100.0)
    with pytest.raises(ValueError, match="ripple frequency"):
        supply_ripple(oscillator_adjoint(willow()[0]), 0.0)
