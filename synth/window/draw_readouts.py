"""The readouts below the stage: tuner, oscillogram, spectrum, the chain from hand to beat, and the level."""

from __future__ import annotations

import functools
import math

import numpy as np
from numpy.typing import NDArray

from synth.window import palette
from synth.window.box import Box
from synth.window.layout import Layout
from synth.window.painter import Painter
from synth.window.readouts import IN_TUNE, MINUS, Readouts, cents_text, level_text
from synth.window.spectrum import HIGHEST, Spectrum, share_of

READOUTS = ("tuner", "oscillogram", "spectrum", "chain", "level")


@functools.lru_cache(maxsize=2)
def panel_rooms(layout: Layout) -> dict[str, Box]:
    """The room of each readout that is shown, and under "NAME caption" the line above it."""
    across, down = round(13 * layout.scale), round(9 * layout.scale)
    caption = round(1.6 * layout.text_small)
    rooms: dict[str, Box] = {}
    for name in READOUTS:
        panel = layout.parts().get(name)
        if panel is None:
            continue
        inner = panel.shrunk(across if name != "level" else across // 2, down)
        rooms[f"{name} caption"] = Box(inner.left, inner.top, inner.width, caption)
        rooms[name] = Box(inner.left, inner.top + caption, inner.width, inner.height - caption)
    return rooms


def tuner_bar(room: Box, layout: Layout) -> Box:
    """The tuner's bar at the foot of its panel."""
    height = round(13 * layout.scale)
    return Box(room.left, room.bottom - height - round(1.5 * layout.text_small), room.width, height)


def tuner_texts(room: Box, layout: Layout) -> tuple[Box, Box, Box, Box]:
    """Rooms of the note, the beat, the cents and the reference above the tuner's bar."""
    upper = Box(room.left, room.top, room.width, tuner_bar(room, layout).top - room.top - round(7 * layout.scale))
    wide = min(round(2.35 * layout.text_note), upper.width // 2)
    note = Box(upper.left, upper.top, wide, upper.height)
    words = Box(note.right, upper.top, upper.right - note.right, upper.height)
    return (note, *words.rows((1.2, 1.0, 1.0), 0))  # type: ignore[return-value]


def level_bar(room: Box, layout: Layout) -> Box:
    """The level meter's bar, above its number."""
    foot = round(1.6 * layout.text_small)
    width = max(8, round(13 * layout.scale))
    return Box(room.right - width, room.top + foot // 3, width, room.height - foot - foot // 2)


def spectrum_axes(room: Box, layout: Layout) -> Box:
    """The spectrum's curve, right of its levels and above its frequencies."""
    left, below = round(2.7 * layout.text_small), round(1.5 * layout.text_small)
    return Box(room.left + left, room.top + 2, room.width - left - 2, room.height - below - 2)


SPECTRUM_FLOOR_DB = -90.0
_DECADES = ((100.0, "100"), (1000.0, "1k"), (10000.0, "10k"))


def draw_still_oscillogram(painter: Painter, layout: Layout) -> None:
    """The axis of time in quarters, and the line of silence."""
    room = panel_rooms(layout).get("oscillogram")
    if room is None:
        return
    middle = room.center[1]
    painter.line((room.left, middle), (room.right - 1, middle), palette.EDGE)
    for number in range(5):
        x = room.left + round(number * (room.width - 1) / 4)
        painter.dashed((x, room.top), (x, room.bottom - 1), palette.EDGE, 2)


def draw_oscillogram(painter: Painter, layout: Layout, values: NDArray[np.float64], span: float) -> None:
    """The beat over `span` seconds, as high as the room whatever its level."""
    rooms = panel_rooms(layout)
    room = rooms.get("oscillogram")
    if room is None:
        return
    painter.text(f"{1000 * span:.3g} ms", rooms["oscillogram caption"], layout.text_small, palette.TEXT, "right")
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


TUNER_RANGE = 50.0  # cents to each side


def draw_still_tuner(painter: Painter, layout: Layout) -> None:
    """The scale in cents; the two strokes enclose what counts as in tune."""
    room = panel_rooms(layout)["tuner"]
    bar, size = tuner_bar(room, layout), layout.text_small
    middle = bar.center[0]
    share = IN_TUNE / TUNER_RANGE * bar.width / 2
    painter.frame(bar, palette.EDGE, 1, bar.height // 3)
    for x in (round(middle - share), round(middle + share)):
        painter.line((x, bar.top), (x, bar.bottom - 1), palette.STRONG_LINE, max(1, round(2 * layout.scale)))
    for cents in range(-40, 50, 10):
        x = round(middle + cents / TUNER_RANGE * bar.width / 2)
        painter.line((x, bar.bottom), (x, bar.bottom + round(4 * layout.scale)), palette.EDGE)
    below = Box(bar.left, bar.bottom, bar.width, room.bottom - bar.bottom)
    painter.text(f"{MINUS}50", below, size, palette.QUIET_TEXT)
    painter.text("0", below, size, palette.QUIET_TEXT, "centre")
    painter.text("+50 cents", below, size, palette.QUIET_TEXT, "right")


def draw_tuner(painter: Painter, layout: Layout, values: Readouts) -> None:
    """What changes with every note."""
    rooms = panel_rooms(layout)
    room, caption, size = rooms["tuner"], rooms["tuner caption"], layout.text_small
    bar = tuner_bar(room, layout)
    tuned = values.cents_off is not None and abs(values.cents_off) <= IN_TUNE
    painter.text(values.remark, caption, size, palette.YELLOW if tuned else palette.TEXT, "right")
    note, beat, cents, reference = tuner_texts(room, layout)
    colour = palette.YELLOW if tuned else palette.TEXT
    painter.fitted(values.note, note, (layout.text_note, layout.text_large), colour, bold=True)
    painter.fitted(values.beat, beat, (layout.text_large, size), palette.TEXT, "right")
    painter.text(cents_text(values.cents_off), cents, layout.text_normal, palette.TEXT, "right")
    painter.text(values.reference_a, reference, size, palette.QUIET_TEXT, "right")
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


METER_FLOOR_DB = -60.0
METER_MARKS_DB = (0, -12, -24, -36, -48)
CHAIN_NAMES = ("Hand", "Antenna", "Variable", "Reference", "Beat")
CAPTIONS = {
    "tuner": "Note",
    "oscillogram": "Wave",
    "spectrum": "Spectrum",
    "chain": "From hand to beat",
    "level": "Level",
}


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
    draw_still_oscillogram(painter, layout)
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


def draw_chain(painter: Painter, layout: Layout, values: Readouts) -> None:
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
