"""Harmonic balance on the oscillator of van der Pol, whose frequency is known as a series."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.circuit.harmonic_balance import NotConvergedError, PartProbe, Problem, balance, moved_by, waveform
from models.circuit.network import GROUND, NetworkBuilder
from models.circuit.transistor import PortState

LOSS = 0.1


class Cubic:
    """A negative conductance with a cubic end: i = strength (v^3 / 3 - v), and a weakly nonlinear charge.

    It also takes back the conductance LOSS that `tank` has so that the linear part is regular at its resonance.
    """

    def __init__(self, strength: float, charge: float = 0.0) -> None:
        self.strength, self.charge = strength, charge

    def evaluate(self, voltages):
        return PortState(
            self.strength * (voltages**3 / 3 - voltages) - LOSS * voltages,
            self.charge * voltages**2,
            (self.strength * (voltages**2 - 1) - LOSS)[:, None, :],
            (2 * self.charge * voltages)[:, None, :],
        )


def tank():
    builder = NetworkBuilder()
    builder.capacitor("tank", GROUND, 1.0)
    builder.inductor("inductor", "tank", GROUND, 1.0, 0.0)
    builder.resistor("loss", "tank", GROUND, 1 / LOSS)
    builder.port("tank", GROUND)
    return builder.build()


def started(harmonics, amplitude=2.0):
    coefficients = np.zeros((1, harmonics + 1), dtype=complex)
    coefficients[0, 1] = amplitude / 2
    return coefficients


def solved(strength, harmonics=24):
    return balance(tank(), Cubic(strength), started(harmonics), 1.0)


@pytest.mark.parametrize("strength", [0.05, 0.2, 0.5])
def test_frequency_of_van_der_pol(strength):
    # 1 - e^2/16 + 17 e^4/3072 + 35 e^6/884736 - 678899 e^8/5096079360
    # (Andersen & Geer, SIAM J. Appl. Math. 42 (1982) 678; from memory)
    e2 = strength**2
    expected = 1 - e2 / 16 + 17 * e2**2 / 3072 + 35 * e2**3 / 884736 - 678899 * e2**4 / 5096079360
    assert_allclose(solved(strength).angular_frequency, expected, rtol=1e-7 if strength < 0.3 else 2e-6)


def test_amplitude_of_van_der_pol():
    # 2 + e^2/96 is the largest value on the cycle (perturbation theory; from memory)
    wave = waveform(solved(0.2).coefficients, 4096)[0]
    assert_allclose(wave.max(), 2 + 0.2**2 / 96, rtol=1e-5)


def test_frequency_falls_by_the_harmonics_as_groszkowski_says():
    # d omega / omega = -1/2 sum (n^2 - 1)(V_n / V_1)^2 (Groszkowski, Proc. IRE 21 (1933) 958; from memory)
    solution = solved(0.2)
    amplitudes = np.abs(solution.coefficients[0, 1:])
    order = np.arange(1, amplitudes.size + 1)
    shift = -0.5 * np.sum((order**2 - 1) * (amplitudes / amplitudes[0]) ** 2)
    assert_allclose(solution.angular_frequency - 1.0, shift, rtol=0.02)


def test_jacobian_against_differences():
    builder = NetworkBuilder()
    builder.capacitor("tank", GROUND, 1.0)
    builder.inductor("inductor", "tank", GROUND, 1.0, 0.1)
    builder.resistor("loss", "tank", GROUND, 20.0)
    builder.port("tank", GROUND)
    linear, random = builder.build(), np.random.default_rng(1)
    probe = PartProbe(linear.unit("tank"), 0.9)
    problem = Problem(linear, Cubic(0.7, 0.1), 4, 0, probe)
    coefficients = (random.normal(size=(1, 5)) + 1j * random.normal(size=(1, 5))) * 0.3
    coefficients[0, 0], coefficients[0, 1] = 0.1, 0.8
    at = problem.evaluate(coefficients, 0.95, 0.02)
    exact, step = problem.jacobian(at, 0.95), 1e-6
    for column in range(exact.shape[1]):
        change = np.zeros(exact.shape[1])
        change[column] = step
        above = problem.evaluate(*moved_by(problem, coefficients, 0.95, 0.02, change)).error
        below = problem.evaluate(*moved_by(problem, coefficients, 0.95, 0.02, -change)).error
        assert_allclose(exact[:, column], (above - below) / (2 * step), rtol=1e-6, atol=1e-7)


def test_held_amplitude_needs_the_missing_conductance():
    # describing function of the cubic: G(A) = strength (A^2 / 4 - 1), so the probe makes up -G(A) for a small strength
    linear = tank()
    solution = balance(
        linear, Cubic(0.02), started(8, 1.0), 1.0, probe=PartProbe(linear.unit("tank"), 0.5), probe_start=0.0
    )
    assert_allclose(solution.probe, 0.02 * (1 - 0.25), rtol=1e-3)


def test_a_damped_circuit_is_no_result():
    builder = NetworkBuilder()
    builder.capacitor("tank", GROUND, 1.0)
    builder.inductor("inductor", "tank", GROUND, 1.0, 0.0)
    builder.resistor("loss", "tank", GROUND, 1.0)
    builder.port("tank", GROUND)
    linear = builder.build()
    with pytest.raises(NotConvergedError, match="harmonic balance"):
        balance(linear, Cubic(0.5), started(8), 1.0, probe=PartProbe(linear.unit("tank"), 0.0), iterations=5)
