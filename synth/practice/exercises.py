"""Exercises of our own, from holding one note to vibrato and articulation, placed where an instrument plays them.

Each is written in semitones above a note that is chosen for the instrument: so that every note is in reach and the
middle of the exercise lies as near as possible to E4, where most fields are even; a note whose major key has few sharps
or flats is preferred to one that is no more than `PREFERRED` semitones nearer.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace

from models.quick_dataclass import dataclass
from synth.errors import DesignError
from synth.hands.gestures import CHOSEN_NOTE, MAJOR_STEPS
from synth.practice.score import Goal, Score, Vibrato, in_turn

EASY_KEYS = (0, 2, 5, 7, 9)  # C, D, F, G, A
PREFERRED = 2
FARTHEST_PLACED = 120  # the highest note number that an exercise may begin from


@dataclass(frozen=True, slots=True)
class Exercise:
    """One exercise: what it is for, and its goals, counted in semitones from its chosen note."""

    name: str
    title: str
    advice: str
    goals: tuple[Goal, ...]


def _even(steps: Collection[int], seconds: float, pause: float = 0.0, legato: bool = False) -> tuple[Goal, ...]:
    return in_turn([(step, seconds) for step in steps], pause, legato)


def _shaped(goals: tuple[Goal, ...], loudness: Callable[[int], tuple[float, ...]]) -> tuple[Goal, ...]:
    return tuple(replace(goal, loudness=loudness(place)) for place, goal in enumerate(goals))


def _trembling(wanted: tuple[Vibrato | None, ...], seconds: float, step: int = 0) -> tuple[Goal, ...]:
    goals = in_turn([(step, seconds) for _ in wanted], 1.0)
    return tuple(replace(goal, vibrato=vibrato) for goal, vibrato in zip(goals, wanted, strict=True))


_UP_AND_DOWN = (*MAJOR_STEPS, *MAJOR_STEPS[-2::-1])
_SWELL, _FADE, _ARCH = (0.05, 1.0), (1.0, 0.05), (0.05, 1.0, 0.05)

EXERCISES: tuple[Exercise, ...] = (
    Exercise(
        "long-notes",
        "Long notes",
        "Find the place, then rest: listen, correct once, and keep still.",
        _even((0, 4, 7, 4, 0), 4.0, 1.0),
    ),
    Exercise(
        "steps",
        "Steps",
        "A major scale up and down. Move in one go and arrive; do not creep into the note.",
        _even(_UP_AND_DOWN, 1.0),
    ),
    Exercise(
        "semitones",
        "Semitones",
        "Small steps: near the antenna they are a few millimetres, far from it centimetres.",
        _even((0, 1, 2, 3, 4, 5, 4, 3, 2, 1, 0), 1.0),
    ),
    Exercise(
        "thirds",
        "Thirds",
        "Up two, back one: hear the third before you move.",
        _even((0, 4, 2, 5, 4, 7, 5, 9, 7, 5, 9, 5, 7, 4, 5, 2, 4, 0), 1.0),
    ),
    Exercise(
        "fourths-fifths",
        "Fourths and fifths",
        "Leaps of a hand's breadth or more. The volume hand is down while the pitch hand travels.",
        _even((0, 7, 0, 5, 0, 7, 12, 7, 12, 5, 0), 1.2, 0.3),
    ),
    Exercise(
        "octaves",
        "Octave leaps",
        "The same name, another place. Look at the way once, then trust the arm.",
        _even((0, 12, 0, 12, 5, 17, 5, 0, 12, 0), 1.5, 0.5),
    ),
    Exercise(
        "wider",
        "Wider and wider",
        "From one note to ever farther ones: the way grows, the time does not.",
        _even((0, 2, 0, 4, 0, 5, 0, 7, 0, 9, 0, 12, 0), 1.0, 0.2),
    ),
    Exercise(
        "slides",
        "Slides",
        "Keep the volume up. Slide slowly from note to note and stop exactly on it.",
        _even((0, 7, 0, 12, 5, 12, 0), 2.0, legato=True),
    ),
    Exercise(
        "vibrato-width",
        "Vibrato: how wide",
        "One note without vibrato, then 15, 30 and 50 cents each way, at the same rate.",
        _trembling((None, Vibrato(6.0, 15.0), Vibrato(6.0, 30.0), Vibrato(6.0, 50.0)), 4.0),
    ),
    Exercise(
        "vibrato-rate",
        "Vibrato: how fast",
        "The same width, 5, 6 and 7 times a second.",
        _trembling((Vibrato(5.0, 30.0), Vibrato(6.0, 30.0), Vibrato(7.0, 30.0)), 4.0),
    ),
    Exercise(
        "swells",
        "Swells",
        "Let each note grow and die away with the volume hand while the pitch stays.",
        _shaped(_even((0, 0, 4, 7), 4.0, 1.0), (_SWELL, _FADE, _ARCH, _ARCH).__getitem__),
    ),
    Exercise(
        "loud-soft",
        "Loud and soft",
        "The same notes, loud and then soft: the volume hand must not move the pitch.",
        _shaped(_even((0, 0, 2, 2, 4, 4, 5, 5, 7, 7), 1.2, 0.2), lambda place: (1.0,) if place % 2 == 0 else (0.15,)),
    ),
    Exercise(
        "separate",
        "Separate notes",
        "Each note has its own beginning and end: the volume hand down between them, quickly.",
        _even((0, 0, 0, 4, 4, 4, 7, 7, 7, 0), 0.6, 0.4),
    ),
    Exercise(
        "fingers",
        "By the fingers",
        "Rest the wrist at the lower note with the fingers half closed, and open them for the upper one.",
        _even((0, 2, 0, 2, 0, 3, 0, 3, 0, 4, 0, 4, 0), 0.8),
    ),
)
NAMES = tuple(exercise.name for exercise in EXERCISES)


def placed(exercise: Exercise, reachable: Collection[int]) -> Score:
    """The exercise on the notes of an instrument, `reachable` by number.

    Raises DesignError where no chosen note brings all of it into reach.
    """
    notes = frozenset(reachable)
    steps = {goal.number for goal in exercise.goals}
    middle = 0.5 * (min(steps) + max(steps))
    fitting = [note for note in range(FARTHEST_PLACED + 1) if all(note + step in notes for step in steps)]
    if not fitting:
        raise DesignError(f"{exercise.title}: this instrument does not reach its {max(steps)} semitones")

    def cost(note: int) -> tuple[float, int]:
        return abs(note + middle - CHOSEN_NOTE) + PREFERRED * (note % 12 not in EASY_KEYS), note

    chosen = min(fitting, key=cost)
    goals = tuple(replace(goal, number=goal.number + chosen) for goal in exercise.goals)
    return Score(exercise.name, exercise.title, goals, exercise.advice)
