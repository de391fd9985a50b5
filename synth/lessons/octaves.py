"""Lesson: why octaves crowd near the antenna, and how a series inductor spreads them."""

from __future__ import annotations

from functools import partial

import numpy as np

from models.instrument import Instrument
from models.pitch import cents
from models.pitch_field import PitchField
from synth.lessons.hand import notes
from synth.lessons.live import FAR, NEAR, LiveChoice, LiveStage, OnAxis, hand_axis
from synth.lessons.recipes import Instrumental
from synth.lessons.setup import LessonSetup, held, one_after_the_other
from synth.lessons.stage import Lesson, Stage

STEPS = (0.25, 0.20, 0.15, 0.10, 0.05)  # m, equal
SAME = (0.05, 0.02)  # m: three centimetres, close to the rod
AWAY = 0.40  # m


def lesson(setup: LessonSetup) -> Lesson:
    """Bare rod, series inductor, and the same small move on both."""
    bare, coil = setup.bare, setup.built_in
    moves = [_interval(each, SAME) for each in (bare, coil)]
    per_femto = [_hertz_per_femtofarad(each) for each in (bare, coil)]
    steep = [[float(field.cents_per_mm(place)) for place in (NEAR, 0.20)] for field in (setup.bare_field, setup.field)]
    stages = (
        Stage(
            "bare",
            "A bare rod, five centimetres at a time",
            "The rod sits directly on the tank. The hand comes nearer in equal steps of five centimetres. The "
            f"intervals are not equal: {_intervals(bare)} cents (an octave is 1200). An octave up means twice the "
            "difference between the oscillators, so very nearly twice the capacitance added since zero beat. Here is "
            f"the room of each octave: {_octaves(setup.bare_field)}. Close to the rod they crowd: one millimetre "
            f"moves the pitch by {steep[0][0]:.0f} cents at 2 cm and by {steep[0][1]:.0f} at 20 cm. (They crowd again "
            "towards zero beat, where the difference starts from nothing.)",
            notes(bare, STEPS),
            partial(held, bare, STEPS),
            (0.5, 0.05),
        ),
        Stage(
            "inductor",
            "A series inductor, the same steps",
            f"The same rod and hand, now with {1e3 * coil.branch.inductance:.0f} mH between "
            f"tank and rod, on the tank of the built-in design. Between the same places lie {_intervals(coil)} cents, "
            f"and the octaves take {_octaves(setup.field)}. Coil and rod are a resonant circuit of their own, tuned "
            "below the oscillator. With the hand far away it lies close below the oscillator and every femtofarad "
            "counts; as the hand comes nearer the resonance moves further off and each femtofarad counts less: "
            f"{per_femto[1][0]:.2f} Hz at 40 cm, {per_femto[1][1]:.2f} Hz at 2 cm. With the bare rod it is "
            f"{per_femto[0][0]:.2f} and {per_femto[0][1]:.2f} Hz, almost the same. So the coil takes back part of "
            "what the hand's steep capacitance gives, just where the notes crowd.",
            notes(coil, STEPS),
            partial(held, coil, STEPS),
            (0.5, 0.05),
        ),
        Stage(
            "same-move",
            "The same move on both",
            "Listen to the interval, not to the height. The hand goes from 5 cm to 2 cm, first with the bare rod, "
            f"then with the inductor. Bare: {moves[0]:.0f} cents. Inductor: {moves[1]:.0f} cents. Per millimetre at 2 "
            f"cm: {steep[0][0]:.0f} against {steep[1][0]:.0f} cents. It is a spread, not a cure: the octaves are "
            "still not equal. More can be had by choosing the parts for it.",
            (*notes(bare, SAME), *notes(coil, SAME, len(SAME))),
            partial(one_after_the_other, (bare, SAME), (coil, SAME)),
            (0.5, 0.02),
        ),
    )
    return Lesson(
        "octaves",
        "Why octaves crowd near the antenna",
        "The same rod, player and zero beat; only the oscillator behind the rod differs. Heard through a "
        "balanced mixer.",
        stages,
    )


def _interval(instrument: Instrument, places: tuple[float, float]) -> float:
    first, second = instrument.beat_frequency(np.array(places))
    return float(cents(second, first))


def _intervals(instrument: Instrument) -> str:
    return ", ".join(f"{_interval(instrument, pair):.0f}" for pair in zip(STEPS, STEPS[1:], strict=False))


def _octaves(field: PitchField) -> str:
    return ", ".join(f"{span.low_note} to {span.high_note} {100 * span.width:.1f} cm" for span in field.octaves())


def _hertz_per_femtofarad(instrument: Instrument) -> list[float]:
    places = np.array([AWAY, NEAR])
    return list(1e-15 * instrument.offset_slope(places) / instrument.curve.slope(places))


def _octave_marks(field: PitchField) -> tuple[tuple[float, str], ...]:
    """The notes C of a field at their hand distances."""
    return tuple(
        (line.distance, line.name) for line in field.notes() if line.number % 12 == 0 and NEAR <= line.distance <= FAR
    )


def live(setup: LessonSetup) -> tuple[LiveStage, ...]:
    """The same hand on two instruments."""
    marks = [_octave_marks(field) for field in (setup.bare_field, setup.field)]
    far = max(place for each in marks for place, _ in each)
    bare, coil = (hand_axis(each, far) for each in marks)
    return (
        LiveStage(
            "octaves",
            "Two instruments under one hand",
            "Left and right: the hand. The marks are the notes C.",
            (
                LiveChoice(
                    "bare rod",
                    "The rod directly on the tank. Look how the marks crowd towards the rod at the right "
                    "(and towards zero beat at the left). The same movement is a wider interval near the rod.",
                    OnAxis(bare, Instrumental(setup.bare)),
                ),
                LiveChoice(
                    "series inductor",
                    "The same rod and hand with an inductor between tank and rod. The upper octaves "
                    "have more room: near the rod each femtofarad counts less than it does far away. It is a spread, "
                    "not a cure.",
                    OnAxis(coil, Instrumental(setup.built_in)),
                ),
            ),
            (20.0, 5000.0),
        ),
    )
