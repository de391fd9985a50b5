"""The universal resonance curve against its landmarks and against a circuit computed from its impedances."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.volume.loudness import detuning, lower_flank_frequency, resonance_response, response_slope

QUALITIES = (5.0, 30.0, 100.0, 400.0)


@pytest.mark.parametrize("quality", QUALITIES)
def test_half_power_points(quality):
    """At f0 (sqrt(1 + 1/4Q^2) +- 1/2Q) the power is halved exactly; F. E. Terman, Radio Engineers' Handbook, 1943,
    sect. 3, gives f0 (1 +- 1/2Q) for high Q (both from memory)."""
    resonance = 400e3
    half = 0.5 / quality
    exact = resonance * (np.sqrt(1.0 + half**2) + np.array([-half, half]))
    assert_allclose(resonance_response(exact, resonance, quality), np.sqrt(0.5), rtol=1e-12, atol=0)
    near = resonance * (1.0 + np.array([-half, half]))
    assert_allclose(resonance_response(near, resonance, quality), np.sqrt(0.5), rtol=0.6 * half, atol=0)


def test_at_resonance_everything_passes():
    assert resonance_response(123456.0, 123456.0, 80.0) == 1.0


@pytest.mark.parametrize("quality", QUALITIES)
def test_series_circuit_from_its_impedances(quality):
    """|r / (r + j w L + 1 / (j w C))| of a circuit, computed as complex impedances."""
    inductance, capacitance = 2.2e-3, 72e-12
    resonance = 1.0 / (2.0 * np.pi * np.sqrt(inductance * capacitance))
    resistance = np.sqrt(inductance / capacitance) / quality
    frequency = resonance * np.linspace(0.5, 2.0, 101)
    w = 2.0 * np.pi * frequency
    impedance = resistance + 1j * w * inductance + 1.0 / (1j * w * capacitance)
    found = resonance_response(frequency, resonance, quality)
    assert_allclose(found, np.abs(resistance / impedance), rtol=1e-10, atol=0)


def test_far_off_it_falls_as_one_over_q_and_detuning():
    assert_allclose(resonance_response(200e3, 400e3, 1e3), 1.0 / (1e3 * 1.5), rtol=1e-6, atol=0)
    assert_allclose(resonance_response([100e3, 1600e3], 400e3, 50.0)[0], resonance_response(1600e3, 400e3, 50.0))


def test_only_ratios_count():
    assert_allclose(resonance_response(390e3, 400e3, 90.0), resonance_response(39.0, 40.0, 90.0), rtol=1e-13, atol=0)


def test_slope_is_the_derivative():
    frequency, step = np.linspace(380e3, 420e3, 41), 0.01
    rise = resonance_response(frequency + step, 400e3, 100.0) - resonance_response(frequency - step, 400e3, 100.0)
    slope = response_slope(frequency, 400e3, 100.0)
    assert_allclose(slope, rise / (2.0 * step), rtol=1e-5, atol=1e-10)
    assert (slope[frequency < 400e3] > 0.0).all()
    assert (slope[frequency > 400e3] < 0.0).all()


@pytest.mark.parametrize("quality", QUALITIES)
def test_lower_flank_is_the_inverse(quality):
    response = np.array([1e-3, 0.05, 0.3, 0.9, 0.999999, 1.0])
    frequency = lower_flank_frequency(response, 400e3, quality)
    assert (frequency <= 400e3).all()
    assert (np.diff(frequency) > 0.0).all()
    assert_allclose(resonance_response(frequency, 400e3, quality), response, rtol=1e-9, atol=0)


@pytest.mark.parametrize("values", [(0, 1, 1), (1, -1, 1), (1, 1, 0), (np.nan, 1, 1), (True, 1, 1)])
def test_bad_values_are_refused(values):
    with pytest.raises(ValueError, match="must be"):
        resonance_response(*values)


@pytest.mark.parametrize("response", [0.0, 1.01, -0.5, np.inf])
def test_a_response_that_never_is_is_refused(response):
    with pytest.raises(ValueError, match="response must be"):
        lower_flank_frequency(response, 400e3, 100.0)


def test_detuning_is_odd_in_the_logarithm():
    assert_allclose(detuning(800e3, 400e3), -detuning(200e3, 400e3), rtol=1e-15, atol=0)
