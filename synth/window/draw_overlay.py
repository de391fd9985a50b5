"""Cards over the window: the caution before the first sound, the help, the request for more room."""

from __future__ import annotations

from synth.window import palette
from synth.window.layout import Box, Layout
from synth.window.painter import Painter
from synth.window.state import KEYS, RING_KEYS

CAUTION_TITLE = "Before the first sound"
CAUTION = (
    "Take headphones off or turn them all the way down, start, and then raise the volume slowly. "
    "Loud sound over a long time harms hearing for good: WHO-ITU H.870 allows adults 80 dBA for 40 hours a "
    "week, and less time for anything louder. A computer cannot know how loud it is at your ear.",
    "The sound starts at a low listening level: full volume peaks at \N{MINUS SIGN}20 dB of full scale. "
    "The up and down keys change it. Where local rules are stricter, they come first.",
    "Press Enter or click to start the sound.",
)
HELP_TITLE = "Playing"


def _page(painter: Painter, layout: Layout, title: str, width: float) -> Box:
    """An empty page with its title, in place of stage and panels; returns the room under the title."""
    page, radius = layout.page, round(10 * layout.scale)
    painter.fill(page, palette.GROUND)
    painter.fill(page, palette.PANEL, radius)
    room = page.shrunk((page.width - round(width * layout.scale)) // 2, round(40 * layout.scale))
    heading = round(2 * layout.text_large)
    place = Box(room.left, room.top, room.width, heading)
    painter.text(title, place, layout.text_large, palette.TEXT, bold=True)
    return Box(room.left, room.top + heading, room.width, room.height - heading)


def draw_caution(painter: Painter, layout: Layout) -> None:
    """The caution; nothing sounds until it is answered."""
    size = round(1.2 * layout.text_normal)
    room = _page(painter, layout, CAUTION_TITLE, 880)
    row = room.top
    for number, text in enumerate(CAUTION):
        colour = palette.YELLOW if number == len(CAUTION) - 1 else palette.TEXT
        row = painter.paragraph(text, Box(room.left, row, room.width, room.bottom - row), size, colour) + size


def draw_help(painter: Painter, layout: Layout, remarks: tuple[str, ...], has_ring: bool = False) -> None:
    """Keys and gestures, and in full whatever the status lines may have shortened."""
    size = round(1.2 * layout.text_normal)
    height = 2 * size
    room = _page(painter, layout, HELP_TITLE, 1000)
    row = room.top
    for keys, meaning in RING_KEYS if has_ring else KEYS:
        left, right = Box(room.left, row, room.width, height).columns((0.28, 0.72), size)
        painter.text(keys, left, size, palette.SKY)
        painter.text(meaning, right, size, palette.TEXT)
        row += height
    row += size
    for text in remarks:
        rest = Box(room.left, row, room.width, room.bottom - row)
        row = painter.paragraph(text, rest, size, palette.QUIET_TEXT) + size // 2


def draw_too_small(painter: Painter, size: tuple[int, int]) -> None:
    """Ask for room."""
    text_size = max(10, min(20, size[0] // 20))
    painter.fill(Box(0, 0, *size), palette.GROUND)
    room = Box(0, 0, *size).shrunk(size[0] // 20, size[1] // 10)
    painter.paragraph("Please make the window larger", room, text_size, palette.TEXT)
