"""The volume hand's scale on the player's side of the stage, and, where the design has one, the ring below it."""

from __future__ import annotations

from dataclasses import dataclass

from synth.window import palette
from synth.window.box import Box
from synth.window.layout import Layout
from synth.window.painter import Align, Painter
from synth.window.readouts import MINUS, level_text
from synth.window.scale import RingVolume, StageScale

SIDE_VIEW = "side view"  # the ring and the hand above it, beside a stage that is seen from above


@dataclass(frozen=True, slots=True)
class _Column:
    """A scale with its line at pixel column `edge`; its marks go `away` from the stage, -1 left or 1 right."""

    edge: int
    away: int
    width: int

    def tick(self, painter: Painter, y: int, length: int) -> None:
        painter.line((self.edge + self.away, y), (self.edge + self.away * length, y), palette.EDGE)

    def room(self, top: int, height: int, inset: int) -> Box:
        """Where a number stands, `inset` pixels from the line."""
        width = self.width - inset
        return Box(self.edge - inset - width if self.away < 0 else self.edge + inset, top, width, height)

    @property
    def align(self) -> Align:
        return "right" if self.away < 0 else "left"

    def write(self, painter: Painter, text: str, room: Box, size: int) -> None:
        painter.text(text, room, size, palette.QUIET_TEXT, self.align)


def draw_volume_scale(painter: Painter, layout: Layout, scale: StageScale) -> None:
    """The scale: dB by height alone, or centimetres above the ring with the dB at their true heights."""
    box = layout.volume_scale
    column = _Column(box.left if layout.mirrored else box.right, scale.away, box.width)
    if isinstance(scale.volume, RingVolume):
        _ring_scale(painter, layout, scale, scale.volume, column)
    else:
        _plain_scale(painter, layout, scale, column)


def draw_hand_height(painter: Painter, layout: Layout, scale: StageScale, y: float) -> None:
    """The volume hand's height above the ring in numbers, below the ring; nothing for a plain gain."""
    height = scale.hand_height_at(y)
    if height is None:
        return
    column, size = _ring_column(layout, scale), layout.text_small
    row = round(1.4 * size)
    painter.text(
        f"{100.0 * height:.1f} cm",
        Box(column.left, layout.distance_scale.bottom - row, column.width, row),
        size,
        palette.SKY,
        "left" if layout.mirrored else "right",
    )


def _ring_column(layout: Layout, scale: StageScale) -> Box:
    """What is below the volume scale, clear of the first number of the centimetre scale."""
    below, gap = layout.distance_scale, max(round(12 * layout.scale), layout.text_small)
    if layout.mirrored:
        return Box(scale.box.right + gap, below.top, below.right - scale.box.right - gap, below.height)
    return Box(below.left, below.top, scale.box.left - below.left - gap, below.height)


def _plain_scale(painter: Painter, layout: Layout, scale: StageScale, column: _Column) -> None:
    """dB with the smallest distance that keeps the texts apart; silence at the bottom."""
    box, size = layout.volume_scale, layout.text_small
    tick, height = round(8 * layout.scale), round(1.5 * size)
    inset, last = tick + size // 2, box.top - height
    for mark, share in scale.volume.marks():
        y = round(scale.y_at(share))
        column.tick(painter, y, tick)
        top = y - height // 2
        if top >= last + height and top + height <= box.bottom - height:
            column.write(painter, level_text(10.0 ** (mark / 20.0)), column.room(top, height, inset), size)
            last = top
    column.write(painter, "silent", column.room(box.bottom - height, height, inset), size)
    column.tick(painter, box.bottom - 1, tick)


def _ring_scale(painter: Painter, layout: Layout, scale: StageScale, axis: RingVolume, column: _Column) -> None:
    """Two columns: centimetres next to the stage, dB beyond them, each under its unit; the ring below.

    All of it is seen from the side, and says so.
    """
    box, size = layout.volume_scale, layout.text_small
    row, tick = round(1.5 * size), round(8 * layout.scale)
    width = tick + painter.width_of("00", size) + 4 + round(3 * layout.scale)
    _centimetres(painter, layout, scale, axis, _Column(column.edge, column.away, width))
    decibels = _Column(column.edge + column.away * width, column.away, column.width - width)
    unit = _unit_row(layout)
    decibels.write(painter, "dB", decibels.room(unit.top, unit.height, tick), size)
    painter.fitted(
        SIDE_VIEW,
        Box(box.left, box.top, box.width, unit.top - box.top),
        (size, 8),
        palette.QUIET_TEXT,
        "left" if layout.mirrored else "right",
    )
    last = unit.bottom - row
    for mark, share in axis.marks():
        y = round(scale.y_at(share))
        _arrow(painter, decibels, y, 0.5 * tick)
        top = _below_unit(layout, y - row // 2)
        if top >= last + row and top + row <= box.bottom:
            decibels.write(painter, f"{mark}".replace("-", MINUS), decibels.room(top, row, tick), size)
            last = top
    silent = round(scale.y_at(axis.height_of(0.0)))  # above the ring: the strip where the hand silences the sound
    painter.fill(Box(scale.box.left, silent, scale.box.width, scale.box.bottom - silent), palette.GROUND)
    _ring(painter, layout, scale, axis)


def _unit_row(layout: Layout) -> Box:
    """The row beside the scale that ends at the stage's upper edge: the names of its units."""
    box, height = layout.volume_scale, round(1.25 * layout.text_small) + 1
    return Box(box.left, layout.stage.top - height, box.width, height)


def _below_unit(layout: Layout, top: int) -> int:
    """A number's row, moved down from the names of the units where it would touch them; its mark stays."""
    return max(top, _unit_row(layout).bottom)


def _arrow(painter: Painter, column: _Column, y: int, size: float) -> None:
    """A small triangle towards the stage: a stroke beside a number would look like a minus sign."""
    tip, foot = column.edge + column.away, column.edge + column.away * (1.0 + size)
    painter.shape([(tip, y), (foot, y - 0.6 * size), (foot, y + 0.6 * size)], palette.STRONG_LINE)


def _centimetres(painter: Painter, layout: Layout, scale: StageScale, axis: RingVolume, column: _Column) -> None:
    box, size = layout.volume_scale, layout.text_small
    row, unit = round(1.5 * size), scale.box.height / axis.whole / 100.0
    step = next(step for step in (5, 10, 20, 50) if step * unit >= 1.3 * row or step == 50)
    column.write(painter, "cm", column.room(_unit_row(layout).top, _unit_row(layout).height, 2), size)
    lengths = {0: round(8 * layout.scale), 5: round(6 * layout.scale)}
    edge = column.edge if column.away > 0 else column.edge - 1
    painter.line((edge, scale.box.top), (edge, scale.box.bottom - 1), palette.EDGE)
    for centimetre in range(int(100.0 * axis.whole + 1e-6) + 1):
        y = round(scale.box.bottom - centimetre * unit)
        if unit >= 3.0 or centimetre % 5 == 0:
            column.tick(painter, y, lengths.get(centimetre % 10, round(3 * layout.scale)))
        top = _below_unit(layout, min(y - row // 2, box.bottom - row))
        if centimetre % step == 0 and y >= scale.box.top:
            column.write(painter, f"{centimetre}", column.room(top, row, lengths[0] + 1), size)


def _ring(painter: Painter, layout: Layout, scale: StageScale, axis: RingVolume) -> None:
    """The ring from the side: its upper surface on the stage's lower edge, its tube to scale."""
    column, size = _ring_column(layout, scale), layout.text_small
    thick = min(max(3, round(axis.tube_diameter * scale.box.height / axis.whole)), column.height // 4)
    tube = Box(column.left, column.top, column.width, thick)
    painter.fill(tube, palette.STRONG_LINE, thick // 2)
    row = round(1.4 * size)
    place = Box(tube.left, tube.bottom + 1, tube.width, row)
    painter.text("ring", place, size, palette.QUIET_TEXT, "right" if layout.mirrored else "left")
