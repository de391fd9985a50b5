"""The lines above and below: design, sides, switches, device, notice, keys and listening level."""

from __future__ import annotations

from collections.abc import Sequence

from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import PlayCanvas

KEY_PIECES = ("H help", "M mute", "R record", "↑ ↓ listening level", "Q quit")
STRIP_KEY_PIECES = ("H help", "C controls")


def draw_still_header(canvas: PlayCanvas, sides: Sequence[str], active: int, keys: Sequence[str] = KEY_PIECES) -> None:
    """Title, sides and keys. With one design the title has the sides' room as well."""
    room = canvas.layout.title
    if len(sides) < 2:
        room = Box(room.left, room.top, canvas.layout.sides.right - room.left, room.height)
    canvas.fitted(canvas.field.title, room, (canvas.large, 9), palette.TEXT, bold=True)
    if len(sides) >= 2:
        _sides(canvas, sides, active)
    size = canvas.small
    canvas.pieces(keys, "    ", canvas.layout.footer, (size, size), palette.QUIET_TEXT)


def _sides(canvas: PlayCanvas, sides: Sequence[str], active: int) -> None:
    """The designs under one hand: the active one in a frame, behind a triangle, and bold."""
    size, radius = canvas.small, canvas.px(6)
    pad = round(0.5 * size)
    whole = all(
        canvas.width_of(f"▶ {side}", size, bold=True) + 2 * pad <= place.width
        for side, place in zip(sides, canvas.layout.sides.columns((1.0,) * len(sides), pad), strict=True)
    )
    names = sides if whole else [side.split()[0] for side in sides]
    width = canvas.layout.sides.width // len(sides) - pad
    for number, name in enumerate(names):
        text = f"▶ {name}" if number == active else name
        high = min(canvas.layout.sides.height, round(2.0 * size))
        place = Box(
            canvas.layout.sides.left + number * (width + pad),
            canvas.layout.sides.top + (canvas.layout.sides.height - high) // 2,
            width,
            high,
        )
        if number == active:
            canvas.fill(place, palette.PANEL, radius)
            canvas.frame(place, palette.STRONG_LINE, canvas.px(1.5, 1), radius)
        colour = palette.TEXT if number == active else palette.QUIET_TEXT
        canvas.fitted(text, place.shrunk(pad // 2, 0), (size, max(9, size - 4)), colour, "centre", number == active)


def draw_header(canvas: PlayCanvas, flags: Sequence[str], status: Sequence[str], notice: str, listening: str) -> None:
    """What may change at any time. `status` is cut to the pieces that fit; the help says all of it."""
    size = canvas.small
    if flags:
        _flags(canvas, flags)
    if status:
        canvas.pieces(
            status, " · ", canvas.layout.status, (size, max(9, round(0.8 * size))), palette.QUIET_TEXT, "right"
        )
    canvas.fitted(notice, canvas.layout.notice, (size, max(9, round(0.7 * size))), palette.YELLOW)
    canvas.fitted(listening, canvas.layout.listening, (size, max(9, round(0.7 * size))), palette.TEXT, "right")


def _flags(canvas: PlayCanvas, flags: Sequence[str]) -> None:
    """Switches in words; in two lines where one is too short."""
    room, size, gap = canvas.layout.flags, canvas.small, "   "
    if len(flags) < 2 or canvas.width_of(gap.join(flags), size, bold=True) <= room.width:
        canvas.fitted(gap.join(flags), room, (canvas.normal, max(9, size - 3)), palette.ORANGE, bold=True)
        return
    half = -(-len(flags) // 2)
    sizes = (min(size, room.height // 2 - 2), 9)
    for row, part in zip(room.rows((1, 1), 0), (flags[:half], flags[half:]), strict=True):
        canvas.fitted(gap.join(part), row, sizes, palette.ORANGE, bold=True)
