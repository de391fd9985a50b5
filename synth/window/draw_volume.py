"""The volume hand's scale on the player's side of the stage, and, where the design has one, the ring below it."""

from __future__ import annotations

from models.quick_dataclass import dataclass
from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import PlayCanvas
from synth.window.painter import Align
from synth.window.picture import MINUS, level_text
from synth.window.scale import RingVolume
from synth.window.state import WindowState

SIDE_VIEW = "side view"  # of the ring and the hand above it, and of the stage


@dataclass(frozen=True, slots=True)
class _Column:
    """A scale with its line at pixel column `edge`; its marks go `away` from the stage, -1 left or 1 right."""

    canvas: PlayCanvas
    edge: int
    away: int
    width: int

    def tick(self, y: int, length: int) -> None:
        self.canvas.line((self.edge + self.away, y), (self.edge + self.away * length, y), palette.EDGE)

    def write(self, text: str, top: int, height: int, inset: int) -> None:
        """A number `inset` pixels from the line."""
        width = self.width - inset
        room = Box(self.edge - inset - width if self.away < 0 else self.edge + inset, top, width, height)
        self.canvas.text(text, room, self.canvas.small, palette.QUIET_TEXT, _inwards(self.canvas))


def draw_volume_scale(canvas: PlayCanvas) -> None:
    """The scale: dB by height alone, or centimetres above the ring with the dB at their true heights."""
    box, bar = canvas.layout.volume_scale, canvas.layout.volume_bar
    canvas.fill(bar, palette.PANEL, bar.width // 2)
    canvas.frame(bar, palette.EDGE, 1, bar.width // 2)
    column = _Column(canvas, box.left if canvas.layout.mirrored else box.right, canvas.scale.away, box.width)
    if isinstance(canvas.scale.volume, RingVolume):
        _ring_scale(canvas, canvas.scale.volume, column)
    else:
        _plain_scale(canvas, column)


def draw_volume_hand(canvas: PlayCanvas, state: WindowState) -> None:
    """The volume hand on its way beside the stage: full while it sounds, hollow while nothing does."""
    bar, row = canvas.layout.volume_bar, canvas.scale.y_of(state.volume) if state.row is None else state.row
    y = min(max(row, bar.top), bar.bottom)
    sounding = state.volume > 0.0 and not state.silenced
    colour = palette.SKY if state.present else palette.QUIET_TEXT
    with canvas.as_one():
        if sounding:
            canvas.fill(Box(bar.left + 1, round(y), bar.width - 2, max(0, bar.bottom - round(y) - 1)), palette.SKY)
        radius = 0.5 * bar.width + canvas.px(3, 2)
        canvas.disc((bar.center[0], y), radius + canvas.px(2, 1), palette.GROUND)
        if sounding:
            canvas.disc((bar.center[0], y), radius, colour)
        else:
            canvas.ring((bar.center[0], y), radius, colour, canvas.px(2, 2))
    if state.present:
        _hand_height(canvas, y)


def _hand_height(canvas: PlayCanvas, y: float) -> None:
    """The volume hand's height above the ring in numbers, below the ring; nothing for a plain gain."""
    height = canvas.scale.hand_height_at(y)
    if height is None:
        return
    column, row = _ring_column(canvas), round(1.4 * canvas.small)
    room = Box(column.left, canvas.layout.distance_scale.bottom - row, column.width, row)
    canvas.text(f"{100.0 * height:.1f} cm", room, canvas.small, palette.SKY, _inwards(canvas))


def _inwards(canvas: PlayCanvas) -> Align:
    """The side of the scale where the stage is."""
    return "left" if canvas.layout.mirrored else "right"


def _ring_column(canvas: PlayCanvas) -> Box:
    """What is below the volume scale, clear of the first number of the centimetre scale."""
    below, stage, gap = canvas.layout.distance_scale, canvas.scale.box, canvas.px(12, canvas.small)
    if canvas.layout.mirrored:
        return Box(stage.right + gap, below.top, below.right - stage.right - gap, below.height)
    return Box(below.left, below.top, stage.left - below.left - gap, below.height)


def _plain_scale(canvas: PlayCanvas, column: _Column) -> None:
    """dB with the smallest distance that keeps the texts apart; silence at the bottom."""
    box, size = canvas.layout.volume_scale, canvas.small
    tick, height = canvas.px(8), round(1.5 * size)
    inset, last = tick + size // 2, box.top - height
    for mark, share in canvas.scale.volume.marks():
        y = round(canvas.scale.y_at(share))
        column.tick(y, tick)
        top = y - height // 2
        if top >= last + height and top + height <= box.bottom - height:
            column.write(level_text(10.0 ** (mark / 20.0)), top, height, inset)
            last = top
    column.write("silent", box.bottom - height, height, inset)
    column.tick(box.bottom - 1, tick)


def _ring_scale(canvas: PlayCanvas, axis: RingVolume, column: _Column) -> None:
    """Two columns: centimetres next to the stage, dB beyond them, each under its unit; the ring below.

    All of it is seen from the side, and says so.
    """
    box, stage, scale, size = canvas.layout.volume_scale, canvas.scale.box, canvas.scale, canvas.small
    row, tick = round(1.5 * size), canvas.px(8)
    width = tick + canvas.width_of("00", size) + 4 + canvas.px(3)
    unit = _unit_row(canvas)
    _centimetres(canvas, axis, _Column(canvas, column.edge, column.away, width), unit)
    decibels = _Column(canvas, column.edge + column.away * width, column.away, column.width - width)
    decibels.write("dB", unit.top, unit.height, tick)
    above = Box(box.left, box.top, box.width, unit.top - box.top)
    canvas.fitted(SIDE_VIEW, above, (size, 8), palette.QUIET_TEXT, _inwards(canvas))
    last = unit.bottom - row
    for mark, share in axis.marks():
        y = round(scale.y_at(share))  # marked by an arrow: a stroke beside a number would look like a minus sign
        canvas.arrow((decibels.edge + decibels.away, y), decibels.away * 0.5 * tick, 0.3 * tick, palette.STRONG_LINE)
        top = max(y - row // 2, unit.bottom)
        if top >= last + row and top + row <= box.bottom:
            decibels.write(f"{mark}".replace("-", MINUS), top, row, tick)
            last = top
    below = _ring_column(canvas)
    place: Align = "right" if canvas.layout.mirrored else "left"
    thick = min(max(3, round(axis.thickness * stage.height / axis.whole)), below.height // 4)  # to scale
    if axis.form == "rod":  # it lies from side to side, and is seen from its end
        middle = below.center[0], below.top + 0.5 * thick
        canvas.disc(middle, max(2.0, 0.5 * thick), palette.STRONG_LINE)
    else:
        round_end = thick // 2 if axis.form == "ring" else 0
        canvas.fill(Box(below.left, below.top, below.width, thick), palette.STRONG_LINE, round_end)
    name = Box(below.left, below.top + thick + 1, below.width, round(1.4 * size))
    canvas.text(axis.form, name, size, palette.QUIET_TEXT, place)


def _unit_row(canvas: PlayCanvas) -> Box:
    """The row beside the scale that ends at the stage's upper edge: the names of its units."""
    box, height = canvas.layout.volume_scale, round(1.25 * canvas.small) + 1
    return Box(box.left, canvas.layout.stage.top - height, box.width, height)


def _centimetres(canvas: PlayCanvas, axis: RingVolume, column: _Column, name: Box) -> None:
    """A number that would touch the unit's `name` is moved down from it; its mark stays."""
    box, stage = canvas.layout.volume_scale, canvas.scale.box
    row, unit = round(1.5 * canvas.small), stage.height / axis.whole / 100.0
    step = next(step for step in (5, 10, 20, 50) if step * unit >= 1.3 * row or step == 50)
    column.write("cm", name.top, name.height, 2)
    lengths = {0: canvas.px(8), 5: canvas.px(6)}
    edge = column.edge if column.away > 0 else column.edge - 1
    canvas.line((edge, stage.top), (edge, stage.bottom - 1), palette.EDGE)
    for centimetre in range(int(100.0 * axis.whole + 1e-6) + 1):
        y = round(stage.bottom - centimetre * unit)
        if unit >= 3.0 or centimetre % 5 == 0:
            column.tick(y, lengths.get(centimetre % 10, canvas.px(3)))
        if centimetre % step == 0 and y >= stage.top:
            top = max(min(y - row // 2, box.bottom - row), name.bottom)
            column.write(f"{centimetre}", top, row, lengths[0] + 1)
