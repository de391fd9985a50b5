"""Numbers far outside of any use, in models that take sizes: a clear ValueError, or the right value."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad

from models.circuit.common_base import OscillatorCircuit
from models.circuit.oscillator import steady_state
from models.detector.memoryless import LARGEST_TABLE, Detector, band_limited_tables
from models.inductor import FLAT, nagaoka_coefficient
from models.junction import depletion, depletion_capacitance, exponential_junction
from models.pulling import pulled_beat


@pytest.mark.parametrize("count", [2**20 + 1, 2**31, 10**12, 10**30])
@pytest.mark.parametrize("kind", ["product", "envelope", "square-law", "junction", "diode"])
def test_absurd_counts_of_harmonics_are_refused(kind, count):
    with pytest.raises(ValueError, match="count must be at most"):
        Detector(kind).harmonics(count)


@pytest.mark.parametrize(
    ("size", "tops"),
    [
        (2**40, [1]),
        (10**30, [1]),
        (LARGEST_TABLE, [1, 1]),
        (1024, [2**62]),
        (1024, [2**63 - 1]),
        (1024, [512]),
        (4096, np.ones(LARGEST_TABLE // 4096 + 1, dtype=int)),
    ],
)
def test_absurd_sizes_of_tables_are_refused(size, tops):
    with pytest.raises(ValueError, match=r"size|top_harmonics"):
        band_limited_tables([0.0, 1.0], size, tops)


def test_the_largest_harmonic_a_table_holds():
    row = band_limited_tables(np.eye(512)[511], 1024, [511])[0]
    assert_allclose(row[:-1], np.cos(2.0 * math.pi * 511 * np.arange(1024) / 1024), atol=1e-12)


def test_a_locked_beat_is_zero_without_a_sign():
    beats = pulled_beat([-3.0, -1.0, -0.0, 0.0, 1.0, 3.0], 1.0)
    assert not np.signbit(beats[1:5]).any()
    assert_allclose(beats[[0, 5]], [-math.sqrt(8.0), math.sqrt(8.0)], rtol=1e-15)


def test_nagaoka_keeps_its_digits_over_sixteen_decades():
    """Against the same formula in 50 digits (mpmath's elliptic integrals)."""
    import mpmath

    shapes = np.concatenate([np.geomspace(1e-8, 1e8, 65), FLAT * np.array([0.999, 1.0, 1.001])])

    def exact(shape: float) -> float:
        with mpmath.workdps(50):
            ratio = mpmath.mpf(shape)
            size = mpmath.sqrt(1 + ratio**2)
            modulus, complement = ratio / size, 1 / size
            first, second = mpmath.ellipk(modulus**2), mpmath.ellipe(modulus**2)
            bracket = (complement / modulus) ** 2 * (first - second) + second - modulus
            return float(4 / (3 * mpmath.pi * complement) * bracket)

    assert_allclose(nagaoka_coefficient(shapes), [exact(shape) for shape in shapes.tolist()], rtol=5e-13, atol=0.0)


@pytest.mark.parametrize("share", [0.97, 0.99, 1.01, 1.03])
def test_a_hint_some_percent_off_finds_the_same_mode(share):
    circuit = OscillatorCircuit()
    state = steady_state(circuit)
    hinted = steady_state(circuit, near_frequency=share * state.frequency)
    assert_allclose(hinted.frequency, state.frequency, rtol=1e-9)


@pytest.mark.parametrize("grading", [1.0 / 3.0, 0.5, 0.9])
@pytest.mark.parametrize("reverse", [1.0, 1.0001, 3.0, 40.0, 1e6])
def test_junctions_far_below_their_built_in_potential(reverse, grading):
    """Reverse beyond V_j: C_0 (1 + V_r / V_j)^-m, and its integral as the charge."""
    potential, zero_bias = 0.75, 8e-12
    voltage = -reverse * potential
    assert_allclose(
        depletion_capacitance(voltage, zero_bias, potential, grading),
        zero_bias * (1.0 + reverse) ** -grading,
        rtol=1e-13,
        atol=0.0,
    )
    # with V = -V_j (exp(x) - 1) the integrand is smooth over any span
    area, _ = quad(lambda x: math.exp((1.0 - grading) * x), 0.0, math.log1p(reverse), epsrel=1e-12)
    charge = depletion(voltage, zero_bias, potential, grading)[1]
    assert_allclose(charge, -zero_bias * potential * area, rtol=1e-11, atol=0.0)
    current, conductance = exponential_junction(voltage * 1e6, 1e-14, 0.0259)
    assert_allclose(current, -1e-14, rtol=1e-12, atol=0.0)
    assert conductance >= 0.0
