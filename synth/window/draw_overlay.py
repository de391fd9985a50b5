"""Pages in place of stage and readouts: the caution before the first sound, the help, the request for more room."""

from __future__ import annotations

from collections.abc import Sequence

from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import PlayCanvas
from synth.window.caution import CAUTION, CAUTION_TITLE
from synth.window.layout import Layout
from synth.window.page_text import Group, typeset
from synth.window.painter import Painter

HELP_TITLE = "Playing"
_COLOURS = {"heading": palette.TEXT, "keys": palette.SKY, "meaning": palette.TEXT, "remark": palette.QUIET_TEXT}


def _page(canvas: PlayCanvas) -> None:
    """An empty page."""
    canvas.fill(canvas.layout.page, palette.GROUND)
    canvas.fill(canvas.layout.page, palette.PANEL, canvas.px(10))


def draw_caution(canvas: PlayCanvas) -> None:
    """The caution, a card in the middle of the page; nothing sounds until it is answered."""
    _page(canvas)
    page, (*texts, answer) = canvas.layout.page, CAUTION
    width = min(page.width - 4 * canvas.small, round(56 * canvas.normal * 0.72) + page.width // 8)
    for size in range(round(1.35 * canvas.normal), 9, -1):
        heights = [len(canvas.wrapped(text, width, size)) * round(1.35 * size) for text in texts]
        whole = round(4.2 * size) + sum(heights) + (len(texts) + 2) * size + round(2.6 * size)
        if whole <= page.height - 2 * size:
            break
    left, row = page.left + (page.width - width) // 2, page.top + (page.height - whole) // 2
    sign = round(2.6 * size)
    _caution_sign(canvas, Box(left, row, sign, sign))
    heading = Box(left + sign + size, row, width - sign - size, sign)
    canvas.fitted(CAUTION_TITLE, heading, (round(1.6 * size), size), palette.TEXT, bold=True)
    row += round(4.2 * size)
    for text, height in zip(texts, heights, strict=True):
        canvas.paragraph(text, Box(left, row, width, height), size, palette.TEXT)
        row += height + size
    row += size
    answer_width = min(width, canvas.width_of(answer, size, bold=True) + 3 * size)
    button = Box(left, row, answer_width, round(2.6 * size))
    canvas.frame(button, palette.YELLOW, canvas.px(2, 2), button.height // 2)
    canvas.fitted(answer, button.shrunk(size // 2, 0), (size, 8), palette.YELLOW, "centre", bold=True)


def _caution_sign(painter: Painter, box: Box) -> None:
    """A triangle with an exclamation mark drawn from its strokes."""
    middle, thick = box.center[0], max(2, box.width // 12)
    painter.shape([(middle, box.top), (box.right, box.bottom - 2), (box.left, box.bottom - 2)], palette.YELLOW)
    top, foot = box.top + round(0.36 * box.height), box.top + round(0.66 * box.height)
    painter.fill(Box(middle - thick // 2, top, thick, foot - top), palette.GROUND)
    painter.disc((middle, box.top + 0.8 * box.height), max(1.5, 0.65 * thick), palette.GROUND)


def draw_help(canvas: PlayCanvas, groups: Sequence[Group], remarks: Sequence[str]) -> None:
    """Keys and gestures by group, and remarks in full; room is left for `draw_help_status`."""
    _page(canvas)
    room = _help_room(canvas.layout)
    title = Box(room.left, room.top, room.width, round(1.5 * canvas.large))
    canvas.text(HELP_TITLE, title, canvas.large, palette.TEXT, bold=True)
    top = title.bottom + round(0.4 * canvas.normal)
    body = Box(room.left, top, room.width, help_foot(canvas.layout).top - round(0.5 * canvas.normal) - top)
    page = typeset(groups, remarks, body, (round(1.3 * canvas.normal), 9), canvas)
    for line in page.lines:
        canvas.text(line.text, line.room, page.size, _COLOURS[line.kind], bold=line.kind == "heading")


def _help_room(layout: Layout) -> Box:
    return layout.page.shrunk(round(1.6 * layout.text.normal), round(1.1 * layout.text.normal))


def help_foot(layout: Layout) -> Box:
    """The last line of the help page."""
    room, height = _help_room(layout), round(1.5 * layout.text.small)
    return Box(room.left, room.bottom - height, room.width, height)


def draw_help_status(canvas: PlayCanvas, status: str) -> None:
    """All of the status that the line at the top may have shortened."""
    canvas.fitted(status, help_foot(canvas.layout), (canvas.small, 8), palette.QUIET_TEXT)


def draw_too_small(painter: Painter, size: tuple[int, int]) -> None:
    """Ask for room."""
    text_size = max(10, min(20, size[0] // 20))
    painter.fill(Box(0, 0, *size), palette.GROUND)
    room = Box(0, 0, *size).shrunk(size[0] // 20, size[1] // 10)
    painter.paragraph("Please make the window larger", room, text_size, palette.TEXT)
