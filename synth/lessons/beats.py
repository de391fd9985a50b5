"""Lesson: two audible tones and their beats."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from synth.lessons.bench import LessonBench
from synth.lessons.stage import Lesson, Stage, absent, beat, decibels, line, times

FIRST, SECONDS = 440.0, 5.0
WHOLE = (0.05, SECONDS - 0.05)  # s


def two_tones(second: float, ratio: float) -> NDArray[np.float64]:
    """cos of FIRST plus `ratio` times cos of `second` (Hz)."""
    time = times(SECONDS)
    return np.asarray(np.cos(2.0 * math.pi * FIRST * time) + ratio * np.cos(2.0 * math.pi * second * time))


def lesson(_bench: LessonBench) -> Lesson:
    """Two tones, closer and wider, equal and unequal."""
    unequal = 0.3
    swing = decibels((1.0 + unequal) / (1.0 - unequal))
    stages = (
        Stage(
            "one-tone",
            "One tone",
            "A single tone of 440 Hz, the A that orchestras tune to. It is steady: listen for any swelling, and "
            "find none.",
            (line(FIRST, 0.0, *WHOLE), absent(444.0, *WHOLE)),
            lambda: two_tones(444.0, 0.0),
            (1.0, 0.05),
            (400.0, 500.0),
        ),
        Stage(
            "four-beats",
            "A second tone, four hertz higher",
            "Now 440 Hz and 444 Hz together, equally strong. You do not hear two notes. You hear one, near 442 Hz, "
            "that swells and dies away four times a second: 444 - 440 = 4. When both waves push together they add; "
            "an eighth of a second later one pulls while the other pushes, and they cancel. Look at the spectrum: "
            "there are two lines, at 440 and 444 Hz, none at 442 and none at 4 Hz. A beat is a change of loudness. "
            "Nothing in the air vibrates at 4 Hz yet; for that the sum has to pass something that bends it (see the "
            "lessons slide and taps).",
            (
                line(440.0, 0.0, *WHOLE),
                line(444.0, 0.0, *WHOLE),
                absent(442.0, *WHOLE),
                absent(4.0, *WHOLE),
                beat(4.0, *WHOLE),
            ),
            lambda: two_tones(444.0, 1.0),
            (0.5, 1.0),
            (400.0, 500.0),
        ),
        Stage(
            "unequal",
            "The second tone weaker",
            f"The same two tones, the second now {unequal:g} times as strong. Still four swells a second, but "
            "shallow: the sound never dies away, because the weaker wave cannot cancel the stronger. From loudest to "
            f"softest the size of the wave changes by {swing:.1f} dB.",
            (line(440.0, 0.0, *WHOLE), line(444.0, decibels(unequal), *WHOLE), beat(4.0, *WHOLE)),
            lambda: two_tones(444.0, unequal),
            (0.5, 1.0),
            (400.0, 500.0),
        ),
        Stage(
            "rough",
            "Thirty hertz apart",
            "440 Hz and 470 Hz. The sum swells thirty times a second, too fast to count. Most people hear a rough, "
            "buzzing sound; further apart still, two separate notes. The arithmetic has not changed, only the ear's "
            "share of the work.",
            (line(440.0, 0.0, *WHOLE), line(470.0, 0.0, *WHOLE), absent(30.0, *WHOLE), beat(30.0, *WHOLE)),
            lambda: two_tones(470.0, 1.0),
            (0.5, 0.2),
            (400.0, 500.0),
        ),
    )
    return Lesson(
        "beats",
        "Two tones and their beats",
        "What happens when two tones of nearly the same pitch sound together.",
        stages,
    )
