"""The judgement of a run, against what was put into it and against the hand that plays tunes."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from models.arrays import Floats
from models.pitch import note_number
from synth.build.workbench import OpenedDesign
from synth.hands.tune_path import LEAD, Manner, perform
from synth.practice.judgement import EARLY, Heard, judged, vibrato_of
from synth.practice.score import Score, in_turn, score_of
from synth.tunes.note_list import read_note_list

RATE = 60.0  # Hz, as the window's pictures come
SCORE = Score("two", "Two", in_turn([(60, 2.0), (72, 2.0), (67, 2.0)]))


def heard(pitch: Callable[[Floats], Floats], seconds: float = 6.0, gain: float = 1.0, turn: int = 0) -> Heard:
    clock = np.arange(-1.0, seconds, 1.0 / RATE)
    return Heard(100.0 + clock, clock, pitch(clock), np.full(clock.size, gain), np.full(clock.size, turn))


def steps(errors: tuple[float, ...], late: float = 0.0) -> Callable[[Floats], Floats]:
    """The hand that is on each note of SCORE, `errors` cents off, `late` s after its beginning."""

    def at(time: Floats) -> Floats:
        place = np.clip(np.searchsorted([goal.start + late for goal in SCORE.goals], time, "right") - 1, 0, 2)
        wanted = np.array([goal.number for goal in SCORE.goals], dtype=np.float64)[place]
        return np.asarray(wanted + 0.01 * np.array(errors)[place])

    return at


def test_cents_timing_and_the_worst_leap_are_what_was_played() -> None:
    found = judged(SCORE, heard(steps((5.0, -30.0, 12.0), late=0.1)))
    assert [note.cents for note in found.notes] == pytest.approx([5.0, -30.0, 12.0])
    assert found.rms_cents == pytest.approx(math.sqrt((25.0 + 900.0 + 144.0) / 3.0))
    assert found.bias_cents == pytest.approx(5.0)
    assert [note.late for note in found.notes[1:]] == pytest.approx([0.1, 0.1], abs=1.01 / RATE)
    assert found.notes[0].late == pytest.approx(-EARLY, abs=1.01 / RATE)  # it lay in wait: no earlier is told apart
    assert found.worst_leap is not None
    assert [note.goal.number for note in found.worst_leap] == [60, 72]
    assert found.heard == 3


def test_spread_is_about_a_straight_line() -> None:
    random = np.random.default_rng(7)
    found = judged(SCORE, heard(lambda time: 60.0 + 0.01 * (3.0 * time + 8.0 * random.standard_normal(time.size))))
    assert found.notes[0].spread == pytest.approx(8.0, rel=0.15)


def test_silence_is_no_pitch() -> None:
    silent = judged(SCORE, heard(steps((0.0, 0.0, 0.0)), gain=0.0))
    assert silent.heard == 0
    assert (silent.rms_cents, silent.late, silent.worst_leap) == (None, None, None)
    nothing = judged(SCORE, heard(lambda time: np.full(time.size, np.nan)))
    assert nothing.rms_cents is None


def test_each_turn_of_a_loop_is_judged_by_itself() -> None:
    first, second = heard(steps((10.0, 0.0, 0.0))), heard(steps((-20.0, 0.0, 0.0), late=0.2), turn=1)
    both = Heard(
        np.concatenate([first.clock, second.clock + 50.0]),
        *(np.concatenate([getattr(first, name), getattr(second, name)]) for name in ("at", "pitch", "gain", "turn")),
    )
    found = judged(SCORE, both)
    assert [(note.turn, note.place) for note in found.notes] == [(0, 0), (0, 1), (0, 2), (1, 0), (1, 1), (1, 2)]
    assert [note.cents for note in found.notes if note.place == 0] == pytest.approx([10.0, -20.0])
    assert found.notes[4].late == pytest.approx(0.2, abs=1.01 / RATE)


@pytest.mark.parametrize(("rate", "width"), [(4.5, 60.0), (6.0, 30.0), (7.3, 10.0)])
def test_a_vibrato_is_measured_on_uneven_times_and_a_drift(rate: float, width: float) -> None:
    random = np.random.default_rng(3)
    times = np.sort(np.arange(0.0, 2.5, 1.0 / RATE) + 0.004 * random.random(150))
    pitch = 14.0 + 9.0 * times + width * np.sin(2.0 * math.pi * rate * times + 0.7)
    found = vibrato_of(times, pitch + 1.0 * random.standard_normal(times.size))
    assert found is not None
    assert found.rate == pytest.approx(rate, abs=0.06)
    assert found.width == pytest.approx(width, rel=0.05, abs=0.5)


def test_a_tremor_and_a_short_note_are_no_vibrato() -> None:
    random = np.random.default_rng(5)
    times = np.arange(0.0, 3.0, 1.0 / RATE)
    assert vibrato_of(times, 12.0 * random.standard_normal(times.size)) is None
    assert vibrato_of(times, np.zeros(times.size)) is None
    assert vibrato_of(times, 3.0 * np.sin(40.0 * times)) is None  # narrower than one calls a vibrato
    assert vibrato_of(times, 30.0 * np.sin(2.0 * math.pi * 11.5 * times)) is None  # too fast for one
    assert vibrato_of(times[:40], 30.0 * np.sin(40.0 * times[:40])) is None


def test_the_hand_that_plays_tunes_is_judged_as_it_says_itself(plain_workpiece: OpenedDesign) -> None:
    """The tune player computes every note's median pitch from its own path: two ways to one figure."""
    field = plain_workpiece.field
    tune = read_note_list("tempo 60\nC4 1/4, E4 1/4, G4 1/4, C5 1/4, E4 1/4", "arpeggio")
    played = perform(tune, field, Manner(placement=2e-3, tremor=0.0))
    clock = np.arange(0.0, played.path.duration, 1.0 / 500.0)
    distance = np.interp(clock, played.path.times, played.path.distances)
    gain = np.interp(clock, played.path.times, played.path.volumes)
    pitch = note_number(field.frequency_at(distance))
    found = judged(score_of(tune), Heard(clock, clock - LEAD, pitch, gain, np.zeros(clock.size)))
    assert [note.cents for note in found.notes] == pytest.approx([note.cents for note in played.notes], abs=0.01)
    assert max(abs(note.late or 0.0) for note in found.notes[1:]) < 0.1
