"""Lesson: sum, rectified sum and filtered tone of the built-in design, radio frequencies seven octaves down."""

from __future__ import annotations

import math

import numpy as np

from models.detector.memoryless import envelope_harmonics
from models.detector.rectified_sum import rectified_side_line
from synth.lessons.draft import Draft
from synth.lessons.live import Axis, OnAxis
from synth.lessons.passage import rested
from synth.lessons.recipes import Mixture, Recipe, Rectified, filtered_parts
from synth.lessons.setup import LessonSetup
from synth.lessons.stage import Lesson, absent, beat, decibels, line
from synth.lessons.waves import Tone, Waves
from synth.lessons.words import said

FACTOR, RATIO, NOTE, SECONDS = 128, 0.7, 523.2511306011972, 6.0  # NOTE: C5, Hz (equal temperament, A4 at 440 Hz)
WHOLE = (0.05, SECONDS - 0.05)
BEAT_FLOOR_DB = -20.0
BAND = (2.0, 22_000.0)  # Hz


def slowed(reference: float) -> tuple[Tone, Tone]:
    """Reference and variable oscillator FACTOR times lower; the value is the note, Hz."""
    return Tone(reference / FACTOR, 0.0), Tone(reference / FACTOR, -1.0 / FACTOR)


def waves(reference: float, heard: str, slowed: float = FACTOR) -> Waves:
    """What is drawn of all taps: the oscillators at their true frequencies; the value is the note, Hz."""
    return Waves(Tone(reference, 0.0), Tone(reference, -1.0), RATIO, "rectified", heard, slowed=slowed)


def summed(reference: float) -> Mixture:
    """Tap 1."""
    return Mixture(*slowed(reference), ((1, 0, 1.0), (0, 1, RATIO)), waves=waves(reference, "sum"))


def rectified(reference: float) -> Rectified:
    """Tap 2, without its steady part (no loudspeaker passes that)."""
    return Rectified(*slowed(reference), RATIO, waves(reference, "bent"))


def filtered(reference: float, factor: int, gain: float = 1.0) -> Mixture:
    """Tap 3, `factor` times lower: the mean of the rectified sum over a carrier cycle, without its steady part."""
    drawn = waves(reference, "filtered", factor)
    return Mixture(Tone(0.0, 1.0 / factor), Tone(0.0, 0.0), filtered_parts(RATIO), False, gain, drawn)


def lesson(setup: LessonSetup) -> Lesson:
    """The three taps seven octaves down, then the last at its true pitch."""
    reference = setup.built_in.reference_frequency
    high, low, slow = reference / FACTOR, (reference - NOTE) / FACTOR, NOTE / FACTOR
    tones = np.abs(envelope_harmonics(3, RATIO)) / math.pi
    side = [decibels(2.0 * abs(rectified_side_line(1, order, RATIO))) for order in range(2)]
    timbre = [decibels(tones[order] / tones[1]) for order in (1, 2, 3)]
    draft = Draft(
        "taps",
        factor=FACTOR,
        place_cm=100.0 * float(setup.field.distance_at(NOTE)),
        note=NOTE,
        reference_khz=1e-3 * reference,
        high=high,
        low=low,
        slow=slow,
    )
    both = (line(high, 0.0, *WHOLE), line(low, decibels(RATIO), *WHOLE))
    bent = (
        line(slow, decibels(2.0 * tones[1]), *WHOLE),
        line(2.0 * high, side[0], *WHOLE),
        line(high + low, side[1], *WHOLE),
    )
    left = (line(slow, 0.0, *WHOLE), line(2.0 * slow, timbre[1], *WHOLE), absent(high, *WHOLE), absent(low, *WHOLE))
    note = (
        line(NOTE, 0.0, *WHOLE),
        line(2.0 * NOTE, timbre[1], *WHOLE),
        line(3.0 * NOTE, timbre[2], *WHOLE),
        absent(1.5 * NOTE, *WHOLE),
    )
    swell = beat(slow, *WHOLE)
    stages = (
        draft.stage(
            "sum",
            (*both, absent(slow, *WHOLE), swell),
            rested(summed(reference), NOTE, SECONDS),
            (1.0, 0.5),
            BAND,
        ),
        draft.stage(
            "rectified",
            (*both, *bent, swell),
            rested(rectified(reference), NOTE, SECONDS),
            (1.0, 0.5),
            BAND,
        ),
        draft.stage(
            "filtered", left, rested(filtered(reference, FACTOR), NOTE, SECONDS), (1.0, 1.0), BAND, BEAT_FLOOR_DB
        ),
        draft.stage("true-pitch", note, rested(filtered(reference, 1), NOTE, SECONDS), (1.0, 0.01)),
    )
    notes = ((65.40639, "C2"), (130.8128, "C3"), (261.6256, "C4"), (523.2511, "C5"), (1046.502, "C6"))
    axis = Axis(said("axes", "note"), "Hz", 65.40639, 1046.502, True, notes, decimals=1)
    taps: dict[str, Recipe] = {
        "sum": summed(reference),
        "rectified": rectified(reference),
        "filtered": filtered(reference, FACTOR, 0.5),
        "true-pitch": filtered(reference, 1),
    }
    sounds = {key: OnAxis(axis, recipe) for key, recipe in taps.items()}
    return draft.lesson(stages, (draft.page("taps", sounds, (0.5, 22_000.0), 0.5),))
