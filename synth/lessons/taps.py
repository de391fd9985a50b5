"""Lesson: sum, rectified sum and filtered tone of the built-in design, radio frequencies seven octaves down."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from models.detector.memoryless import envelope_harmonics
from models.detector.rectified_sum import half_wave_rectified, rectified_side_line, sum_of_tones
from synth.lessons.bench import LessonBench
from synth.lessons.stage import Lesson, Stage, absent, beat, decibels, line, times

FACTOR, RATIO, NOTE, SECONDS = 128, 0.7, 523.2511306011972, 6.0  # NOTE: C5, Hz (equal temperament, A4 at 440 Hz)
PAIRS = 4  # of the rectifier's series: up to eight times the carrier, within the recording
WHOLE = (0.05, SECONDS - 0.05)
BEAT_FLOOR_DB = -20.0


def carriers(reference: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Envelope and angle of the sum of reference and variable oscillator, both FACTOR times lower."""
    time = times(SECONDS)
    turn = 2.0 * math.pi * time / FACTOR
    return sum_of_tones(turn * reference, turn * (reference - NOTE), RATIO)


def summed(reference: float) -> NDArray[np.float64]:
    """Tap 1."""
    envelope, angle = carriers(reference)
    return np.asarray(envelope * np.cos(angle))


def rectified(reference: float) -> NDArray[np.float64]:
    """Tap 2, without its steady part (no loudspeaker passes that)."""
    return np.asarray(half_wave_rectified(*carriers(reference), PAIRS) - envelope_harmonics(0, RATIO)[0] / math.pi)


def filtered(note: float) -> NDArray[np.float64]:
    """Tap 3: the mean of the rectified sum over a carrier cycle, without its steady part, for a beat of `note` Hz."""
    count = min(40, int(20_000.0 / note))
    amplitudes = envelope_harmonics(count, RATIO) / math.pi
    turn = 2.0 * math.pi * note * times(SECONDS)
    return np.asarray(sum(amplitudes[order] * np.cos(order * turn) for order in range(1, count + 1)))


def lesson(bench: LessonBench) -> Lesson:
    """The three taps seven octaves down, then the last at its true pitch."""
    reference = bench.built_in.reference_frequency
    place = 100.0 * float(bench.field.distance_at(NOTE))
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
            lambda: summed(reference),
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
            lambda: rectified(reference),
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
            lambda: filtered(slow),
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
            lambda: filtered(NOTE),
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
