"""The capacitance curve: exact where the law is a power, smooth, monotone, cheap to send about, strict about input."""

import pickle
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.interpolate import CubicSpline, PchipInterpolator

from models.hand.capacitance_curve import CapacitanceCurve, is_strictly_monotone

DISTANCES = np.geomspace(0.01, 0.8, 40)
EMPTY = 6e-12


def law(distance):
    return EMPTY + 5e-14 / (distance + 0.03)


def law_slope(distance):
    return -5e-14 / (distance + 0.03) ** 2


CURVE = CapacitanceCurve(DISTANCES, law(DISTANCES), EMPTY)


def test_a_power_law_is_reproduced_exactly():
    curve = CapacitanceCurve(DISTANCES, EMPTY + 1e-14 * DISTANCES**-1.3, EMPTY)
    d = np.linspace(0.01, 0.8, 501)
    assert_allclose(curve.capacitance(d) - EMPTY, 1e-14 * d**-1.3, rtol=1e-9, atol=0)
    assert_allclose(curve.slope(d), -1.3e-14 * d**-2.3, rtol=1e-9, atol=0)


def test_a_smooth_law_between_the_points():
    d = np.geomspace(0.01, 0.8, 2001)
    assert_allclose(CURVE.capacitance(d) - EMPTY, law(d) - EMPTY, rtol=2e-6, atol=0)
    assert_allclose(CURVE.slope(d), law_slope(d), rtol=1e-4, atol=0)
    assert_allclose(CURVE.capacitance(DISTANCES), law(DISTANCES), rtol=1e-14, atol=0)


def test_the_slope_is_the_derivative():
    d, step = np.geomspace(0.011, 0.79, 97), 1e-6
    difference = (CURVE.capacitance(d + step) - CURVE.capacitance(d - step)) / (2.0 * step)
    assert_allclose(CURVE.slope(d), difference, rtol=1e-4, atol=0)


def test_a_table_whose_spline_would_turn_takes_the_shape_preserving_cubic():
    steps, drops = np.log([0.02, 0.04, 0.08, 0.16, 0.32]), np.array([0.0, -0.01, -3.0, -3.01, -3.02])
    assert (CubicSpline(steps, drops)(np.linspace(steps[0], steps[-1], 400), 1) > 0.0).any()
    curve = CapacitanceCurve(np.exp(steps), EMPTY + 1e-12 * np.exp(drops), EMPTY)
    d = np.exp(np.linspace(steps[1], steps[3], 200))  # the end pieces apart
    expected = 1e-12 * np.exp(PchipInterpolator(steps, drops)(np.log(d)))
    assert_allclose(curve.capacitance(d) - EMPTY, expected, rtol=1e-11, atol=0)


@given(st.lists(st.floats(0.01, 8.0), min_size=2, max_size=12), st.integers(0, 2**32 - 1))
def test_any_falling_table_gives_a_falling_curve_with_continuous_slope(drops, seed):
    steps = np.random.default_rng(seed).uniform(0.02, 1.0, len(drops))
    distances = 0.01 * np.exp(np.concatenate([[0.0], np.cumsum(steps)]))
    added = 1e-12 * np.exp(-np.concatenate([[0.0], np.cumsum(0.2 * np.array(drops))]))
    curve = CapacitanceCurve(distances, EMPTY + added, EMPTY)
    fine = np.geomspace(curve.nearest, curve.farthest, 600)[1:-1]
    slopes = curve.slope(fine)
    assert (slopes < 0.0).all()
    assert (np.diff(curve.capacitance(fine)) <= 0.0).all()
    inner = distances[1:-1]
    before, after = curve.slope(inner * (1.0 - 1e-9)), curve.slope(inner * (1.0 + 1e-9))
    assert_allclose(before, after, rtol=0, atol=1e-6 * np.abs(slopes).max())


def test_the_monotone_test_of_slopes():
    assert is_strictly_monotone(np.array([1.0]), np.array([1.0, 1.0]))
    assert is_strictly_monotone(np.array([1.0]), np.array([3.0, 0.5]))
    assert not is_strictly_monotone(np.array([1.0]), np.array([3.9, 3.9]))
    assert not is_strictly_monotone(np.array([-1.0]), np.array([-1.0, 0.1]))


def test_shapes_ends_and_bounds():
    assert (CURVE.nearest, CURVE.farthest) == (DISTANCES[0], DISTANCES[-1])
    assert CURVE.capacitance(0.1).shape == ()
    assert CURVE.slope(np.full((2, 3), 0.1)).shape == (2, 3)
    assert_allclose(CURVE.capacitance([CURVE.nearest, CURVE.farthest]), law(DISTANCES)[[0, -1]], rtol=1e-14, atol=0)
    for bad in (0.0099, 0.81, [0.1, 1.0], -0.1, float("nan"), True):
        for method in (CURVE.capacitance, CURVE.slope):
            with pytest.raises(ValueError, match="distance must be"):
                method(bad)


def test_equality_hash_pickle_and_protection():
    again = pickle.loads(pickle.dumps(CURVE))
    assert again == CURVE
    assert hash(again) == hash(CURVE)
    assert_allclose(again.slope(0.123), CURVE.slope(0.123), rtol=0)
    assert CapacitanceCurve(DISTANCES, law(DISTANCES), 5e-12) != CURVE
    assert CURVE != 3
    with pytest.raises(ValueError, match="read-only"):
        CURVE.distances[0] = 0.5
    source = DISTANCES.copy()
    kept = CapacitanceCurve(source, law(source), EMPTY)
    source[0] = 0.5
    assert kept.nearest == 0.01


@pytest.mark.parametrize(
    ("distances", "capacitances", "empty", "message"),
    [
        ([0.1], [7e-12], EMPTY, "at least 2"),
        ([0.1, 0.2], [8e-12, 7e-12, 6.5e-12], EMPTY, "same length"),
        ([0.2, 0.1], [8e-12, 7e-12], EMPTY, "increase"),
        ([0.1, 0.1], [8e-12, 7e-12], EMPTY, "increase"),
        ([0.1, 0.2], [7e-12, 7e-12], EMPTY, "decrease"),
        ([0.1, 0.2], [8e-12, 6e-12], EMPTY, "empty_capacitance"),
        ([0.0, 0.2], [8e-12, 7e-12], EMPTY, "distances"),
        ([0.1, float("nan")], [8e-12, 7e-12], EMPTY, "distances"),
        ([0.1, 0.2], [8e-12, -7e-12], EMPTY, "capacitances"),
        ([0.1, 0.2], [8e-12, 7e-12], True, "empty_capacitance"),
        ([0.1, 0.2], [8e-12, 7e-12], 0.0, "empty_capacitance"),
    ],
)
def test_bad_tables_are_refused(distances, capacitances, empty, message):
    with pytest.raises(ValueError, match=message):
        CapacitanceCurve(distances, capacitances, empty)


def test_the_scene_and_the_curve_need_no_solver():
    code = "import sys, models.hand.hand_field; assert not any(m.startswith('models.el') for m in sys.modules)"
    subprocess.run([sys.executable, "-c", code], check=True)
