"""The tuner: note, beat, cents in numbers, words and as a needle, and the reference A."""

from __future__ import annotations

from synth.window import palette
from synth.window.box import Box
from synth.window.layout import Layout
from synth.window.painter import Painter
from synth.window.panels import panel_rooms, tuner_bar, tuner_texts
from synth.window.readings import IN_TUNE, MINUS, Readings, cents_text

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


def draw_tuner(painter: Painter, layout: Layout, values: Readings) -> None:
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
