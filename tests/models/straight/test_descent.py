"""Descent from many starts: against scipy's least squares, at bounds, and where there is nothing to stand on."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose
from scipy.optimize import least_squares

from models.straight.descent import descend

LOW, HIGH = np.array([-2.0, -2.0]), np.array([2.0, 2.0])


def valley(unknowns):
    """The curved valley of H. H. Rosenbrock, Computer J. 3 (1960) 175: lowest, 0, at (1, 1)."""
    x, y = unknowns
    return np.stack([10.0 * (y - x**2), 1.0 - x], axis=1)


def test_the_curved_valley_is_followed_to_its_end():
    found, sums = descend(valley, np.array([[-1.2, 0.0, 1.9], [1.0, -1.5, 1.9]]), LOW, HIGH, 40)
    assert_allclose(found, 1.0, atol=1e-6)
    assert_allclose(sums, 0.0, atol=1e-12)


def test_at_a_bound_as_scipy():
    high = np.array([0.5, 2.0])
    found, sums = descend(valley, np.array([[-1.0], [1.0]]), LOW, high, 40)
    scipy = least_squares(lambda at: valley(at[:, None])[0], [-1.0, 1.0], bounds=(LOW, high))
    assert_allclose(found[:, 0], scipy.x, atol=1e-4)
    assert_allclose(sums[0], 2.0 * scipy.cost, rtol=1e-6)


def test_a_start_without_residuals_stays_and_the_others_go_on():
    def gap(unknowns):
        return np.where(unknowns[0] < -1.5, np.nan, valley(unknowns).T).T

    found, sums = descend(gap, np.array([[-1.8, -1.0], [0.0, 1.0]]), LOW, HIGH, 40)
    assert_allclose(found[:, 0], [-1.8, 0.0])
    assert np.isinf(sums[0])
    assert_allclose(found[:, 1], 1.0, atol=1e-6)
