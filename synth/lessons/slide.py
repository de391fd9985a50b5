"""Lesson: two tones slide up until only the beat between them is left."""

from __future__ import annotations

from functools import partial

import numpy as np

from models.detector.rectified_sum import curved_detector_lines
from synth.lessons.live import Axis, LiveChoice, LiveStage, OnAxis, marks
from synth.lessons.recipes import Mixture, Tone, performed
from synth.lessons.setup import LessonSetup
from synth.lessons.stage import SAMPLE_RATE, Claim, Floats, Lesson, Stage, absent, decibels, line, rested, times

DIFFERENCE, RATIO, CURVATURE = 330.0, 0.7, 0.5
LOW, MIDDLE, SECONDS = 1000.0, 9000.0, 4.0
HOLD, RISE, END = 1.5, 5.0, 3.0  # s, of the slide
HIGHEST_DIFFERENCE = 2000.0  # Hz, of the last live stage
WHOLE = (0.05, SECONDS - 0.05)


def bent(first: Tone, second: Tone, curvature: float = CURVATURE) -> Mixture:
    """Two tones, the second RATIO times as strong, through a detector of that curvature."""
    parts = curved_detector_lines(LOW, LOW + DIFFERENCE, RATIO, curvature)
    return Mixture(first, second, tuple(part for part in parts if part[2] > 0.0))


def pair(curvature: float = CURVATURE) -> Mixture:
    """Two tones DIFFERENCE apart; the value is the first, Hz."""
    return bent(Tone(0.0, 1.0), Tone(DIFFERENCE, 1.0), curvature)


def sliding(top: float) -> Floats:
    """From LOW to `top` (Hz), by equal steps of pitch in equal times, with a rest at both ends."""
    share = np.clip((times(HOLD + RISE + END) - HOLD) / RISE, 0.0, 1.0)
    return performed(pair(), LOW * (top / LOW) ** share, SAMPLE_RATE)


def detector_claims(first: float, start: float, end: float) -> tuple[Claim, ...]:
    """Every line of the bent sum."""
    return tuple(
        line(one * first + two * (first + DIFFERENCE), decibels(amplitude), start, end)
        for one, two, amplitude in curved_detector_lines(first, first + DIFFERENCE, RATIO, CURVATURE)
    )


def lesson(setup: LessonSetup) -> Lesson:
    """Plain sum, bent sum, high, and the slide to the radio frequency of the built-in design."""
    top = setup.built_in.reference_frequency
    ends = (0.1, HOLD - 0.1), (HOLD + RISE + 0.2, HOLD + RISE + END - 0.1)
    stages = (
        Stage(
            "two-tones",
            "Two tones, plainly added",
            "1000 Hz and 1330 Hz, four cents less than a pure musical fourth. Added together they stay two tones: the "
            "spectrum has two lines and nothing at 330 Hz. (The ear itself bends strong sounds a little and may add a "
            "faint low note of its own. It is not in the recording.)",
            (line(LOW, 0.0, *WHOLE), line(LOW + DIFFERENCE, decibels(RATIO), *WHOLE), absent(DIFFERENCE, *WHOLE)),
            partial(rested, pair(0.0), LOW, SECONDS),
            (1.0, 0.02),
        ),
        Stage(
            "bent",
            "The same through a detector",
            "Now the sum passes a detector: something that answers strong pushes more than in proportion, here the "
            "sum plus half of its square. New tones appear: the difference, 330 Hz, which you hear as a low note "
            "underneath; the sum, 2330 Hz; and twice each tone, 2000 and 2660 Hz.",
            detector_claims(LOW, *WHOLE),
            partial(rested, pair(), LOW, SECONDS),
            (1.0, 0.02),
        ),
        Stage(
            "high",
            "Both tones eight kilohertz higher",
            "9000 Hz and 9330 Hz through the same detector. The two tones are now a thin whistle, but they are still "
            "330 Hz apart, and the low note has not moved. Its pitch depends on the difference and on nothing else.",
            detector_claims(MIDDLE, *WHOLE),
            partial(rested, pair(), MIDDLE, SECONDS),
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
            partial(sliding, top),
            (HOLD + RISE + 1.0, 0.02),
        ),
    )
    return Lesson(
        "slide",
        "Sliding up until only the beat is left",
        "Where the note of a theremin comes from when both oscillators are far above hearing.",
        stages,
    )


def live(setup: LessonSetup) -> tuple[LiveStage, ...]:
    """Sum and detector, both tones upwards, the second oscillator alone."""
    top = setup.built_in.reference_frequency
    second = Axis("second tone", "Hz", LOW, 2.0 * LOW, marks=marks(1000, 1200, 1400, 1600, 1800, 2000))
    upwards = Axis("first tone", "kHz", LOW, top, True, marks(1e3, 3e3, 1e4, 3e4, 1e5, top, scale=1e-3), 1e-3, 2)
    radio = Axis(
        "second oscillator",
        "kHz",
        top,
        top - HIGHEST_DIFFERENCE,
        scale=1e-3,
        decimals=3,
        marks=marks(top, top - 500, top - 1000, top - 1500, top - 2000, scale=1e-3, decimals=2),
    )
    still, moved = Tone(LOW, 0.0), Tone(0.0, 1.0)
    return (
        LiveStage(
            "detector",
            "A new tone",
            "Left and right: the second tone. The first stays at 1000 Hz.",
            (
                LiveChoice(
                    "plain sum",
                    "Two tones added. Sweep the second one: there are two lines and no more. (The ear may "
                    "add a faint low note of its own; it is not in the sound.)",
                    OnAxis(second, bent(still, moved, 0.0)),
                ),
                LiveChoice(
                    "detector",
                    "The same through a detector, the sum plus half of its square. Now a low note moves "
                    "with your hand: the difference. The sum and twice each tone are there as well, above.",
                    OnAxis(second, bent(still, moved)),
                ),
            ),
            (20.0, 6000.0),
            0.02,
        ),
        LiveStage(
            "slide",
            "Up until only the beat is left",
            f"Left and right: both tones together, always {DIFFERENCE:.0f} Hz apart.",
            (
                LiveChoice(
                    "detector",
                    "Slide to the right. One after another the high tones leave your hearing, and between "
                    "20 and 22 kHz they leave this sound too. What stays is the low note, where it was all the time: "
                    "its pitch depends on the difference and on nothing else.",
                    OnAxis(upwards, pair()),
                ),
            ),
            (20.0, 22_000.0),
            0.02,
        ),
        LiveStage(
            "theremin",
            "Two oscillators nobody can hear",
            f"Left and right: the second oscillator. The first stays at {1e-3 * top:.2f} kHz.",
            (
                LiveChoice(
                    "detector",
                    "Both oscillators are far above hearing; only their difference sounds. A shift of two "
                    "kilohertz, less than a hundredth of the oscillator's frequency, takes the note through all the "
                    "middle of hearing. Below some 20 Hz, left, it fades out. This is the theremin.",
                    OnAxis(radio, bent(Tone(top, 0.0), Tone(0.0, 1.0))),
                ),
            ),
            (20.0, 22_000.0),
            0.02,
        ),
    )
