"""Chains of chokes: the ladder against the single coil, and the pi equivalent against nodal admittances."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from oracles import chain_modes

from models.branch.choke_chain import pi_equivalent
from models.branch.modes import mode_frequencies

TANK = (1e-3, 400e-12)
ANTENNAS = np.array([9e-12, 10e-12, 11e-12])


def test_one_choke_is_the_single_series_inductor():
    modes = chain_modes(*TANK, 40e-3, ANTENNAS, 2e-12)
    assert_allclose(modes.T, mode_frequencies(*TANK, 40e-3, ANTENNAS, 2e-12), rtol=1e-10)


def test_lossless_check_value():
    """L0 = 1 mH, C0 = 400 pF, Ca = 10 pF, La = 20 mH: computed for this project from the quadratic."""
    assert_allclose(chain_modes(*TANK, 20e-3, 10e-12), [245_837.001, 364_290.647], atol=0.002)


def test_chain_without_tap_stray_is_one_coil():
    """n chokes of L / n with n times the self-capacitance are one coil where nothing leaves at the joints."""
    modes = chain_modes(*TANK, 10e-3, ANTENNAS, 8e-12, 0.0, 4)
    assert_allclose(modes[:, :2].T, mode_frequencies(*TANK, 40e-3, ANTENNAS, 2e-12), rtol=1e-9)
    pi = pi_equivalent(10e-3, 8e-12, 0.0, 250e3, 4)
    assert_allclose([pi.inductance, pi.self_capacitance], [40e-3, 2e-12], rtol=1e-6)
    assert_allclose(pi.end_stray, 0.0, rtol=0.0, atol=1e-20)


@pytest.mark.parametrize("chokes", [2, 3, 4])
def test_pi_equivalent_is_exact_at_its_frequency(chokes):
    """Nodal admittance of the ladder with its taps eliminated (Schur complement), a second way to the same two-port."""
    inductance, own, tap, frequency = 9e-3, 4e-12, 0.8e-12, 270e3
    w = 2.0 * np.pi * frequency
    choke = w * own - 1.0 / (w * inductance)  # susceptances; everything below is j times real
    steps = np.diff(np.eye(chokes + 1), axis=0)
    y = choke * steps.T @ steps + np.diag([0.0, *[w * tap] * (chokes - 1), 0.0])
    ends, taps = [0, chokes], list(range(1, chokes))
    port = y[np.ix_(ends, ends)] - y[np.ix_(ends, taps)] @ np.linalg.solve(y[np.ix_(taps, taps)], y[np.ix_(taps, ends)])
    pi = pi_equivalent(inductance, own, tap, frequency, chokes)
    across = w * pi.self_capacitance - 1.0 / (w * pi.inductance)
    assert_allclose(port[0, 1], -across, rtol=1e-9)
    assert_allclose(port[0, 0] + port[0, 1], w * pi.end_stray, rtol=1e-7)


def test_pi_equivalent_follows_the_ladder_over_the_played_range():
    """Beat notes from the pi equivalent and from the whole ladder, tuned at one antenna capacitance: cents."""
    inductance, own, tap, chokes = 10e-3, 4e-12, 0.5e-12, 4
    antenna = 9e-12 + np.array([0.0, 0.01, 0.1, 0.3, 0.5]) * 1e-12
    ladder = chain_modes(1e-3, 345e-12, inductance, antenna, own, tap, chokes)[:, 1]
    pi = pi_equivalent(inductance, own, tap, ladder[0], chokes)
    single = mode_frequencies(1e-3, 345e-12 + pi.end_stray, pi.inductance, antenna + pi.end_stray, pi.self_capacitance)[
        1
    ]
    assert_allclose(single[0], ladder[0], rtol=1e-9)
    off = 1200.0 * np.log2((single[0] - single[1:]) / (ladder[0] - ladder[1:]))
    assert np.abs(off).max() < 1.2
    assert np.ptp(off) < 0.3, "what is off is nearly the same everywhere, so it does not bend the field"
    forgotten = mode_frequencies(1e-3, 345e-12, 40e-3, antenna, own / chokes)[1]
    assert abs(forgotten[0] - ladder[0]) > 500.0, "the taps matter"


def test_more_tap_stray_lowers_every_mode():
    low = [chain_modes(*TANK, 10e-3, 10e-12, 4e-12, tap, 3) for tap in (0.2e-12, 0.5e-12, 1e-12)]
    assert (np.diff(np.array(low), axis=0) < 0.0).all()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((10e-3, 4e-12, 0.5e-12, 250e3, 0), "chokes must be"),
        ((10e-3, 4e-12, 0.5e-12, 250e3, True), "chokes must be"),
        ((-10e-3, 4e-12, 0.5e-12, 250e3, 2), "choke_inductance must be > 0"),
        ((10e-3, -4e-12, 0.5e-12, 250e3, 2), "choke_self_capacitance must be >= 0"),
        ((10e-3, 4e-12, 0.5e-12, 900e3, 2), "self-resonance"),
        ((10e-3, 1e-13, 0.5e-12, 250e3, 4), "outweighs"),
        ((10e-3, 4e-12, np.nan, 250e3, 2), "joint_stray must be finite"),
    ],
)
def test_bad_input(arguments, words):
    with pytest.raises(ValueError, match=words):
        pi_equivalent(*arguments)
