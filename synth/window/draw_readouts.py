"""The readouts below the stage: tuner, oscillogram, spectrum, the chain from hand to beat, and the level."""

from __future__ import annotations

import functools
import math

import numpy as np

from models.arrays import Floats
from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import PlayCanvas
from synth.window.curves import HIGHEST, Spectrum, share_of
from synth.window.layout import Layout
from synth.window.picture import IN_TUNE, MINUS, Readouts, cents_text, level_text

READOUTS = ("tuner", "oscillogram", "spectrum", "chain", "level")


@functools.lru_cache(maxsize=2)
def panel_rooms(layout: Layout) -> dict[str, Box]:
    """The room of each readout that is shown, and under "NAME caption" the line above it."""
    across, down = round(13 * layout.scale), round(9 * layout.scale)
    caption = round(1.6 * layout.text.small)
    rooms: dict[str, Box] = {}
    for name in READOUTS:
        panel = layout.seen.get(name)
        if panel is None:
            continue
        inner = panel.shrunk(across if name != "level" else across // 2, down)
        rooms[f"{name} caption"] = Box(inner.left, inner.top, inner.width, caption)
        rooms[name] = Box(inner.left, inner.top + caption, inner.width, inner.height - caption)
    return rooms


def tuner_bar(room: Box, layout: Layout) -> Box:
    """The tuner's bar at the foot of its panel."""
    height = round(13 * layout.scale)
    return Box(room.left, room.bottom - height - round(1.5 * layout.text.small), room.width, height)


def tuner_texts(room: Box, layout: Layout) -> tuple[Box, Box, Box, Box]:
    """Rooms of the note, the beat, the cents and the reference above the tuner's bar."""
    upper = Box(room.left, room.top, room.width, tuner_bar(room, layout).top - room.top - round(7 * layout.scale))
    wide = min(round(2.35 * layout.text.note), upper.width // 2)
    note = Box(upper.left, upper.top, wide, upper.height)
    words = Box(note.right, upper.top, upper.right - note.right, upper.height)
    return (note, *words.rows((1.2, 1.0, 1.0), 0))  # type: ignore[return-value]


def level_bar(room: Box, layout: Layout) -> Box:
    """The level meter's bar, above its number."""
    foot = round(1.6 * layout.text.small)
    width = max(8, round(13 * layout.scale))
    return Box(room.right - width, room.top + foot // 3, width, room.height - foot - foot // 2)


def spectrum_axes(room: Box, layout: Layout) -> Box:
    """The spectrum's curve, right of its levels and above its frequencies."""
    left, below = round(2.7 * layout.text.small), round(1.5 * layout.text.small)
    return Box(room.left + left, room.top + 2, room.width - left - 2, room.height - below - 2)


SPECTRUM_FLOOR_DB = -90.0
_DECADES = ((100.0, "100"), (1000.0, "1k"), (10000.0, "10k"))


def draw_still_oscillogram(canvas: PlayCanvas) -> None:
    """The axis of time in quarters, and the line of silence."""
    room = panel_rooms(canvas.layout).get("oscillogram")
    if room is None:
        return
    middle = room.center[1]
    canvas.line((room.left, middle), (room.right - 1, middle), palette.EDGE)
    for number in range(5):
        x = room.left + round(number * (room.width - 1) / 4)
        canvas.dashed((x, room.top), (x, room.bottom - 1), palette.EDGE, 2)


def draw_oscillogram(canvas: PlayCanvas, values: Floats, span: float) -> None:
    """The beat over `span` seconds, as high as the room whatever its level."""
    rooms = panel_rooms(canvas.layout)
    room = rooms.get("oscillogram")
    if room is None:
        return
    canvas.text(f"{1000 * span:.3g} ms", rooms["oscillogram caption"], canvas.small, palette.TEXT, "right")
    middle, half = room.center[1], 0.46 * room.height
    step = (room.width - 1) / max(1, values.size - 1)
    points = [(room.left + number * step, middle - half * value) for number, value in enumerate(values.tolist())]
    canvas.curve(points, palette.SKY, canvas.px(2, 1))


def draw_still_spectrum(canvas: PlayCanvas) -> None:
    """Decades of frequency and 30 dB lines."""
    rooms = panel_rooms(canvas.layout)
    room = rooms.get("spectrum")
    if room is None:
        return
    axes, size = spectrum_axes(room, canvas.layout), canvas.small
    canvas.text("dBFS", rooms["spectrum caption"], size, palette.QUIET_TEXT, "right")
    row = round(1.3 * size)
    for mark in (0, -30, -60):
        y = _row_of(axes, mark)
        canvas.line((axes.left, y), (axes.right - 1, y), palette.EDGE)
        place = Box(room.left, min(max(y - row // 2, room.top), axes.bottom - row), axes.left - room.left - 4, row)
        canvas.text(f"{mark}".replace("-", MINUS), place, size, palette.QUIET_TEXT, "right")
    canvas.line((axes.left, axes.bottom - 1), (axes.right - 1, axes.bottom - 1), palette.EDGE)
    last = axes.left - size
    for frequency, name in _DECADES:
        x = axes.left + round(share_of(frequency) * (axes.width - 1))
        canvas.dashed((x, axes.top), (x, axes.bottom - 1), palette.EDGE, 2)
        text = f"{name} Hz" if frequency == _DECADES[0][0] else name
        width = canvas.width_of(text, size) + 2
        left = min(x - width // 2, room.right - width)
        if left >= last:
            canvas.text(text, Box(left, axes.bottom, width, room.bottom - axes.bottom), size, palette.QUIET_TEXT)
            last = left + width + size // 2


def draw_spectrum(canvas: PlayCanvas, values: Spectrum | None) -> None:
    """The levels as a line over a filled ground."""
    room = panel_rooms(canvas.layout).get("spectrum")
    if room is None or values is None:
        return
    axes = spectrum_axes(room, canvas.layout)
    across = np.log(values.frequencies / values.frequencies[0]) / np.log(HIGHEST / values.frequencies[0])
    columns = axes.left + across * (axes.width - 1)
    rows = axes.top + np.clip(values.levels_db / SPECTRUM_FLOOR_DB, 0.0, 1.0) * (axes.height - 2)
    points = list(zip(columns.tolist(), rows.tolist(), strict=True))
    foot = axes.bottom - 2
    canvas.shape([(axes.left, foot), *points, (axes.right - 1, foot)], palette.HAND)
    canvas.curve(points, palette.SKY, canvas.px(1.5, 1))


def _row_of(axes: Box, level_db: float) -> int:
    return axes.top + round(min(max(level_db / SPECTRUM_FLOOR_DB, 0.0), 1.0) * (axes.height - 2))


TUNER_RANGE = 50.0  # cents to each side


def draw_still_tuner(canvas: PlayCanvas) -> None:
    """The scale in cents; the two strokes enclose what counts as in tune."""
    room = panel_rooms(canvas.layout)["tuner"]
    bar, size = tuner_bar(room, canvas.layout), canvas.small
    middle = bar.center[0]
    share = IN_TUNE / TUNER_RANGE * bar.width / 2
    canvas.frame(bar, palette.EDGE, 1, bar.height // 3)
    for x in (round(middle - share), round(middle + share)):
        canvas.line((x, bar.top), (x, bar.bottom - 1), palette.STRONG_LINE, canvas.px(2, 1))
    for cents in range(-40, 50, 10):
        x = round(middle + cents / TUNER_RANGE * bar.width / 2)
        canvas.line((x, bar.bottom), (x, bar.bottom + canvas.px(4)), palette.EDGE)
    below = Box(bar.left, bar.bottom, bar.width, room.bottom - bar.bottom)
    canvas.text(f"{MINUS}50", below, size, palette.QUIET_TEXT)
    canvas.text("0", below, size, palette.QUIET_TEXT, "centre")
    canvas.text("+50 cents", below, size, palette.QUIET_TEXT, "right")


def draw_tuner(canvas: PlayCanvas, values: Readouts) -> None:
    """What changes with every note."""
    rooms = panel_rooms(canvas.layout)
    room, caption, size = rooms["tuner"], rooms["tuner caption"], canvas.small
    bar = tuner_bar(room, canvas.layout)
    tuned = values.cents_off is not None and abs(values.cents_off) <= IN_TUNE
    colour = palette.YELLOW if tuned else palette.TEXT
    canvas.text(values.remark, caption, size, colour, "right")
    note, beat, cents, reference = tuner_texts(room, canvas.layout)
    canvas.fitted(values.note, note, (canvas.layout.text.note, canvas.large), colour, bold=True)
    canvas.fitted(values.beat, beat, (canvas.large, size), palette.TEXT, "right")
    canvas.text(cents_text(values.cents_off), cents, canvas.normal, palette.TEXT, "right")
    canvas.text(values.reference_a, reference, size, palette.QUIET_TEXT, "right")
    if values.cents_off is None:
        return
    x = bar.center[0] + min(max(values.cents_off / TUNER_RANGE, -1.0), 1.0) * bar.width / 2
    wide, foot = 5 * canvas.layout.scale, bar.bottom - 2
    top = bar.top - wide
    canvas.shape(
        [(x - wide, top), (x + wide, top), (x + wide / 3, foot), (x - wide / 3, foot)],
        palette.YELLOW if tuned else palette.SKY,
    )


METER_FLOOR_DB = -60.0
METER_MARKS_DB = (0, -12, -24, -36, -48)
CHAIN_NAMES = ("Hand", "Antenna", "Variable", "Reference", "Beat")
CAPTIONS = {
    "tuner": "Note",
    "oscillogram": "Wave",
    "spectrum": "Spectrum",
    "chain": "From hand to beat",
    "level": "Sound",
}


def draw_still_panels(canvas: PlayCanvas, chain: bool = True) -> None:
    """Grounds, captions and scales: what changes only with the window's size. chain: with the names of its numbers."""
    rooms, size = panel_rooms(canvas.layout), canvas.small
    for name in READOUTS:
        if name in rooms:
            canvas.fill(canvas.layout.seen[name], palette.PANEL, canvas.px(8))
            if chain or name != "chain":
                canvas.text(CAPTIONS[name], rooms[f"{name} caption"], size, palette.QUIET_TEXT)
    draw_still_tuner(canvas)
    draw_still_oscillogram(canvas)
    draw_still_spectrum(canvas)
    for row, name in zip(rooms["chain"].rows((1,) * 5, 0), CHAIN_NAMES if chain else (), strict=chain):
        canvas.text(name, row, size, palette.QUIET_TEXT)
    _still_level(canvas, rooms["level"])


def _meter_height(bar: Box, gain: float) -> int:
    if gain <= 0.0:
        return 0
    share = 1.0 - 20.0 * math.log10(gain) / METER_FLOOR_DB
    return round(bar.height * min(max(share, 0.0), 1.0))


def _still_level(canvas: PlayCanvas, room: Box) -> None:
    bar = level_bar(room, canvas.layout)
    height = round(1.3 * canvas.small)
    last = bar.top - height
    for mark in METER_MARKS_DB:
        y = bar.bottom - _meter_height(bar, 10.0 ** (mark / 20.0))
        canvas.line((bar.left - canvas.px(5), y), (bar.left - 1, y), palette.EDGE)
        if y - height // 2 < last:
            continue
        last = y + height - height // 2
        left = Box(room.left, y - height // 2, room.width - bar.width - canvas.px(9), height)
        canvas.text(f"{mark}".replace("-", MINUS), left, canvas.small, palette.QUIET_TEXT, "right")
    canvas.frame(bar, palette.EDGE)


def draw_chain(canvas: PlayCanvas, values: Readouts) -> None:
    """Distance, capacitance, both oscillators, beat: the numbers of the chain in its order."""
    room = panel_rooms(canvas.layout)["chain"]
    texts = (values.distance, values.capacitance, values.variable, values.reference, values.beat)
    left = room.left + round(5.45 * canvas.small)
    for row, text in zip(room.rows((1,) * 5, 0), texts, strict=True):
        place = Box(left, row.top, row.right - left, row.height)
        canvas.fitted(text, place, (canvas.normal, canvas.small), palette.TEXT, "right")


def draw_level(canvas: PlayCanvas, peak: float, rms: float) -> None:
    """Mean level as a bar, peak as a line, and its number."""
    room = panel_rooms(canvas.layout)["level"]
    bar = level_bar(room, canvas.layout).shrunk(2, 2)
    height = _meter_height(bar, rms)
    canvas.fill(Box(bar.left, bar.bottom - height, bar.width, height), palette.SKY)
    if peak > 10.0 ** (METER_FLOOR_DB / 20.0):
        y = bar.bottom - _meter_height(bar, peak)
        canvas.line((bar.left - 1, y), (bar.right, y), palette.YELLOW, canvas.px(2, 2))
    foot = Box(room.left, room.bottom - round(1.5 * canvas.small), room.width, round(1.5 * canvas.small))
    canvas.text(level_text(peak), foot, canvas.small, palette.TEXT, "right")
