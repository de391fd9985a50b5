"""Pages in place of stage and readouts: the caution before the first sound, the help, the request for more room."""

from __future__ import annotations

from collections.abc import Sequence

from synth.window import palette
from synth.window.box import Box
from synth.window.caution import CAUTION, CAUTION_TITLE
from synth.window.layout import Layout
from synth.window.page_text import Group, typeset
from synth.window.painter import Painter

HELP_TITLE = "Playing"
_COLOURS = {"heading": palette.TEXT, "keys": palette.SKY, "meaning": palette.TEXT, "remark": palette.QUIET_TEXT}


def _page(painter: Painter, layout: Layout) -> None:
    """An empty page."""
    painter.fill(layout.page, palette.GROUND)
    painter.fill(layout.page, palette.PANEL, round(10 * layout.scale))


def draw_caution(painter: Painter, layout: Layout) -> None:
    """The caution, a card in the middle of the page; nothing sounds until it is answered."""
    _page(painter, layout)
    page, (*texts, answer) = layout.page, CAUTION
    width = min(page.width - 4 * layout.text_small, round(56 * layout.text_normal * 0.72) + page.width // 8)
    for size in range(round(1.35 * layout.text_normal), 9, -1):
        heights = [len(painter.wrapped(text, width, size)) * round(1.35 * size) for text in texts]
        whole = round(4.2 * size) + sum(heights) + (len(texts) + 2) * size + round(2.6 * size)
        if whole <= page.height - 2 * size:
            break
    left, row = page.left + (page.width - width) // 2, page.top + (page.height - whole) // 2
    sign = round(2.6 * size)
    _caution_sign(painter, Box(left, row, sign, sign))
    heading = Box(left + sign + size, row, width - sign - size, sign)
    painter.fitted(CAUTION_TITLE, heading, (round(1.6 * size), size), palette.TEXT, bold=True)
    row += round(4.2 * size)
    for text, height in zip(texts, heights, strict=True):
        painter.paragraph(text, Box(left, row, width, height), size, palette.TEXT)
        row += height + size
    row += size
    answer_width = min(width, painter.width_of(answer, size, bold=True) + 3 * size)
    button = Box(left, row, answer_width, round(2.6 * size))
    painter.frame(button, palette.YELLOW, max(2, round(2 * layout.scale)), button.height // 2)
    painter.fitted(answer, button.shrunk(size // 2, 0), (size, 8), palette.YELLOW, "centre", bold=True)


def _caution_sign(painter: Painter, box: Box) -> None:
    """A triangle with an exclamation mark drawn from its strokes."""
    middle, thick = box.center[0], max(2, box.width // 12)
    painter.shape([(middle, box.top), (box.right, box.bottom - 2), (box.left, box.bottom - 2)], palette.YELLOW)
    top, foot = box.top + round(0.36 * box.height), box.top + round(0.66 * box.height)
    painter.fill(Box(middle - thick // 2, top, thick, foot - top), palette.GROUND)
    painter.disc((middle, box.top + 0.8 * box.height), max(1.5, 0.65 * thick), palette.GROUND)


def draw_help(painter: Painter, layout: Layout, groups: Sequence[Group], remarks: Sequence[str]) -> None:
    """Keys and gestures by group, and remarks in full; room is left for `draw_help_status`."""
    _page(painter, layout)
    room = _help_room(layout)
    title = Box(room.left, room.top, room.width, round(1.5 * layout.text_large))
    painter.text(HELP_TITLE, title, layout.text_large, palette.TEXT, bold=True)
    top = title.bottom + round(0.4 * layout.text_normal)
    body = Box(room.left, top, room.width, help_foot(layout).top - round(0.5 * layout.text_normal) - top)
    page = typeset(groups, remarks, body, (round(1.3 * layout.text_normal), 9), painter)
    for line in page.lines:
        painter.text(line.text, line.room, page.size, _COLOURS[line.kind], bold=line.kind == "heading")


def _help_room(layout: Layout) -> Box:
    return layout.page.shrunk(round(1.6 * layout.text_normal), round(1.1 * layout.text_normal))


def help_foot(layout: Layout) -> Box:
    """The last line of the help page."""
    room, height = _help_room(layout), round(1.5 * layout.text_small)
    return Box(room.left, room.bottom - height, room.width, height)


def draw_help_status(painter: Painter, layout: Layout, status: str) -> None:
    """All of the status that the line at the top may have shortened."""
    painter.fitted(status, help_foot(layout), (layout.text_small, 8), palette.QUIET_TEXT)


def draw_too_small(painter: Painter, size: tuple[int, int]) -> None:
    """Ask for room."""
    text_size = max(10, min(20, size[0] // 20))
    painter.fill(Box(0, 0, *size), palette.GROUND)
    room = Box(0, 0, *size).shrunk(size[0] // 20, size[1] // 10)
    painter.paragraph("Please make the window larger", room, text_size, palette.TEXT)
