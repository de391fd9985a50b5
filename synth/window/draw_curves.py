"""The two curves of the sound: the beat trace, synchronised to its period, and its spectrum."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from synth.window import palette
from synth.window.box import Box
from synth.window.layout import Layout
from synth.window.painter import Painter
from synth.window.panels import panel_rooms, spectrum_axes
from synth.window.readings import MINUS
from synth.window.spectrum import HIGHEST, Spectrum, share_of

SPECTRUM_FLOOR_DB = -90.0
_DECADES = ((100.0, "100"), (1000.0, "1k"), (10000.0, "10k"))


def draw_still_trace(painter: Painter, layout: Layout) -> None:
    """The axis of time in quarters, and the line of silence."""
    room = panel_rooms(layout).get("trace")
    if room is None:
        return
    middle = room.center[1]
    painter.line((room.left, middle), (room.right - 1, middle), palette.EDGE)
    for number in range(5):
        x = room.left + round(number * (room.width - 1) / 4)
        painter.dashed((x, room.top), (x, room.bottom - 1), palette.EDGE, 2)


def draw_trace(painter: Painter, layout: Layout, values: NDArray[np.float64], span: float) -> None:
    """The beat over `span` seconds, as high as the room whatever its level."""
    rooms = panel_rooms(layout)
    room = rooms.get("trace")
    if room is None:
        return
    painter.text(f"{1000 * span:.3g} ms", rooms["trace caption"], layout.text_small, palette.TEXT, "right")
    middle, half = room.center[1], 0.46 * room.height
    step = (room.width - 1) / max(1, values.size - 1)
    points = [(room.left + number * step, middle - half * value) for number, value in enumerate(values.tolist())]
    painter.curve(points, palette.SKY, max(1, round(2 * layout.scale)))


def draw_still_spectrum(painter: Painter, layout: Layout) -> None:
    """Decades of frequency and 30 dB lines."""
    rooms = panel_rooms(layout)
    room = rooms.get("spectrum")
    if room is None:
        return
    axes, size = spectrum_axes(room, layout), layout.text_small
    painter.text("dBFS", rooms["spectrum caption"], size, palette.QUIET_TEXT, "right")
    row = round(1.3 * size)
    for mark in (0, -30, -60):
        y = _row_of(axes, mark)
        painter.line((axes.left, y), (axes.right - 1, y), palette.EDGE)
        place = Box(room.left, min(max(y - row // 2, room.top), axes.bottom - row), axes.left - room.left - 4, row)
        painter.text(f"{mark}".replace("-", MINUS), place, size, palette.QUIET_TEXT, "right")
    painter.line((axes.left, axes.bottom - 1), (axes.right - 1, axes.bottom - 1), palette.EDGE)
    last = axes.left - size
    for frequency, name in _DECADES:
        x = axes.left + round(share_of(frequency) * (axes.width - 1))
        painter.dashed((x, axes.top), (x, axes.bottom - 1), palette.EDGE, 2)
        text = f"{name} Hz" if frequency == _DECADES[0][0] else name
        width = painter.width_of(text, size) + 2
        left = min(x - width // 2, room.right - width)
        if left >= last:
            painter.text(text, Box(left, axes.bottom, width, room.bottom - axes.bottom), size, palette.QUIET_TEXT)
            last = left + width + size // 2


def draw_spectrum(painter: Painter, layout: Layout, values: Spectrum | None) -> None:
    """The levels as a line over a filled ground."""
    room = panel_rooms(layout).get("spectrum")
    if room is None or values is None:
        return
    axes = spectrum_axes(room, layout)
    across = np.log(values.frequencies / values.frequencies[0]) / np.log(HIGHEST / values.frequencies[0])
    columns = axes.left + across * (axes.width - 1)
    down = np.clip(values.levels_db / SPECTRUM_FLOOR_DB, 0.0, 1.0) * (axes.height - 2)
    rows = axes.top + down
    points = list(zip(columns.tolist(), rows.tolist(), strict=True))
    foot = axes.bottom - 2
    painter.shape([(axes.left, foot), *points, (axes.right - 1, foot)], palette.HAND)
    painter.curve(points, palette.SKY, max(1, round(1.5 * layout.scale)))


def _row_of(axes: Box, level_db: float) -> int:
    return axes.top + round(min(max(level_db / SPECTRUM_FLOOR_DB, 0.0), 1.0) * (axes.height - 2))
