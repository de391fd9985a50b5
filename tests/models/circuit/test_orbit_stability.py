"""Characteristic multipliers on the oscillator of van der Pol, whose exponent is known."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.circuit.harmonic_balance import waveform
from models.circuit.orbit_stability import multipliers, settling_time
from tests.models.circuit.test_harmonic_balance import Cubic, solved, tank


def multipliers_of(strength):
    orbit = solved(strength)
    order = np.arange(orbit.coefficients.shape[1])
    omega, rise = orbit.angular_frequency, 2.0 * np.real(1j * orbit.angular_frequency * orbit.coefficients @ order)
    current = orbit.coefficients[0, 1:] / (1j * omega * order[1:])  # of the inductor of 1 H
    velocity = np.array([rise[0], 2.0 * np.real(1j * omega * np.sum(order[1:] * current))])
    return orbit, multipliers(tank(), Cubic(strength), orbit, velocity, steps=4096)


@pytest.mark.parametrize("strength", [0.05, 0.1, 0.5])
def test_exponent_of_van_der_pol(strength):
    orbit, found = multipliers_of(strength)
    assert_allclose(found[0], 1.0, atol=1e-6)
    exponent = np.log(found[1].real) * orbit.angular_frequency / (2 * np.pi)
    # Liouville: the sum of both exponents is the mean of -u (v^2 - 1)
    voltages = waveform(orbit.coefficients, 256)
    assert_allclose(exponent, -strength * np.mean(voltages**2 - 1.0), rtol=1e-5)
    # about -u for small u (from memory)
    assert_allclose(exponent, -strength, rtol=strength**2)
    period = 2 * np.pi / orbit.angular_frequency
    assert_allclose(settling_time(found, period), -1.0 / exponent, rtol=1e-9)
