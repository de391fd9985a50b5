"""The volume hand's scale at the left of the stage, and, where the design has one, the ring below it."""

from __future__ import annotations

from synth.window import palette
from synth.window.layout import Box, Layout
from synth.window.painter import Painter
from synth.window.readings import MINUS, level_text
from synth.window.scale import StageScale
from synth.window.volume_axis import RingVolume


def draw_volume_scale(painter: Painter, layout: Layout, scale: StageScale) -> None:
    """The scale: dB by height alone, or centimetres above the ring with the dB at their true heights."""
    if isinstance(scale.volume, RingVolume):
        _ring_scale(painter, layout, scale, scale.volume)
    else:
        _plain_scale(painter, layout, scale)


def draw_hand_height(painter: Painter, layout: Layout, scale: StageScale, y: float) -> None:
    """The volume hand's height above the ring in numbers, below the ring; nothing for a plain gain."""
    height = scale.hand_height_at(y)
    if height is None:
        return
    below, size = layout.distance_scale, layout.text_small
    row = round(1.4 * size)
    room = Box(below.left, below.bottom - row, scale.box.left - below.left - round(12 * layout.scale), row)
    painter.text(f"{100.0 * height:.1f} cm", room, size, palette.SKY, "right")


def _plain_scale(painter: Painter, layout: Layout, scale: StageScale) -> None:
    """dB with the smallest distance that keeps the texts apart; silence at the bottom."""
    box, size = layout.volume_scale, layout.text_small
    tick, height = round(8 * layout.scale), round(1.5 * size)
    last = box.top - height
    for mark, share in scale.volume.marks():
        y = round(scale.y_at(share))
        painter.line((box.right - tick, y), (box.right - 2, y), palette.EDGE)
        top = y - height // 2
        if top >= last + height and top + height <= box.bottom - height:
            room = Box(box.left, top, box.width - tick - size // 2, height)
            painter.text(level_text(10.0 ** (mark / 20.0)), room, size, palette.QUIET_TEXT, "right")
            last = top
    room = Box(box.left, box.bottom - height, box.width - tick - size // 2, height)
    painter.text("silent", room, size, palette.QUIET_TEXT, "right")
    painter.line((box.right - tick, box.bottom - 1), (box.right - 2, box.bottom - 1), palette.EDGE)


def _ring_scale(painter: Painter, layout: Layout, scale: StageScale, axis: RingVolume) -> None:
    """Two columns: centimetres next to the stage, dB left of them, each under its name; the ring below."""
    box, size = layout.volume_scale, layout.text_small
    row, tick = round(1.5 * size), round(8 * layout.scale)
    number_width = painter.width_of("00", size) + 4
    split = box.right - tick - number_width - round(3 * layout.scale)
    _centimetres(painter, layout, scale, axis, Box(split, box.top, box.right - split, box.height))
    decibels = Box(box.left, box.top, split - box.left - tick, box.height)
    painter.text("dB", Box(decibels.left, box.top, decibels.width, row), size, palette.QUIET_TEXT, "right")
    last = box.top
    for mark, share in axis.marks():
        y = round(scale.y_at(share))
        painter.line((decibels.right + 2, y), (split - 2, y), palette.STRONG_LINE)
        top = y - row // 2
        if top >= last + row and top + row <= box.bottom:
            text = f"{mark}".replace("-", MINUS)
            painter.text(text, Box(decibels.left, top, decibels.width, row), size, palette.QUIET_TEXT, "right")
            last = top
    _silent(painter, scale, axis)
    _ring(painter, layout, scale, axis)


def _silent(painter: Painter, scale: StageScale, axis: RingVolume) -> None:
    """The strip above the ring in which the hand silences the sound, darker."""
    silent = round(scale.y_at(axis.height_of(0.0)))
    painter.fill(Box(scale.box.left, silent, scale.box.width, scale.box.bottom - silent), palette.GROUND)


def _centimetres(painter: Painter, layout: Layout, scale: StageScale, axis: RingVolume, box: Box) -> None:
    size = layout.text_small
    row, unit = round(1.5 * size), scale.box.height / axis.whole / 100.0
    step = next(step for step in (5, 10, 20, 50) if step * unit >= 1.3 * row or step == 50)
    painter.text("cm", Box(box.left, box.top, box.width - 2, row), size, palette.QUIET_TEXT, "right")
    lengths = {0: round(8 * layout.scale), 5: round(6 * layout.scale)}
    painter.line((box.right - 1, scale.box.top), (box.right - 1, scale.box.bottom - 1), palette.EDGE)
    for centimetre in range(int(100.0 * axis.whole + 1e-6) + 1):
        y = round(scale.box.bottom - centimetre * unit)
        if unit >= 3.0 or centimetre % 5 == 0:
            length = lengths.get(centimetre % 10, round(3 * layout.scale))
            painter.line((box.right - length, y), (box.right - 1, y), palette.EDGE)
        top = min(y - row // 2, box.bottom - row)
        if centimetre % step == 0 and top >= box.top + row:
            room = Box(box.left, top, box.width - lengths[0] - 1, row)
            painter.text(f"{centimetre}", room, size, palette.QUIET_TEXT, "right")


def _ring(painter: Painter, layout: Layout, scale: StageScale, axis: RingVolume) -> None:
    """The ring from the side: its upper surface on the stage's lower edge, its tube to scale."""
    below, size = layout.distance_scale, layout.text_small
    thick = min(max(3, round(axis.tube_diameter * scale.box.height / axis.whole)), below.height // 4)
    tube = Box(below.left, below.top, scale.box.left - below.left - round(12 * layout.scale), thick)
    painter.fill(tube, palette.STRONG_LINE, thick // 2)
    row = round(1.4 * size)
    painter.text("ring", Box(below.left, tube.bottom + 1, tube.width, row), size, palette.QUIET_TEXT)
