"""Every lesson as its page takes it: sounds neither rendered nor measured, since a page makes them itself."""

from __future__ import annotations

from synth.lessons.lesson_report import LessonReport
from synth.lessons.setup import LessonSetup
from synth.lessons.table import LESSONS, build_lesson


def unheard(setup: LessonSetup) -> dict[str, LessonReport]:
    """The lessons on these instruments, by name."""
    found = {}
    for name in LESSONS:
        lesson = build_lesson(name, setup)
        levels = tuple(tuple(0.0 for _ in stage.claims) for stage in lesson.stages)
        found[name] = LessonReport(lesson, (), levels, tuple(1.0 for _ in lesson.stages))
    return found
