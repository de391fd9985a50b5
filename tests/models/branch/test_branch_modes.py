"""Tank, series inductor and antenna without loss: the two exact frequencies and their slopes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.linalg import eigh

from models.branch.modes import (
    above_branch,
    antenna_capacitance,
    branch_load,
    mode_frequencies,
    mode_slope,
    squared_frequencies,
    voltage_ratio,
)
from models.tank import frequency_slope, resonant_frequency

L0, C0, CA = 1e-3, 400e-12, 10e-12
tank_inductances = st.floats(1e-5, 1e-2)
tank_capacitances = st.floats(2e-11, 2e-9)
branch_inductances = st.floats(1e-4, 0.2)
antenna_capacitances = st.floats(2e-12, 5e-11)
self_capacitances = st.floats(0.0, 2e-11)


def test_check_values() -> None:
    # computed beside this project
    for branch, low, high in ((20e-3, 245_837.001, 364_290.647), (40e-3, 232_536.862, 272_325.597)):
        assert_allclose(mode_frequencies(L0, C0, branch, CA), (low, high), rtol=0, atol=5e-4)
    slopes = mode_slope(L0, C0, 40e-3, CA)
    assert_allclose(slopes, np.array([-6271.583e12, -6271.583e12]), rtol=1e-7)


@given(tank_inductances, tank_capacitances, branch_inductances, antenna_capacitances, self_capacitances)
def test_against_the_nodal_eigenvalue_problem(l0: float, c0: float, la: float, ca: float, cs: float) -> None:
    # node voltages u obey (1/L matrix) u = omega^2 (C matrix) u: the textbook nodal form, solved by a library
    capacitance = np.array([[c0 + cs, -cs], [-cs, ca + cs]])
    inverse_inductance = np.array([[1.0 / l0 + 1.0 / la, -1.0 / la], [-1.0 / la, 1.0 / la]])
    squared = eigh(inverse_inductance, capacitance, eigvals_only=True)
    assert_allclose(mode_frequencies(l0, c0, la, ca, cs), np.sqrt(squared) / (2.0 * np.pi), rtol=1e-9)


@given(tank_inductances, tank_capacitances, branch_inductances, antenna_capacitances, self_capacitances)
def test_slope_is_the_derivative(l0: float, c0: float, la: float, ca: float, cs: float) -> None:
    step = 1e-4 * ca
    up, down = (np.array(mode_frequencies(l0, c0, la, ca + move, cs)) for move in (step, -step))
    expected = (up - down) / (2.0 * step)
    frequency = np.array(mode_frequencies(l0, c0, la, ca, cs))
    assert_allclose(mode_slope(l0, c0, la, ca, cs), expected, rtol=1e-4, atol=1e-10 * frequency.max() / ca)


@given(tank_inductances, tank_capacitances, branch_inductances, self_capacitances)
def test_both_modes_fall_as_the_antenna_grows(l0: float, c0: float, la: float, cs: float) -> None:
    low, high = mode_frequencies(l0, c0, la, np.linspace(2e-12, 50e-12, 60), cs)
    assert np.all(low <= high)
    assert np.all(np.diff(low) <= 1e-12 * low[1:])
    assert np.all(np.diff(high) <= 1e-12 * high[1:])


def test_direct_antenna() -> None:
    antenna = np.array([5e-12, 10e-12, 20e-12])
    low, high = mode_frequencies(L0, C0, 0.0, antenna)
    assert_allclose(low, resonant_frequency(L0, C0 + antenna), rtol=1e-15)
    assert np.all(np.isinf(high))
    slope, infinite = mode_slope(L0, C0, 0.0, antenna)
    assert_allclose(slope, frequency_slope(L0, C0 + antenna), rtol=1e-14)
    assert np.all(infinite == -np.inf)


def test_limits() -> None:
    # a vanishing branch inductance is a direct antenna; a huge one cuts the antenna off
    low, high = mode_frequencies(L0, C0, 1e-12, CA)
    assert_allclose(low, resonant_frequency(L0, C0 + CA), rtol=1e-9)
    assert_allclose(high, resonant_frequency(1e-12, C0 * CA / (C0 + CA)), rtol=1e-6)
    low, high = mode_frequencies(L0, C0, 1e3, CA)
    assert_allclose(high, resonant_frequency(L0, C0), rtol=1e-5)
    assert_allclose(low, resonant_frequency(1e3, CA), rtol=1e-5)
    # self-capacitance alone couples like a plain series capacitor
    _, high = mode_frequencies(L0, C0, 1e6, CA, 2e-12)
    assert_allclose(high, resonant_frequency(L0, C0 + 2e-12 * CA / (2e-12 + CA)), rtol=1e-8)


def test_no_digits_are_lost_where_the_modes_are_far_apart() -> None:
    mpmath = pytest.importorskip("mpmath")
    l0, c0, la, ca = 1e-3, 400e-12, 1e-9, 10e-12
    with mpmath.workdps(50):
        exact = [mpmath.mpf(value) for value in (l0, c0, la, ca)]
        a = exact[0] * exact[1] * exact[2] * exact[3]
        b = exact[0] * exact[1] + exact[2] * exact[3] + exact[0] * exact[3]
        root = mpmath.sqrt(b * b - 4 * a)
        expected = [float(mpmath.sqrt((b + sign * root) / (2 * a)) / (2 * mpmath.pi)) for sign in (-1, 1)]
    assert_allclose(mode_frequencies(l0, c0, la, ca), expected, rtol=1e-15)


def test_scaling_of_all_capacitances() -> None:
    one = np.array(mode_frequencies(L0, C0, 20e-3, CA, 1e-12))
    assert_allclose(mode_frequencies(L0, 4 * C0, 20e-3, 4 * CA, 4e-12), 0.5 * one, rtol=1e-14)


def test_broadcasts() -> None:
    low, high = mode_frequencies(L0, C0, np.array([[0.0], [20e-3]]), np.array([8e-12, 10e-12, 12e-12]))
    assert low.shape == high.shape == (2, 3)


@pytest.mark.parametrize(
    ("place", "name"),
    list(
        enumerate(
            ("tank_inductance", "tank_capacitance", "branch_inductance", "antenna_capacitance", "self_capacitance")
        )
    ),
)
@pytest.mark.parametrize("bad", [-1e-12, np.nan, np.inf, True])
def test_bad_values_are_refused(place: int, name: str, bad: float) -> None:
    values: list[float] = [L0, C0, 20e-3, CA, 0.0]
    values[place] = bad
    with pytest.raises(ValueError, match=f"{name} must be"):
        mode_frequencies(*values)
    with pytest.raises(ValueError, match=f"{name} must be"):
        mode_slope(*values)


@given(tank_inductances, tank_capacitances, branch_inductances, antenna_capacitances, self_capacitances)
def test_ratio_load_and_inverse_are_those_of_the_network(l0: float, c0: float, la: float, ca: float, cs: float) -> None:
    """From the admittances themselves, at any frequency; at a mode the tank with the load is in resonance (Thomson)."""
    for factor in (0.3, 0.8, 1.3, 3.0):
        squared = factor / (la * (ca + cs))
        w = np.sqrt(squared)
        series = 1j * w * cs + 1.0 / (1j * w * la)
        rod = 1j * w * ca
        if abs(series + rod) < 1e-6 * abs(rod) or abs(series) < 1e-6 * abs(rod):
            continue
        assert_allclose(voltage_ratio(squared, la, ca, cs), (series / (series + rod)).real, rtol=1e-7)
        assert_allclose(branch_load(squared, la, ca, cs), (series * rod / (series + rod)).imag / w, rtol=1e-7)
        assert above_branch(squared, la, ca, cs) == (factor > 1.0)
    for squared in squared_frequencies(*(np.array([value]) for value in (l0, c0, la, ca, cs))):
        total = c0 + branch_load(squared, la, ca, cs)
        if abs(total[0]) > 1e-3 * c0:  # else the sum loses its digits
            assert_allclose(squared * l0 * total, 1.0, rtol=1e-6)


def test_antenna_capacitance_is_the_inverse_of_both_modes() -> None:
    antenna = np.geomspace(5e-12, 30e-12, 7)
    for branch, own in ((0.0, 0.0), (20e-3, 0.0), (40e-3, 1e-12)):
        for squared in squared_frequencies(*(np.asarray(value) for value in (L0, C0, branch, antenna, own))):
            if np.isfinite(squared).all():
                assert_allclose(antenna_capacitance(squared, L0, C0, branch, own), antenna, rtol=1e-9, atol=0)
    assert np.isnan(antenna_capacitance(np.array([1.01 / (L0 * C0)]), L0, C0, 0.0, 0.0)).all(), "above the tank alone"
    # straight on the tank: Ca = 1 / (X L0) - C0 (Thomson)
    squared = 0.97 / (L0 * C0)
    assert_allclose(antenna_capacitance(squared, L0, C0, 0.0, 0.0), 1.0 / (squared * L0) - C0, rtol=1e-12, atol=0)


def test_a_branch_of_nothing_is_a_wire() -> None:
    assert voltage_ratio(1e12, 0.0, 1e-11, 0.0) == 1.0
    assert branch_load(1e12, 0.0, 1e-11, 0.0) == 1e-11
    assert not above_branch(1e12, 0.0, 1e-11, 0.0)
