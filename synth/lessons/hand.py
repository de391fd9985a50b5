"""Lesson: the hand as a capacitor, with the computed field of the built-in design."""

from __future__ import annotations

import numpy as np

from models.instrument import Instrument
from models.pitch import cents
from synth.lessons.draft import Draft
from synth.lessons.live import FAR, NEAR, OnAxis, hand_axis, marks
from synth.lessons.passage import held, rest
from synth.lessons.recipes import Instrumental
from synth.lessons.setup import LessonSetup
from synth.lessons.stage import Claim, Lesson, absent, line
from synth.lessons.words import said

STEPS = (0.30, 0.20, 0.10, 0.05)  # m
AT, CLOSED = 0.20, 0.29  # m: the modelled fist is 9 cm shorter than the open hand; the wrist stays
MILLIMETRES = (0.300, 0.299, 0.050, 0.049)  # m


def notes(instrument: Instrument, distances: tuple[float, ...], first: int = 0) -> tuple[Claim, ...]:
    """The line that each resting place sounds, from the capacitance curve and the oscillator's law."""
    sounded = instrument.beat_frequency(np.array(distances))
    return tuple(line(float(abs(beat)), 0.0, *rest(first + index)) for index, beat in enumerate(sounded))


def lesson(setup: LessonSetup) -> Lesson:
    """Steps, fist against open hand, and one millimetre far and near; live, the whole field, and a centimetre."""
    built_in, fist, zero = setup.built_in, setup.fist, setup.zero_beat
    flat, closed = Instrumental(built_in), Instrumental(fist)
    femto = 1e15 * (built_in.antenna_capacitance(np.array(STEPS)) - built_in.antenna_capacitance(zero))
    beats = built_in.beat_frequency(np.array(STEPS))
    places = "; ".join(
        said("hand", "pieces", "place", cm=100 * place, femtofarads=added, hertz=sound)
        for place, added, sound in zip(STEPS, femto, beats, strict=True)
    )
    open_hz, fist_hz = float(built_in.beat_frequency(AT)), float(fist.beat_frequency(CLOSED))
    pair = built_in.beat_frequency(np.array(MILLIMETRES))
    draft = Draft(
        "hand",
        empty_pf=1e12 * float(built_in.curve.empty_capacitance + built_in.antenna_stray),
        zero_cm=100 * zero,
        places=places,
        open_cm=100 * AT,
        fist_cm=100 * CLOSED,
        drawn_back_cm=100 * (CLOSED - AT),
        less_ff=1e15 * float(built_in.antenna_capacitance(AT) - fist.antenna_capacitance(CLOSED)),
        open_hz=open_hz,
        fist_hz=fist_hz,
        fist_semitones=0.01 * float(cents(open_hz, fist_hz)),
        pair=pair,
        far_cents=float(cents(pair[1], pair[0])),
        near_cents=float(cents(pair[3], pair[2])),
        near_over_far=float((pair[3] - pair[2]) / (pair[1] - pair[0])),
    )
    stages = (
        draft.stage(
            "steps",
            (*notes(built_in, STEPS), absent(1.5 * float(beats[0]), *rest(0))),
            held(flat, STEPS),
            (0.5, 0.05),
        ),
        draft.stage(
            "fist",
            (*notes(built_in, (AT,)), *notes(fist, (CLOSED,), 1)),
            (held(flat, (AT,)), held(closed, (CLOSED,))),
            (0.5, 0.05),
        ),
        draft.stage("millimetre", notes(built_in, MILLIMETRES), held(flat, MILLIMETRES), (0.5, 0.05)),
    )
    whole = hand_axis(marks(0.6, 0.5, 0.4, 0.3, 0.2, 0.1, 0.02, scale=100.0))
    drawn_back = hand_axis(marks(0.6, 0.5, 0.4, 0.3, 0.2, 0.12, scale=100.0), FAR + CLOSED - AT, NEAR + CLOSED - AT)
    far = hand_axis(marks(0.305, 0.3, 0.295, scale=100.0, decimals=1), 0.305, 0.295)
    near = hand_axis(marks(0.055, 0.05, 0.045, scale=100.0, decimals=1), 0.055, 0.045)
    hands = {"open-hand": OnAxis(whole, flat), "fist": OnAxis(drawn_back, closed)}
    pages = (
        draft.page("capacitor", hands, (20.0, 5000.0)),
        draft.page("centimetre", {"far": OnAxis(far, flat), "near": OnAxis(near, flat)}, (20.0, 5000.0)),
    )
    return draft.lesson(stages, pages)
