"""The table of lessons: their names, which are those of the modules that build them, and what each is about."""

from __future__ import annotations

from importlib import import_module

from synth.errors import DesignError
from synth.lessons.live import LiveLesson
from synth.lessons.setup import LessonSetup
from synth.lessons.stage import Lesson
from synth.lessons.words import said

LESSONS = ("path", "beats", "slide", "taps", "hand", "locking", "octaves")


def lesson_list() -> dict[str, str]:
    """What each lesson is about, by its name."""
    return {name: said(name, "about") for name in LESSONS}


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
    about = said(checked_name(name), "about")
    return LiveLesson(name, about[0].upper() + about[1:], build_lesson(name, setup).pages)
