"""The readouts under the stage (tuner, beat trace, chain, level) and the lines above and below."""

from __future__ import annotations

import functools
import math

from numpy.typing import NDArray

from synth.window import palette
from synth.window.layout import Box, Layout
from synth.window.painter import Painter
from synth.window.readings import IN_TUNE, MINUS, Readings, cents_text, level_text

TUNER_RANGE = 50.0  # cents to each side
METER_FLOOR_DB = -60.0
METER_MARKS_DB = (0, -12, -24, -36, -48)
CHAIN_NAMES = ("Hand distance", "Antenna", "Variable oscillator", "Reference oscillator", "Beat")


@functools.lru_cache(maxsize=2)
def panel_rooms(layout: Layout) -> dict[str, Box]:
    """The inner boxes of the four panels and their caption lines."""
    across, down = round(14 * layout.scale), round(10 * layout.scale)
    caption = round(1.5 * layout.text_small)
    rooms: dict[str, Box] = {}
    for name in ("tuner", "trace", "chain", "level"):
        inner = layout.parts()[name].shrunk(across if name != "level" else across // 2, down)
        rooms[f"{name} caption"] = Box(inner.left, inner.top, inner.width, caption)
        rooms[name] = Box(inner.left, inner.top + caption, inner.width, inner.height - caption)
    return rooms


def tuner_bar(room: Box, layout: Layout) -> Box:
    """The tuner's bar at the foot of its panel."""
    height = round(14 * layout.scale)
    return Box(room.left, room.bottom - height - round(1.5 * layout.text_small), room.width, height)


def draw_still_panels(painter: Painter, layout: Layout, title: str, keys: str) -> None:
    """Grounds, captions, scales and the title: what changes only with the window's size."""
    radius = round(8 * layout.scale)
    rooms = panel_rooms(layout)
    size = layout.text_small
    large = painter.largest_size(title, layout.title.width, layout.text_large, layout.text_normal, bold=True)
    painter.text(title, layout.title, large, palette.TEXT, bold=True)
    painter.text(keys, layout.footer, size, palette.QUIET_TEXT)
    captions = {"tuner": "Note", "chain": "From hand to beat", "level": "Level"}
    for name in ("tuner", "trace", "chain", "level"):
        painter.fill(layout.parts()[name], palette.PANEL, radius)
        if name in captions:
            painter.text(captions[name], rooms[f"{name} caption"], size, palette.QUIET_TEXT)
    _still_tuner(painter, layout, rooms["tuner"])
    _still_trace(painter, rooms["trace"])
    for row, name in zip(rooms["chain"].rows((1,) * 5, 0), CHAIN_NAMES, strict=True):
        painter.text(name, row.columns((0.55, 0.45), 0)[0], size, palette.QUIET_TEXT)
    _still_level(painter, layout, rooms["level"])


def _still_tuner(painter: Painter, layout: Layout, room: Box) -> None:
    bar, size = tuner_bar(room, layout), layout.text_small
    middle = bar.center[0]
    share = IN_TUNE / TUNER_RANGE * bar.width / 2
    painter.frame(bar, palette.EDGE, 1, bar.height // 3)
    for x in (round(middle - share), round(middle + share)):
        painter.line((x, bar.top), (x, bar.bottom - 1), palette.EDGE, max(1, round(2 * layout.scale)))
    for cents in range(-40, 50, 10):
        x = round(middle + cents / TUNER_RANGE * bar.width / 2)
        painter.line((x, bar.bottom), (x, bar.bottom + round(4 * layout.scale)), palette.EDGE)
    below = Box(bar.left, bar.bottom, bar.width, room.bottom - bar.bottom)
    for text, align in ((f"{MINUS}50", "left"), ("0", "centre"), ("+50 cents", "right")):
        painter.text(text, below, size, palette.QUIET_TEXT, align)  # type: ignore[arg-type]


def _still_trace(painter: Painter, room: Box) -> None:
    middle = room.center[1]
    painter.line((room.left, middle), (room.right - 1, middle), palette.EDGE)
    for number in range(5):
        x = room.left + round(number * (room.width - 1) / 4)
        painter.dashed((x, room.top), (x, room.bottom - 1), palette.EDGE, 2)


def _meter_bar(room: Box, layout: Layout) -> Box:
    foot = round(1.6 * layout.text_small)
    width = round(14 * layout.scale)
    return Box(room.right - width, room.top + foot // 3, width, room.height - foot - foot // 3)


def _meter_height(bar: Box, gain: float) -> int:
    if gain <= 0.0:
        return 0
    share = 1.0 - 20.0 * math.log10(gain) / METER_FLOOR_DB
    return round(bar.height * min(max(share, 0.0), 1.0))


def _still_level(painter: Painter, layout: Layout, room: Box) -> None:
    bar = _meter_bar(room, layout)
    height = round(1.4 * layout.text_small)
    for mark in METER_MARKS_DB:
        y = bar.bottom - _meter_height(bar, 10.0 ** (mark / 20.0))
        painter.line((bar.left - round(5 * layout.scale), y), (bar.left - 1, y), palette.EDGE)
        left = Box(room.left, y - height // 2, room.width - bar.width - round(9 * layout.scale), height)
        painter.text(f"{mark}".replace("-", MINUS), left, layout.text_small, palette.QUIET_TEXT, "right")
    painter.frame(bar, palette.EDGE)


def draw_tuner(painter: Painter, layout: Layout, values: Readings) -> None:
    """Note name, deviation in words and numbers, and the needle."""
    room = panel_rooms(layout)["tuner"]
    bar = tuner_bar(room, layout)
    upper = Box(room.left, room.top, room.width, bar.top - room.top - round(6 * layout.scale))
    note, words = upper.columns((0.48, 0.52), round(8 * layout.scale))
    tuned = values.cents_off is not None and abs(values.cents_off) <= IN_TUNE
    painter.text(values.note, note, layout.text_note, palette.YELLOW if tuned else palette.TEXT, bold=True)
    first, second, third = words.rows((1, 1, 1), 0)
    painter.text(values.beat, first, layout.text_large, palette.TEXT, "right")
    painter.text(cents_text(values.cents_off), second, layout.text_normal, palette.TEXT, "right")
    painter.text(values.remark, third, layout.text_normal, palette.QUIET_TEXT, "right")
    if values.cents_off is None:
        return
    x = bar.center[0] + min(max(values.cents_off / TUNER_RANGE, -1.0), 1.0) * bar.width / 2
    wide, over = 5 * layout.scale, 5 * layout.scale
    corners = [
        (x - wide, bar.top - over),
        (x + wide, bar.top - over),
        (x + wide / 3, bar.bottom - 2),
        (x - wide / 3, bar.bottom - 2),
    ]
    painter.shape(corners, palette.YELLOW if tuned else palette.SKY)


def draw_trace(painter: Painter, layout: Layout, values: NDArray, span: float) -> None:  # type: ignore[type-arg]
    """The synchronised beat trace."""
    rooms = panel_rooms(layout)
    room = rooms["trace"]
    painter.text(f"Beat trace, {1000 * span:.3g} ms", rooms["trace caption"], layout.text_small, palette.QUIET_TEXT)
    middle, half = room.center[1], 0.46 * room.height
    step = (room.width - 1) / max(1, values.size - 1)
    points = [(room.left + number * step, middle - half * value) for number, value in enumerate(values.tolist())]
    painter.curve(points, palette.SKY, max(1, round(2 * layout.scale)))


def draw_chain(painter: Painter, layout: Layout, values: Readings) -> None:
    """Distance, capacitance, both oscillators, beat: the numbers of the chain in its order."""
    room = panel_rooms(layout)["chain"]
    texts = (values.distance, values.capacitance, values.variable, values.reference, values.beat)
    for row, text in zip(room.rows((1,) * 5, 0), texts, strict=True):
        painter.text(text, row.columns((0.55, 0.45), 0)[1], layout.text_normal, palette.TEXT, "right")


def draw_level(painter: Painter, layout: Layout, peak: float, rms: float) -> None:
    """Mean level as a bar, peak as a line, and its number."""
    room = panel_rooms(layout)["level"]
    bar = _meter_bar(room, layout).shrunk(2, 2)
    height = _meter_height(bar, rms)
    painter.fill(Box(bar.left, bar.bottom - height, bar.width, height), palette.SKY)
    if peak > 10.0 ** (METER_FLOOR_DB / 20.0):
        y = bar.bottom - _meter_height(bar, peak)
        painter.line((bar.left - 1, y), (bar.right, y), palette.YELLOW, max(2, round(2 * layout.scale)))
    foot = Box(room.left, room.bottom - round(1.5 * layout.text_small), room.width, round(1.5 * layout.text_small))
    painter.text(level_text(peak), foot, layout.text_small, palette.TEXT, "right")


def draw_lines(painter: Painter, layout: Layout, flags: str, status: str, notice: str, listening: str) -> None:
    """Switches, device, notice and listening level."""
    size = layout.text_small
    painter.text(flags, layout.flags, layout.text_normal, palette.ORANGE, "left", bold=True)
    painter.text(status, layout.status, size, palette.QUIET_TEXT, "right")
    painter.text(notice, layout.notice, size, palette.YELLOW)
    painter.text(listening, layout.footer, size, palette.TEXT, "right")
