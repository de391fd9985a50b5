"""Cubics between knots against scipy.interpolate, which is written by others for the same."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.interpolate import CubicHermiteSpline, CubicSpline, PchipInterpolator

from models.spline import Cubic, inner_slopes, spline

RANDOM = np.random.default_rng(8)
KNOTS = np.cumsum(RANDOM.uniform(0.2, 3.0, 9))
PLACES = np.concatenate([KNOTS, RANDOM.uniform(KNOTS[0] - 0.5, KNOTS[-1] + 0.5, 40)])


@pytest.mark.parametrize("count", [2, 3, 4, 9])
@pytest.mark.parametrize("order", [0, 1, 2])
def test_a_spline_is_that_of_a_library(count, order):
    values = RANDOM.normal(size=(count, 2, 3)) + 1j * RANDOM.normal(size=(count, 2, 3))
    own, other = spline(KNOTS[:count], values), CubicSpline(KNOTS[:count], values)
    assert_allclose(own(PLACES, order), other(PLACES, order), rtol=1e-10, atol=1e-10)


def test_a_spline_of_many_knots_is_that_of_a_library():
    knots, values = np.cumsum(RANDOM.uniform(0.05, 1.0, 5000)), RANDOM.normal(size=5000)
    own, other = spline(knots, values), CubicSpline(knots, values)
    assert_allclose(own(knots, 1), other(knots, 1), rtol=1e-11, atol=1e-11)


def test_a_row_of_values_takes_places_of_any_shape():
    own = spline(KNOTS, KNOTS**3)
    assert own(2.0).shape == ()
    assert own(PLACES[:6].reshape(2, 3)).shape == (2, 3)
    assert_allclose(own(PLACES), PLACES**3, rtol=1e-11, atol=1e-9)  # a cubic is its own spline
    assert_allclose(own(PLACES, 3), 6.0, rtol=1e-9)


def test_a_cubic_with_given_slopes_is_that_of_a_library():
    values, slopes = RANDOM.normal(size=(2, KNOTS.size))
    assert_allclose(
        Cubic(KNOTS, values, slopes)(PLACES), CubicHermiteSpline(KNOTS, values, slopes)(PLACES), rtol=1e-10, atol=1e-12
    )


def test_slopes_that_keep_the_shape_are_those_of_a_library():
    values = np.cumsum(RANDOM.choice([-1.0, 0.0, 2.0], size=(3, KNOTS.size)), axis=1)
    values[0] = np.cumsum(RANDOM.uniform(0.1, 2.0, KNOTS.size))
    expected = PchipInterpolator(KNOTS, values, axis=-1)(KNOTS[1:-1], 1)
    assert_allclose(inner_slopes(KNOTS, values), expected, rtol=1e-11, atol=1e-13)
