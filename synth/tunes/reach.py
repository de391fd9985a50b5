"""What would bring a whole melody into reach of a pitch field: a transposition, or another zero beat.

Every piece of advice is tried on the instrument before it is given.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from models.pitch import frequency_of_note
from models.pitch_field import PitchField, pitch_field
from models.quick_dataclass import dataclass
from models.roots import root
from synth.tunes.melody import FARTHEST_TRANSPOSED, Tune

STEP = 1e-3  # m: zero beats are advised in whole millimetres


@dataclass(frozen=True, slots=True)
class Advice:
    """What brings every note in, None where that does not: semitones, whole octaves (in semitones), a zero beat (m)."""

    semitones: int | None
    octaves: int | None
    zero_beat: float | None

    def text(self) -> str:
        """The advice as one line."""
        ways = []
        if self.semitones is not None:
            ways.append(f"--transpose {self.semitones}")
        if self.octaves is not None and self.octaves != self.semitones:
            ways.append(f"--transpose {self.octaves} (whole octaves)")
        if self.zero_beat is not None:
            ways.append(f"tuning the zero beat to {100.0 * self.zero_beat:.1f} cm (if the trimmer reaches it)")
        if not ways:
            return "no transposition and no zero beat brings all notes in: the tune needs a wider field"
        return "all notes come into reach by " + ", or by ".join(ways)


def advice(tune: Tune, field: PitchField) -> Advice:
    """What brings all notes of the tune into reach; 0 semitones where they are already."""
    steps = sorted(range(-FARTHEST_TRANSPOSED, FARTHEST_TRANSPOSED + 1), key=lambda step: (abs(step), step))
    good = [step for step in steps if reaches_all(tune.transposed(step), field)]
    octaves = [step for step in good if step % 12 == 0]
    return Advice(good[0] if good else None, octaves[0] if octaves else None, _zero_beat(tune, field))


def reaches_all(tune: Tune, field: PitchField) -> bool:
    """Whether the field plays every note of the tune."""
    numbers = np.array([note.number for note in tune.notes], dtype=np.float64)
    return bool(field.reaches(frequency_of_note(numbers, field.reference_a)).all())


def retuned(field: PitchField, zero_beat: float) -> PitchField:
    """The field with the reference oscillator tuned so that zero beat lies at `zero_beat` (m); all else as it is."""
    instrument = field.instrument
    reference = instrument.reference_frequency - float(instrument.offset_frequency(zero_beat))
    return pitch_field(replace(instrument, reference_frequency=reference), field.reference_a)


def _zero_beat(tune: Tune, field: PitchField) -> float | None:
    """The whole millimetre nearest to the present tuning at which all notes are in reach, m."""
    instrument = field.instrument
    near, far = instrument.curve.nearest, instrument.curve.farthest
    highest = float(frequency_of_note(max(note.number for note in tune.notes), field.reference_a))
    top = math.hypot(highest, instrument.lock_range)
    # A zero beat at d leaves offset(near) - offset(d) at the near end: the highest note wants d at least so far.
    wanted = float(instrument.offset_frequency(near)) - top
    if not float(instrument.offset_frequency(far)) < wanted < float(instrument.offset_frequency(near)):
        return None
    least = root(lambda d: float(instrument.offset_frequency(d)) - wanted, near, far, xtol=1e-9)
    present = field.zero_beat_distance if field.zero_beat_distance is not None else far
    first, last = math.ceil(least / STEP), math.floor(far / STEP)
    if first > last:
        return None
    # Any farther zero beat will do for the top; the bottom is tried.
    chosen = min(max(round(present / STEP), first), last)
    for step in (chosen, first, last):
        if reaches_all(tune, retuned(field, step * STEP)):
            return step * STEP
    return None
