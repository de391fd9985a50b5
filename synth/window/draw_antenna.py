"""The pitch antenna in its true form, to scale, at its place beside the stage and, where it reaches there, on it."""

from __future__ import annotations

import numpy as np

from models.hand.antennas import AnyAntenna, PlateAntenna, RingAntenna, TelescopicAntenna, WireAntenna
from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import PlayCanvas
from synth.window.draw_room import antenna_columns, antenna_shift, room_box
from synth.window.figure_outline import antenna_parts, cabinet_outline
from synth.window.painter import Point

NAME_LINES = 2
LEAST_WIDTH = 3.0  # pixels, of metal that is thinner to scale


def antenna_name(antenna: AnyAntenna) -> str:
    """What the form is called."""
    if isinstance(antenna, PlateAntenna):
        return "plate"
    if isinstance(antenna, RingAntenna):
        return "ring"
    if isinstance(antenna, WireAntenna):
        return "wire"
    if antenna.lean != 0.0:
        return "leaning rod"
    return "telescopic" if isinstance(antenna, TelescopicAntenna) else "rod"


def draw_antenna(canvas: PlayCanvas) -> None:
    """The antenna, with a break before it where it is farther away than its room, and its name below."""
    room, scale, size, shift = _room(canvas), canvas.scale, canvas.small, antenna_shift(canvas.layout, canvas.scale)
    parts = [canvas.scale.pixels(part) for part in antenna_parts(canvas.field.sight)]
    cabinet = cabinet_outline(canvas.field.sight)
    for box in (room, scale.box):
        with canvas.clipped(box):
            if cabinet is not None and (shift == 0.0 or box is room):
                canvas.shape(_moved(scale.pixels(cabinet), shift), palette.SLEEVE, palette.EDGE)
            for points in parts:
                if shift == 0.0 or box is room:
                    _metal(canvas, _moved(points, shift), ring=len(points) > 90)
    if shift != 0.0 and scale.axis_y + canvas.px(10, 6) < room.bottom:
        _break(canvas, scale.rod_x + shift)
    line = round(1.4 * size)
    for number, words in enumerate(("antenna", antenna_name(canvas.field.sight.scene.antenna))):
        place = Box(room.left, room.bottom + number * line, room.width, line)
        canvas.text(words, place, size, palette.TEXT if number else palette.QUIET_TEXT, "centre")


def _room(canvas: PlayCanvas) -> Box:
    """The antenna's side of the stage: above the names, and below the picture of the room unless that is beside it."""
    side, stage, inset = canvas.layout.antenna, canvas.scale.box, room_box(canvas)
    left, right = antenna_columns(canvas.layout, canvas.scale, canvas.field.sight)
    above = inset is not None and inset.left < right and left < inset.right
    top = stage.top if inset is None or not above else max(stage.top, inset.bottom + canvas.px(8))
    return Box(side.left, top, side.width, stage.bottom - NAME_LINES * round(1.4 * canvas.small) - top)


def _moved(points: list[Point], across: float) -> list[Point]:
    return [(x + across, y) for x, y in points]


def _break(canvas: PlayCanvas, surface: float) -> None:
    """Two strokes across the way between the stage's edge and an antenna that is farther away than drawn."""
    box, y, slant = canvas.scale.box, canvas.scale.axis_y, canvas.px(5, 3)
    edge = box.left if canvas.scale.mirrored else box.right
    for shift in (-slant, slant):
        middle = 0.5 * (surface + edge) + shift
        ends = (middle - slant, y + 2 * slant), (middle + slant, y - 2 * slant)
        canvas.line(*ends, palette.LINE, canvas.px(1.5, 1))


def _metal(canvas: PlayCanvas, points: list[Point], ring: bool) -> None:
    """A piece of metal: a bright edge, and light from the upper left. `ring`: a line with a hole is filled alone."""
    outline = np.array(points)
    middle = outline.mean(axis=0)
    _, _, turn = np.linalg.svd(outline - middle, full_matrices=False)
    thin = turn[1] if turn[1].sum() < 0.0 else -turn[1]  # towards the light
    across = (outline - middle) @ thin
    half = float(np.abs(across).max())
    if half < 0.5 * LEAST_WIDTH:
        widened = outline + np.outer(np.sign(across + 1e-9) * (0.5 * LEAST_WIDTH - np.abs(across)), thin)
        canvas.shape(list(map(tuple, widened.tolist())), palette.STRONG_LINE)
        return
    canvas.shape(points, palette.STRONG_LINE)
    if ring:
        return
    steps = max(2, min(round(half / 2.0), 12))
    for number in range(1, steps):
        share = number / steps
        shade = tuple(round(a + share * (b - a)) for a, b in zip(palette.EDGE, palette.STRONG_LINE, strict=True))
        shrunk = across * (0.88 * (1.0 - share)) + 0.35 * share * half
        inner = outline + np.outer(shrunk - across, thin)
        canvas.shape(list(map(tuple, inner.tolist())), shade)  # type: ignore[arg-type]
