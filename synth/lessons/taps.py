"""Lesson: sum, rectified sum and filtered tone of the built-in design, radio frequencies seven octaves down."""

from __future__ import annotations

import math
from functools import partial

import numpy as np

from models.detector.memoryless import envelope_harmonics
from models.detector.rectified_sum import rectified_side_line
from synth.lessons.live import Axis, LiveChoice, LiveStage, OnAxis
from synth.lessons.recipes import Mixture, Rectified, Tone, filtered_parts
from synth.lessons.setup import LessonSetup
from synth.lessons.stage import Lesson, Stage, absent, beat, decibels, line, rested

FACTOR, RATIO, NOTE, SECONDS = 128, 0.7, 523.2511306011972, 6.0  # NOTE: C5, Hz (equal temperament, A4 at 440 Hz)
WHOLE = (0.05, SECONDS - 0.05)
BEAT_FLOOR_DB = -20.0


def slowed(reference: float) -> tuple[Tone, Tone]:
    """Reference and variable oscillator FACTOR times lower; the value is the note, Hz."""
    return Tone(reference / FACTOR, 0.0), Tone(reference / FACTOR, -1.0 / FACTOR)


def summed(reference: float) -> Mixture:
    """Tap 1."""
    return Mixture(*slowed(reference), ((1, 0, 1.0), (0, 1, RATIO)))


def rectified(reference: float) -> Rectified:
    """Tap 2, without its steady part (no loudspeaker passes that)."""
    return Rectified(*slowed(reference), RATIO)


def filtered(factor: int, gain: float = 1.0) -> Mixture:
    """Tap 3, `factor` times lower: the mean of the rectified sum over a carrier cycle, without its steady part."""
    return Mixture(Tone(0.0, 1.0 / factor), Tone(0.0, 0.0), filtered_parts(RATIO), slow_too=False, gain=gain)


def lesson(setup: LessonSetup) -> Lesson:
    """The three taps seven octaves down, then the last at its true pitch."""
    reference = setup.built_in.reference_frequency
    place = 100.0 * float(setup.field.distance_at(NOTE))
    high, low, slow = reference / FACTOR, (reference - NOTE) / FACTOR, NOTE / FACTOR
    tones = np.abs(envelope_harmonics(3, RATIO)) / math.pi
    side = [decibels(2.0 * abs(rectified_side_line(1, order, RATIO))) for order in range(2)]
    timbre = [decibels(tones[order] / tones[1]) for order in (1, 2, 3)]
    scale = f"{FACTOR} times, seven octaves, lower"
    stages = (
        Stage(
            "sum",
            f"The sum, {scale}",
            f"With the hand at {place:.1f} cm the built-in design plays C5, {NOTE:.1f} Hz. Its reference runs at "
            f"{reference / 1000.0:.2f} kHz, its variable oscillator {NOTE:.1f} Hz lower. Everything here is slowed "
            f"down {FACTOR} times, so the two become {high:.2f} and {low:.2f} Hz and their difference {slow:.2f} Hz. "
            f"You hear a whistle that swells {slow:.1f} times a second. In the spectrum: the two lines, and nothing "
            f"at {slow:.2f} Hz. Adding alone makes no new tone.",
            (line(high, 0.0, *WHOLE), line(low, decibels(RATIO), *WHOLE), absent(slow, *WHOLE), beat(slow, *WHOLE)),
            partial(rested, summed(reference), NOTE, SECONDS),
            (1.0, 0.5),
            (2.0, 22_000.0),
        ),
        Stage(
            "rectified",
            f"The rectified sum, {scale}",
            "A diode lets only the positive half of the wave through. The two lines are still there, at half their "
            f"strength, and so the whistle; but now there is a line at {slow:.2f} Hz as well, and others around twice "
            "the carrier, four times, and so on (here up to eight times). The steady part is left out. The slow line "
            "is too low to hear. It is in the picture: the upper side of the wave no longer has a lower side to "
            "cancel it.",
            (
                line(high, 0.0, *WHOLE),
                line(low, decibels(RATIO), *WHOLE),
                line(slow, decibels(2.0 * tones[1]), *WHOLE),
                line(2.0 * high, side[0], *WHOLE),
                line(high + low, side[1], *WHOLE),
                beat(slow, *WHOLE),
            ),
            partial(rested, rectified(reference), NOTE, SECONDS),
            (1.0, 0.5),
            (2.0, 22_000.0),
        ),
        Stage(
            "filtered",
            f"The filtered tone, {scale}",
            f"A low-pass takes everything near the carrier away and leaves the slow wave of {slow:.2f} Hz with its "
            "overtones. Slowed down like this it is below hearing: you hear next to nothing, though the cone of a "
            "loudspeaker may be seen to move. Do not turn it up to hear it: the next sound would be far too loud. "
            "This one is recorded softer than the others.",
            (line(slow, 0.0, *WHOLE), line(2.0 * slow, timbre[1], *WHOLE), absent(high, *WHOLE), absent(low, *WHOLE)),
            partial(rested, filtered(FACTOR), NOTE, SECONDS),
            (1.0, 1.0),
            (2.0, 22_000.0),
            BEAT_FLOOR_DB,
        ),
        Stage(
            "true-pitch",
            "The filtered tone at its true pitch",
            f"The same wave {FACTOR} times faster, as it is in the instrument: {slow:.4f} x {FACTOR} = {NOTE:.2f} Hz, "
            "C5. Every line of the stage before is here, seven octaves higher, at the same strength against the "
            "others. The overtones come from the detector: the envelope of two unequal tones is not quite a sine. A "
            "real diode with its resistor and capacitor, and the tone filter, would colour it further.",
            (
                line(NOTE, 0.0, *WHOLE),
                line(2.0 * NOTE, timbre[1], *WHOLE),
                line(3.0 * NOTE, timbre[2], *WHOLE),
                absent(1.5 * NOTE, *WHOLE),
            ),
            partial(rested, filtered(1), NOTE, SECONDS),
            (1.0, 0.01),
        ),
    )
    return Lesson(
        "taps",
        "Sum, rectified sum, filtered tone",
        "Listening at three points inside the instrument. Radio frequency cannot be heard, so the first "
        f"three stages are all divided by {FACTOR}; every ratio between frequencies stays as it is.",
        stages,
    )


def live(setup: LessonSetup) -> tuple[LiveStage, ...]:
    """Three taps seven octaves down, and the last at its true pitch."""
    top = setup.built_in.reference_frequency
    note = Axis(
        "note",
        "Hz",
        65.40639,
        1046.502,
        True,
        ((65.40639, "C2"), (130.8128, "C3"), (261.6256, "C4"), (523.2511, "C5"), (1046.502, "C6")),
        decimals=1,
    )
    return (
        LiveStage(
            "taps",
            "Three taps inside the instrument",
            f"Left and right: the note. Taps 1 to 3 are {FACTOR} times, seven octaves, lower than in the instrument.",
            (
                LiveChoice(
                    "sum",
                    f"Both oscillators added, {FACTOR} times lower: a whistle near {top / FACTOR:.0f} Hz that "
                    f"swells as often as the note's frequency over {FACTOR}. No line lies at that slow frequency.",
                    OnAxis(note, summed(top)),
                ),
                LiveChoice(
                    "rectified",
                    "Behind a diode that passes only the upper half. The whistle is still there; new are "
                    "the slow line itself, too low to hear, and lines around twice, four times the whistle and so on.",
                    OnAxis(note, rectified(top)),
                ),
                LiveChoice(
                    "filtered",
                    "Behind a low-pass only the slow wave is left, below hearing: you hear almost nothing. "
                    "Do not turn it up, the next tap would be far too loud.",
                    OnAxis(note, filtered(FACTOR, 0.5)),
                ),
                LiveChoice(
                    "true pitch",
                    f"The same wave {FACTOR} times faster, as it is in the instrument: the note, with "
                    "the overtones that the detector gives it.",
                    OnAxis(note, filtered(1)),
                ),
            ),
            (0.5, 22_000.0),
            0.5,
        ),
    )
