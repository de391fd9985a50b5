"""The notes of a field for the picture: found by one table, fast enough for a field that changes while one looks."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from models.pitch import frequency_of_note, note_name, note_number
from models.pitch_field import NoteLine

if TYPE_CHECKING:
    from models.pitch_field import PitchField

POINTS = 4097


def drawn_notes(field: PitchField) -> tuple[NoteLine, ...]:
    """As `PitchField.notes`, with distances read between `POINTS` points of the field: within 1e-6 m of them."""
    ends, near, far = (field.lowest_frequency, field.highest_frequency), field.playable_near, field.playable_far
    if ends[0] is None or ends[1] is None or near is None or far is None:
        return ()
    low, high = note_number([ends[0], ends[1]], field.reference_a)
    numbers = np.arange(math.floor(low), math.ceil(high) + 1)
    frequencies = frequency_of_note(numbers, field.reference_a)
    reached = field.reaches(frequencies)
    numbers, frequencies = numbers[reached], frequencies[reached]
    places = np.geomspace(near, far, POINTS)
    places[[0, -1]] = near, far
    sounding = field.frequency_at(places)
    if field.direction == "rising":
        places, sounding = places[::-1], sounding[::-1]
    distances = np.interp(frequencies, sounding, places)
    return tuple(
        NoteLine(int(number), note_name(int(number)), float(frequency), float(distance))
        for number, frequency, distance in zip(numbers, frequencies, distances, strict=True)
    )
