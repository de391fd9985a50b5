"""Bursts, patterns and two tones read from signals that are known."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.circuit.irregular import bursts_of, pattern_of, two_tones

TIMES = np.arange(200 * 64) / 64e5  # 200 cycles of 100 kHz
TURN = 2.0 * np.pi * TIMES


def test_bursts_of_a_modulated_envelope():
    times = np.sort(np.random.default_rng(1).uniform(0.0, 10e-3, 4000))
    found = bursts_of(times, 3.0 + 2.0 * np.cos(2.0 * np.pi * 1250.0 * times))
    assert found.count in (11, 12)
    assert_allclose(found.period, 0.8e-3, rtol=5e-3)
    assert_allclose([found.highest, found.lowest], [5.0, 1.0], rtol=1e-3)
    assert_allclose(found.depth, 0.8, rtol=1e-3)
    assert found.periodic
    assert not found.irregular


def test_a_swing_that_rises_or_stands_still_has_no_bursts():
    times = np.linspace(0.0, 1e-3, 500)
    assert bursts_of(times, 1.0 - np.exp(-times / 2e-4)) is None
    assert bursts_of(times, 5.0 + 0.01 * np.sin(2.0 * np.pi * 2e4 * times)) is None


def test_bursts_at_random_times_are_irregular():
    gaps = np.random.default_rng(2).uniform(20.0, 100.0, 40)
    times = np.arange(float(gaps.sum()))
    swings = sum(np.exp(-((times - at) ** 2) / 30.0) for at in np.cumsum(gaps))
    found = bursts_of(times, swings)
    assert found.irregular
    assert not found.periodic


@pytest.mark.parametrize("cycles", [1, 2, 3, 7])
def test_a_pattern_of_several_cycles(cycles):
    values = np.cos(TURN * 1.013e5) + (0.3 * np.cos(TURN * 1.013e5 / cycles + 1.0) if cycles > 1 else 0.0)
    found = pattern_of(TIMES, values, 1e-5)
    assert found.cycles == cycles
    assert_allclose(found.period, cycles / 1.013e5, rtol=1e-5)


def test_noise_and_incommensurate_tones_have_no_pattern():
    walk = np.cos(TURN * 1e5 + 3.0 * np.cumsum(np.random.default_rng(3).normal(0.0, 0.05, TIMES.size)))
    assert pattern_of(TIMES, walk, 1e-5) is None
    assert pattern_of(TIMES, np.cos(TURN * 1e5) + np.cos(TURN * 0.7182818e5), 1e-5) is None


def test_two_tones_are_read_between_the_bins():
    values = 5.0 * np.cos(TURN * 100137.0) + 0.7 * np.sin(TURN * 74219.0) + 0.1 * np.cos(TURN * 126055.0)
    found = two_tones(TIMES, values, np.array([101e3, 74e3]))
    assert_allclose(found.frequencies, [100137.0, 74219.0], atol=0.05 * 500.0)
    assert_allclose(found.amplitudes, [5.0, 0.7], rtol=0.02)
    assert found.still(found)
    assert not found.still(None)


def test_the_lines_of_bursts_are_no_second_tone():
    values = (1.0 + 0.8 * np.cos(TURN * 3e3)) * np.cos(TURN * 1e5)
    assert two_tones(TIMES, values, np.array([101e3, 74e3])) is None
    harmonics = np.cos(TURN * 1e5) + 0.3 * np.cos(TURN * 2e5)
    assert two_tones(TIMES, harmonics, np.array([101e3, 201e3])) is None
