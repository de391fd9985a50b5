"""Lesson: two tones slide up until only the beat between them is left."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from models.detector.rectified_sum import curved_detector_lines
from synth.lessons.bench import LessonBench
from synth.lessons.stage import SAMPLE_RATE, Claim, Lesson, Stage, absent, decibels, line, phase_of, times

DIFFERENCE, RATIO, CURVATURE = 330.0, 0.7, 0.5
LOW, MIDDLE, SECONDS = 1000.0, 9000.0, 4.0
HOLD, RISE, END = 1.5, 5.0, 3.0  # s, of the slide
FADE_FROM, FADE_TO = 20_000.0, 22_000.0  # Hz: a line that rises through here leaves the recording
WHOLE = (0.05, SECONDS - 0.05)


def through_detector(first: NDArray[np.float64], curvature: float) -> NDArray[np.float64]:
    """Two tones, `first` (Hz, at every sample) and DIFFERENCE above, through a detector of that curvature."""
    ground = phase_of(first)
    spread = 2.0 * math.pi * DIFFERENCE * np.arange(first.size) / SAMPLE_RATE
    sound = np.zeros(first.size)
    for one, two, amplitude in curved_detector_lines(LOW, LOW + DIFFERENCE, RATIO, curvature):
        frequency = one * first + two * (first + DIFFERENCE)
        place = np.clip((frequency - FADE_FROM) / (FADE_TO - FADE_FROM), 0.0, 1.0)
        sound += amplitude * np.cos(0.5 * math.pi * place) ** 2 * np.cos((one + two) * ground + two * spread)
    return sound


def steady(first: float, curvature: float) -> NDArray[np.float64]:
    """The two tones at rest."""
    return through_detector(np.full(times(SECONDS).size, first), curvature)


def sliding(top: float) -> NDArray[np.float64]:
    """From LOW to `top` (Hz), by equal steps of pitch in equal times, with a rest at both ends."""
    share = np.clip((times(HOLD + RISE + END) - HOLD) / RISE, 0.0, 1.0)
    return through_detector(LOW * (top / LOW) ** share, CURVATURE)


def detector_claims(first: float, start: float, end: float) -> tuple[Claim, ...]:
    """Every line of the bent sum."""
    return tuple(
        line(one * first + two * (first + DIFFERENCE), decibels(amplitude), start, end)
        for one, two, amplitude in curved_detector_lines(first, first + DIFFERENCE, RATIO, CURVATURE)
    )


def lesson(bench: LessonBench) -> Lesson:
    """Plain sum, bent sum, high, and the slide to the radio frequency of the built-in design."""
    top = bench.built_in.reference_frequency
    ends = (0.1, HOLD - 0.1), (HOLD + RISE + 0.2, HOLD + RISE + END - 0.1)
    stages = (
        Stage(
            "two-tones",
            "Two tones, plainly added",
            "1000 Hz and 1330 Hz, four cents less than a pure musical fourth. Added together they stay two tones: the "
            "spectrum has two lines and nothing at 330 Hz. (The ear itself bends strong sounds a little and may add a "
            "faint low note of its own. It is not in the recording.)",
            (line(LOW, 0.0, *WHOLE), line(LOW + DIFFERENCE, decibels(RATIO), *WHOLE), absent(DIFFERENCE, *WHOLE)),
            lambda: steady(LOW, 0.0),
            (1.0, 0.02),
        ),
        Stage(
            "bent",
            "The same through a detector",
            "Now the sum passes a detector: something that answers strong pushes more than in proportion, here the "
            "sum plus half of its square. New tones appear: the difference, 330 Hz, which you hear as a low note "
            "underneath; the sum, 2330 Hz; and twice each tone, 2000 and 2660 Hz.",
            detector_claims(LOW, *WHOLE),
            lambda: steady(LOW, CURVATURE),
            (1.0, 0.02),
        ),
        Stage(
            "high",
            "Both tones eight kilohertz higher",
            "9000 Hz and 9330 Hz through the same detector. The two tones are now a thin whistle, but they are still "
            "330 Hz apart, and the low note has not moved. Its pitch depends on the difference and on nothing else.",
            detector_claims(MIDDLE, *WHOLE),
            lambda: steady(MIDDLE, CURVATURE),
            (1.0, 0.02),
        ),
        Stage(
            "slide",
            "Sliding up until only the beat is left",
            f"Both tones slide up together, always 330 Hz apart, from 1000 Hz to {top / 1000.0:.1f} kHz, the "
            "reference frequency of the built-in design. One after another the high tones leave your hearing, and "
            "near 20 kHz they also leave this recording, which cannot hold more: each fades between 20 and 22 kHz. "
            "What stays is 330 Hz, steady all the while. This is the theremin: two oscillators nobody can hear, and "
            "the difference between them. Heterodyning means just that, from the Greek for other and power.",
            (
                *detector_claims(LOW, *ends[0]),
                line(DIFFERENCE, 0.0, *ends[1]),
                absent(LOW, *ends[1]),
                absent(2.0 * DIFFERENCE, *ends[1]),
                absent(21_000.0, *ends[1]),
            ),
            lambda: sliding(top),
            (HOLD + RISE + 1.0, 0.02),
        ),
    )
    return Lesson(
        "slide",
        "Sliding up until only the beat is left",
        "Where the note of a theremin comes from when both oscillators are far above hearing.",
        stages,
    )
