"""The hand on the stage: where it is, how far from the antenna, and its marks on the two scales."""

from __future__ import annotations

from synth.window import palette
from synth.window.draw_volume import draw_hand_height
from synth.window.layout import Box, Layout
from synth.window.painter import Painter
from synth.window.scale import StageScale
from synth.window.state import WindowState


def draw_hand(painter: Painter, layout: Layout, scale: StageScale, state: WindowState, distance: str) -> None:
    """The hand at its distance and volume, the dimension line to the antenna, and pointers on the scales."""
    x = min(max(scale.x_of(state.distance), scale.box.left), scale.box.right)
    row = scale.y_of(state.volume) if state.pointer is None else state.pointer[1]
    y = min(max(row, scale.box.top), scale.box.bottom)
    mark = round(7 * layout.scale)
    colour = palette.SKY if state.present else palette.QUIET_TEXT
    painter.line((x, scale.box.top), (x, scale.box.bottom - 1), colour, max(1, round(1.5 * layout.scale)))
    painter.shape([(x, scale.box.top), (x - mark, scale.box.top - mark), (x + mark, scale.box.top - mark)], colour)
    foot = scale.box.bottom
    painter.shape([(x, foot + 1), (x - mark, foot + mark), (x + mark, foot + mark)], colour)
    if not state.present:
        _away(painter, layout)
        return
    side = scale.box.left
    painter.shape([(side, y), (side - mark, y - mark), (side - mark, y + mark)], colour)
    _dimension(painter, layout, scale, (x, y), distance)
    draw_hand_height(painter, layout, scale, y)
    radius = 9 * layout.scale
    painter.disc((x, y), radius + max(2.0, 2.5 * layout.scale), palette.GROUND)
    if state.volume > 0.0 and not state.silenced:
        painter.disc((x, y), radius, palette.SKY)
    else:
        painter.ring((x, y), radius, palette.SKY, max(2, round(3 * layout.scale)))


def _dimension(painter: Painter, layout: Layout, scale: StageScale, hand: tuple[float, float], distance: str) -> None:
    """An arrowed line from hand to antenna with its length, like in a drawing."""
    x, y = hand
    size, end = layout.text_normal, scale.box.right
    painter.line((x, y), (end, y), palette.SKY, max(1, round(1.5 * layout.scale)))
    arrow = 8 * layout.scale
    if end - x > 3 * arrow:
        painter.shape([(end - 1, y), (end - arrow, y - 0.4 * arrow), (end - arrow, y + 0.4 * arrow)], palette.SKY)
    width, height = painter.width_of(distance, size) + size, round(1.6 * size)
    left = 0.5 * (x + end) - 0.5 * width if end - x > width + 6 * arrow else x - width - 2.5 * arrow
    top = min(max(y - 0.5 * height, scale.box.top), scale.box.bottom - height)
    room = Box(round(max(left, scale.box.left)), round(top), width, height)
    painter.fill(room, palette.GROUND, height // 3)
    painter.text(distance, room, size, palette.SKY, "centre")


def _away(painter: Painter, layout: Layout) -> None:
    """Say why nothing sounds."""
    size = layout.text_normal
    text = "Bring the pointer into the window to play"
    width, height = painter.width_of(text, size) + 2 * size, 2 * size
    stage = layout.stage
    room = Box(stage.left + (stage.width - width) // 2, stage.top + (stage.height - height) // 2, width, height)
    painter.fill(room, palette.GROUND, height // 3)
    painter.text(text, room, size, palette.TEXT, "centre")
