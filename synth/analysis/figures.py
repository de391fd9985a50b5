"""What the figures of several commands share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field, fields
from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from models.pitch import note_number
from models.pitch_field import PitchField

Collected = TypeVar("Collected")
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


def of(path: str) -> Any:
    """A figure that is read from what its dataclass is collected from: "task.goal.near" is the attribute `near` of the
    attribute `goal` of what is called "task"; a number on the path counts places. None where something on it is None.
    """
    return field(metadata={"of": path})


def collected(kind: type[Collected], roots: Mapping[str, object], **others: Any) -> Collected:
    """Figures of `kind`: those declared with `of` are read from the `roots` by name, the `others` are as given."""
    read = {part.name: part.metadata["of"] for part in fields(cast(Any, kind)) if "of" in part.metadata}
    return kind(**{name: _read(roots, path) for name, path in read.items()}, **others)


def _read(roots: Mapping[str, object], path: str) -> Any:
    first, *rest = path.split(".")
    value: Any = roots[first]
    for name in rest:
        if value is None:
            return None
        value = value[int(name)] if name.isdigit() else getattr(value, name)
    return value
