"""Lesson: the hand as a capacitor, with the computed field of the built-in design."""

from __future__ import annotations

from functools import partial

import numpy as np

from models.instrument import Instrument
from models.pitch import cents
from synth.lessons.live import FAR, NEAR, LiveChoice, LiveStage, OnAxis, hand_axis, marks
from synth.lessons.recipes import Instrumental
from synth.lessons.setup import LessonSetup, held, one_after_the_other, rest
from synth.lessons.stage import Claim, Lesson, Stage, absent, line

STEPS = (0.30, 0.20, 0.10, 0.05)  # m
AT, CLOSED = 0.20, 0.29  # m: the modelled fist is 9 cm shorter than the open hand; the wrist stays
MILLIMETRES = (0.300, 0.299, 0.050, 0.049)  # m


def notes(instrument: Instrument, distances: tuple[float, ...], first: int = 0) -> tuple[Claim, ...]:
    """The line that each resting place sounds, from the capacitance curve and the oscillator's law."""
    sounded = instrument.beat_frequency(np.array(distances))
    return tuple(line(float(abs(beat)), 0.0, *rest(first + index)) for index, beat in enumerate(sounded))


def lesson(setup: LessonSetup) -> Lesson:
    """Steps, fist against open hand, and one millimetre far and near."""
    built_in, zero = setup.built_in, setup.zero_beat
    femto = 1e15 * (built_in.antenna_capacitance(np.array(STEPS)) - built_in.antenna_capacitance(zero))
    beats = built_in.beat_frequency(np.array(STEPS))
    table = "; ".join(
        f"{100 * place:.0f} cm: {added:.0f} fF, {sound:.0f} Hz"
        for place, added, sound in zip(STEPS, femto, beats, strict=True)
    )
    open_hand, fist = (float(built_in.beat_frequency(AT)), float(setup.fist.beat_frequency(CLOSED)))
    less = 1e15 * float(built_in.antenna_capacitance(AT) - setup.fist.antenna_capacitance(CLOSED))
    pair = built_in.beat_frequency(np.array(MILLIMETRES))
    far, near = float(cents(pair[1], pair[0])), float(cents(pair[3], pair[2]))
    stages = (
        Stage(
            "steps",
            "A hand comes nearer",
            "Hand and rod are the two plates of a capacitor with air between: the rod carries the signal, the hand "
            "is joined through the player's body to the ground around. The rod alone, with its mount, has about "
            f"{1e12 * float(built_in.curve.empty_capacitance + built_in.antenna_stray):.1f} pF. The hand adds very "
            f"little, counted here from zero beat at {100 * zero:.0f} cm: {table}. A femtofarad (fF) is a thousandth "
            "of a picofarad. More capacitance makes the variable oscillator slower, so the difference from the "
            "reference grows and the note rises. The hand rests at these four places in turn.",
            (*notes(built_in, STEPS), absent(1.5 * float(beats[0]), *rest(0))),
            partial(held, built_in, STEPS),
            (0.5, 0.05),
        ),
        Stage(
            "fist",
            "Open hand and fist",
            f"The open hand is {100 * AT:.0f} cm away (nearest skin to rod). It closes to a fist while the wrist "
            f"stays, so the nearest skin draws back to {100 * CLOSED:.0f} cm: the capacitance falls by {less:.1f} fF "
            f"and the note from {open_hand:.1f} to {fist:.1f} Hz, {0.01 * float(cents(open_hand, fist)):.1f} "
            "semitones lower. That is the whole hand. Fingers that open only in part give small steps, which is how "
            "a player can change the note quickly without moving the arm. Open, then fist.",
            (*notes(built_in, (AT,)), *notes(setup.fist, (CLOSED,), 1)),
            partial(one_after_the_other, (built_in, (AT,)), (setup.fist, (CLOSED,))),
            (0.5, 0.05),
        ),
        Stage(
            "millimetre",
            "One millimetre",
            f"The hand moves by one millimetre, first at 30 cm, from {pair[0]:.2f} to {pair[1]:.2f} Hz ({far:.0f} "
            f"cents), then at 5 cm, from {pair[2]:.1f} to {pair[3]:.1f} Hz ({near:.0f} cents; a semitone is 100). In "
            f"hertz the near step is {float((pair[3] - pair[2]) / (pair[1] - pair[0])):.0f} times the far one; in "
            "cents, as the ear counts, the two are not far apart, because the note itself is so much higher.",
            notes(built_in, MILLIMETRES),
            partial(held, built_in, MILLIMETRES),
            (0.5, 0.05),
        ),
    )
    return Lesson(
        "hand",
        "The hand as a capacitor",
        "The computed hand and rod of the built-in design, heard through a balanced mixer so that each "
        "note is very nearly a single line (the oscillators' small leak adds a second, 45 dB below or less).",
        stages,
    )


def live(setup: LessonSetup) -> tuple[LiveStage, ...]:
    """Hand and fist over the whole field; a centimetre far and near."""
    whole = hand_axis(marks(0.6, 0.5, 0.4, 0.3, 0.2, 0.1, 0.02, scale=100.0))
    drawn_back = hand_axis(marks(0.6, 0.5, 0.4, 0.3, 0.2, 0.12, scale=100.0), FAR + CLOSED - AT, NEAR + CLOSED - AT)
    far = hand_axis(marks(0.305, 0.3, 0.295, scale=100.0, decimals=1), 0.305, 0.295)
    near = hand_axis(marks(0.055, 0.05, 0.045, scale=100.0, decimals=1), 0.055, 0.045)
    open_hand, fist = Instrumental(setup.built_in), Instrumental(setup.fist)
    return (
        LiveStage(
            "capacitor",
            "The hand as a capacitor",
            "Left and right: the hand, nearest skin to rod. The rod is right.",
            (
                LiveChoice(
                    "open hand",
                    "Hand and rod are the plates of a capacitor. Zero beat is at "
                    f"{100 * setup.zero_beat:.0f} cm. Nearer, the added capacitance slows the variable oscillator, "
                    "the difference grows, and the note rises. Beyond zero beat it rises too, from the other side.",
                    OnAxis(whole, open_hand),
                ),
                LiveChoice(
                    "fist",
                    "The hand closes, the wrist stays: the nearest skin draws back by "
                    f"{100 * (CLOSED - AT):.0f} cm and the capacitance falls. On the near side of zero beat the note "
                    "falls with it.",
                    OnAxis(drawn_back, fist),
                ),
            ),
            (20.0, 5000.0),
        ),
        LiveStage(
            "centimetre",
            "One centimetre",
            "Left and right: the hand, within one centimetre. The rod is right.",
            (
                LiveChoice("far", "One centimetre at 30 cm. Listen how far the note goes.", OnAxis(far, open_hand)),
                LiveChoice(
                    "near",
                    "One centimetre at 5 cm. In hertz the note goes much farther, in cents only a little: a "
                    "player's hand has to be about as steady here as there.",
                    OnAxis(near, open_hand),
                ),
            ),
            (20.0, 5000.0),
        ),
    )
