"""Lesson: two tones slide up until only the beat between them is left; live, with a moving tone or oscillator."""

from __future__ import annotations

from models.detector.rectified_sum import curved_detector_lines
from synth.lessons.draft import Draft
from synth.lessons.live import Axis, OnAxis, marks
from synth.lessons.passage import Passage, rested
from synth.lessons.recipes import Mixture
from synth.lessons.setup import LessonSetup
from synth.lessons.stage import Claim, Lesson, absent, decibels, line
from synth.lessons.waves import Tone, Waves
from synth.lessons.words import said

DIFFERENCE, RATIO, CURVATURE = 330.0, 0.7, 0.5
LOW, MIDDLE, SECONDS = 1000.0, 9000.0, 4.0
HOLD, RISE, END = 1.5, 5.0, 3.0  # s, of the slide
HIGHEST_DIFFERENCE = 2000.0  # Hz, of the last live stage
WHOLE = (0.05, SECONDS - 0.05)


def bent(first: Tone, second: Tone, curvature: float = CURVATURE) -> Mixture:
    """Two tones, the second RATIO times as strong, through a detector of that curvature."""
    parts = curved_detector_lines(LOW, LOW + DIFFERENCE, RATIO, curvature)
    bend, heard = ("square", "bent") if curvature > 0.0 else ("none", "sum")
    waves = Waves(first, second, RATIO, bend, heard, curvature)
    return Mixture(first, second, tuple(part for part in parts if part[2] > 0.0), waves=waves)


def pair(curvature: float = CURVATURE) -> Mixture:
    """Two tones DIFFERENCE apart; the value is the first, Hz."""
    return bent(Tone(0.0, 1.0), Tone(DIFFERENCE, 1.0), curvature)


def sliding(top: float) -> Passage:
    """From LOW to `top` (Hz), by equal steps of pitch in equal times, with a rest at both ends."""
    instants = (0.0, HOLD, HOLD + RISE, HOLD + RISE + END)
    return Passage(pair(), instants, (LOW, LOW, top, top), even_pitch=True)


def detector_claims(first: float, start: float, end: float) -> tuple[Claim, ...]:
    """Every line of the bent sum."""
    return tuple(
        line(one * first + two * (first + DIFFERENCE), decibels(amplitude), start, end)
        for one, two, amplitude in curved_detector_lines(first, first + DIFFERENCE, RATIO, CURVATURE)
    )


def lesson(setup: LessonSetup) -> Lesson:
    """Plain sum, bent sum, high, and the slide to the radio frequency of the built-in design."""
    top = setup.built_in.reference_frequency
    draft = Draft("slide", difference=DIFFERENCE, top_khz=1e-3 * top)
    begin, end = (0.1, HOLD - 0.1), (HOLD + RISE + 0.2, HOLD + RISE + END - 0.1)
    plain = (line(LOW, 0.0, *WHOLE), line(LOW + DIFFERENCE, decibels(RATIO), *WHOLE), absent(DIFFERENCE, *WHOLE))
    gone = (absent(frequency, *end) for frequency in (LOW, 2.0 * DIFFERENCE, 21_000.0))
    slid = (*detector_claims(LOW, *begin), line(DIFFERENCE, 0.0, *end), *gone)
    low, middle = detector_claims(LOW, *WHOLE), detector_claims(MIDDLE, *WHOLE)
    stages = (
        draft.stage("two-tones", plain, rested(pair(0.0), LOW, SECONDS), (1.0, 0.02)),
        draft.stage("bent", low, rested(pair(), LOW, SECONDS), (1.0, 0.02)),
        draft.stage("high", middle, rested(pair(), MIDDLE, SECONDS), (1.0, 0.02)),
        draft.stage("slide", slid, sliding(top), (HOLD + RISE + 1.0, 0.02)),
    )
    second = Axis(said("axes", "second-tone"), "Hz", LOW, 2.0 * LOW, marks=marks(1000, 1200, 1400, 1600, 1800, 2000))
    upwards_marks = marks(1e3, 3e3, 1e4, 3e4, 1e5, top, scale=1e-3)
    upwards = Axis(said("axes", "first-tone"), "kHz", LOW, top, True, upwards_marks, 1e-3, 2)
    radio = Axis(
        said("axes", "second-oscillator"),
        "kHz",
        top,
        top - HIGHEST_DIFFERENCE,
        scale=1e-3,
        decimals=3,
        marks=marks(top, top - 500, top - 1000, top - 1500, top - 2000, scale=1e-3, decimals=2),
    )
    still, moved = Tone(LOW, 0.0), Tone(0.0, 1.0)
    sounds = {"plain-sum": OnAxis(second, bent(still, moved, 0.0)), "detector": OnAxis(second, bent(still, moved))}
    pages = (
        draft.page("detector", sounds, (20.0, 6000.0), 0.02),
        draft.page("slide", {"detector": OnAxis(upwards, pair())}, (20.0, 22_000.0), 0.02),
        draft.page("theremin", {"detector": OnAxis(radio, bent(Tone(top, 0.0), moved))}, (20.0, 22_000.0), 0.02),
    )
    return draft.lesson(stages, pages)
