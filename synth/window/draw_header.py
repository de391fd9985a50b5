"""The lines above and below: design, sides, switches, device, notice, keys and listening level."""

from __future__ import annotations

from collections.abc import Sequence

from synth.window import palette
from synth.window.box import Box
from synth.window.layout import Layout
from synth.window.painter import Painter

KEY_PIECES = ("H help", "M mute", "R record", "↑ ↓ listening level", "Q quit")
STRIP_KEY_PIECES = ("H help", "C controls")


def draw_still_header(
    painter: Painter, layout: Layout, title: str, sides: Sequence[str], active: int, keys: Sequence[str] = KEY_PIECES
) -> None:
    """Title, sides and keys. With one design the title has the sides' room as well."""
    room = layout.title
    if len(sides) < 2:
        room = Box(room.left, room.top, layout.sides.right - room.left, room.height)
    painter.fitted(title, room, (layout.text_large, 9), palette.TEXT, bold=True)
    if len(sides) >= 2:
        _sides(painter, layout, sides, active)
    size = layout.text_small
    painter.pieces(keys, "    ", layout.footer, (size, size), palette.QUIET_TEXT)


def _sides(painter: Painter, layout: Layout, sides: Sequence[str], active: int) -> None:
    """The designs under one hand: the active one in a frame, behind a triangle, and bold."""
    size, radius = layout.text_small, round(6 * layout.scale)
    pad = round(0.5 * size)
    whole = all(
        painter.width_of(f"▶ {side}", size, bold=True) + 2 * pad <= place.width
        for side, place in zip(sides, layout.sides.columns((1.0,) * len(sides), pad), strict=True)
    )
    names = sides if whole else [side.split()[0] for side in sides]
    width = layout.sides.width // len(sides) - pad
    for number, name in enumerate(names):
        text = f"▶ {name}" if number == active else name
        high = min(layout.sides.height, round(2.0 * size))
        place = Box(
            layout.sides.left + number * (width + pad),
            layout.sides.top + (layout.sides.height - high) // 2,
            width,
            high,
        )
        if number == active:
            painter.fill(place, palette.PANEL, radius)
            painter.frame(place, palette.STRONG_LINE, max(1, round(1.5 * layout.scale)), radius)
        colour = palette.TEXT if number == active else palette.QUIET_TEXT
        painter.fitted(text, place.shrunk(pad // 2, 0), (size, max(9, size - 4)), colour, "centre", number == active)


def draw_header(
    painter: Painter, layout: Layout, flags: Sequence[str], status: Sequence[str], notice: str, listening: str
) -> None:
    """What may change at any time. `status` is cut to the pieces that fit; the help says all of it."""
    size = layout.text_small
    if flags:
        _flags(painter, layout, flags)
    if status:
        painter.pieces(status, " · ", layout.status, (size, max(9, round(0.8 * size))), palette.QUIET_TEXT, "right")
    painter.fitted(notice, layout.notice, (size, max(9, round(0.7 * size))), palette.YELLOW)
    painter.fitted(listening, layout.listening, (size, max(9, round(0.7 * size))), palette.TEXT, "right")


def _flags(painter: Painter, layout: Layout, flags: Sequence[str]) -> None:
    """Switches in words; in two lines where one is too short."""
    room, size, gap = layout.flags, layout.text_small, "   "
    if len(flags) < 2 or painter.width_of(gap.join(flags), size, bold=True) <= room.width:
        painter.fitted(gap.join(flags), room, (layout.text_normal, max(9, size - 3)), palette.ORANGE, bold=True)
        return
    half = -(-len(flags) // 2)
    sizes = (min(size, room.height // 2 - 2), 9)
    for row, part in zip(room.rows((1, 1), 0), (flags[:half], flags[half:]), strict=True):
        painter.fitted(gap.join(part), row, sizes, palette.ORANGE, bold=True)
