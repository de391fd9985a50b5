"""Scores, exercises and their course in time: pure, without a window."""

from __future__ import annotations

import math

import pytest

from models.pitch import frequency_of_note
from synth.errors import DesignError
from synth.practice.course import CLOSE, COUNT_IN, LOOP_GAP, Course, Terms, advanced, begun
from synth.practice.exercises import EXERCISES, Exercise, placed
from synth.practice.guidance import FULL_FROM, NONE_BELOW, guidance_share, is_lit
from synth.practice.score import Goal, Score, Vibrato, in_turn, score_of
from synth.tunes.note_list import read_note_list

ALL = frozenset(range(128))
SCORE = Score("two", "Two", in_turn([(60, 1.0), (64, 1.0), (67, 1.0)], pause=0.5))
STEP = 1.0 / 60.0


def run(terms: Terms, pitch: float, gain: float, seconds: float, course: Course | None = None) -> Course:
    now = begun(SCORE, terms) if course is None else course
    for _ in range(round(seconds / STEP)):
        now = advanced(now, SCORE, terms, STEP, pitch, gain, ALL)
    return now


def test_a_goal_swells_and_fades_in_straight_lines() -> None:
    arch = Goal(60, 0.0, 4.0, (0.0, 1.0, 0.5))
    assert [arch.loudness_at(share) for share in (0.0, 0.25, 0.5, 0.75, 1.0, 2.0)] == [0.0, 0.5, 1.0, 0.75, 0.5, 0.5]
    assert Goal(60, 0.0, 1.0, (0.3,)).loudness_at(0.7) == 0.3


@pytest.mark.parametrize(
    "wrong", [{"start": -1.0}, {"seconds": 0.0}, {"loudness": ()}, {"loudness": (1.5,)}], ids=lambda one: str(one)
)
def test_what_is_no_goal_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=next(iter(wrong))):
        Goal(**{"number": 60, "start": 0.0, "seconds": 1.0, **wrong})  # type: ignore[arg-type]


def test_scores_are_in_the_order_of_time() -> None:
    with pytest.raises(ValueError, match="overlap"):
        Score("x", "X", (Goal(60, 0.0, 1.0), Goal(62, 0.5, 1.0)))
    with pytest.raises(ValueError, match="at least one"):
        Score("x", "X", ())
    with pytest.raises(ValueError, match="rate"):
        Vibrato(0.0, 20.0)
    assert [SCORE.index_at(time) for time in (-1.0, 0.0, 0.99, 1.0, 1.6, 99.0)] == [0, 0, 0, 1, 1, 2]


def test_a_melody_becomes_a_score() -> None:
    score = score_of(read_note_list("tempo 60, volume 0.5, A4 1/4, rest 1/4, legato, C5 1/2", "mine"))
    assert score.goals == (Goal(69, 0.0, 1.0, (0.5,)), Goal(72, 2.0, 2.0, (0.5,), legato=True))


@pytest.mark.parametrize("exercise", EXERCISES, ids=lambda one: one.name)
def test_every_exercise_is_placed_within_reach(exercise: Exercise) -> None:
    reach = frozenset(range(41, 90))
    score = placed(exercise, reach)
    numbers = [goal.number for goal in score.goals]
    assert set(numbers) <= reach
    steps = [goal.number for goal in exercise.goals]
    assert {number - step for number, step in zip(numbers, steps, strict=True)} == {numbers[0] - steps[0]}
    assert abs(0.5 * (min(numbers) + max(numbers)) - 64) <= 2.0
    assert numbers[0] % 12 in (0, 2, 5, 7, 9)  # C, D, F, G or A
    assert exercise.advice.endswith(".")
    assert placed(exercise, [note + 12 for note in numbers]).goals[0].number == numbers[0] + 12
    with pytest.raises(DesignError, match="semitones"):
        placed(exercise, ())


def test_there_are_a_dozen_exercises_of_every_kind() -> None:
    assert len(EXERCISES) >= 12
    assert len({exercise.name for exercise in EXERCISES}) == len(EXERCISES)
    goals = [goal for exercise in EXERCISES for goal in exercise.goals]
    assert any(goal.legato for goal in goals)
    assert len({goal.vibrato.rate for goal in goals if goal.vibrato}) >= 3
    assert len({goal.vibrato.width for goal in goals if goal.vibrato}) >= 3
    assert any(len(goal.loudness) > 1 for goal in goals)
    octave = next(exercise for exercise in EXERCISES if exercise.name == "octaves").goals
    # An octave doubles the frequency: ISO 16 and every handbook.
    assert float(frequency_of_note(octave[1].number + 60) / frequency_of_note(octave[0].number + 60)) == pytest.approx(
        2
    )


def test_in_time_it_takes_its_time_whatever_the_hand_does() -> None:
    terms = Terms()
    assert begun(SCORE, terms).at == -COUNT_IN
    after = run(terms, math.nan, 0.0, COUNT_IN + 1.0)
    assert after.at == pytest.approx(1.0, abs=2 * STEP)
    assert run(terms, math.nan, 0.0, COUNT_IN + SCORE.seconds + 0.1).done
    slow = run(Terms(tempo=0.5), math.nan, 0.0, COUNT_IN + 1.0)
    assert slow.at == pytest.approx(0.5, abs=2 * STEP)


def test_a_score_that_waits_goes_on_only_while_the_hand_is_there() -> None:
    terms = Terms(waits=True)
    waiting = run(terms, 61.0, 1.0, 10.0)
    assert waiting.at == SCORE.goals[0].start
    assert run(terms, 60.0, 0.0, 5.0, waiting) == waiting  # not without sound
    assert run(terms, 60.0 + 0.011 * CLOSE, 1.0, 5.0, waiting) == waiting
    there = run(terms, 60.0 + 0.009 * CLOSE, 1.0, 10.0, waiting)
    assert there.at == SCORE.goals[1].start  # it waits again, for the next note
    skipped = advanced(waiting, SCORE, terms, 0.5, math.nan, 0.0, ALL - {60})
    assert skipped.at == pytest.approx(waiting.at + 0.5)  # nobody can wait for a note that is out of reach


def test_a_vibrato_does_not_stop_a_score_that_waits() -> None:
    score = Score("v", "V", (Goal(60, 0.0, 1.0, vibrato=Vibrato(6.0, 50.0)),))
    for off, goes in ((0.79, True), (0.81, False)):
        after = advanced(Course(0.0), score, Terms(waits=True), 0.1, 60.0 + off, 1.0, ALL)
        assert (after.at > 0.0) is goes


def test_a_marked_part_is_played_again_and_again() -> None:
    terms = Terms(first=1, last=1)
    assert terms.looped
    assert begun(SCORE, terms).at == SCORE.goals[1].start - COUNT_IN
    after = run(terms, math.nan, 0.0, COUNT_IN + 3.0 * (1.0 + LOOP_GAP) + 0.2)
    assert after.turn == 3
    assert not after.done
    assert SCORE.goals[1].start - LOOP_GAP <= after.at < SCORE.goals[1].end
    assert Terms(first=7, last=0).part(SCORE) == (0, 2)  # kept within the score, the lower one first
    with pytest.raises(ValueError, match="tempo"):
        Terms(tempo=9.0)


def test_guidance_fades_as_the_errors_shrink() -> None:
    assert guidance_share([]) == 1.0
    assert guidance_share([FULL_FROM + 40.0]) == 1.0
    assert guidance_share([NONE_BELOW - 1.0]) == 0.0
    shares = [guidance_share([error]) for error in range(10, 60, 5)]
    assert shares == sorted(shares)
    assert guidance_share([200.0, 30.0, 30.0, 30.0]) == pytest.approx(0.5)  # only the last three count


@pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 0.8, 1.0])
def test_the_lit_notes_are_that_share_evenly_spread(share: float) -> None:
    lit = [is_lit(place, 0, share) for place in range(60)]
    assert sum(lit) == pytest.approx(60 * share, abs=1)
    for first in range(0, 60, 20):
        assert sum(lit[first : first + 20]) == pytest.approx(20 * share, abs=1)
    if share == 0.5:
        assert any(is_lit(place, 0, share) != is_lit(place, 1, share) for place in range(4))
