"""Lesson: the hand as a capacitor, with the computed field of the built-in design."""

from __future__ import annotations

from functools import partial

import numpy as np

from models.instrument import Instrument
from models.pitch import cents
from synth.lessons.bench import LessonBench, held, rest
from synth.lessons.stage import SAMPLE_RATE, Claim, Lesson, Stage, absent, line

STEPS = (0.30, 0.20, 0.10, 0.05)  # m
AT, CLOSED = 0.20, 0.29  # m: the modelled fist is 9 cm shorter than the open hand; the wrist stays
MILLIMETRES = (0.300, 0.299, 0.050, 0.049)  # m


def notes(instrument: Instrument, distances: tuple[float, ...], first: int = 0) -> tuple[Claim, ...]:
    """The line that each resting place sounds, from the capacitance curve and the oscillator's law."""
    sounded = instrument.beat_frequency(np.array(distances))
    return tuple(line(float(abs(beat)), 0.0, *rest(first + index)) for index, beat in enumerate(sounded))


def lesson(bench: LessonBench) -> Lesson:
    """Steps, fist against open hand, and one millimetre far and near."""
    built_in, zero = bench.built_in, bench.zero_beat
    femto = 1e15 * (built_in.antenna_capacitance(np.array(STEPS)) - built_in.antenna_capacitance(zero))
    beats = built_in.beat_frequency(np.array(STEPS))
    table = "; ".join(
        f"{100 * place:.0f} cm: {added:.0f} fF, {sound:.0f} Hz"
        for place, added, sound in zip(STEPS, femto, beats, strict=True)
    )
    open_hand, fist = (float(built_in.beat_frequency(AT)), float(bench.fist.beat_frequency(CLOSED)))
    less = 1e15 * float(built_in.antenna_capacitance(AT) - bench.fist.antenna_capacitance(CLOSED))
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
            (*notes(built_in, (AT,)), *notes(bench.fist, (CLOSED,), 1)),
            partial(_open_then_fist, bench),
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


def _open_then_fist(bench: LessonBench) -> np.typing.NDArray[np.float64]:
    from synth.lessons.bench import MOVE

    pieces = [held(bench.built_in, (AT,)), held(bench.fist, (CLOSED,))]
    fade = round(0.02 * SAMPLE_RATE)
    for piece in pieces:
        piece[-fade:] *= np.cos(0.5 * np.pi * np.arange(1, fade + 1) / fade) ** 2
    return np.concatenate([pieces[0], np.zeros(round(MOVE * SAMPLE_RATE)), pieces[1]])
