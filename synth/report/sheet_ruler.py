"""The pitch field as a ruler for paper, 1:1: rows of inline SVG in millimetres, with a mark for every note."""

from __future__ import annotations

import math
from collections.abc import Sequence

from models.quick_dataclass import dataclass
from synth.analysis.sheet_figures import SheetFigures
from synth.report.sheet_markup import tag, text

ROW = 160.0  # mm of the field on one row
LEFT, RIGHT = 4.0, 12.0  # mm beside it: for the first label, and the tab that the next row is glued to
HEIGHT = 34.0  # mm of a row
EDGE = 19.0  # mm from the top to the edge between notes and centimetres
BAR = 100.0  # mm
CLOSEST = 0.45  # mm between two marks that can still be told apart
LETTER = 1.75  # mm of width that a letter of a label takes
GAP = 0.8  # mm between labels
WORDS = 20.0  # mm for "locked, silent"
BORDER = 2.6  # mm from a row's end within which a label keeps to its own side of the cut
RANK = {"C": 0, "G": 1, "E": 2, "D": 3, "A": 3, "F": 3, "B": 3}


@dataclass(frozen=True, slots=True)
class Mark:
    """A note on the ruler: its name and its place, mm from the antenna; `labelled` where its name has room."""

    name: str
    place: float
    labelled: bool


def note_marks(figures: SheetFigures) -> tuple[Mark, ...]:
    """Marks of every note that keeps its distance from its neighbours; names where they have room, C first."""
    places = sorted((1e3 * note.distance_m, note.note) for note in figures.notes)
    kept: list[tuple[float, str]] = []
    for place, name in sorted(places, key=lambda one: (_rank(one[1]), one[0])):
        if all(abs(place - other) >= CLOSEST for other, _ in kept):
            kept.append((place, name))
    named: list[tuple[float, str]] = []
    for place, name in sorted(kept, key=lambda one: (_rank(one[1]), one[0])):
        if "#" not in name and all(abs(place - other) >= _room(name, text) for other, text in named):
            named.append((place, name))
    labels = set(named)
    return tuple(Mark(name, place, (place, name) in labels) for place, name in sorted(kept))


def ruler_length(figures: SheetFigures) -> float:
    """Length of the ruler, mm: to the next whole centimetre behind zero beat and lowest note; 0 for a silent field."""
    if not figures.notes:
        return 0.0
    ends = [end for end in (figures.playable_far_m, figures.zero_beat_m, figures.locked_far_m) if end is not None]
    return 10.0 * math.ceil(100.0 * max(ends) - 1e-9) if ends else 0.0


def ruler_rows(figures: SheetFigures) -> list[str]:
    """The rows of the ruler as SVG, nearest first; none for a silent field."""
    length, marks = ruler_length(figures), note_marks(figures)
    count = math.ceil(length / ROW - 1e-9)
    return [_row(figures, marks, index, count, length) for index in range(count)]


def check_bar() -> str:
    """A bar of exactly 100 mm between its outer edges."""
    width, height = BAR + LEFT + RIGHT, 9.0
    ticks = "".join(
        _line(LEFT + place, 1.0, LEFT + place, 5.0 if place % 50.0 else 6.5, 0.15) for place in range(10, 100, 10)
    )
    bar = f'<rect x="{LEFT:g}" y="0.5" width="{BAR:g}" height="2" fill="#000"/>'
    label = "".join(_label(LEFT + place, 8.6, f"{place:g}", 2.4) for place in (50.0,))
    ends = _label(LEFT, 8.6, "0", 2.4) + _label(LEFT + BAR, 8.6, "100 mm", 2.4)
    return _svg(width, height, bar + ticks + label + ends, "a bar of 100 mm")


def _row(figures: SheetFigures, marks: Sequence[Mark], index: int, count: int, length: float) -> str:
    start, end = index * ROW, min((index + 1) * ROW, length)

    def at(place: float) -> float:
        return LEFT + place - start

    parts = [_silence(figures, start, end), _line(at(start), EDGE, at(end), EDGE, 0.35)]
    parts += [_centimetre_ticks(start, end)]
    for mark in marks:
        if start <= mark.place < end or (mark.place == end == length):
            side = "start" if mark.place - start < BORDER else "end" if end - mark.place < BORDER else "middle"
            parts.append(_note(mark, at(mark.place), side))
    if figures.zero_beat_m is not None and start <= 1e3 * figures.zero_beat_m <= end:
        place = at(1e3 * figures.zero_beat_m)
        parts += [_line(place, 2.0, place, EDGE, 0.5), _label(place - 1.2, 4.2, "zero beat", 2.4, "end")]
    parts += [
        _line(at(start), 1.0, at(start), HEIGHT - 1.0, 0.15, "1.2 0.8"),
        _line(at(end), 1.0, at(end), HEIGHT - 1.0, 0.15, "1.2 0.8"),
    ]
    if index + 1 < count:
        parts.append(_label(at(end) + 1.0, EDGE - 4.6, "glue row", 2.0, "start"))
        parts.append(_label(at(end) + 1.0, EDGE - 2.0, f"{index + 2} on here", 2.0, "start"))
    parts.append(_label(at(start) + 0.8, HEIGHT - 1.6, f"row {index + 1} of {count}", 2.0, "start"))
    title = f"pitch ruler, row {index + 1} of {count}, {start / 10.0:g} to {end / 10.0:g} cm from the antenna"
    return _svg(LEFT + ROW + RIGHT, HEIGHT, "".join(parts), title)


def _silence(figures: SheetFigures, start: float, end: float) -> str:
    """Hatching where the oscillators are locked and silent."""
    if figures.locked_near_m is None or figures.locked_far_m is None:
        return ""
    near, far = max(1e3 * figures.locked_near_m, start), min(1e3 * figures.locked_far_m, end)
    strokes = []
    place = math.ceil(near / 1.5) * 1.5
    while place + 1.0 <= far:
        x = LEFT + place - start
        strokes.append(_line(x, EDGE - 0.4, x + 1.0, EDGE - 4.0, 0.12))
        place += 1.5
    if far - near >= 3.0 and near - start >= WORDS:
        strokes.append(_label(LEFT + near - start - 1.0, EDGE - 1.0, "locked, silent", 2.2, "end"))
    elif far - near >= 3.0 and 1e3 * figures.locked_far_m == far and ROW - (far - start) >= WORDS:
        strokes.append(_label(LEFT + far - start + 1.0, EDGE - 1.0, "locked, silent", 2.2, "start"))
    return "".join(strokes)


def _centimetre_ticks(start: float, end: float) -> str:
    parts = []
    for millimetre in range(round(start), round(end) + 1):
        x = LEFT + millimetre - start
        long = 6.0 if millimetre % 10 == 0 else 4.2 if millimetre % 5 == 0 else 2.8
        parts.append(_line(x, EDGE, x, EDGE + long, 0.18 if millimetre % 10 == 0 else 0.1))
        if millimetre % 10 == 0:
            first, last = millimetre == round(start), millimetre == round(end)
            anchor, beside = ("start", 0.6) if first else ("end", -0.6) if last else ("middle", 0.0)
            parts.append(_label(x + beside, EDGE + 9.2, f"{millimetre // 10}", 2.8, anchor))
    return "".join(parts)


def _note(mark: Mark, x: float, side: str) -> str:
    sharp, tonic = "#" in mark.name, mark.name.startswith("C") and "#" not in mark.name
    top = EDGE - (4.0 if sharp else 9.5 if tonic else 6.5)
    width = 0.5 if tonic else 0.22 if not sharp else 0.14
    line = _line(x, top, x, EDGE, width)
    return line + (
        _label(x, top - 1.0, mark.name, 3.1 if tonic else 2.5, side, weight="bold" if tonic else "")
        if mark.labelled
        else ""
    )


def _rank(name: str) -> int:
    return 9 if "#" in name else RANK[name[0]]


def _room(first: str, second: str) -> float:
    return 0.5 * LETTER * (len(first) + len(second)) + GAP


def _line(x1: float, y1: float, x2: float, y2: float, width: float, dashes: str = "") -> str:
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<line x1="{x1:.3f}" y1="{y1:.3f}" x2="{x2:.3f}" y2="{y2:.3f}" stroke="#000" '
        f'stroke-width="{width:g}"{dashed}/>'
    )


def _label(x: float, y: float, words: str, size: float, anchor: str = "middle", weight: str = "") -> str:
    heavy = f' font-weight="{weight}"' if weight else ""
    return f'<text x="{x:.3f}" y="{y:.3f}" font-size="{size:g}" text-anchor="{anchor}"{heavy}>{text(words)}</text>'


def _svg(width: float, height: float, inner: str, title: str) -> str:
    """An SVG whose user units are millimetres on paper."""
    return tag(
        "svg",
        f"<title>{text(title)}</title>{inner}",
        width=f"{width:g}mm",
        height=f"{height:g}mm",
        viewBox=f"0 0 {width:g} {height:g}",
        role="img",
    )
