"""Convex outlines against scipy.spatial, which is written by others for the same."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from scipy.spatial import ConvexHull

from models.outline import convex_outline

RANDOM = np.random.default_rng(3)
GRID = np.stack(np.meshgrid(np.arange(5.0), np.arange(4.0)), axis=-1).reshape(-1, 2)


@pytest.mark.parametrize(
    "points", [RANDOM.normal(size=(300, 2)), GRID, np.repeat(RANDOM.normal(size=(9, 2)), 3, axis=0)]
)
def test_an_outline_is_that_of_a_library(points):
    found = convex_outline(points)
    expected = points[ConvexHull(points).vertices]
    first = int(np.flatnonzero((expected == found[0]).all(axis=1))[0])
    assert_array_equal(found, np.roll(expected, -first, axis=0))
