"""What the figures of several commands share."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import field, fields
from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from models.arrays import Floats
from models.pitch import note_number
from models.pitch_field import PitchField
from models.quick_dataclass import dataclass
from models.stray import stray_range
from synth.designs.design_file import design_hash

Collected = TypeVar("Collected")
DENSE = {"dense": True}
"""Metadata of a field that holds whole curves or runs: drawn and written as CSV, left out of JSON."""


def known(value: float) -> float | None:
    """`value`; None where it is not a number."""
    return None if value != value else float(value)


def playable(pitches: PitchField, distances: Floats) -> NDArray[np.bool_]:
    """Which of the hand `distances`, m, sound a note that can be played."""
    if pitches.playable_near is None or pitches.playable_far is None:
        return np.zeros(distances.shape, dtype=bool)
    return np.asarray((distances >= pitches.playable_near) & (distances <= pitches.playable_far))


def played_numbers(pitches: PitchField, distances: Floats, reference_a: float) -> Floats:
    """Note numbers at hand `distances`, m, with A4 at `reference_a`, Hz; NaN where no note can be played."""
    numbers, inside = np.full_like(distances, np.nan), playable(pitches, distances)
    if inside.any():
        numbers[inside] = note_number(pitches.frequency_at(distances[inside]), reference_a)
    return numbers


def of(path: str, then: Callable[[Any], Any] = lambda value: value) -> Any:
    """A figure that is read from what its dataclass is collected from: "task.goal.near" is the attribute `near` of the
    attribute `goal` of what is called "task"; a number on the path counts places. `then` makes the figure of what is
    there. None where something on the path is None.
    """
    return field(metadata={"of": path, "then": then})


def collected(kind: type[Collected], roots: Mapping[str, object], **others: Any) -> Collected:
    """Figures of `kind`: those declared with `of` are read from the `roots` by name, the `others` are as given."""
    read = [part for part in fields(cast(Any, kind)) if "of" in part.metadata]
    found = {part.name: (_read(roots, part.metadata["of"]), part.metadata["then"]) for part in read}
    return kind(**{name: None if value is None else then(value) for name, (value, then) in found.items()}, **others)


def row(kind: type[Collected], name: str) -> Callable[[object], Collected]:
    """For `of`: figures of `kind` from what is there, which they call `name`."""
    return lambda value: collected(kind, {name: value})


def rows(kind: type[Collected], name: str) -> Callable[[Iterable[object]], tuple[Collected, ...]]:
    """For `of`: the same of everything that is there."""
    return lambda values: tuple(collected(kind, {name: value}) for value in values)


def _read(roots: Mapping[str, object], path: str) -> Any:
    first, *rest = path.split(".")
    value: Any = roots[first]
    for name in rest:
        if value is None:
            return None
        value = value[int(name)] if name.isdigit() else getattr(value, name)
    return value


@dataclass(frozen=True, slots=True)
class Held:
    """Two notes that a field plays: their hand distances, m, and cents RMS from a straight line between them."""

    highest_note: float
    lowest_note: float
    rms_cents: float

    @property
    def span(self) -> tuple[float, float]:
        """The same distances, the nearer first."""
        return min(self.highest_note, self.lowest_note), max(self.highest_note, self.lowest_note)


def over_notes(pitches: PitchField, low_hz: float, high_hz: float) -> Held | None:
    """The field between two notes; None where it does not play both."""
    if not pitches.reaches([low_hz, high_hz]).all():
        return None
    highest, lowest = (float(place) for place in pitches.distance_at([high_hz, low_hz]))
    return Held(highest, lowest, pitches.linearity_error_between(low_hz, high_hz))


@dataclass(frozen=True, slots=True, kw_only=True)
class OfDesign:
    """Which design the figures are of; collected from what is called "design"."""

    design: str = of("design.name")
    design_hash: str = of("design", design_hash)


def told_apart(names: Sequence[str]) -> tuple[str, ...]:
    """The names of several designs, those that occur more than once with a number: "Meadow (1)", "Meadow (2)"."""
    count, seen = Counter(names), Counter[str]()
    found = []
    for name in names:
        seen[name] += 1
        found.append(f"{name} ({seen[name]})" if count[name] > 1 else name)
    return tuple(found)


def explanation(stray: float, board: str) -> str:
    """Say whether a kind of board explains a `stray`, F (a figure inferred from readings)."""
    low, high = stray_range(board)
    value = stray * 1e12
    span = f"{low * 1e12:.0f} to {high * 1e12:.0f} pF, from memory"
    if stray < 0.0:
        return f"{value:.0f} pF of board stray cannot be: a capacitor or the inductance is less than stated"
    if stray > high:
        return (
            f"{value:.0f} pF of board stray is larger than the stated {board} explains ({span}): look for "
            "long leads, screened cable, a capacitor above its marking, or another inductance"
        )
    if stray < low:
        return f"{value:.0f} pF of board stray is less than usual for the stated {board} ({span})"
    return f"{value:.0f} pF of board stray is what the stated {board} explains ({span})"
