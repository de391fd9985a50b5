"""The whole plan, small and to scale, in the stage's far lower corner: rod, cabinet if any, hand, arm and body."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

from models.hand import meshes
from models.hand.scene import Posture
from synth.window import palette
from synth.window.box import Box
from synth.window.draw_stage import FieldPicture
from synth.window.figure_outline import Point, body_outline, figure
from synth.window.layout import Layout
from synth.window.painter import Painter
from synth.window.scale import StageScale
from synth.window.state import WindowState

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
    row = round(1.4 * layout.text_small)
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


def draw_inset(
    painter: Painter, layout: Layout, scale: StageScale, picture: FieldPicture, state: WindowState, posture: Posture
) -> None:
    """The plan with the hand where it is; the stage shows its part from the rod to the light line."""
    size = layout.text_small
    taken = () if picture.zero_beat is None else (scale.x_of(picture.zero_beat) - scale.away * 4.0,)
    placed = inset_scale(layout, scale, picture, painter.width_of(CAPTION, size) + size, taken)
    if placed is None:
        return
    box, pixels = placed
    near, _, head, _ = _reach(picture)
    row = round(1.4 * size)

    def plan(point: Point) -> tuple[float, float]:
        away = pixels * (point[0] - near)
        return box.left + away if scale.away > 0 else box.right - away, box.top + pixels * (point[1] - head)

    with painter.as_one(), painter.clipped(box):
        painter.fill(box, palette.GROUND, round(5 * layout.scale))
        painter.frame(box, palette.EDGE, 1, round(5 * layout.scale))
        border = plan((scale.width, 0.0))[0]
        painter.dashed((border, box.top + 2), (border, box.bottom - row), palette.EDGE, 2)
        if picture.cabinet is not None:
            _cabinet(painter, picture, plan)
        person = figure(posture, state.distance, picture.stand_distance, picture.antenna_diameter)
        trunk = [plan(point) for point in body_outline(picture.stand_distance, picture.antenna_diameter)]
        painter.shape(trunk, palette.SLEEVE, palette.LINE)
        painter.shape([plan(point) for point in (*person.cuff, *person.sleeve)], palette.SLEEVE, palette.LINE)
        colour = palette.SKY if state.present else palette.QUIET_TEXT
        painter.shape([plan(point) for point in (*person.skin, *reversed(person.cuff[1:-1]))], palette.HAND, colour)
        radius = 0.5 * picture.antenna_diameter
        painter.disc(plan((-radius, 0.0)), max(2.5, pixels * radius), palette.STRONG_LINE)
        place = Box(box.left, box.bottom - row, box.width, row)
        painter.text(CAPTION, place, size, palette.QUIET_TEXT, "centre")


def _cabinet(painter: Painter, picture: FieldPicture, plan: Callable[[Point], tuple[float, float]]) -> None:
    """The cabinet's top, centred under the rod."""
    across, deep = picture.cabinet or (0.0, 0.0)
    middle = -0.5 * picture.antenna_diameter
    corners = [
        (middle - 0.5 * deep, -0.5 * across),
        (middle + 0.5 * deep, -0.5 * across),
        (middle + 0.5 * deep, 0.5 * across),
        (middle - 0.5 * deep, 0.5 * across),
    ]
    painter.shape([plan(corner) for corner in corners], palette.PANEL, palette.EDGE)
