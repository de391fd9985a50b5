"""How far a score has come: in time, slower or faster, or waiting for the hand; once, or looped over a part of it."""

from __future__ import annotations

import math
from dataclasses import replace

from models.quick_dataclass import dataclass
from synth.practice.score import Goal, Score

COUNT_IN = 2.0  # s from the start to the first note
LOOP_GAP = 1.0  # s from the end of a loop to its beginning
SLOWEST, FASTEST = 0.25, 2.0
CLOSE = 30.0  # cents within which a score that waits counts the hand as there
HEARD = 0.01  # gain, -40 dB, from which the note counts as heard


@dataclass(frozen=True, slots=True)
class Terms:
    """How a score is played. `tempo`: 1 as written. `waits`: time goes on only while the hand is on the note.

    `again`: from its end back to its beginning; `first`, `last`: of a marked part, which is always played again (None:
    the score's own ends). `target`: the wanted note sounds. `guidance`: "fading", "full" or "none".
    """

    tempo: float = 1.0
    waits: bool = False
    first: int | None = None
    last: int | None = None
    again: bool = False
    target: bool = False
    guidance: str = "fading"

    def __post_init__(self) -> None:
        if not SLOWEST <= self.tempo <= FASTEST:
            raise ValueError(f"tempo must be from {SLOWEST:g} to {FASTEST:g}; got {self.tempo:g}")

    @property
    def looped(self) -> bool:
        """Whether a part is played again and again."""
        return self.again or self.first is not None or self.last is not None

    def part(self, score: Score) -> tuple[int, int]:
        """The first and last goal that are played, within the score and in order."""
        end = len(score.goals) - 1
        first = min(self.first or 0, end)
        last = end if self.last is None else min(self.last, end)
        return (first, last) if first <= last else (last, first)


@dataclass(frozen=True, slots=True)
class Course:
    """Where a run is: `at`, s of the score (before its first goal while counting in), `turn`: how many times the part
    has been played before.
    """

    at: float
    turn: int = 0
    done: bool = False


def begun(score: Score, terms: Terms) -> Course:
    """A run that counts in."""
    return Course(score.goals[terms.part(score)[0]].start - COUNT_IN * terms.tempo)


def sounding(score: Score, at: float) -> Goal | None:
    """The goal that is due at a time of the score, s; None in a rest."""
    goal = score.goals[score.index_at(at)]
    return goal if goal.start <= at < goal.end else None


def near(goal: Goal, pitch: float, gain: float) -> bool:
    """Whether a hand that sounds note number `pitch` at `gain` is on the goal, its vibrato allowed for."""
    allowed = CLOSE + (0.0 if goal.vibrato is None else goal.vibrato.width)
    return gain >= HEARD and math.isfinite(pitch) and 100.0 * abs(pitch - goal.number) <= allowed


def advanced(
    course: Course, score: Score, terms: Terms, seconds: float, pitch: float, gain: float, reached: frozenset[int]
) -> Course:
    """The run `seconds` later, s, with a hand that sounds note number `pitch` at `gain`.

    `reached`: the note numbers the instrument plays; a score that waits does not wait for others.
    """
    if course.done:
        return course
    goal = sounding(score, course.at)
    held = terms.waits and goal is not None and goal.number in reached and not near(goal, pitch, gain)
    if held:
        return course
    first, last = terms.part(score)
    at = course.at + max(seconds, 0.0) * terms.tempo
    if terms.waits and goal is None and course.at < score.goals[score.index_at(course.at)].start:
        at = min(at, score.goals[score.index_at(course.at)].start)  # a long step must not jump over the note
    if at < score.goals[last].end:
        return replace(course, at=at)
    if not terms.looped:
        return replace(course, at=score.goals[last].end, done=True)
    return Course(score.goals[first].start - LOOP_GAP * terms.tempo, course.turn + 1)
