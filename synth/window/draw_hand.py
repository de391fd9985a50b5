"""The pitch hand on the stage, to scale, with its arm, its note, its trail, and its distance to the antenna."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise

import numpy as np

from models.arrays import Floats
from models.hand.meshes import hand_shape
from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import PlayCanvas
from synth.window.figure_outline import Figure, figure, half_height
from synth.window.painter import Point
from synth.window.picture import MINUS, Readouts
from synth.window.staged_hand import draw_staged_hand, staged_hand
from synth.window.state import WindowState


def draw_figure(canvas: PlayCanvas, state: WindowState) -> None:
    """Hand, wrist and arm seen from the side, as far as the stage shows them."""
    scale, person = canvas.scale, figure(canvas.field.sight, canvas.field.way, state.distance, state.opening)
    hand = staged_hand(person.hand, person.turn, scale.pixels_per_metre, scale.away)
    place, wrist, sleeve = _on_stage(person, scale.pixels_per_metre, scale.away, scale.rod_x, scale.axis_y)
    bare = tuple(side[:seen] for side, seen in zip(wrist, person.bare, strict=True))
    with canvas.clipped(scale.box):
        with canvas.as_one():
            moving = state.opening not in (0.0, state.wanted_opening)
            draw_staged_hand(canvas, hand, place, wrist, bare, _colour(state), moving)
        with canvas.as_one():
            canvas.glass(sleeve, palette.SLEEVE, 235)
            canvas.curve(sleeve, palette.LINE)


@lru_cache(maxsize=512)  # as the figures
def _on_stage(
    person: Figure, pixels_per_metre: float, away: int, rod_x: float, axis_y: float
) -> tuple[Point, tuple[Sequence[Point], Sequence[Point]], Sequence[Point]]:
    """Place, both sides of the wrist, and sleeve of a figure, in pixels; `StageScale.pixels`."""
    points = np.concatenate([[person.place], person.wrist.ravel(), person.sleeve, person.sleeve[:1]])
    columns, rows = rod_x + away * pixels_per_metre * points.real, axis_y + pixels_per_metre * points.imag
    pixels, count = list(zip(columns.tolist(), rows.tolist(), strict=True)), person.wrist.shape[1]
    return pixels[0], (pixels[1 : 1 + count], pixels[1 + count : 1 + 2 * count]), pixels[1 + 2 * count :]


def draw_hand(
    canvas: PlayCanvas,
    state: WindowState,
    values: Readouts,
    heard: float | None,
    wave: Floats | None = None,
    loud: float = 0.0,
) -> None:
    """The line of what is heard with its note, and how far the pitch hand is from the antenna.

    heard: m, the distance of the field that sounds: the hand's own, but for what fingers and the volume hand do. wave:
    what sounds, -1 to 1, which the line swings by, as a string does, the farther the larger its RMS `loud` is.
    """
    box, scale = canvas.scale.box, canvas.scale
    at, x = (
        min(max(scale.x_of(place), box.left), box.right - 1)
        for place in (state.distance, state.distance if heard is None else heard)
    )
    colour, mark = _colour(state), canvas.px(7)
    if abs(x - at) >= 2.0:  # where the stretched hand would be
        canvas.dashed((at, box.top), (at, box.bottom - 1), palette.SKY, canvas.px(4, 3))
    swing = 0.0 if wave is None or state.still else canvas.px(_SWING) * _loudness(loud)
    if wave is None or swing < 1.0:
        canvas.line((x, box.top), (x, box.bottom - 1), colour, canvas.px(1.5, 1))
    else:
        with canvas.as_one():
            canvas.curve(_string(box, x, wave[:: max(1, wave.size // _STRING)], swing), colour, canvas.px(1.5, 1))
    for tip, foot in ((box.top - 1, box.top - mark), (box.bottom + 1, box.bottom + mark)):
        canvas.shape([(x, tip), (x - mark, foot), (x + mark, foot)], colour)
    if state.present:
        with canvas.as_one():
            _name(canvas, x, values, colour)
        with canvas.as_one():
            _dimension(canvas, at, values.distance)
    else:
        _away(canvas, not state.fresh and box.left <= scale.x_of(state.distance) < box.right)


_SWING = 18.0  # pixels at the usual size, of full level
_STRING = 110  # points
_QUIETEST_DB = -60.0


def _loudness(rms: float) -> float:
    """Share of the swing: 1 at full level, 0 at `_QUIETEST_DB`."""
    level = 20.0 * math.log10(max(rms, 1e-9))
    return min(max(1.0 - level / _QUIETEST_DB, 0.0), 1.0)


def _string(box: Box, x: float, wave: Floats, swing: float) -> list[tuple[float, float]]:
    """A line down the stage at a pixel column that swings by the wave, held at both ends, within the stage."""
    rows, share = _string_at_rest(box.top, box.height, wave.size)
    across = (x + swing * share * wave).clip(box.left, box.right - 1)
    return list(zip(across.tolist(), rows, strict=True))


@lru_cache(maxsize=4)
def _string_at_rest(top: int, height: int, count: int) -> tuple[list[float], Floats]:
    """Pixel rows of the points of a line, and how far each swings, 0 to 1."""
    along = np.linspace(0.0, 1.0, count)
    return (top + along * (height - 1)).tolist(), np.sqrt(np.sin(np.pi * along))


def _clearance(canvas: PlayCanvas) -> float:
    """Half the height of the open hand on the stage, pixels."""
    scene = canvas.field.sight.scene
    return half_height(hand_shape(scene.player.build, "open"), scene.from_above) * canvas.scale.pixels_per_metre


def _name(canvas: PlayCanvas, x: float, values: Readouts, colour: palette.Colour) -> None:
    """Note and cents above the hand, towards the antenna from its line; nothing where there is no note."""
    if values.cents_off is None:
        return
    size, box, away = canvas.normal, canvas.scale.box, canvas.scale.away
    cents = f"{round(values.cents_off):+d}".replace("-", MINUS)
    text = f"{values.note} {cents}"
    width, height = canvas.width_of(text, size, bold=True) + size, round(1.6 * size)
    clear = _clearance(canvas) + 0.5 * size
    top = round(min(max(canvas.scale.axis_y - clear - height, box.top + height // 2), box.bottom - height))
    left = round(x + size // 2 if away < 0 else x - size // 2 - width)
    if not (box.left <= left and left + width <= box.right):
        left = round(x - size // 2 - width if away < 0 else x + size // 2)
    room = Box(min(max(left, box.left), box.right - width), top, width, height)
    canvas.fill(room, palette.GROUND, height // 3)
    canvas.text(text, room, size, colour, "centre", bold=True)


TRAIL_TIME = 4.0  # s of the hand's way that is shown
_TRAIL_PARTS = 4  # older ones are paler
TRAIL_STEP = 3  # pictures from one drawn point to the next: 50 ms


def draw_trail(canvas: PlayCanvas, trail: Sequence[tuple[float, float]]) -> Sequence[Point]:
    """The pitch of the last seconds, newest at the hand and older below it; `trail`: (age in s, distance in m) of
    every `TRAIL_STEP`-th picture. Returns where it goes, from the newest on; nothing where it is too short.
    """
    box, scale = canvas.scale.box, canvas.scale
    down = (box.bottom - scale.axis_y) / scale.pixels_per_metre / TRAIL_TIME  # m in the plan for 1 s
    if len(trail) < 2:
        return ()
    ages, distances = zip(*trail, strict=True)  # the newest first
    points = scale.pixels(np.stack([scale.way.along(distances), np.array(ages) * down], axis=1))
    share = TRAIL_TIME / _TRAIL_PARTS
    ends = [bisect_left(ages, k * share) for k in range(_TRAIL_PARTS)]
    with canvas.clipped(box), canvas.as_one():
        for part, (first, last) in enumerate(pairwise((*ends, len(trail)))):
            fade = part / _TRAIL_PARTS
            red, green, blue = (round(a + fade * (b - a)) for a, b in zip(palette.ORANGE, palette.LINE, strict=True))
            line = points[first : last + 1]
            if len(line) > 1:
                canvas.curve(line, (red, green, blue), canvas.px(2, 1))
    return points


def draw_trail_end(canvas: PlayCanvas, start: Point, trail: Sequence[tuple[float, float]]) -> None:
    """What was added to the trail since it was drawn from `start` on."""
    if not trail or trail[0][0] > 0.0:
        return
    scale = canvas.scale
    with canvas.clipped(scale.box), canvas.as_one():
        canvas.curve([start, (scale.x_of(trail[0][1]), scale.axis_y)], palette.ORANGE, canvas.px(2, 1))


def _colour(state: WindowState) -> palette.Colour:
    return palette.SKY if state.present else palette.QUIET_TEXT


def _dimension(canvas: PlayCanvas, x: float, distance: str) -> None:
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
        top = min(axis + _clearance(canvas) + 0.5 * arrow, box.bottom - 1.2 * height)  # its note stands above
        reach = 2.0 * arrow
        left = x + reach if away > 0 else x - width - reach
    left = min(max(left, canvas.scale.box.left), canvas.scale.box.right - width)
    room = Box(round(left), round(min(max(top, canvas.scale.box.top), canvas.scale.box.bottom - height)), width, height)
    canvas.fill(room, palette.GROUND, height // 3)
    canvas.text(distance, room, size, palette.SKY, "centre")


def _away(canvas: PlayCanvas, hand_seen: bool) -> None:
    """Say why nothing sounds, and what to do."""
    size, stage, text = canvas.normal, canvas.layout.stage, "Click here to play"
    if hand_seen:
        text = "Click here, or bring the pointer to the hand, to play"
    width, height = min(canvas.width_of(text, size) + 2 * size, stage.width), 2 * size
    room = Box(stage.left + (stage.width - width) // 2, stage.top + round(0.18 * stage.height), width, height)
    canvas.fill(room, palette.GROUND, height // 3)
    canvas.frame(room, palette.EDGE, 1, height // 3)
    canvas.fitted(text, room.shrunk(size // 2, 0), (size, canvas.small), palette.TEXT, "centre")
