"""What the figures of several commands share."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.pitch import note_number
from models.pitch_field import PitchField

DENSE = {"dense": True}
"""Metadata of a field that holds whole curves or runs: drawn and written as CSV, left out of JSON."""


def known(value: float) -> float | None:
    """`value`; None where it is not a number."""
    return None if value != value else float(value)


def playable(pitches: PitchField, distances: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which of the hand `distances`, m, sound a note that can be played."""
    if pitches.playable_near is None or pitches.playable_far is None:
        return np.zeros(distances.shape, dtype=bool)
    return np.asarray((distances >= pitches.playable_near) & (distances <= pitches.playable_far))


def played_numbers(pitches: PitchField, distances: NDArray[np.float64], reference_a: float) -> NDArray[np.float64]:
    """Note numbers at hand `distances`, m, with A4 at `reference_a`, Hz; NaN where no note can be played."""
    numbers, inside = np.full_like(distances, np.nan), playable(pitches, distances)
    if inside.any():
        numbers[inside] = note_number(pitches.frequency_at(distances[inside]), reference_a)
    return numbers
