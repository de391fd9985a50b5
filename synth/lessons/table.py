"""The table of lessons: name, what it is about, and the module that builds it."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from synth.errors import DesignError

if TYPE_CHECKING:
    from synth.lessons.live import LiveLesson
    from synth.lessons.setup import LessonSetup
    from synth.lessons.stage import Lesson

LESSONS = {
    "beats": "two audible tones and their beats",
    "slide": "two tones slide up until only the beat is left",
    "taps": "the sum, the rectified sum and the filtered tone, seven octaves down",
    "hand": "the hand as a capacitor",
    "locking": "pulling and locking near zero beat",
    "octaves": "why octaves crowd near the antenna, and what a series inductor does",
}


def checked_name(name: str) -> str:
    """`name` if there is such a lesson; raise DesignError otherwise."""
    if name not in LESSONS:
        raise DesignError(f"no lesson {name!r}; choose {', '.join(LESSONS)}")
    return name


def build_lesson(name: str, setup: LessonSetup) -> Lesson:
    """The lesson of that name, with its numbers computed for the instruments of `setup`."""
    built: Lesson = import_module(f"synth.lessons.{checked_name(name)}").lesson(setup)
    return built


def live_lesson(name: str, setup: LessonSetup) -> LiveLesson:
    """The lesson of that name to play live."""
    from synth.lessons.live import LiveLesson

    about = LESSONS[checked_name(name)]
    return LiveLesson(name, about[0].upper() + about[1:], import_module(f"synth.lessons.{name}").live(setup))
