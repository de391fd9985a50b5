"""Lesson: two oscillators that leak into each other pull together, and lock near zero beat."""

from __future__ import annotations

from functools import partial

import numpy as np

from models.pulling import pulled_beat, pulled_line_ratio
from synth.lessons.live import Axis, LiveChoice, LiveStage, OnAxis, marks
from synth.lessons.recipes import Pulled, performed
from synth.lessons.setup import LessonSetup
from synth.lessons.stage import SAMPLE_RATE, Floats, Lesson, Stage, absent, decibels, line, rested, silent, times

LOCK, OFFSET, FAR, NEAR = 120.0, 200.0, 400.0, 60.0  # Hz
HOLD, GLIDE, SECONDS = 1.5, 2.0, 4.0  # s
DETUNED = 400.0  # Hz, most of the live stage


def there_and_back(lock_range: float) -> Floats:
    """The free difference rests at FAR, glides to NEAR, rests, and glides back."""
    instants = np.cumsum([0.0, HOLD, GLIDE, HOLD, GLIDE, HOLD])
    course = np.interp(times(instants[-1]), instants, [FAR, FAR, NEAR, NEAR, FAR, FAR])
    return performed(Pulled(lock_range), course, SAMPLE_RATE)


def lesson(setup: LessonSetup) -> Lesson:
    """Free, pulled and locked, and the bent wave of a pulled beat."""
    own = setup.built_in.lock_range
    begin, middle = (0.3, HOLD - 0.1), (HOLD + GLIDE + 0.5, HOLD + GLIDE + HOLD - 0.1)
    end = (2.0 * (HOLD + GLIDE) + 0.3, 3.0 * HOLD + 2.0 * GLIDE - 0.1)
    whole = (0.5, SECONDS - 0.05)
    pulled, far = float(pulled_beat(OFFSET, LOCK)), float(pulled_beat(FAR, LOCK))
    ratio = decibels(pulled_line_ratio(OFFSET, LOCK))
    stages = (
        Stage(
            "free",
            "Free oscillators",
            f"Two well separated oscillators. Their difference rests at {FAR:.0f} Hz, glides down to {NEAR:.0f} Hz, "
            "rests there, and glides back. The note follows it exactly.",
            (line(FAR, 0.0, *begin), line(NEAR, 0.0, *middle), line(FAR, 0.0, *end)),
            partial(there_and_back, 0.0),
            (HOLD, 2.0 * GLIDE + HOLD),
        ),
        Stage(
            "pulled",
            "The same with a leak",
            "Now a little of each oscillator's signal reaches the other, through the supply or from coil to coil. "
            f"The glide is the same, but they lock whenever they would be less than {LOCK:.0f} Hz apart (a strong "
            f"leak, so that it can be heard; the built-in design locks within {own:g} Hz). At first the note is only "
            f"a little flat, {far:.1f} Hz in place of {FAR:.0f}. Coming nearer it drops faster and faster and is "
            "gone: the two run in step, exactly equal, and there is no difference to hear. On the way back it rises "
            "steeply out of the silence. A player finds that the lowest notes are missing.",
            (line(far, 0.0, *begin), silent(*middle), line(far, 0.0, *end)),
            partial(there_and_back, LOCK),
            (HOLD, 2.0 * GLIDE + HOLD),
        ),
        Stage(
            "true-beat",
            "A steady beat, free",
            f"Free oscillators {OFFSET:.0f} Hz apart: a pure tone of {OFFSET:.0f} Hz, for comparison.",
            (line(OFFSET, 0.0, *whole), absent(2.0 * OFFSET, *whole), absent(pulled, *whole)),
            partial(rested, Pulled(0.0), OFFSET, SECONDS),
            (1.0, 0.04),
            (20.0, 2000.0),
        ),
        Stage(
            "bent-beat",
            "The same beat, pulled",
            f"The free difference is still {OFFSET:.0f} Hz and the lock range {LOCK:.0f} Hz. The beat is the third "
            f"side of a right triangle, the square root of {OFFSET:.0f} squared minus {LOCK:.0f} squared: "
            f"{pulled:.0f} Hz. And it is no longer a sine. The phase between them lingers near where they would lock "
            f"and hurries through the rest of the turn, which gives overtones, each {-ratio:.1f} dB below the one "
            f"before: the note is lower and reedier. At {OFFSET:.0f} Hz there is nothing. (Model: Adler's equation, "
            "for a leak that is weak against the oscillators' own signals; changes of strength are left out.)",
            (
                *(line(pulled * order, ratio * (order - 1), *whole) for order in (1, 2, 3, 4)),
                absent(OFFSET, *whole),
                absent(1.5 * pulled, *whole),
            ),
            partial(rested, Pulled(LOCK), OFFSET, SECONDS),
            (1.0, 0.04),
            (20.0, 2000.0),
        ),
    )
    return Lesson(
        "locking",
        "Pulling and locking near zero beat",
        "Why the lowest notes of a badly separated instrument go flat, turn reedy and vanish.",
        stages,
    )


def live(_setup: LessonSetup) -> tuple[LiveStage, ...]:
    """Detuning against the lock range."""
    axis = Axis("free difference", "Hz", 0.0, DETUNED, marks=marks(0, 40, 120, 200, 300, 400))
    pulled = (
        "The oscillators leak into each other and lock within {0} Hz. Come down from the right: the note goes "
        "flat, turns reedy, falls faster and faster and is gone at {0} Hz. Below, the two run in step and there "
        "is no difference to hear."
    )
    return (
        LiveStage(
            "locking",
            "Pulling and locking",
            "Left and right: how far apart the oscillators would be if free.",
            (
                LiveChoice(
                    "no leak",
                    "Free oscillators. The note is the difference itself, a pure tone all the way down.",
                    OnAxis(axis, Pulled(0.0)),
                ),
                LiveChoice("small leak", pulled.format(40), OnAxis(axis, Pulled(40.0))),
                LiveChoice("strong leak", pulled.format(120), OnAxis(axis, Pulled(120.0))),
            ),
            (20.0, 2000.0),
            0.05,
        ),
    )
