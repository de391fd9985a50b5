"""Practice on the stage: places lit where the hand must rest, the way between them, the loudness on its strip."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from synth.hands.gestures import minimum_jerk
from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import PlayCanvas
from synth.window.draw_stage import shown_name
from synth.window.practice import Lit, Shown

LENS = (0.075, 0.052, 0.038)  # m, half the length of a lit place across the hand's way: now, next, then
LEAST_LENS = 4.0  # pixels, half its width at least
ARCH = 0.42  # height of a way against its length
BEADS = 9  # places of the hand at equal times along the way
POINTS = 24


def draw_places(canvas: PlayCanvas, shown: Shown) -> None:
    """The places now and next, and the ways between them; the hand is drawn over them."""
    with canvas.clipped(canvas.scale.box), canvas.as_one():
        for before, after in pairwise(shown.places):
            if before.lit and after.lit and before.distance != after.distance:
                _way(canvas, before, after, shown.walked if before.order == 0 else None)
        for place in reversed(shown.places):
            if place.lit:
                _lens(canvas, place)


def draw_scatter(canvas: PlayCanvas, distance: float, scatter: float) -> None:
    """How far the player's own hand scatters about a place, m each way: a shaded width where the hand is."""
    box, scale = canvas.scale.box, canvas.scale
    ends = sorted((scale.x_of(distance - scatter), scale.x_of(distance + scatter)))
    if scatter <= 0.0 or ends[1] - ends[0] < 1.0:
        return
    corners = [
        (x, y) for x, y in ((ends[0], box.top), (ends[1], box.top), (ends[1], box.bottom), (ends[0], box.bottom))
    ]
    with canvas.clipped(box):
        canvas.glass(corners, palette.SKY, 70)


def draw_practice(canvas: PlayCanvas, shown: Shown) -> None:
    """Names, words and loudness: what nothing may cover."""
    size, box = canvas.small, canvas.scale.box
    now = next((place for place in shown.places if place.order == 0 and place.lit), None)
    if now is not None:  # its edge stays seen where the hand lies over it
        with canvas.clipped(box), canvas.as_one():
            _edge(canvas, now)
    with canvas.as_one():
        if shown.gain is not None:
            _names(canvas, shown.places)
        row = Box(box.left, box.bottom - round(1.7 * size), box.width, round(1.5 * size))
        width = min(canvas.width_of(shown.words, size) + size, box.width)
        room = Box(box.left + (box.width - width) // 2, row.top, width, row.height)
        canvas.fill(room, palette.GROUND, room.height // 3)
        canvas.fitted(shown.words, room.shrunk(size // 3, 0), (size, 8), palette.TEXT, "centre")
    if shown.gain is not None and shown.then is not None:
        with canvas.as_one():
            _loudness(canvas, canvas.scale.y_of(shown.gain), canvas.scale.y_of(shown.then))


def _colour(order: int) -> palette.Colour:
    return palette.GREEN if order == 0 else palette.STRONG_LINE if order == 1 else palette.LINE


def _lens(canvas: PlayCanvas, place: Lit) -> None:
    """A lens of light across the hand's way: as wide as what is in tune, full while the note lasts."""
    scale, (x, y, half, tall) = canvas.scale, _lens_box(canvas, place)
    if place.order == 0:
        canvas.glass(_ellipse(x, y, half, tall), palette.GREEN, 90)
        left = tall * place.left
        canvas.glass(_ellipse(x, y, half * math.sqrt(max(place.left, 0.0)), left), palette.GREEN, 150)
        canvas.line((x, scale.box.top), (x, scale.box.bottom - 1), palette.GREEN, canvas.px(1.5, 1))
    _edge(canvas, place)


def _lens_box(canvas: PlayCanvas, place: Lit) -> tuple[float, float, float, float]:
    """Middle, half the width and half the height of a lens, pixels."""
    scale = canvas.scale
    swing = place.swing * math.sin(2.0 * math.pi * place.phase)
    x, y = scale.x_of(place.distance + swing), scale.axis_y
    wide = 0.5 * abs(scale.x_of(place.far) - scale.x_of(place.near))
    half = max(wide, LEAST_LENS * max(canvas.layout.scale, 0.8))
    clear = scale.box.bottom - 1.9 * canvas.small - 1.8 * canvas.normal - y  # of the names below
    tall = min(max(LENS[place.order] * scale.pixels_per_metre, 5.0 * half), 0.42 * scale.box.height, max(clear, 2.0))
    return x, y, half, tall


def _edge(canvas: PlayCanvas, place: Lit) -> None:
    """The edge of a lens, and how far its vibrato goes."""
    scale, colour, (x, y, half, tall) = canvas.scale, _colour(place.order), _lens_box(canvas, place)
    outline = _ellipse(x, y, half, tall)
    canvas.smooth([*outline, outline[0]], colour, canvas.px(2.0 if place.order == 0 else 1.4, 1))
    if place.swing > 0.0:  # how far the vibrato goes, each way
        for side in (-place.swing, place.swing):
            edge = scale.x_of(place.distance + side)
            canvas.dashed((edge, y - 0.5 * tall), (edge, y + 0.5 * tall), colour, canvas.px(4, 3))


def _ellipse(x: float, y: float, half: float, tall: float) -> list[tuple[float, float]]:
    turns = (2.0 * math.pi * number / POINTS for number in range(POINTS))
    return [(x + half * math.cos(turn), y + tall * math.sin(turn)) for turn in turns]


def arch(start: float, end: float, axis: float, top: float, share: float) -> tuple[float, float]:
    """Where a hand is that went `share` of the way from one pixel column to another: up in an arch and down again."""
    height = min(ARCH * abs(end - start), axis - top)
    return start + share * (end - start), axis - height * math.sin(math.pi * share)


def _way(canvas: PlayCanvas, before: Lit, after: Lit, walked: float | None) -> None:
    """The way from one place to the next, with the hand's places on it at equal times: close where it is slow."""
    scale = canvas.scale
    start, end = scale.x_of(before.distance), scale.x_of(after.distance)
    top = scale.box.top + 3.0 * canvas.small
    colour = _colour(after.order)

    def at(share: float) -> tuple[float, float]:
        return arch(start, end, scale.axis_y, top, share)

    canvas.smooth([at(number / POINTS) for number in range(POINTS + 1)], colour, canvas.px(1.6, 1))
    if before.order != 0:
        return
    for number in range(1, BEADS):
        canvas.disc(at(float(minimum_jerk(number / BEADS))), max(2.0, 2.6 * canvas.layout.scale), colour)
    if walked is not None:
        canvas.disc(at(walked), max(5.0, 7.0 * canvas.layout.scale), palette.GREEN)


def _names(canvas: PlayCanvas, places: Sequence[Lit]) -> None:
    """The names of the notes in a row: the one now in a frame, the next two after it, in order."""
    size, box = canvas.normal, canvas.scale.box
    words = [shown_name(place.name) for place in places]
    widths = [canvas.width_of(word, size, bold=number == 0) + size for number, word in enumerate(words)]
    gap, high = size // 2, round(1.7 * size)
    left = box.left + (box.width - sum(widths) - 2 * gap * max(len(words) - 1, 0)) // 2
    for number, (word, width) in enumerate(zip(words, widths, strict=True)):
        room = Box(left, box.bottom - round(1.9 * canvas.small) - high, width, high)
        canvas.fill(room, palette.GROUND, high // 3)
        if number == 0:
            canvas.frame(room, palette.GREEN, canvas.px(2, 2), high // 3)
        colour = palette.TEXT if number == 0 else palette.QUIET_TEXT
        canvas.text(word, room, size, colour, "centre", bold=number == 0)
        left += width + gap
        if number + 1 < len(words):
            canvas.arrow((left + gap // 2, room.center[1]), -0.5 * size, 0.3 * size, palette.LINE)
            left += gap


def _loudness(canvas: PlayCanvas, now: float, then: float) -> None:
    """On the volume hand's strip: an arrow at the wanted loudness, and where it goes until the note's end."""
    bar, away = canvas.layout.volume_bar, canvas.scale.away
    edge = bar.right + 1 if away < 0 else bar.left - 2
    reach = canvas.px(9, 7)
    inside = [min(max(row, bar.top), bar.bottom) for row in (now, then)]
    if abs(inside[1] - inside[0]) > 2:
        canvas.line((bar.center[0], inside[0]), (bar.center[0], inside[1]), palette.GREEN, canvas.px(2, 2))
        canvas.ring((bar.center[0], inside[1]), max(3.0, 0.3 * bar.width + 2.0), palette.GREEN, canvas.px(2, 2))
    canvas.arrow((edge, inside[0]), -reach if away > 0 else reach, 0.6 * reach, palette.GREEN)
