"""Lesson: two oscillators that leak into each other pull together, and lock near zero beat."""

from __future__ import annotations

import numpy as np

from models.pulling import pulled_beat, pulled_line_ratio
from synth.lessons.draft import Draft
from synth.lessons.live import Axis, OnAxis, marks
from synth.lessons.passage import Passage, rested
from synth.lessons.recipes import Pulled
from synth.lessons.setup import LessonSetup
from synth.lessons.stage import Lesson, absent, decibels, line, silent
from synth.lessons.waves import oscillators
from synth.lessons.words import said

LOCK, OFFSET, FAR, NEAR = 120.0, 200.0, 400.0, 60.0  # Hz
SMALL_LOCK = 40.0  # Hz, of the live page
HOLD, GLIDE, SECONDS = 1.5, 2.0, 4.0  # s
DETUNED = 400.0  # Hz, most of the live stage


def there_and_back(recipe: Pulled) -> Passage:
    """The free difference rests at FAR, glides to NEAR, rests, and glides back."""
    instants = np.cumsum([0.0, HOLD, GLIDE, HOLD, GLIDE, HOLD])
    return Passage(recipe, tuple(instants.tolist()), (FAR, FAR, NEAR, NEAR, FAR, FAR))


def lesson(setup: LessonSetup) -> Lesson:
    """Free, pulled and locked, and the bent wave of a pulled beat; live, detuning against the lock range."""
    begin, middle = (0.3, HOLD - 0.1), (HOLD + GLIDE + 0.5, HOLD + GLIDE + HOLD - 0.1)
    end = (2.0 * (HOLD + GLIDE) + 0.3, 3.0 * HOLD + 2.0 * GLIDE - 0.1)
    whole = (0.5, SECONDS - 0.05)

    def behind(lock_range: float) -> Pulled:
        return Pulled(lock_range, oscillators(setup.built_in.reference_frequency, lock_range))

    pulled, flat = float(pulled_beat(OFFSET, LOCK)), float(pulled_beat(FAR, LOCK))
    step_db = decibels(pulled_line_ratio(OFFSET, LOCK))
    draft = Draft(
        "locking",
        rest=FAR,
        nearest=NEAR,
        lock=LOCK,
        own_lock=setup.built_in.lock_range,
        flat=flat,
        free=OFFSET,
        pulled=pulled,
        step_db=-step_db,
        small_leak=said("locking", "pieces", "leak", lock=SMALL_LOCK),
        strong_leak=said("locking", "pieces", "leak", lock=LOCK),
    )
    bent = (
        *(line(pulled * order, step_db * (order - 1), *whole) for order in (1, 2, 3, 4)),
        absent(OFFSET, *whole),
        absent(1.5 * pulled, *whole),
    )
    pure = (line(OFFSET, 0.0, *whole), absent(2.0 * OFFSET, *whole), absent(pulled, *whole))
    glide, band = (HOLD, 2.0 * GLIDE + HOLD), (20.0, 2000.0)
    stages = (
        draft.stage(
            "free",
            (line(FAR, 0.0, *begin), line(NEAR, 0.0, *middle), line(FAR, 0.0, *end)),
            there_and_back(behind(0.0)),
            glide,
        ),
        draft.stage(
            "pulled",
            (line(flat, 0.0, *begin), silent(*middle), line(flat, 0.0, *end)),
            there_and_back(behind(LOCK)),
            glide,
        ),
        draft.stage("true-beat", pure, rested(behind(0.0), OFFSET, SECONDS), (1.0, 0.04), band),
        draft.stage("bent-beat", bent, rested(behind(LOCK), OFFSET, SECONDS), (1.0, 0.04), band),
    )
    axis = Axis(said("axes", "free-difference"), "Hz", 0.0, DETUNED, marks=marks(0, 40, 120, 200, 300, 400))
    locks = {"no-leak": 0.0, "small-leak": SMALL_LOCK, "strong-leak": LOCK}
    sounds = {key: OnAxis(axis, behind(lock)) for key, lock in locks.items()}
    return draft.lesson(stages, (draft.page("locking", sounds, band, 0.05),))
