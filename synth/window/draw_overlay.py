"""Pages in place of stage and readouts: the caution before the first sound, the help, the request for more room."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import PlayCanvas
from synth.window.caution import CAUTION, CAUTION_TITLE
from synth.window.layout import Layout
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


Group = tuple[str, tuple[tuple[str, str], ...]]
LINE = 1.32  # text heights from one line to the next


@dataclass(frozen=True, slots=True)
class Placed:
    """One line of the page. `kind`: heading, keys, meaning or remark."""

    text: str
    room: Box
    kind: str


@dataclass(frozen=True, slots=True)
class Page:
    """The lines of a page and the text size they are set in."""

    lines: tuple[Placed, ...]
    size: int


def typeset(
    groups: Sequence[Group], remarks: Sequence[str], room: Box, sizes: tuple[int, int], measure: Painter
) -> Page:
    """The page at the largest size from sizes[0] to sizes[1] at which it is whole within `room`."""
    for size in range(sizes[0], sizes[1] - 1, -1):
        for columns in (2, 3):
            lines = _set(groups, remarks, room, size, columns, measure)
            if lines is not None:
                return Page(lines, size)
    return Page(_set(groups, (), room, sizes[1], 3, measure, forced=True) or (), sizes[1])


def _set(
    groups: Sequence[Group],
    remarks: Sequence[str],
    room: Box,
    size: int,
    columns: int,
    measure: Painter,
    forced: bool = False,
) -> tuple[Placed, ...] | None:
    """The page at one size; None where it has no room."""
    line, gap = round(LINE * size), round(2.2 * size)
    foot: list[Placed] = []
    rows = [text for remark in remarks for text in measure.wrapped(remark, room.width, size)]
    top = room.bottom - line * len(rows)
    for number, text in enumerate(rows):
        foot.append(Placed(text, Box(room.left, top + number * line, room.width, line), "remark"))
    places = Box(room.left, room.top, room.width, top - (size if rows else 0) - room.top).columns((1.0,) * columns, gap)
    width = places[0].width
    if columns == 2:
        keys_width = _keys_width(groups, 0.34 * width, size, measure)
        blocks = [_block(group, width, keys_width, size, measure) for group in groups]
    else:
        blocks = [
            min(
                (
                    _block(group, width, _keys_width((group,), share * width, size, measure), size, measure)
                    for share in (0.36, 0.24)
                ),
                key=lambda block: block[-1].room.bottom,
            )
            for group in groups
        ]
    heights = [block[-1].room.bottom for block in blocks]
    cut = _cuts(heights, columns, line)
    placed: list[Placed] = []
    for place, (first, last) in zip(places, pairwise(cut), strict=True):
        y = place.top
        for block, height in zip(blocks[first:last], heights[first:last], strict=True):
            if y + height > place.bottom and not forced:
                return None
            placed += [
                Placed(one.text, Box(place.left + one.room.left, y + one.room.top, one.room.width, line), one.kind)
                for one in block
            ]
            y += height + line
    whole = all(measure.width_of(one.text, size) <= one.room.width for one in placed if one.kind != "heading")
    return (*placed, *foot) if whole or forced else None


def _keys_width(groups: Sequence[Group], widest: float, size: int, measure: Painter) -> int:
    """Room for the keys of the groups; those wider than `widest` stand above their meaning and do not count."""
    widths = (measure.width_of(keys, size) + size for _, entries in groups for keys, _ in entries)
    return max((width for width in widths if width <= widest), default=2 * size)


def _block(group: Group, width: int, keys_width: int, size: int, measure: Painter) -> list[Placed]:
    """One group from (0, 0): its heading, then keys beside meanings; keys that are too long stand above theirs."""
    line = round(LINE * size)
    heading, entries = group
    placed = [Placed(heading, Box(0, 0, width, line), "heading")]
    y = round(1.25 * line)
    for keys, meaning in entries:
        long = measure.width_of(keys, size) + size > keys_width
        placed.append(Placed(keys, Box(0, y, width if long else keys_width - size // 2, line), "keys"))
        y += line if long else 0
        for text in measure.wrapped(meaning, width - keys_width, size):
            placed.append(Placed(text, Box(keys_width, y, width - keys_width, line), "meaning"))
            y += line
    return placed


def _cuts(heights: Sequence[int], columns: int, gap: int) -> tuple[int, ...]:
    """Where the groups are cut into columns, in order, so that the longest column is shortest."""

    def length(first: int, last: int) -> int:
        return sum(heights[first:last]) + gap * max(0, last - first - 1)

    end = len(heights)
    if columns == 2:
        options: list[tuple[int, ...]] = [(0, one, end) for one in range(end + 1)]
    else:
        options = [(0, one, two, end) for one in range(end + 1) for two in range(one, end + 1)]
    return min(options, key=lambda cut: max(length(a, b) for a, b in pairwise(cut)))
