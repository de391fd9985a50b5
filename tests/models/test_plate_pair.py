"""Two round plates: Kirchhoff's formula, scaling, order, bad input."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.constants import epsilon_0

from models.plate_pair import plate_pair_capacitance


def kirchhoff(radius, gap):
    """G. Kirchhoff 1877 (from memory), for a gap much smaller than the radius."""
    rim = radius * (np.log(16.0 * np.pi * radius / gap) - 1.0)
    return epsilon_0 * (np.pi * radius**2 / gap + rim)


@pytest.mark.parametrize("gap", [0.002, 0.004])
def test_kirchhoffs_formula(gap):
    assert plate_pair_capacitance(0.2, gap) == pytest.approx(kirchhoff(0.1, gap), rel=3e-3, abs=0.0)


def test_scaling_and_order():
    first = plate_pair_capacitance(0.2, 0.004)
    assert plate_pair_capacitance(0.4, 0.008) == pytest.approx(2.0 * first, rel=1e-9, abs=0.0)
    assert plate_pair_capacitance(0.2, 0.008) < first < plate_pair_capacitance(0.2, 0.002)
    assert 0.5 * first < plate_pair_capacitance(0.2, 0.008)  # the rim: more than half is left at twice the gap


@pytest.mark.parametrize(("diameter", "gap"), [(0.0, 0.01), (0.1, -1.0), (float("nan"), 0.01)])
def test_bad_input(diameter, gap):
    with pytest.raises(ValueError, match=r"diameter|gap"):
        plate_pair_capacitance(diameter, gap)
