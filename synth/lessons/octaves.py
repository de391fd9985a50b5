"""Lesson: why octaves crowd near the antenna, and how a series inductor spreads them."""

from __future__ import annotations

import numpy as np

from models.instrument import Instrument
from models.pitch import cents
from models.pitch_field import PitchField
from synth.lessons.draft import Draft
from synth.lessons.hand import notes
from synth.lessons.live import FAR, NEAR, OnAxis, hand_axis
from synth.lessons.passage import held
from synth.lessons.recipes import Instrumental
from synth.lessons.setup import LessonSetup
from synth.lessons.stage import Lesson
from synth.lessons.words import said

STEPS = (0.25, 0.20, 0.15, 0.10, 0.05)  # m, equal
SAME = (0.05, 0.02)  # m: three centimetres, close to the rod
AWAY = 0.40  # m


def lesson(setup: LessonSetup) -> Lesson:
    """Bare rod, series inductor, and the same small move on both; live, the same hand on two instruments."""
    bare, coil = setup.bare, setup.built_in
    fields = (setup.bare_field, setup.field)
    draft = Draft(
        "octaves",
        moves=[_interval(each, SAME) for each in (bare, coil)],
        per_femto=[_hertz_per_femtofarad(each) for each in (bare, coil)],
        steep=[[float(field.cents_per_mm(place)) for place in (NEAR, 0.20)] for field in fields],
        bare_intervals=_intervals(bare),
        bare_octaves=_octaves(fields[0]),
        coil_intervals=_intervals(coil),
        coil_octaves=_octaves(fields[1]),
        inductance_mh=1e3 * coil.branch.inductance,
    )
    stages = (
        draft.stage("bare", notes(bare, STEPS), held(Instrumental(bare), STEPS), (0.5, 0.05)),
        draft.stage("inductor", notes(coil, STEPS), held(Instrumental(coil), STEPS), (0.5, 0.05)),
        draft.stage(
            "same-move",
            (*notes(bare, SAME), *notes(coil, SAME, len(SAME))),
            (held(Instrumental(bare), SAME), held(Instrumental(coil), SAME)),
            (0.5, 0.02),
        ),
    )
    marks = [_octave_marks(field) for field in fields]
    far = max(place for each in marks for place, _ in each)
    sounds = {
        key: OnAxis(hand_axis(each, far), Instrumental(instrument))
        for key, each, instrument in zip(("bare-rod", "series-inductor"), marks, (bare, coil), strict=True)
    }
    return draft.lesson(stages, (draft.page("octaves", sounds, (20.0, 5000.0)),))


def _interval(instrument: Instrument, places: tuple[float, float]) -> float:
    first, second = instrument.beat_frequency(np.array(places))
    return float(cents(second, first))


def _intervals(instrument: Instrument) -> str:
    return ", ".join(f"{_interval(instrument, pair):.0f}" for pair in zip(STEPS, STEPS[1:], strict=False))


def _octaves(field: PitchField) -> str:
    return ", ".join(
        said("octaves", "pieces", "octave", low=span.low_note, high=span.high_note, width_cm=100 * span.width)
        for span in field.octaves()
    )


def _hertz_per_femtofarad(instrument: Instrument) -> list[float]:
    places = np.array([AWAY, NEAR])
    return list(1e-15 * instrument.offset_slope(places) / instrument.curve.slope(places))


def _octave_marks(field: PitchField) -> tuple[tuple[float, str], ...]:
    """The notes C of a field at their hand distances."""
    return tuple(
        (line.distance, line.name) for line in field.notes() if line.number % 12 == 0 and NEAR <= line.distance <= FAR
    )
