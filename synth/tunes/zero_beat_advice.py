"""Where zero beat is best for a player's reach: the lowest note lies where the hand, drawn back, still rests."""

from __future__ import annotations

import math

import numpy as np

from models.pitch import frequency_of_note
from models.pitch_field import PitchField
from synth.tunes.reach import STEP, retuned

LOWEST_NOTE = 36  # C2, the lowest note that is shown on the stage


def zero_beat_for(field: PitchField, farthest: float) -> float | None:
    """The zero beat, m, in whole millimetres, at which C2 sounds with the hand at `farthest`, m.

    The beat there is to be sqrt(beat^2 - lock^2) of the offset, so the reference is tuned that much above the variable
    oscillator with the hand at `farthest`; zero beat is where the offset then vanishes. None where that is not within
    the computed distances, or the field falls as the hand comes nearer.
    """
    instrument = field.instrument
    curve = instrument.curve
    if field.direction != "rising" or not curve.nearest < farthest < curve.farthest:
        return None
    wanted = math.hypot(float(frequency_of_note(LOWEST_NOTE, field.reference_a)), instrument.lock_range)
    places = np.arange(math.ceil(farthest / STEP), math.floor(curve.farthest / STEP) + 1) * STEP
    if not places.size:
        return None
    # Tuned to zero beat at d, the offset at the hand is what it is now less what it is now at d.
    offsets = float(instrument.offset_frequency(farthest)) - instrument.offset_frequency(places)
    best = int(np.argmin(np.abs(offsets - wanted)))
    if best == places.size - 1 and offsets[best] < wanted:
        return None
    chosen = float(places[best])
    return chosen if retuned(field, chosen).playable_far is not None else None
