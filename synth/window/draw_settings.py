"""The settings side by side as a small table, in the place of the chain's panel while there are several."""

from __future__ import annotations

from collections.abc import Sequence

from models.quick_dataclass import dataclass
from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import PlayCanvas
from synth.window.layout import Layout

SHARES = (0.75, 1.0, 1.35, 1.5)
HEADINGS = ("", "ct/cm", "C2\N{EN DASH}C6", "zero beat")


@dataclass(frozen=True, slots=True)
class SettingRow:
    """One setting. `letter`; `sensitivity` at the hand's place, `span` from C2 to C6 and `zero_beat` in words."""

    letter: str
    sensitivity: str
    span: str
    zero_beat: str
    plays: bool


def setting_boxes(layout: Layout, room: Box, count: int) -> tuple[Box, ...]:
    """Where the rows stand in the panel's room."""
    height = min(room.height // max(count, 1), round(1.9 * layout.text.small))
    return tuple(Box(room.left, room.top + number * height, room.width, height) for number in range(count))


def draw_settings(canvas: PlayCanvas, rows: Sequence[SettingRow], caption: Box, room: Box) -> None:
    """Headings and rows; the one that plays in a frame behind a triangle."""
    gap = round(0.3 * canvas.small)
    places = caption.columns(SHARES, gap)
    texts = [HEADINGS, *((f"▶ {row.letter}", row.sensitivity, row.span, row.zero_beat) for row in rows)]
    size = min(
        canvas.largest_size(text, place.width, canvas.small, 8, bold=True)
        for line in texts
        for place, text in zip(places, line, strict=True)
    )
    for place, heading in zip(places, HEADINGS, strict=True):
        canvas.fitted(heading, place, (size, 8), palette.QUIET_TEXT, "right")
    for row, box in zip(rows, setting_boxes(canvas.layout, room, len(rows)), strict=True):
        colour = palette.TEXT if row.plays else palette.QUIET_TEXT
        if row.plays:
            beyond = Box(box.left - gap, box.top, box.width + 2 * gap, box.height)
            canvas.fill(beyond, palette.OCTAVE, canvas.px(4))
            canvas.frame(beyond, palette.STRONG_LINE, 1, canvas.px(4))
        name, *figures = box.columns(SHARES, gap)
        canvas.fitted(f"▶ {row.letter}" if row.plays else row.letter, name, (size, 8), colour, "left", row.plays)
        for place, text in zip(figures, (row.sensitivity, row.span, row.zero_beat), strict=True):
            canvas.fitted(text, place, (size, 8), colour, "right")
