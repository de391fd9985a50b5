"""Bands of readings and what explains one that is off."""

from __future__ import annotations

import math

import pytest

from models.readings.reading_band import explaining_change, reading_band, relative_sensitivity
from models.tank import resonant_frequency

INDUCTANCE, CAPACITANCE = 1e-3, 400e-12


def test_a_power_law_has_its_exponent_as_sensitivity() -> None:
    """S of x^n is n (textbook); of a resonance -1/2 in inductance and in the whole capacitance."""
    assert relative_sensitivity(lambda factor: 7.0 * factor**3) == pytest.approx(3.0, rel=1e-5)
    slope = relative_sensitivity(lambda factor: float(resonant_frequency(INDUCTANCE, factor * CAPACITANCE)))
    assert slope == pytest.approx(-0.5, rel=1e-5)


def test_one_percent_low_is_two_percent_of_capacitance() -> None:
    """Common practice: 1 % of frequency is about 2 % of the tank's capacitance."""
    change = explaining_change(-0.5, -0.01)
    assert change == pytest.approx(0.02, rel=1e-12)
    found = float(resonant_frequency(INDUCTANCE, CAPACITANCE * (1.0 + change)))
    assert found == pytest.approx(0.99 * float(resonant_frequency(INDUCTANCE, CAPACITANCE)), rel=2e-4)


def test_three_four_five() -> None:
    band = reading_band({"a": 0.5, "b": -1.0, "c": 9.0}, {"a": 0.06, "b": 0.04})
    assert band.root_sum_square == pytest.approx(0.05, rel=1e-12)
    assert band.worst_case == pytest.approx(0.07, rel=1e-12)


def test_the_worst_case_is_that_of_the_corners() -> None:
    """Brute force over both ends of coil and capacitor, to the first order the band promises."""
    nominal = float(resonant_frequency(INDUCTANCE, CAPACITANCE))
    corners = [
        float(resonant_frequency(INDUCTANCE * (1.0 + a), CAPACITANCE * (1.0 + b))) / nominal - 1.0
        for a in (-0.05, 0.05)
        for b in (-0.05, 0.05)
    ]
    band = reading_band({"coil": -0.5, "capacitor": -0.5}, {"coil": 0.05, "capacitor": 0.05})
    assert 0.5 * (max(corners) - min(corners)) == pytest.approx(band.worst_case, rel=5e-3)


@pytest.mark.parametrize("bad", [math.nan, math.inf, True])
def test_bad_input_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="sensitivity"):
        reading_band({"a": bad}, {"a": 0.1})
    with pytest.raises(ValueError, match="tolerance"):
        reading_band({"a": 1.0}, {"a": bad})
    with pytest.raises(ValueError, match="sensitivity"):
        explaining_change(bad, 0.01)


def test_no_sensitivity_explains_nothing() -> None:
    with pytest.raises(ValueError, match="must not be 0"):
        explaining_change(0.0, 0.01)
    with pytest.raises(ValueError, match="must not be 0"):
        relative_sensitivity(lambda factor: 0.0)
