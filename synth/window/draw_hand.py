"""The pitch hand on the stage with its note and its trail, and the whole plan small over the antenna.

The hand is drawn to scale with its arm and its distance to the antenna; the plan shows rod, cabinet if any, hand, arm
and body.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from models.hand import meshes
from models.hand.scene import Posture
from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import FieldPicture, PlayCanvas
from synth.window.figure_outline import Figure, Point, body_outline, creases, figure, hand_half_width
from synth.window.layout import Layout
from synth.window.picture import MINUS, Readouts
from synth.window.scale import AXIS_SHARE
from synth.window.state import WindowState


def draw_figure(canvas: PlayCanvas, state: WindowState, posture: Posture) -> None:
    """Hand, wrist and arm seen from above, as far as the stage shows them."""
    colour = _colour(state)
    with canvas.clipped(canvas.scale.box), canvas.as_one():
        whole = figure(posture, state.distance, canvas.field.stand_distance, canvas.field.antenna_diameter)
        _outlines(canvas, whole, colour)
        for crease in creases(posture):
            canvas.curve(canvas.scale.plans((state.distance + along, side) for along, side in crease), colour)


def draw_hand(canvas: PlayCanvas, state: WindowState, values: Readouts, posture: Posture) -> None:
    """The line of the pitch hand's distance, the note it makes, and how far it is from the antenna."""
    box = canvas.scale.box
    at = canvas.scale.x_of(state.distance)
    x = min(max(at, box.left), box.right - 1)
    colour, mark = _colour(state), canvas.px(7)
    canvas.line((x, box.top), (x, box.bottom - 1), colour, canvas.px(1.5, 1))
    for tip, foot in ((box.top - 1, box.top - mark), (box.bottom + 1, box.bottom + mark)):
        canvas.shape([(x, tip), (x - mark, foot), (x + mark, foot)], colour)
    if state.present:
        with canvas.as_one():
            _name(canvas, x, values, colour, posture)
        with canvas.as_one():
            _dimension(canvas, x, values.distance, hand_half_width(posture))
    else:
        _away(canvas)


def _name(canvas: PlayCanvas, x: float, values: Readouts, colour: palette.Colour, posture: Posture) -> None:
    """Note and cents above the hand, towards the antenna from its line; nothing where there is no note."""
    if values.cents_off is None:
        return
    size, box, away = canvas.normal, canvas.scale.box, canvas.scale.away
    cents = f"{round(values.cents_off):+d}".replace("-", MINUS)
    text = f"{values.note} {cents}"
    width, height = canvas.width_of(text, size, bold=True) + size, round(1.6 * size)
    clear = hand_half_width(posture) * canvas.scale.pixels_per_metre + 0.5 * size
    top = round(min(max(canvas.scale.axis_y - clear - height, box.top + height // 2), box.bottom - height))
    left = round(x + size // 2 if away < 0 else x - size // 2 - width)
    if not (box.left <= left and left + width <= box.right):
        left = round(x - size // 2 - width if away < 0 else x + size // 2)
    room = Box(min(max(left, box.left), box.right - width), top, width, height)
    canvas.fill(room, palette.GROUND, height // 3)
    canvas.text(text, room, size, colour, "centre", bold=True)


TRAIL_TIME = 4.0  # s of the hand's way that is shown
_TRAIL_PARTS = 4  # older ones are paler
_TRAIL_STEP = 3  # pictures from one drawn point to the next: 50 ms


def draw_trail(canvas: PlayCanvas, trail: Sequence[tuple[float, float]]) -> None:
    """The pitch of the last seconds, newest at the hand and older below it; `trail`: (age in s, distance in m)."""
    box, scale = canvas.scale.box, canvas.scale
    down = (box.bottom - scale.axis_y) / scale.pixels_per_metre / TRAIL_TIME  # m in the plan for 1 s
    shown = trail[::_TRAIL_STEP]
    points = scale.plans((distance, age * down) for age, distance in shown)
    if len(points) < 2:
        return
    share = TRAIL_TIME / _TRAIL_PARTS
    ends = [next((n for n, (age, _) in enumerate(shown) if age >= k * share), len(shown)) for k in range(_TRAIL_PARTS)]
    with canvas.clipped(box), canvas.as_one():
        for part, (first, last) in enumerate(pairwise((*ends, len(shown)))):
            fade = part / _TRAIL_PARTS
            red, green, blue = (round(a + fade * (b - a)) for a, b in zip(palette.ORANGE, palette.LINE, strict=True))
            line = points[first : last + 1]
            if len(line) > 1:
                canvas.curve(line, (red, green, blue), canvas.px(2, 1))


def _colour(state: WindowState) -> palette.Colour:
    return palette.SKY if state.present else palette.QUIET_TEXT


def _outlines(canvas: PlayCanvas, whole: Figure, colour: palette.Colour) -> None:
    """Hand and wrist, and over the wrist the sleeve, filled as if of glass: what they cover is still seen."""
    skin, bare, sleeve, heel = map(canvas.scale.plans, (whole.skin, whole.bare, whole.sleeve, whole.heel))
    canvas.glass(skin, palette.HAND, 220, canvas.scale.box)
    canvas.smooth(bare, colour, canvas.px(1.6, 1))
    canvas.smooth(heel, colour, canvas.px(1.2, 1))
    canvas.glass(sleeve, palette.SLEEVE, 235, canvas.scale.box)
    canvas.curve([*sleeve, sleeve[0]], palette.LINE)


def _dimension(canvas: PlayCanvas, x: float, distance: str, half_width: float) -> None:
    """An arrowed line from hand to antenna, as far as the stage goes, with its length, as in a drawing."""
    size, axis, box, away = canvas.normal, canvas.scale.axis_y, canvas.scale.box, canvas.scale.away
    edge = float(box.right - 1 if away < 0 else box.left)
    rod, arrow = edge, 8 * canvas.layout.scale
    canvas.line((x, axis), (edge, axis), palette.SKY, canvas.px(1.5, 1))
    if abs(rod - x) > 3 * arrow:
        canvas.arrow((x - away, axis), -away * arrow, 0.4 * arrow, palette.SKY)
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
LEAST_SCALE: Final = 55.0  # pixels a metre; below it the hand is too small to be seen, and the inset is left out
_MARGIN: Final = 0.05  # m around what is drawn


def _reach(picture: FieldPicture) -> tuple[float, float, float, float]:
    """What is drawn, m: the nearest and farthest distance, the farthest towards the body and away from it."""
    across, deep = picture.cabinet or (0.0, 0.0)
    body = picture.stand_distance - 0.5 * picture.antenna_diameter
    far = body + meshes.BODY_DEPTH_RATIO * meshes.BODY_HALF_WIDTH
    near = min(-picture.antenna_diameter, -0.5 * (picture.antenna_diameter + deep))
    head = meshes.BODY_SIDE - meshes.BODY_HALF_WIDTH
    return near - _MARGIN, far + _MARGIN, head - _MARGIN, max(0.5 * across, meshes.ARM_RADIUS) + _MARGIN


def inset_scale(layout: Layout, picture: FieldPicture, caption_width: int) -> tuple[Box, float] | None:
    """Where the inset stands, over the antenna, and its pixels a metre; None where it has no room."""
    room, gap = layout.antenna, max(4, round(6 * layout.scale))
    row = round(1.4 * layout.text.small)
    near, far, head, side = _reach(picture)
    axis = layout.stage.top + AXIS_SHARE * layout.stage.height
    wide, high = room.width - 2 * gap, axis - 3 * gap - room.top - row
    pixels = min(wide / (far - near), high / (side - head))
    width, height = round(pixels * (far - near)), round(pixels * (side - head)) + row
    if pixels < LEAST_SCALE or caption_width > width:
        return None
    return Box(room.left + (room.width - width) // 2, room.top, width, height), pixels


@dataclass(frozen=True, slots=True)
class Inset:
    """Where the inset stands, its pixels a metre, and which way from the rod the player is."""

    box: Box
    pixels: float
    near: float
    head: float
    away: int

    def plans(self, points: Iterable[Point]) -> list[tuple[float, float]]:
        """Pixels of points seen from above."""
        first = self.box.left if self.away > 0 else self.box.right
        across, down, top = self.away * self.pixels, self.pixels, self.box.top
        return [(first + across * (along - self.near), top + down * (side - self.head)) for along, side in points]


def _inset(canvas: PlayCanvas) -> Inset | None:
    caption = canvas.width_of(CAPTION, canvas.small) + 2
    placed = inset_scale(canvas.layout, canvas.field, caption)
    if placed is None:
        return None
    near, _, head, _ = _reach(canvas.field)
    return Inset(*placed, near, head, canvas.scale.away)


def draw_still_inset(canvas: PlayCanvas) -> None:
    """The room from above: rod, cabinet and body; the stage shows its part between the two light lines."""
    inset, scale, field, size = _inset(canvas), canvas.scale, canvas.field, canvas.small
    if inset is None:
        return
    box, row = inset.box, round(1.4 * size)
    with canvas.clipped(box):
        canvas.frame(box, palette.EDGE, 1, canvas.px(5))
        for end in (scale.start, scale.start + scale.width):
            border = inset.plans([(end, 0.0)])[0][0]
            canvas.dashed((border, box.top + 2), (border, box.bottom - row), palette.EDGE, 2)
        if field.cabinet is not None:  # centred under the rod
            (across, deep), middle = field.cabinet, -0.5 * field.antenna_diameter
            signs = ((-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5))
            corners = inset.plans((middle + x * deep, y * across) for x, y in signs)
            canvas.shape(corners, palette.PANEL, palette.EDGE)
        trunk = body_outline(field.stand_distance, field.antenna_diameter)
        canvas.shape(inset.plans(trunk), palette.SLEEVE, palette.LINE)
        radius = 0.5 * field.antenna_diameter
        canvas.disc(inset.plans([(-radius, 0.0)])[0], max(2.5, inset.pixels * radius), palette.STRONG_LINE)
        canvas.text(CAPTION, Box(box.left, box.bottom - row, box.width, row), size, palette.QUIET_TEXT, "centre")


def draw_inset(canvas: PlayCanvas, state: WindowState, posture: Posture) -> None:
    """Hand and arm in the inset, as they are now."""
    inset, field = _inset(canvas), canvas.field
    if inset is None:
        return
    person = figure(posture, state.distance, field.stand_distance, field.antenna_diameter)
    colour = palette.SKY if state.present else palette.QUIET_TEXT
    with canvas.as_one(), canvas.clipped(inset.box):
        canvas.shape(inset.plans(person.skin), palette.HAND, colour)
        canvas.shape(inset.plans(person.sleeve), palette.SLEEVE, palette.LINE)
