"""The instrument as a chain: every link against its own law."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from small_instrument import STEEP, tuned

from models.branch.antenna_branch import DIRECT, SeriesInductor
from models.branch.modes import mode_frequencies
from models.tank import resonant_frequency


def test_direct_antenna_is_one_more_capacitor() -> None:
    instrument = tuned(0.45)
    distance = np.array([[0.02, 0.1], [0.45, 0.7]])
    capacitance = STEEP.capacitance(distance) + 1e-12
    assert_allclose(instrument.antenna_capacitance(distance), capacitance, rtol=1e-15, atol=0)
    assert_allclose(
        instrument.variable_frequency(distance), resonant_frequency(1e-3, 400e-12 + capacitance), rtol=1e-14
    )
    offset = instrument.offset_frequency(distance)
    assert offset.shape == (2, 2)
    assert offset[0, 0] > offset[0, 1] > offset[1, 0] == 0.0 > offset[1, 1]


@pytest.mark.parametrize("mode", ["low", "high"])
def test_branch_takes_the_chosen_mode(mode: str) -> None:
    branch = SeriesInductor(20e-3, 80.0, 1e-12)
    instrument = tuned(0.45, branch, mode)
    capacitance = instrument.antenna_capacitance(0.2)
    both = mode_frequencies(1e-3, 400e-12, 20e-3, capacitance, 1e-12)
    assert instrument.variable_frequency(0.2) == both[0 if mode == "low" else 1]


@pytest.mark.parametrize("branch", [DIRECT, SeriesInductor(15e-3, 80.0, 0.5e-12)])
def test_offset_falls_with_distance_and_its_slope_is_the_derivative(branch: SeriesInductor) -> None:
    instrument = tuned(0.45, branch)
    distance = np.linspace(0.011, 0.79, 200)
    assert np.all(np.diff(instrument.offset_frequency(distance)) < 0.0)
    step = 1e-6
    expected = (instrument.offset_frequency(distance + step) - instrument.offset_frequency(distance - step)) / (
        2 * step
    )
    assert_allclose(instrument.offset_slope(distance), expected, rtol=1e-4)


def test_beat_is_pulled_signed_and_silent_where_locked() -> None:
    instrument = tuned(0.45, lock_range=4.0)
    distance = np.linspace(0.02, 0.78, 300)
    offset, beat = instrument.offset_frequency(distance), instrument.beat_frequency(distance)
    locked = np.abs(offset) <= 4.0
    assert locked.any()
    assert np.array_equal(beat[locked], np.zeros(locked.sum()))
    assert_allclose(beat[~locked], np.sign(offset[~locked]) * np.sqrt(offset[~locked] ** 2 - 16.0), rtol=1e-12)


def test_outside_the_curve() -> None:
    instrument = tuned(0.45)
    with pytest.raises(ValueError, match=r"distance must be between 0\.01 and 0\.8 m; got 0\.9"):
        instrument.beat_frequency(0.9)
    assert_allclose(instrument.clip_to_curve([0.001, 0.3, 2.0]), [0.01, 0.3, 0.8], rtol=1e-15)
    instrument.beat_frequency(instrument.clip_to_curve([0.001, 0.3, 2.0]))
    with pytest.raises(ValueError, match="distance must be finite"):
        instrument.clip_to_curve(np.nan)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"reference_frequency": 0.0}, "reference_frequency must be > 0"),
        ({"antenna_stray": -1e-12}, "antenna_stray must be >= 0"),
        ({"lock_range": np.nan}, "lock_range must be a finite number"),
        ({"mode": "middle"}, "mode must be one of low, high"),
        ({"mode": "high"}, "mode must be low for an antenna without a series inductor"),
        ({"tone_low_pass": 0.0}, "tone_low_pass must be > 0"),
        ({"dc_block": -1.0}, "dc_block must be > 0"),
        ({"level": 1.2}, "level must be between 0 and 1"),
    ],
)
def test_bad_values_are_refused(values: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        replace(tuned(0.45), **values)
