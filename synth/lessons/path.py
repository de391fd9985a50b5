"""Lesson: the whole way from two tones to an instrument, step by step, and experiments with things a class has."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from models.pitch import frequency_of_note, nearest_note
from models.plate_pair import plate_pair_capacitance
from models.pulling import pulled_beat
from models.radio_limits import general_field_limit
from synth.designs.quantity import format_quantity
from synth.lessons import beats, hand, locking, octaves, slide
from synth.lessons.draft import Draft
from synth.lessons.passage import Passage, held, rest
from synth.lessons.recipes import Instrumental
from synth.lessons.setup import LessonSetup
from synth.lessons.stage import Lesson, Stage, decibels, line, silent, softer

NEW_ZERO, BEYOND = 0.30, 0.60  # m: zero beat moved nearer, and a place beyond it
HEIGHTS = (0.25, 0.10, 0.05, 0.015)  # m, of the volume hand over its ring
C3, C4, C6 = 48, 60, 84  # note numbers
PHONES, PHONE_SECONDS, WEAKER = (440.0, 443.0), 30.0, 0.5
A3, E4 = 57, 64  # of a fifth
TRIED = {  # after the step with this slug: the page of another lesson
    "beat": ("beats", 0),
    "bend": ("slide", 0),
    "radio": ("slide", 2),
    "hand": ("hand", 0),
    "octaves": ("octaves", 0),
    "lock": ("locking", 0),
}
STATION, BETWEEN, DETUNED = 1000e3, 455e3, 1000.0  # Hz: a station, a receiver's intermediate frequency, off by
PLATE, GAPS = 0.20, (0.002, 0.004, 0.008)  # m


def lesson(setup: LessonSetup) -> Lesson:
    """Beat, bend, radio, hand, zero beat, octaves, lock, volume, build."""
    told = {each.name: each for each in (module.lesson(setup) for module in (beats, slide, hand, octaves, locking))}
    found = {f"{each.name} {stage.slug}": stage for each in told.values() for stage in each.stages}
    draft = Draft("path", **_figures(setup), **_experiment_figures())

    def again(slug: str, known: str) -> Stage:
        stage = found[known]
        return draft.stage(slug, stage.claims, stage.passages, stage.wave, stage.band, stage.peak_db)

    stages = (
        again("beat", "beats four-beats"),
        again("bend", "slide bent"),
        again("radio", "slide slide"),
        again("hand", "hand steps"),
        _both_sides(draft, setup),
        again("octaves", "octaves same-move"),
        again("lock", "locking pulled"),
        _volume(draft, setup),
        _build(draft, setup),
    )
    tried = tuple(replace(told[name].pages[number], after=slug) for slug, (name, number) in TRIED.items())
    return draft.lesson(stages, tried, tuple(draft.experiment(slug) for slug in ("phones", "radios", "plates")))


def _both_sides(draft: Draft, setup: LessonSetup) -> Stage:
    """Zero beat moved to NEW_ZERO: the same note on either side of it."""
    moved, near = _retuned(setup)
    sounded = abs(float(moved.instrument.beat_frequency(BEYOND)))
    late = rest(1)[1] - 0.5, rest(1)[1]  # the phase creeps into step
    claims = (line(sounded, 0.0, *rest(0)), silent(*late), line(sounded, 0.0, *rest(2)))
    return draft.stage("both-sides", claims, held(moved, (near, NEW_ZERO, BEYOND)), (0.5, 0.05))


def _retuned(setup: LessonSetup) -> tuple[Instrumental, float]:
    """The instrument with zero beat at NEW_ZERO, and the near place, m, that sounds as BEYOND does."""
    reference = float(setup.built_in.variable_frequency(NEW_ZERO))
    moved = replace(setup.built_in, reference_frequency=reference)
    places = np.linspace(moved.curve.nearest, NEW_ZERO, 20_001)
    sounded = float(moved.beat_frequency(BEYOND))
    return Instrumental(moved), float(np.interp(sounded, -moved.beat_frequency(places), places))


def _volume(draft: Draft, setup: LessonSetup) -> Stage:
    """One note, and the volume hand at four heights."""
    place = float(setup.field.distance_at(float(frequency_of_note(C4))))
    gains = [float(gain) for gain in setup.volume.held_gain(np.array(HEIGHTS))]
    still = held(Instrumental(setup.built_in), (place,) * len(HEIGHTS))
    played = Passage(still.recipe, still.instants, still.values, volumes=tuple(np.repeat(gains, 2).tolist()))
    note = float(setup.built_in.beat_frequency(place))
    claims = [line(note, 0.0, *rest(index)) for index in range(len(gains) - 1)]
    claims += [softer(-decibels(gain / gains[0]), *rest(index)) for index, gain in enumerate(gains[1:-1], 1)]
    return draft.stage("volume", (*claims, silent(*rest(len(gains) - 1))), played, (0.5, 0.05), (20.0, 5000.0))


def _build(draft: Draft, setup: LessonSetup) -> Stage:
    """Four notes C at their hand distances: what the finished instrument should play."""
    places = tuple(_c_places(setup))
    played = held(Instrumental(setup.built_in), places)
    return draft.stage("build", hand.notes(setup.built_in, places), played, (0.5, 0.05))


def _c_places(setup: LessonSetup) -> list[float]:
    lines = [found for found in setup.field.notes() if found.number % 12 == 0 and C3 <= found.number <= C6]
    return [found.distance for found in lines]


def _figures(setup: LessonSetup) -> dict[str, object]:
    """What the texts of the stages name."""
    built_in, volume = setup.built_in, setup.volume
    moved, near = _retuned(setup)
    reference = built_in.reference_frequency
    zero = float(built_in.antenna_capacitance(setup.zero_beat))
    per_picofarad = float(built_in.frequency_with(zero) - built_in.frequency_with(zero + 1e-14)) * 100.0
    heights = np.array(HEIGHTS)
    gains = volume.held_gain(heights)
    places = _c_places(setup)
    limit = general_field_limit(reference)
    parts = setup.parts
    return {
        "zero_cm": 100.0 * setup.zero_beat,
        "new_zero_cm": 100.0 * NEW_ZERO,
        "near_cm": 100.0 * near,
        "beyond_cm": 100.0 * BEYOND,
        "side_hz": abs(float(moved.instrument.beat_frequency(BEYOND))),
        "reference_khz": 1e-3 * reference,
        "inductance_mh": 1e3 * built_in.branch.inductance,
        "own_lock": built_in.lock_range,
        "ring_khz": 1e-3 * volume.oscillator_frequency(heights),
        "resonance_khz": 1e-3 * volume.resonator.frequency,
        "heights_cm": 100.0 * heights,
        "softer_db": [-decibels(float(gain / gains[0])) for gain in gains[1:-1]],
        "per_picofarad": per_picofarad,
        "c_places": ", ".join(f"{100.0 * place:.1f} cm" for place in places),
        "c_widths": ", ".join(f"{100.0 * width:.1f}" for width in -np.diff(places)),
        "tank_inductance": format_quantity(parts.variable.inductance, "H").replace("u", "\N{MICRO SIGN}"),
        "variable_capacitance": format_quantity(parts.variable.capacitance, "F"),
        "reference_capacitance": format_quantity(parts.reference.capacitance, "F"),
        "rod_cm": 100.0 * parts.antenna.length,
        "limit_uv": 1e6 * limit.field,
        "limit_m": limit.distance,
    }


def _experiment_figures() -> dict[str, object]:
    """What the experiments are to show."""
    apart = float(pulled_beat(PHONES[1] - PHONES[0], 0.0))
    low, high = (float(frequency_of_note(number)) for number in (A3, E4))
    name, off = nearest_note(DETUNED)
    farads = [plate_pair_capacitance(PLATE, gap) for gap in GAPS]
    return {
        "phones": PHONES,
        "phone_beats": apart,
        "phone_seconds": PHONE_SECONDS,
        "phone_count": apart * PHONE_SECONDS,
        "weaker": WEAKER,
        "weaker_db": decibels((1.0 + WEAKER) / (1.0 - WEAKER)),
        "fifth": (low, high, 3.0 * low, 2.0 * high, abs(3.0 * low - 2.0 * high)),
        "station_khz": 1e-3 * STATION,
        "between_khz": 1e-3 * BETWEEN,
        "dial_khz": 1e-3 * (STATION - BETWEEN),
        "detuned_khz": 1e-3 * DETUNED,
        "whistle": f"{name} {off:+.0f} cents".replace("-", "\N{MINUS SIGN}"),
        "plate_cm": 100.0 * PLATE,
        "gaps_mm": [1e3 * gap for gap in GAPS],
        "plates_pf": [1e12 * each for each in farads],
        "plates_db": [-decibels(each / farads[0]) for each in farads[1:]],
    }
