"""Marks of a chosen scale and of the drone on the stage."""

from __future__ import annotations

from collections.abc import Sequence

from synth.window import palette
from synth.window.box import Box
from synth.window.layout import Layout
from synth.window.note_labels import Line, weight_of
from synth.window.painter import Painter
from synth.window.scale import StageScale


def _radius(layout: Layout) -> float:
    """Half the height of a diamond, pixels."""
    return max(3.0, 4.5 * layout.scale)


def guide_lines(layout: Layout, scale: StageScale, notes: Sequence[Line]) -> tuple[Line, ...]:
    """The notes of the scale that are drawn: those whose diamonds would touch are left out."""
    box, radius = scale.box, _radius(layout)
    drawn: list[Line] = []
    last: float | None = None
    for line in sorted(notes, key=lambda one: one.number):
        x = scale.x_of(line.distance)
        inside = box.left + radius <= x <= box.right - radius
        if inside and (last is None or abs(x - last) >= 2.0 * radius + 2.0):
            drawn.append(line)
            last = x
    return tuple(drawn)


def draw_guide(painter: Painter, layout: Layout, scale: StageScale, notes: Sequence[Line]) -> None:
    """Each of `guide_lines`: a stronger line below a diamond."""
    box, radius = scale.box, _radius(layout)
    for line in notes:
        x = scale.x_of(line.distance)
        if weight_of(line.number) != "octave":
            painter.line((x, box.top), (x, box.bottom - 1), palette.LINE, max(1, round(1.5 * layout.scale)))
        painter.diamond((x, box.top + 2.0 * radius), radius, palette.YELLOW)


def draw_drone(
    painter: Painter, layout: Layout, scale: StageScale, note: Line | None, taken: Sequence[Box]
) -> Box | None:
    """The drone's note: a dotted line with rings, named below the scale where its name has room beside `taken`."""
    box = scale.box
    if note is None or not box.left <= scale.x_of(note.distance) < box.right:
        return None
    x, radius = scale.x_of(note.distance), max(4.0, 6.0 * layout.scale)
    thick = max(2, round(3 * layout.scale))
    painter.dashed((x, box.top), (x, box.bottom - 1), palette.PURPLE, thick, thick)
    for y in (box.top + 4.5 * radius, box.bottom - 2.0 * radius):
        painter.disc((x, y), radius, palette.PANEL)
        painter.ring((x, y), radius, palette.PURPLE, max(2, round(2 * layout.scale)))
    size, below = layout.text_small, layout.distance_scale
    text, row = f"drone {note.name.replace('#', '♯')}", round(1.4 * layout.text_small)
    width = painter.width_of(text, size, bold=True) + 2
    left = min(max(round(x) - width // 2, box.left), box.right - width)
    room = Box(left, below.bottom - row, width, row)
    if any(room.shrunk(-size, 0).overlaps(other) for other in taken):
        return None
    painter.text(text, room, size, palette.PURPLE, "centre", bold=True)
    return room
