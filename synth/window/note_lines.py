"""The notes of a field on the stage: where they lie, which lines are drawn, which names fit, how strong each is."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import groupby, pairwise
from typing import Literal

from models.pitch_field import NoteLine
from models.quick_dataclass import dataclass

Weight = Literal["octave", "natural", "accidental"]

#: Which notes of an octave are named beside its C, from many to none: every one, the white keys, the triad, the fifth.
_NAMED: tuple[frozenset[int], ...] = (
    frozenset(range(1, 12)),
    frozenset((2, 4, 5, 7, 9, 11)),
    frozenset((4, 7)),
    frozenset((7,)),
)


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
    lines: Iterable[NoteLine],
    x_of: Callable[[float], float],
    width_of: Callable[[str], float],
    left: float,
    right: float,
    gap: float,
    reserved: Iterable[tuple[float, float]] = (),
) -> tuple[Label, ...]:
    """Names that fit from `left` to `right` without touching: the Cs first, then octave by octave alike.

    Of an octave either every note is named, or the white keys, or E and G, or G, or none, so that the names follow one
    pattern. `reserved`: pixel columns (from, to) that other texts take.
    """
    taken: list[tuple[float, float]] = list(reserved)
    labels: list[Label] = []
    ordered = sorted(lines, key=lambda line: line.number)

    def placed(line: NoteLine) -> tuple[float, float]:
        x, half = x_of(line.distance), 0.5 * width_of(line.name) + 0.5 * gap
        return x - half, x + half

    def free(places: Sequence[tuple[float, float]]) -> bool:
        inside = all(start >= left and end <= right for start, end in places)
        ranked = sorted(places)
        apart = all(one[1] <= other[0] for one, other in pairwise(ranked))
        return inside and apart and not any(a < end and start < b for a, b in places for start, end in taken)

    def take(chosen: Sequence[NoteLine]) -> None:
        taken.extend(placed(line) for line in chosen)
        labels.extend(Label(line.name, x_of(line.distance), weight_of(line.number)) for line in chosen)

    for line in ordered:
        if weight_of(line.number) == "octave" and free([placed(line)]):
            take([line])
    for _, octave in groupby(ordered, key=lambda line: line.number // 12):
        notes = list(octave)
        for wanted in _NAMED:
            chosen = [line for line in notes if line.number % 12 in wanted]
            if chosen and free([placed(line) for line in chosen]):
                take(chosen)
                break
    return tuple(sorted(labels, key=lambda label: label.x))


def drawn_lines(lines: Iterable[NoteLine], x_of: Callable[[float], float], closest: float) -> tuple[NoteLine, ...]:
    """The lines to draw, none closer than `closest` pixels to another, octave by octave alike.

    Of an octave all twelve are drawn where they are apart enough, else its white keys, else its C alone; Cs that are
    too close are merged into the lower one.
    """
    kept: list[NoteLine] = []
    ordered = sorted(lines, key=lambda line: line.number)
    last_x: float | None = None
    for line in ordered:
        x = x_of(line.distance)
        if weight_of(line.number) == "octave" and (last_x is None or abs(x - last_x) >= closest):
            kept.append(line)
            last_x = x
    cs = list(kept)
    for _, octave in groupby(ordered, key=lambda line: line.number // 12):
        notes = [line for line in octave if weight_of(line.number) != "octave"]
        for strongest in (("natural", "accidental"), ("natural",)):
            chosen = [line for line in notes if weight_of(line.number) in strongest]
            places = sorted(x_of(line.distance) for line in [*chosen, *cs])
            own = {x_of(line.distance) for line in chosen}
            if chosen and all(b - a >= closest for a, b in pairwise(places) if a in own or b in own):
                kept.extend(chosen)
                break
    return tuple(sorted(kept, key=lambda one: one.distance))
