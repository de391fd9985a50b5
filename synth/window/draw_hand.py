"""The hands on the stage: outline and arm to scale, the distance to the antenna, and the volume as a bead."""

from __future__ import annotations

from models.hand.scene import Posture
from synth.window import palette
from synth.window.box import Box
from synth.window.draw_stage import FieldPicture
from synth.window.draw_volume import draw_hand_height
from synth.window.figure_outline import Figure, creases, figure, hand_half_width
from synth.window.layout import Layout
from synth.window.painter import Painter
from synth.window.scale import StageScale
from synth.window.state import WindowState


def draw_figure(
    painter: Painter, layout: Layout, scale: StageScale, picture: FieldPicture, state: WindowState, posture: Posture
) -> None:
    """Hand, wrist and arm seen from above, as far as the stage shows them."""
    colour = _colour(state)
    with painter.clipped(scale.box), painter.as_one():
        whole = figure(posture, state.distance, picture.stand_distance, picture.antenna_diameter)
        _outlines(painter, layout, scale, whole, colour)
        for crease in creases(posture):
            painter.curve([scale.plan(state.distance + along, side) for along, side in crease], colour)


def draw_hand(
    painter: Painter, layout: Layout, scale: StageScale, state: WindowState, distance: str, posture: Posture
) -> None:
    """The line of the pitch hand's distance, and on that the bead of the volume hand."""
    box = scale.box
    x = min(max(scale.x_of(state.distance), box.left), box.right)
    y = min(max(_row_of_volume(scale, state), box.top), box.bottom)
    colour = _colour(state)
    mark = round(7 * layout.scale)
    painter.line((x, box.top), (x, box.bottom - 1), colour, max(1, round(1.5 * layout.scale)))
    for tip, foot in ((box.top - 1, box.top - mark), (box.bottom + 1, box.bottom + mark)):
        painter.shape([(x, tip), (x - mark, foot), (x + mark, foot)], colour)
    if not state.present:
        _away(painter, layout)
        return
    side = box.right if layout.mirrored else box.left
    painter.shape([(side, y), (side + scale.away * mark, y - mark), (side + scale.away * mark, y + mark)], colour)
    with painter.as_one():
        _dimension(painter, layout, scale, (x, y), distance, hand_half_width(posture))
    draw_hand_height(painter, layout, scale, y)
    with painter.as_one():
        _bead(painter, layout, (x, y), state.volume > 0.0 and not state.silenced)


def _colour(state: WindowState) -> palette.Colour:
    return palette.SKY if state.present else palette.QUIET_TEXT


def _row_of_volume(scale: StageScale, state: WindowState) -> float:
    """The bead's row: where the pointer set it, else where the volume lies on the scale."""
    return scale.y_of(state.volume) if state.place is None else state.place[1]


def _outlines(painter: Painter, layout: Layout, scale: StageScale, whole: Figure, colour: palette.Colour) -> None:
    """One outline round hand, wrist and sleeve, filled as if of glass: what it covers is still seen."""
    skin, sleeve, cuff, heel = (
        [scale.plan(*point) for point in line] for line in (whole.skin, whole.sleeve, whole.cuff, whole.heel)
    )
    painter.glass([*cuff, *sleeve], palette.SLEEVE, 190, scale.box)
    painter.glass([*skin, *reversed(cuff[1:-1])], palette.HAND, 220, scale.box)
    painter.curve([skin[-1], *sleeve, skin[0]], palette.LINE)
    painter.curve(cuff, palette.LINE)
    painter.smooth(skin, colour, max(1, round(1.6 * layout.scale)))
    painter.smooth(heel, colour, max(1, round(1.2 * layout.scale)))


def _bead(painter: Painter, layout: Layout, center: tuple[float, float], sounding: bool) -> None:
    """Full while it sounds, else hollow."""
    radius = 9 * layout.scale
    painter.disc(center, radius + max(2.0, 2.5 * layout.scale), palette.GROUND)
    if sounding:
        painter.disc(center, radius, palette.SKY)
    else:
        painter.ring(center, radius, palette.SKY, max(2, round(3 * layout.scale)))


def _dimension(
    painter: Painter, layout: Layout, scale: StageScale, bead: tuple[float, float], distance: str, half_width: float
) -> None:
    """An arrowed line from hand to antenna with its length, as in a drawing."""
    x, size, rod, axis = bead[0], layout.text_normal, scale.rod_x, scale.axis_y
    painter.line((x, axis), (rod, axis), palette.SKY, max(1, round(1.5 * layout.scale)))
    arrow, away = 8 * layout.scale, scale.away
    if abs(rod - x) > 3 * arrow:
        for tip, back in ((rod + away, away), (x - away, -away)):
            foot = tip + back * arrow
            painter.shape([(tip, axis), (foot, axis - 0.4 * arrow), (foot, axis + 0.4 * arrow)], palette.SKY)
    width, height = painter.width_of(distance, size) + size, round(1.6 * size)
    left, top = 0.5 * (x + rod) - 0.5 * width, axis - 0.5 * height
    if abs(rod - x) < width + 5 * arrow:
        clear = half_width * scale.pixels_per_metre + 0.5 * arrow
        top = axis + clear if axis + clear + height < scale.box.bottom else axis - clear - height
        reach = 2.0 * arrow
        left = x + reach if away > 0 else x - width - reach
    left = min(max(left, scale.box.left), scale.box.right - width)
    room = Box(round(left), round(min(max(top, scale.box.top), scale.box.bottom - height)), width, height)
    painter.fill(room, palette.GROUND, height // 3)
    painter.text(distance, room, size, palette.SKY, "centre")


def _away(painter: Painter, layout: Layout) -> None:
    """Say why nothing sounds."""
    size = layout.text_normal
    text = "Bring the pointer into the window to play"
    width, height = min(painter.width_of(text, size) + 2 * size, layout.stage.width), 2 * size
    stage = layout.stage
    room = Box(stage.left + (stage.width - width) // 2, stage.top + round(0.18 * stage.height), width, height)
    painter.fill(room, palette.GROUND, height // 3)
    painter.frame(room, palette.EDGE, 1, height // 3)
    painter.fitted(text, room.shrunk(size // 2, 0), (size, layout.text_small), palette.TEXT, "centre")
