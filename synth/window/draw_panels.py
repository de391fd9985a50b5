"""The other readouts below the stage: the chain from hand to beat, and the level; and the grounds of all of them."""

from __future__ import annotations

import math

from synth.window import palette
from synth.window.box import Box
from synth.window.draw_curves import draw_still_spectrum, draw_still_trace
from synth.window.draw_tuner import draw_still_tuner
from synth.window.layout import Layout
from synth.window.painter import Painter
from synth.window.panels import READOUTS, level_bar, panel_rooms
from synth.window.readings import MINUS, Readings, level_text

METER_FLOOR_DB = -60.0
METER_MARKS_DB = (0, -12, -24, -36, -48)
CHAIN_NAMES = ("Hand", "Antenna", "Variable", "Reference", "Beat")
CAPTIONS = {"tuner": "Note", "trace": "Trace", "spectrum": "Spectrum", "chain": "From hand to beat", "level": "Level"}


def draw_still_panels(painter: Painter, layout: Layout) -> None:
    """Grounds, captions and scales: what changes only with the window's size."""
    radius = round(8 * layout.scale)
    rooms = panel_rooms(layout)
    size = layout.text_small
    for name in READOUTS:
        if name in rooms:
            painter.fill(layout.parts()[name], palette.PANEL, radius)
            painter.text(CAPTIONS[name], rooms[f"{name} caption"], size, palette.QUIET_TEXT)
    draw_still_tuner(painter, layout)
    draw_still_trace(painter, layout)
    draw_still_spectrum(painter, layout)
    for row, name in zip(rooms["chain"].rows((1,) * 5, 0), CHAIN_NAMES, strict=True):
        painter.text(name, row, size, palette.QUIET_TEXT)
    _still_level(painter, layout, rooms["level"])


def _meter_height(bar: Box, gain: float) -> int:
    if gain <= 0.0:
        return 0
    share = 1.0 - 20.0 * math.log10(gain) / METER_FLOOR_DB
    return round(bar.height * min(max(share, 0.0), 1.0))


def _still_level(painter: Painter, layout: Layout, room: Box) -> None:
    bar = level_bar(room, layout)
    height = round(1.3 * layout.text_small)
    last = bar.top - height
    for mark in METER_MARKS_DB:
        y = bar.bottom - _meter_height(bar, 10.0 ** (mark / 20.0))
        painter.line((bar.left - round(5 * layout.scale), y), (bar.left - 1, y), palette.EDGE)
        if y - height // 2 < last:
            continue
        last = y + height - height // 2
        left = Box(room.left, y - height // 2, room.width - bar.width - round(9 * layout.scale), height)
        painter.text(f"{mark}".replace("-", MINUS), left, layout.text_small, palette.QUIET_TEXT, "right")
    painter.frame(bar, palette.EDGE)


def draw_chain(painter: Painter, layout: Layout, values: Readings) -> None:
    """Distance, capacitance, both oscillators, beat: the numbers of the chain in its order."""
    room = panel_rooms(layout)["chain"]
    texts = (values.distance, values.capacitance, values.variable, values.reference, values.beat)
    left = room.left + round(5.45 * layout.text_small)
    for row, text in zip(room.rows((1,) * 5, 0), texts, strict=True):
        place = Box(left, row.top, row.right - left, row.height)
        painter.fitted(text, place, (layout.text_normal, layout.text_small), palette.TEXT, "right")


def draw_level(painter: Painter, layout: Layout, peak: float, rms: float) -> None:
    """Mean level as a bar, peak as a line, and its number."""
    room = panel_rooms(layout)["level"]
    bar = level_bar(room, layout).shrunk(2, 2)
    height = _meter_height(bar, rms)
    painter.fill(Box(bar.left, bar.bottom - height, bar.width, height), palette.SKY)
    if peak > 10.0 ** (METER_FLOOR_DB / 20.0):
        y = bar.bottom - _meter_height(bar, peak)
        painter.line((bar.left - 1, y), (bar.right, y), palette.YELLOW, max(2, round(2 * layout.scale)))
    foot = Box(room.left, room.bottom - round(1.5 * layout.text_small), room.width, round(1.5 * layout.text_small))
    painter.text(level_text(peak), foot, layout.text_small, palette.TEXT, "right")
