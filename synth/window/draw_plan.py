"""The still parts of the plan seen from above: the rod's cross-section, the player's body, the line of the hand."""

from __future__ import annotations

from synth.window import palette
from synth.window.box import Box
from synth.window.hand_outline import body_outline
from synth.window.layout import Layout
from synth.window.painter import Painter
from synth.window.scale import StageScale


def draw_axis(painter: Painter, layout: Layout, scale: StageScale) -> None:
    """The line along which the hand moves, through the middle of the rod: dots and dashes, as in a drawing."""
    y, dash = round(scale.axis_y), max(3, round(5 * layout.scale))
    start, end = (scale.box.left, y), (scale.box.right - 1, y)
    painter.dashed(start, end, palette.EDGE, dash)


def draw_body(painter: Painter, scale: StageScale, stand_distance: float, diameter: float) -> None:
    """The player's trunk, as far as it is within the stage."""
    points = [scale.plan(*point) for point in body_outline(stand_distance, diameter)]
    box = scale.box
    if any(box.left <= x < box.right and box.top <= y < box.bottom for x, y in points):
        with painter.clipped(box):
            painter.shape(points, palette.SLEEVE, palette.EDGE)


def draw_player_mark(
    painter: Painter, layout: Layout, scale: StageScale, stand_distance: float, diameter: float
) -> Box:
    """Where the player stands, below the centimetre scale: an arrow at its far end if beyond it. Returns its room."""
    below, size = layout.distance_scale, layout.text_small
    row = round(1.4 * size)
    text = f"your body: {100.0 * stand_distance:.0f} cm"
    distance = stand_distance - 0.5 * diameter
    inside = distance < scale.width
    text = text if inside else (f"{text} ▶" if layout.mirrored else f"◀ {text}")
    width = painter.width_of(text, size) + 2
    far = scale.box.right if layout.mirrored else scale.box.left
    left = round(scale.x_of(distance)) - width // 2 if inside else (far - width if layout.mirrored else far)
    left = min(max(left, scale.box.left), scale.box.right - width)
    room = Box(left, below.bottom - row, width, row)
    painter.text(text, room, size, palette.QUIET_TEXT)
    return room


def draw_antenna(painter: Painter, layout: Layout, scale: StageScale, diameter: float) -> None:
    """The rod to scale, cut across at the height of the hand, its near surface on the stage's edge."""
    size, room = layout.text_small, layout.antenna
    radius = min(0.5 * diameter * scale.pixels_per_metre, 0.5 * room.width)
    center = scale.rod_x - scale.away * radius, scale.axis_y
    painter.disc(center, max(2.0, radius), palette.STRONG_LINE)
    if radius >= 4.0:
        _section(painter, center, radius)
    row = round(1.4 * size)
    place = Box(room.left, round(center[1] + max(2.0, radius)) + round(0.4 * size), room.width, row)
    painter.text("antenna", place, size, palette.TEXT, "centre")


def _section(painter: Painter, center: tuple[float, float], radius: float) -> None:
    """Hatching of cut metal."""
    steps = max(3, round(radius / 3.0))
    for number in range(1, steps):
        offset = radius * (2.0 * number / steps - 1.0)
        half = (radius**2 - offset**2) ** 0.5 * 0.98
        slope = 0.5**0.5
        x, y = center[0] + slope * offset, center[1] - slope * offset
        start, end = (x - slope * half, y - slope * half), (x + slope * half, y + slope * half)
        painter.line(start, end, palette.GROUND)
