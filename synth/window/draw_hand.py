"""The hands on the stage, and the whole plan small in the stage's far lower corner.

The hand is drawn to scale with its arm, its distance to the antenna and the volume as a bead; the plan shows rod,
cabinet if any, hand, arm and body.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from models.hand import meshes
from models.hand.scene import Posture
from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import FieldPicture, PlayCanvas
from synth.window.draw_volume import draw_hand_height
from synth.window.figure_outline import Figure, Point, body_outline, creases, figure, hand_half_width
from synth.window.layout import Layout
from synth.window.scale import StageScale
from synth.window.state import WindowState


def draw_figure(canvas: PlayCanvas, state: WindowState, posture: Posture) -> None:
    """Hand, wrist and arm seen from above, as far as the stage shows them."""
    colour = _colour(state)
    with canvas.clipped(canvas.scale.box), canvas.as_one():
        whole = figure(posture, state.distance, canvas.field.stand_distance, canvas.field.antenna_diameter)
        _outlines(canvas, whole, colour)
        for crease in creases(posture):
            canvas.curve([canvas.scale.plan(state.distance + along, side) for along, side in crease], colour)


def draw_hand(canvas: PlayCanvas, state: WindowState, distance: str, posture: Posture) -> None:
    """The line of the pitch hand's distance, and on that the bead of the volume hand."""
    box = canvas.scale.box
    x = min(max(canvas.scale.x_of(state.distance), box.left), box.right)
    row = canvas.scale.y_of(state.volume) if state.row is None else state.row
    y = min(max(row, box.top), box.bottom)
    colour, mark = _colour(state), canvas.px(7)
    canvas.line((x, box.top), (x, box.bottom - 1), colour, canvas.px(1.5, 1))
    for tip, foot in ((box.top - 1, box.top - mark), (box.bottom + 1, box.bottom + mark)):
        canvas.shape([(x, tip), (x - mark, foot), (x + mark, foot)], colour)
    if not state.present:
        _away(canvas)
        return
    side = box.right if canvas.layout.mirrored else box.left
    canvas.arrow((side, y), canvas.scale.away * mark, mark, colour)
    with canvas.as_one():
        _dimension(canvas, (x, y), distance, hand_half_width(posture))
    draw_hand_height(canvas, y)
    with canvas.as_one():
        _bead(canvas, (x, y), state.volume > 0.0 and not state.silenced)


def _colour(state: WindowState) -> palette.Colour:
    return palette.SKY if state.present else palette.QUIET_TEXT


def _outlines(canvas: PlayCanvas, whole: Figure, colour: palette.Colour) -> None:
    """One outline round hand, wrist and sleeve, filled as if of glass: what it covers is still seen."""
    skin, sleeve, cuff, heel = (
        [canvas.scale.plan(*point) for point in line] for line in (whole.skin, whole.sleeve, whole.cuff, whole.heel)
    )
    canvas.glass([*cuff, *sleeve], palette.SLEEVE, 190, canvas.scale.box)
    canvas.glass([*skin, *reversed(cuff[1:-1])], palette.HAND, 220, canvas.scale.box)
    canvas.curve([skin[-1], *sleeve, skin[0]], palette.LINE)
    canvas.curve(cuff, palette.LINE)
    canvas.smooth(skin, colour, canvas.px(1.6, 1))
    canvas.smooth(heel, colour, canvas.px(1.2, 1))


def _bead(canvas: PlayCanvas, center: tuple[float, float], sounding: bool) -> None:
    """Full while it sounds, else hollow."""
    radius = 9 * canvas.layout.scale
    canvas.disc(center, radius + max(2.0, 2.5 * canvas.layout.scale), palette.GROUND)
    if sounding:
        canvas.disc(center, radius, palette.SKY)
    else:
        canvas.ring(center, radius, palette.SKY, canvas.px(3, 2))


def _dimension(canvas: PlayCanvas, bead: tuple[float, float], distance: str, half_width: float) -> None:
    """An arrowed line from hand to antenna with its length, as in a drawing."""
    x, size, rod, axis = bead[0], canvas.normal, canvas.scale.rod_x, canvas.scale.axis_y
    canvas.line((x, axis), (rod, axis), palette.SKY, canvas.px(1.5, 1))
    arrow, away = 8 * canvas.layout.scale, canvas.scale.away
    if abs(rod - x) > 3 * arrow:
        for tip, back in ((rod + away, away), (x - away, -away)):
            canvas.arrow((tip, axis), back * arrow, 0.4 * arrow, palette.SKY)
    width, height = canvas.width_of(distance, size) + size, round(1.6 * size)
    left, top = 0.5 * (x + rod) - 0.5 * width, axis - 0.5 * height
    if abs(rod - x) < width + 5 * arrow:
        clear = half_width * canvas.scale.pixels_per_metre + 0.5 * arrow
        top = axis + clear if axis + clear + height < canvas.scale.box.bottom else axis - clear - height
        reach = 2.0 * arrow
        left = x + reach if away > 0 else x - width - reach
    left = min(max(left, canvas.scale.box.left), canvas.scale.box.right - width)
    room = Box(round(left), round(min(max(top, canvas.scale.box.top), canvas.scale.box.bottom - height)), width, height)
    canvas.fill(room, palette.GROUND, height // 3)
    canvas.text(distance, room, size, palette.SKY, "centre")


def _away(canvas: PlayCanvas) -> None:
    """Say why nothing sounds."""
    size, stage, text = canvas.normal, canvas.layout.stage, "Click here, or bring the pointer to the hand, to play"
    width, height = min(canvas.width_of(text, size) + 2 * size, stage.width), 2 * size
    room = Box(stage.left + (stage.width - width) // 2, stage.top + round(0.18 * stage.height), width, height)
    canvas.fill(room, palette.GROUND, height // 3)
    canvas.frame(room, palette.EDGE, 1, height // 3)
    canvas.fitted(text, room.shrunk(size // 2, 0), (size, canvas.small), palette.TEXT, "centre")


CAPTION: Final = "from above"
LEAST_SCALE: Final = 80.0  # pixels a metre; below it the hand is too small to be seen, and the inset is left out
WIDEST_SHARE: Final = 0.24  # of the stage's width
_MARGIN: Final = 0.05  # m around what is drawn


def _reach(picture: FieldPicture) -> tuple[float, float, float, float]:
    """What is drawn, m: the nearest and farthest distance, the farthest towards the body and away from it."""
    across, deep = picture.cabinet or (0.0, 0.0)
    body = picture.stand_distance - 0.5 * picture.antenna_diameter
    far = body + meshes.BODY_DEPTH_RATIO * meshes.BODY_HALF_WIDTH
    near = min(-picture.antenna_diameter, -0.5 * (picture.antenna_diameter + deep))
    head = meshes.BODY_SIDE - meshes.BODY_HALF_WIDTH
    return near - _MARGIN, far + _MARGIN, head - _MARGIN, max(0.5 * across, meshes.ARM_RADIUS) + _MARGIN


def inset_scale(
    layout: Layout, scale: StageScale, picture: FieldPicture, caption_width: int, taken: Iterable[float]
) -> tuple[Box, float] | None:
    """Where the inset stands and its pixels a metre; None where it has no room.

    It stands below the hand's line and beyond every drawn note; `taken`: pixel columns it does not cover either.
    """
    stage, gap = layout.stage, max(5, round(7 * layout.scale))
    row = round(1.4 * layout.text.small)
    edges = [scale.x_of(line.distance) for line in picture.notes] + list(taken)
    free = min(((x - stage.left if scale.away < 0 else stage.right - x) for x in edges), default=float(stage.width))
    near, far, head, side = _reach(picture)
    wide = min(free - 2 * gap, WIDEST_SHARE * stage.width)
    high = stage.bottom - gap - (round(scale.axis_y) + gap) - row
    pixels = min(wide / (far - near), high / (side - head))
    width = round(pixels * (far - near))
    if pixels < LEAST_SCALE or caption_width > width:
        return None
    height = round(pixels * (side - head)) + row
    left = stage.left + gap if scale.away < 0 else stage.right - gap - width
    return Box(left, stage.bottom - gap - height, width, height), pixels


def draw_inset(canvas: PlayCanvas, state: WindowState, posture: Posture) -> None:
    """The plan with the hand where it is; the stage shows its part from the rod to the light line."""
    scale, field, size = canvas.scale, canvas.field, canvas.small
    taken = () if field.zero_beat is None else (scale.x_of(field.zero_beat) - scale.away * 4.0,)
    placed = inset_scale(canvas.layout, scale, field, canvas.width_of(CAPTION, size) + size, taken)
    if placed is None:
        return
    box, pixels = placed
    near, _, head, _ = _reach(field)
    row = round(1.4 * size)

    def plan(point: Point) -> tuple[float, float]:
        away = pixels * (point[0] - near)
        return box.left + away if scale.away > 0 else box.right - away, box.top + pixels * (point[1] - head)

    with canvas.as_one(), canvas.clipped(box):
        canvas.fill(box, palette.GROUND, canvas.px(5))
        canvas.frame(box, palette.EDGE, 1, canvas.px(5))
        border = plan((scale.width, 0.0))[0]
        canvas.dashed((border, box.top + 2), (border, box.bottom - row), palette.EDGE, 2)
        if field.cabinet is not None:  # centred under the rod
            (across, deep), middle = field.cabinet, -0.5 * field.antenna_diameter
            signs = ((-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5))
            canvas.shape([plan((middle + x * deep, y * across)) for x, y in signs], palette.PANEL, palette.EDGE)
        person = figure(posture, state.distance, field.stand_distance, field.antenna_diameter)
        trunk = [plan(point) for point in body_outline(field.stand_distance, field.antenna_diameter)]
        canvas.shape(trunk, palette.SLEEVE, palette.LINE)
        canvas.shape([plan(point) for point in (*person.cuff, *person.sleeve)], palette.SLEEVE, palette.LINE)
        colour = palette.SKY if state.present else palette.QUIET_TEXT
        canvas.shape([plan(point) for point in (*person.skin, *reversed(person.cuff[1:-1]))], palette.HAND, colour)
        radius = 0.5 * field.antenna_diameter
        canvas.disc(plan((-radius, 0.0)), max(2.5, pixels * radius), palette.STRONG_LINE)
        place = Box(box.left, box.bottom - row, box.width, row)
        canvas.text(CAPTION, place, size, palette.QUIET_TEXT, "centre")
