"""The tuned circuit: resonance, trimmer, loss."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from models.tank import (
    Tank,
    capacitance_shift,
    frequency_slope,
    required_capacitance,
    resonant_frequency,
)

TRIMMED = Tank(1e-3, 400e-12, 20e-12, 5e-12, 65e-12, 0.5, 80.0)


def test_check_values() -> None:
    # computed beside this project: 1 mH with 500 pF, and the effect of 0.1 pF more
    assert_allclose(resonant_frequency(1e-3, 500e-12), 225_079.0790, rtol=0, atol=5e-5)
    change = resonant_frequency(1e-3, 500.1e-12) - resonant_frequency(1e-3, 500e-12)
    assert_allclose(change, -22.504532, rtol=0, atol=5e-7)


def test_scaling_and_inverse() -> None:
    inductance, capacitance = np.array([1e-4, 1e-3]), np.array([[100e-12], [2e-9]])
    frequency = resonant_frequency(inductance, capacitance)
    assert frequency.shape == (2, 2)
    assert_allclose(resonant_frequency(4.0 * inductance, capacitance), 0.5 * frequency, rtol=1e-14)
    assert_allclose(
        required_capacitance(inductance, frequency), np.broadcast_to(capacitance, (2, 2)), rtol=1e-13, atol=0
    )


def test_slope_is_the_derivative() -> None:
    step = 1e-15
    difference = resonant_frequency(1e-3, 500e-12 + step) - resonant_frequency(1e-3, 500e-12 - step)
    assert_allclose(frequency_slope(1e-3, 500e-12), difference / (2.0 * step), rtol=1e-6)


def test_capacitance_from_the_shift_of_frequency() -> None:
    before, after = resonant_frequency(1e-3, 500e-12), resonant_frequency(1e-3, np.array([500.1e-12, 520e-12, 499e-12]))
    assert_allclose(capacitance_shift(500e-12, before, after), [0.1e-12, 20e-12, -1e-12], rtol=1e-9, atol=0)
    # 2 C df / f: a hertz at 300 kHz and 500 pF is 3.33 fF
    assert_allclose(capacitance_shift(500e-12, 300e3, 300e3 - 1.0), 3.33e-15, rtol=2e-3, atol=0)
    with pytest.raises(ValueError, match="after"):
        capacitance_shift(500e-12, 300e3, 0.0)


@given(st.floats(0.0, 1.0))
def test_trimmer_setting_is_found_again(setting: float) -> None:
    tank = TRIMMED.with_trimmer(setting)
    assert_allclose(TRIMMED.setting_for(tank.frequency), setting, atol=1e-11)


def test_trimmer_range_and_refusal() -> None:
    lowest, highest = TRIMMED.trimmer_range()
    assert_allclose(lowest, resonant_frequency(1e-3, 485e-12), rtol=1e-14)
    assert_allclose(highest, resonant_frequency(1e-3, 425e-12), rtol=1e-14)
    assert TRIMMED.setting_for(lowest) == 1.0
    assert TRIMMED.setting_for(highest) == 0.0
    with pytest.raises(ValueError, match=rf"range {lowest:.2f} to {highest:.2f} Hz; got 300000"):
        TRIMMED.setting_for(300e3)
    fixed = Tank(1e-3, 400e-12)
    assert fixed.setting_for(fixed.frequency) == 0.5
    with pytest.raises(ValueError, match="range"):
        fixed.setting_for(1.0001 * fixed.frequency)


def test_series_resistance_is_the_quality_factor() -> None:
    assert_allclose(TRIMMED.series_resistance, 2.0 * np.pi * TRIMMED.frequency * 1e-3 / 80.0, rtol=1e-14)


def test_antenna_lowers_the_frequency() -> None:
    frequencies = TRIMMED.with_antenna(np.linspace(0.0, 20e-12, 50))
    assert frequencies[0] == TRIMMED.frequency
    assert np.all(np.diff(frequencies) < 0.0)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"inductance": 0.0}, "inductance must be > 0; got 0"),
        ({"inductance": True}, "inductance must be a finite number"),
        ({"capacitance": -1e-12}, "capacitance must be >= 0"),
        ({"capacitance": np.nan}, "capacitance must be a finite number"),
        ({"board_stray": np.inf}, "board_stray must be a finite number"),
        ({"trimmer_minimum": 70e-12}, "trimmer_maximum must be >= trimmer_minimum"),
        ({"trimmer_setting": 1.1}, "trimmer_setting must be between 0 and 1"),
        ({"quality_factor": 1.0}, "quality_factor must be > 1; got 1"),
    ],
)
def test_bad_values_are_refused(values: dict[str, float], message: str) -> None:
    given_values = {"inductance": 1e-3, "capacitance": 1e-10, "trimmer_maximum": 60e-12} | values
    with pytest.raises(ValueError, match=message):
        Tank(**given_values)


def test_tank_without_capacitance_is_refused() -> None:
    with pytest.raises(ValueError, match="total capacitance must be > 0"):
        Tank(1e-3, 0.0)
    with pytest.raises(ValueError, match="must be > 0"):
        resonant_frequency([1e-3, 0.0], 1e-12)
