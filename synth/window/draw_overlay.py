"""The lines above and below the stage, and the pages in its place: caution, help, the request for more room."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations_with_replacement, pairwise

from models.quick_dataclass import dataclass
from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import PlayCanvas
from synth.window.caution import CAUTION, CAUTION_TITLE
from synth.window.layout import Layout
from synth.window.painter import Painter

KEY_PIECES = ("H help", "M mute", "R record", "↑ ↓ listening level", "Q quit")
STRIP_KEY_PIECES = ("H help", "C controls")


PROGRAM = "Beatfield"


def draw_still_header(canvas: PlayCanvas, sides: Sequence[str], active: int, keys: Sequence[str] = KEY_PIECES) -> None:
    """Title, sides and keys. With one design the title has the sides' room as well."""
    room = canvas.layout.title
    if len(sides) < 2:
        room = Box(room.left, room.top, canvas.layout.sides.right - room.left, room.height)
    size, gap = canvas.large, canvas.small
    both = canvas.width_of(PROGRAM, size, bold=True) + gap + canvas.width_of(canvas.field.title, size)
    if both <= room.width:  # else the design's title has all of it; the window's own frame has both
        name = canvas.text(PROGRAM, room, size, palette.ORANGE, bold=True)
        room = Box(name.right + gap, room.top, room.right - name.right - gap, room.height)
    canvas.fitted(canvas.field.title, room, (size, 9), palette.TEXT)
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
        if canvas.width_of(text, size, bold=True) > width - 2 * (pad // 2):
            text = name  # its frame and its weight mark it
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


def draw_header(
    canvas: PlayCanvas, flags: Sequence[str], status: Sequence[str], notice: str, listening: str, effect: str = ""
) -> None:
    """What may change at any time. `status` is cut to the pieces that fit; the help says all of it. `effect`, of the
    selected control, stands where there is no notice.
    """
    size = canvas.small
    if flags:
        _flags(canvas, flags)
    if status:
        canvas.pieces(
            status, " · ", canvas.layout.status, (size, max(9, round(0.8 * size))), palette.QUIET_TEXT, "right"
        )
    colour = palette.YELLOW if notice else palette.QUIET_TEXT
    canvas.fitted(notice or effect, canvas.layout.notice, (size, max(9, round(0.7 * size))), colour)
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


HELP_TITLE = "Playing"
USUAL_LINE = 40  # letters of a meaning in a line


def _page(canvas: PlayCanvas) -> None:
    """An empty page."""
    canvas.fill(canvas.layout.page, palette.GROUND)
    canvas.fill(canvas.layout.page, palette.PANEL, canvas.px(10))


def draw_caution(canvas: PlayCanvas) -> None:
    """The caution; nothing sounds until it is answered."""
    _card(canvas, CAUTION_TITLE, CAUTION)


LEAVING_TITLE = "Quit Beatfield?"
LEAVING_ANSWER = "K saves and stays  ·  Q or Enter quits  ·  Esc stays"


def draw_leaving(canvas: PlayCanvas, reasons: Sequence[str]) -> None:
    """The question before quitting, with what would be lost or cut off."""
    _card(canvas, LEAVING_TITLE, (*reasons, LEAVING_ANSWER))


def _card(canvas: PlayCanvas, title: str, paragraphs: Sequence[str]) -> None:
    """A card in the middle of an empty page: a sign beside its title, texts, and the answer in a frame."""
    _page(canvas)
    page, (*texts, answer) = canvas.layout.page, paragraphs
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
    canvas.fitted(title, heading, (round(1.6 * size), size), palette.TEXT, bold=True)
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


def draw_help(canvas: PlayCanvas, groups: Sequence[Group], remarks: Sequence[str], number: int, count: int) -> None:
    """Page `number`, from 0, of `count`: keys and gestures by group, on the last one the remarks in full; room is left
    for `draw_help_status`.
    """
    _page(canvas)
    room = _help_room(canvas.layout)
    title = Box(room.left, room.top, room.width, round(1.5 * canvas.large))
    number, last = min(number, count - 1), number >= count - 1
    heights = [sum(1 + len(meaning) // USUAL_LINE for _, meaning in rows) for _, rows in groups]
    first, end = list(pairwise(_cuts(heights, count, 1)))[number]
    groups, remarks = groups[first:end], remarks if last else ()
    words = f"{HELP_TITLE}, page {number + 1} of {count}: H {'or Esc closes it' if last else 'turns the page'}"
    canvas.fitted(words, title, (canvas.large, canvas.normal), palette.TEXT, bold=True)
    top = title.bottom + round(0.4 * canvas.normal)
    body = Box(room.left, top, room.width, help_foot(canvas.layout).top - round(0.5 * canvas.normal) - top)
    lines, size = Page(groups, remarks, body, canvas).typeset(round(1.15 * canvas.normal), 9)
    colours = {"heading": palette.TEXT, "keys": palette.SKY, "meaning": palette.TEXT, "remark": palette.QUIET_TEXT}
    for line in lines:
        canvas.text(line.text, line.room, size, colours[line.kind], bold=line.kind == "heading")


def _help_room(layout: Layout) -> Box:
    return layout.page.shrunk(round(1.6 * layout.text.normal), round(1.1 * layout.text.normal))


def help_foot(layout: Layout) -> Box:
    """The last line of the help page."""
    room, height = _help_room(layout), round(1.5 * layout.text.small)
    return Box(room.left, room.bottom - height, room.width, height)


def draw_help_status(canvas: PlayCanvas, status: str) -> None:
    """All of the status that the line at the top may have shortened."""
    canvas.fitted(status, help_foot(canvas.layout), (canvas.small, 8), palette.QUIET_TEXT)


def draw_too_small(painter: Painter, size: tuple[int, int], needed: tuple[int, int]) -> None:
    """Ask for the room that is needed."""
    text_size = max(10, min(20, size[0] // 20))
    painter.fill(Box(0, 0, *size), palette.GROUND)
    room = Box(0, 0, *size).shrunk(size[0] // 20, size[1] // 10)
    have, want = f"{size[0]} \N{MULTIPLICATION SIGN} {size[1]}", "{} \N{MULTIPLICATION SIGN} {}".format(*needed)
    text = f"Please make the window larger: it is {have} pixels, and needs {want} for this size of text"
    painter.paragraph(text, room, text_size, palette.TEXT)


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
    """What is set on a page, within `room`: groups of keys in columns, and remarks at its foot."""

    groups: Sequence[Group]
    remarks: Sequence[str]
    room: Box
    painter: Painter

    def typeset(self, largest: int, smallest: int) -> tuple[tuple[Placed, ...], int]:
        """The lines at the largest text size at which the page is whole, and that size; else at the smallest, cut."""
        for size in range(largest, smallest - 1, -1):
            for columns in (2, 3) if len(self.groups) > 1 else (1, 2):
                lines = self._set(size, columns)
                if lines is not None:
                    return lines, size
        return replace(self, remarks=())._set(smallest, 3, forced=True) or (), smallest

    def _set(self, size: int, columns: int, forced: bool = False) -> tuple[Placed, ...] | None:
        """The page at one size; None where it has no room."""
        room, painter, line = self.room, self.painter, round(LINE * size)
        rows = [text for remark in self.remarks for text in painter.wrapped(remark, room.width, size)]
        top = room.bottom - line * len(rows)
        foot = [
            Placed(text, Box(room.left, top + number * line, room.width, line), "remark")
            for number, text in enumerate(rows)
        ]
        body = Box(room.left, room.top, room.width, top - (size if rows else 0) - room.top)
        places = body.columns((1.0,) * columns, round(2.2 * size))
        blocks = self._blocks(places[0].width, columns, size)
        heights = [block[-1].room.bottom for block in blocks]
        placed: list[Placed] = []
        for place, (first, last) in zip(places, pairwise(_cuts(heights, columns, line)), strict=True):
            y = place.top
            for block, height in zip(blocks[first:last], heights[first:last], strict=True):
                if y + height > place.bottom and not forced:
                    return None
                placed += [
                    Placed(one.text, Box(place.left + one.room.left, y + one.room.top, one.room.width, line), one.kind)
                    for one in block
                ]
                y += height + line
        whole = all(painter.width_of(one.text, size) <= one.room.width for one in placed if one.kind != "heading")
        return (*placed, *foot) if whole or forced else None

    def _blocks(self, width: int, columns: int, size: int) -> list[list[Placed]]:
        """Each group in a column of `width`: of up to two columns all alike, of three each as low as it can be."""
        if columns <= 2:
            keys_width = self._keys_width(self.groups, 0.34 * width, size)
            return [self._block(group, width, keys_width, size) for group in self.groups]
        return [
            min(
                (
                    self._block(one, width, self._keys_width((one,), share * width, size), size)
                    for share in (0.36, 0.24)
                ),
                key=lambda block: block[-1].room.bottom,
            )
            for one in self.groups
        ]

    def _keys_width(self, groups: Sequence[Group], widest: float, size: int) -> int:
        """Room for the keys of the groups; those wider than `widest` stand above their meaning and do not count."""
        widths = (self.painter.width_of(keys, size) + size for _, entries in groups for keys, _ in entries)
        return max((width for width in widths if width <= widest), default=2 * size)

    def _block(self, group: Group, width: int, keys_width: int, size: int) -> list[Placed]:
        """One group from (0, 0): its heading, then keys beside meanings; keys that are too long stand above theirs."""
        line, (heading, entries) = round(LINE * size), group
        placed = [Placed(heading, Box(0, 0, width, line), "heading")]
        y = round(1.25 * line)
        for keys, meaning in entries:
            long = self.painter.width_of(keys, size) + size > keys_width
            placed.append(Placed(keys, Box(0, y, width if long else keys_width - size // 2, line), "keys"))
            y += line if long else 0
            for text in self.painter.wrapped(meaning, width - keys_width, size):
                placed.append(Placed(text, Box(keys_width, y, width - keys_width, line), "meaning"))
                y += line
        return placed


def _cuts(heights: Sequence[int], columns: int, gap: int) -> tuple[int, ...]:
    """Where the groups are cut into columns, in order, so that the longest column is shortest."""

    def length(first: int, last: int) -> int:
        return sum(heights[first:last]) + gap * max(0, last - first - 1)

    inner = combinations_with_replacement(range(len(heights) + 1), columns - 1)
    options = ((0, *cuts, len(heights)) for cuts in inner)
    return min(options, key=lambda cut: max(length(a, b) for a, b in pairwise(cut)))
