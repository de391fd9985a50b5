"""Pushing, hum and slow ripple: the static limit, and cents of vibrato; the time domain is in test_ripple_law."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.circuit.adjoint import oscillator_adjoint
from models.circuit.modulation import (
    HUM_FREQUENCIES,
    base_ripple,
    slow_modulations,
    supply_ripple,
    vibrato_cents,
)
from models.circuit.oscillator import steady_state
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
    assert_allclose(slow_modulations(adjoint, node[:, None], 0.01)[0].deviation.real, direct, rtol=1e-6)


def test_the_beat_hums_by_the_difference(pair):
    for hum in HUM_FREQUENCIES:
        both = [supply_ripple(adjoint, hum).deviation for adjoint in pair]
        assert abs(both[0] - both[1]) < 0.1 * abs(both[0])


def test_vibrato_in_cents():
    assert_allclose(vibrato_cents(440.0, 440.0 * (2 ** (1 / 1200) - 1)), 1.0, rtol=1e-9)
    with pytest.raises(ValueError, match="ripple frequency"):
        supply_ripple(oscillator_adjoint(willow()[0]), 0.0)
