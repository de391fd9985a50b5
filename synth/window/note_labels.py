"""Which note names fit above the stage, and how strong each note line is."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal, Protocol

Weight = Literal["octave", "natural", "accidental"]


class Line(Protocol):
    """What is needed of a note line of the pitch field."""

    @property
    def number(self) -> int: ...
    @property
    def name(self) -> str: ...
    @property
    def distance(self) -> float: ...


@dataclass(frozen=True, slots=True)
class Label:
    """A note name and the pixel column it is centred on."""

    text: str
    x: float
    weight: Weight


def weight_of(number: int) -> Weight:
    """C is the octave line; the other white keys are naturals; the rest accidentals (note number 60 = C4)."""
    step = number % 12
    if step == 0:
        return "octave"
    return "natural" if step in (2, 4, 5, 7, 9, 11) else "accidental"


def chosen_labels(
    lines: Iterable[Line],
    x_of: Callable[[float], float],
    width_of: Callable[[str], float],
    left: float,
    right: float,
    gap: float,
    reserved: Iterable[tuple[float, float]] = (),
) -> tuple[Label, ...]:
    """Names that fit from `left` to `right` without touching; Cs come first, accidentals last.

    `reserved`: pixel columns (from, to) that other texts take.
    """
    order = {0: 0, 7: 1, 4: 2, 9: 3, 2: 3, 5: 4, 11: 4}
    ranked = sorted(lines, key=lambda line: (order.get(line.number % 12, 5), line.number))
    taken: list[tuple[float, float]] = list(reserved)
    labels: list[Label] = []
    for line in ranked:
        x, half = x_of(line.distance), 0.5 * width_of(line.name) + 0.5 * gap
        if x - half < left or x + half > right:
            continue
        if all(x + half <= start or x - half >= end for start, end in taken):
            taken.append((x - half, x + half))
            labels.append(Label(line.name, x, weight_of(line.number)))
    return tuple(sorted(labels, key=lambda label: label.x))


def drawn_lines(lines: Iterable[Line], x_of: Callable[[float], float], closest: float) -> tuple[Line, ...]:
    """The lines at least `closest` pixels from a stronger one: where semitones crowd, only Cs remain."""
    rank = {"octave": 0, "natural": 1, "accidental": 2}
    kept: list[Line] = []
    for line in sorted(lines, key=lambda one: (rank[weight_of(one.number)], one.number)):
        if all(abs(x_of(line.distance) - x_of(other.distance)) >= closest for other in kept):
            kept.append(line)
    return tuple(sorted(kept, key=lambda one: one.distance))
