"""Readings at Enter: from a sound that is handed over, without any device."""

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.testing import assert_allclose

from synth.analysis.listen_figures import BELOW, Beating
from synth.comparisons.made_sound import RATE, note
from synth.errors import DesignError
from synth.live.live_readings import HELP, LiveReadings, evenly, hand_mark


@dataclass
class Ear:
    """What hears the end of `sound`."""

    sound: np.ndarray
    sample_rate: int = RATE

    def latest(self, seconds):
        return self.sound[-round(seconds * self.sample_rate) :]


@pytest.fixture
def ear():
    return Ear(note(440.0, 1.0, "bright"))


def test_what_is_heard_in_one_line(ear):
    line = LiveReadings(ear, iter([0.1])).status()
    assert line.startswith("A4 ")
    assert "440.00 Hz" in line
    assert "Enter: reading at 10 cm" in line
    ear.sound = np.zeros(RATE)
    assert LiveReadings(ear, iter(())).status().startswith("silence")
    ear.sound = np.zeros(0)
    assert LiveReadings(ear, iter(())).status().startswith("silence")
    ear.sound = 0.1 * np.random.default_rng(1).normal(size=RATE)
    assert LiveReadings(ear, iter(())).status().startswith("no steady pitch")


def test_enter_takes_the_next_distance_and_u_gives_it_back(ear):
    told = []
    readings = LiveReadings(ear, evenly(0.05, 0.02), changed=told.append)
    assert "5 cm, 440.000 Hz, A4" in readings.command("\n")
    assert "7 cm" in readings.command("")
    assert "12.5 cm" in readings.command("12.5 cm\n")
    assert "away" in readings.command("away")
    assert [row.hand_distance_m for row in readings.rows] == [0.05, 0.07, 0.125, None]
    assert readings.rows[-1].hand_away
    assert readings.command("u") == "reading 4 is taken back"
    readings.command("u")
    readings.command("u")
    assert "reading at 7 cm" in readings.status()
    assert [len(rows) for rows in told] == [1, 2, 3, 4, 3, 2, 1]
    assert readings.command("q") is None


def test_what_cannot_be_done_is_said(ear):
    readings = LiveReadings(ear, iter(()))
    assert "no distance is left" in readings.command("")
    assert "no reading to take back" in readings.command("u")
    assert HELP in readings.command("12")
    assert HELP in readings.command("900 m")
    assert readings.command("h") == HELP
    ear.sound = np.zeros(RATE)
    assert "no steady pitch" in readings.command("5cm")
    assert readings.rows == ()


def test_the_clock_and_the_other_oscillator_count(ear):
    beating = Beating(300e3, BELOW, 500e-12)
    readings = LiveReadings(ear, evenly(0.1, -0.01), ratio=1.0001, beating=beating)
    readings.command("")
    ear.sound = note(441.0, 1.0, "bright")
    said = readings.command("")
    first, second = readings.rows
    assert_allclose(first.frequency_hz, 440.044, rtol=1e-6)
    assert_allclose(second.oscillator_hz, [300e3 - 441.0441], rtol=1e-8)
    # 1 Hz of beat at 300 kHz and 500 pF: 2 C df / f = 3.33 fF
    assert_allclose(second.added_capacitance_f, 3.33e-15, rtol=5e-3, atol=0.0)
    assert "fF since the first" in said


def test_hand_distances():
    assert hand_mark("12.5 cm") == 0.125
    assert hand_mark(" Away") == "away"
    assert list(evenly(4.97, 0.02)) == [4.97, 4.99]
    assert list(evenly(0.01, -0.01)) == [0.01]
    for text in ("1 mm", "6 m", "12", "x"):
        with pytest.raises(DesignError):
            hand_mark(text)
