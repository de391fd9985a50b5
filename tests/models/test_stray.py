"""Stray capacitance from readings."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.stray import stray_range, tank_from_readings


def test_two_readings_give_inductance_and_the_rest():
    # common practice: 400 pF fitted read 147 kHz where 100 pF read 172.278 kHz: 1.063 mH and 703 pF elsewhere
    reading = tank_from_readings(100e-12, 172.278e3, 400e-12, 147e3)
    assert_allclose(reading.inductance, 1.063e-3, rtol=1e-3, atol=0)
    assert_allclose(reading.elsewhere, 703e-12, rtol=1e-3, atol=0)


def test_readings_of_a_known_tank_give_it_back():
    inductance, elsewhere = 820e-6, 333e-12
    frequency = [1 / (2 * np.pi * np.sqrt(inductance * (elsewhere + c))) for c in (0.0, 220e-12)]
    reading = tank_from_readings(0.0, frequency[0], 220e-12, frequency[1])
    assert_allclose([reading.inductance, reading.elsewhere], [inductance, elsewhere], rtol=1e-10, atol=0)
    swapped = tank_from_readings(220e-12, frequency[1], 0.0, frequency[0])
    assert_allclose(swapped.elsewhere, elsewhere, rtol=1e-10, atol=0)


def test_boards_rank_as_practice_has_it():
    assert stray_range("solderless breadboard")[1] > stray_range("perfboard")[1] > stray_range("etched board")[1]


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        ((100e-12, 172e3, 100e-12, 147e3), "must differ"),
        ((100e-12, 147e3, 400e-12, 172e3), "larger capacitor must give the lower frequency"),
        ((100e-12, 172e3, 400e-12, 60e3), "check both"),
        ((-1e-12, 172e3, 400e-12, 147e3), "first_capacitor"),
        ((100e-12, 0.0, 400e-12, 147e3), "first_frequency"),
    ],
)
def test_contradicting_readings_are_refused(arguments, word):
    with pytest.raises(ValueError, match=word):
        tank_from_readings(*arguments)


def test_unknown_board():
    with pytest.raises(ValueError, match="board must be one of"):
        stray_range("cardboard")
