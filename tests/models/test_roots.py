"""Where a function passes through zero, against scipy.optimize, which is written by others for the same."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import brentq

from models.roots import root, roots

FUNCTIONS = {
    "a line": lambda x: 3.0 * x - 1.0,
    "a power": lambda x: x**9 - 1e-4,
    "steep": lambda x: math.atan(1e6 * (x - 0.3)),
    "flat": lambda x: (x - 0.4) ** 3,
    "a step": lambda x: -1.0 if x < 0.7 else 1.0,
    "falling": lambda x: math.exp(-5.0 * x) - 0.5,
}


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_root_is_that_of_a_library_in_as_few_values(name):
    calls = []

    def counted(x: float) -> float:
        calls.append(x)
        return FUNCTIONS[name](x)

    found = root(counted, 0.0, 1.0, xtol=1e-10)
    own = len(calls)
    assert_allclose(found, brentq(counted, 0.0, 1.0, xtol=1e-10), rtol=0.0, atol=2e-10 if name != "flat" else 1e-5)
    assert own <= len(calls) - own + 6


def test_many_roots_are_found_at_once():
    aims = np.linspace(0.0, 8.0, 33).reshape(3, 11)
    found = roots(lambda x: x**3 - aims, np.zeros(aims.shape), 2.0, xtol=1e-12)
    assert_allclose(found, np.cbrt(aims), rtol=0.0, atol=2e-12)
    assert roots(lambda x: x, np.zeros(0), np.zeros(0), xtol=1e-9).shape == (0,)


def test_ends_of_one_sign_and_what_is_no_number_are_refused():
    with pytest.raises(ValueError, match="one sign at both ends"):
        root(lambda x: x + 1.0, 0.0, 1.0, xtol=1e-9)
    with pytest.raises(ValueError, match="one sign at both ends"):
        roots(lambda x: x + 1.0, np.zeros(2), 1.0, xtol=1e-9)
    assert root(lambda x: x, 0.0, 1.0, xtol=1e-9) == 0.0
    assert root(lambda x: x - 1.0, 0.0, 1.0, xtol=1e-9) == 1.0
