"""Text and simple shapes on a pygame surface, in one typeface; every text stays inside its box."""

from __future__ import annotations

import functools
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator, Sequence
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from models.arrays import Floats
from synth.window.box import Box
from synth.window.palette import Colour

if TYPE_CHECKING:
    import pygame

Align = Literal["left", "centre", "right"]
Point = tuple[float, float]
Drawing = Callable[[tuple[int, int]], None]  # at a place, pixels
_CACHED_TEXTS = 600
_CACHED_WIDTHS = 4000
_KEPT_STAMPS = 12


class DrawnText(NamedTuple):
    """A text that was drawn: what was wanted, what is shown, where, and the room it had."""

    wanted: str
    shown: str
    place: Box
    room: Box
    colour: Colour

    @property
    def whole(self) -> bool:
        """True where the text is shown in full."""
        return self.wanted == self.shown


@functools.cache
def font_file(bold: bool) -> str | None:
    """DejaVu Sans out of matplotlib's data (it has sharps, flats and arrows); None where it is missing.

    matplotlib itself is not imported: that costs more than the window's other imports together.
    """
    spec = find_spec("matplotlib")
    if spec is None or spec.origin is None:
        return None
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    path = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf" / name
    return str(path) if path.is_file() else None


class AsOne:
    """A context in which what is added to a list of rectangles becomes one that holds them all."""

    def __init__(self, touched: list[pygame.Rect]) -> None:
        self._touched, self._first = touched, len(touched)

    def __enter__(self) -> None:
        pass

    def __exit__(self, *_: object) -> None:
        parts = [part for part in self._touched[self._first :] if part]  # what was clipped away whole lies nowhere
        self._touched[self._first :] = [parts[0].unionall(parts[1:])] if parts else []


class Painter:
    """Draws on the surface it was put `onto`, remembering every text and every rectangle it has touched since.

    Pictures of texts are kept, since most texts of a frame are those of the frame before.
    """

    surface: pygame.Surface

    def __init__(self) -> None:
        import pygame

        self._pygame, self._draw = pygame, pygame.draw
        self.texts: list[DrawnText] = []
        self.touched: list[pygame.Rect] = []
        self._fonts: dict[tuple[int, bool], pygame.font.Font] = {}
        self._widths: dict[tuple[str, int, bool], int] = {}
        self._glass: pygame.Surface | None = None
        self._stamps: OrderedDict[Hashable, pygame.Surface] = OrderedDict()
        self._pictures: OrderedDict[tuple[str, int, bool, Colour], pygame.Surface] = OrderedDict()

    def onto(self, surface: pygame.Surface) -> None:
        """Draw on `surface` from now on and forget what the last picture held."""
        self.surface = surface
        self.texts = []
        self.touched = []

    def font(self, size: int, bold: bool = False) -> pygame.font.Font:
        """The typeface at a height of `size` pixels."""
        key = (size, bold)
        if key not in self._fonts:
            self._fonts[key] = self._pygame.font.Font(font_file(bold), size)
        return self._fonts[key]

    def width_of(self, text: str, size: int, bold: bool = False) -> int:
        """Width of a text, pixels."""
        key = (text, size, bold)
        width = self._widths.get(key)
        if width is None:
            if len(self._widths) > _CACHED_WIDTHS:
                self._widths.clear()
            width = self._widths[key] = self.font(size, bold).size(text)[0]
        return width

    def largest_size(self, text: str, width: int, largest: int, smallest: int, bold: bool = False) -> int:
        """The largest text size from `largest` down to `smallest` at which the text is at most `width` wide."""
        sizes = range(largest, smallest, -1)
        return next((size for size in sizes if self.width_of(text, size, bold) <= width), smallest)

    def text(self, text: str, room: Box, size: int, colour: Colour, align: Align = "left", bold: bool = False) -> Box:
        """One line of text, vertically centred in `room`; what does not fit is shortened with an ellipsis."""
        if not text:
            return Box(room.left, room.top, 0, 0)
        shown = self._fitting(text, room.width, size, bold)
        picture = self._picture(shown, size, bold, colour)
        width, height = picture.get_size()
        spare = room.width - width
        left = room.left + {"left": 0, "right": spare, "centre": spare // 2}[align]
        place = Box(left, room.top + (room.height - height) // 2, width, height)
        self.touched.append(self.surface.blit(picture, place[:2]))
        self.texts.append(DrawnText(text, shown, place, room, colour))
        return place

    def fitted(
        self, text: str, room: Box, sizes: tuple[int, int], colour: Colour, align: Align = "left", bold: bool = False
    ) -> Box:
        """One line of text at the largest of `sizes` (largest, smallest) that fits."""
        largest = sizes[0]
        while largest > sizes[1] and self.font(largest, bold).get_height() > room.height:
            largest -= 1
        return self.text(text, room, self.largest_size(text, room.width, largest, sizes[1], bold), colour, align, bold)

    def pieces(
        self,
        pieces: Sequence[str],
        between: str,
        room: Box,
        sizes: tuple[int, int],
        colour: Colour,
        align: Align = "left",
    ) -> Box:
        """As many of the pieces, from the first on, as fit in one line at the smaller of `sizes`, at the largest that
        fits; pieces that do not fit are left out whole.
        """
        count = len(pieces)
        while count > 1 and self.width_of(between.join(pieces[:count]), sizes[1]) > room.width:
            count -= 1
        return self.fitted(between.join(pieces[:count]), room, sizes, colour, align)

    def paragraph(self, text: str, room: Box, size: int, colour: Colour) -> int:
        """Text wrapped at words from the top of `room`; returns the row below it. What has no room is cut."""
        height = round(1.35 * size)
        lines = self.wrapped(text, room.width, size)
        fitting = max(1, room.height // height)
        if len(lines) > fitting:
            lines = [*lines[: fitting - 1], " ".join(lines[fitting - 1 :])]
        for number, line in enumerate(lines):
            self.text(line, Box(room.left, room.top + number * height, room.width, height), size, colour)
        return room.top + len(lines) * height

    def wrapped(self, text: str, width: int, size: int) -> list[str]:
        """The text as lines no wider than `width` where its words allow."""
        lines: list[str] = []
        for word in text.split():
            longer = f"{lines[-1]} {word}" if lines else word
            if lines and self.width_of(longer, size) <= width:
                lines[-1] = longer
            else:
                lines.append(word)
        return lines

    def paragraph_size(self, text: str, room: Box, largest: int, smallest: int) -> int:
        """The largest text size from `largest` to `smallest` at which the paragraph fits the room."""
        for size in range(largest, smallest, -1):
            lines = self.wrapped(text, room.width, size)
            whole = all(self.width_of(line, size) <= room.width for line in lines)
            if whole and len(lines) * round(1.35 * size) <= room.height:
                return size
        return smallest

    @contextmanager
    def clipped(self, box: Box) -> Iterator[None]:
        """Draw only within `box`."""
        before = self.surface.get_clip()
        self.surface.set_clip(before.clip(box))
        try:
            yield
        finally:
            self.surface.set_clip(before)

    def as_one(self) -> AsOne:
        """What is drawn meanwhile counts as one touched rectangle, to be restored and sent to the screen once."""
        return AsOne(self.touched)

    def fill(self, box: Box, colour: Colour, radius: int = 0) -> None:
        """A filled rectangle."""
        self.touched.append(self._draw.rect(self.surface, colour, box, border_radius=radius))

    def frame(self, box: Box, colour: Colour, thickness: int = 1, radius: int = 0) -> None:
        """An outlined rectangle."""
        self.touched.append(self._draw.rect(self.surface, colour, box, thickness, border_radius=radius))

    def line(self, start: Point, end: Point, colour: Colour, thickness: int = 1) -> None:
        """A straight line."""
        self.touched.append(self._draw.line(self.surface, colour, start, end, thickness))

    def dashed(self, start: Point, end: Point, colour: Colour, dash: int, thickness: int = 1) -> None:
        """A dashed line, as long on as off."""
        length = max(abs(end[0] - start[0]), abs(end[1] - start[1]))
        for place in range(0, int(length), 2 * dash):
            here, there = place / length, min(1.0, (place + dash) / length)
            self.line(_between(start, end, here), _between(start, end, there), colour, thickness)

    def curve(self, points: Sequence[Point], colour: Colour, thickness: int = 1) -> None:
        """A polyline, smoothed at its edges."""
        if thickness > 1:
            self.touched.append(self._draw.lines(self.surface, colour, False, points, thickness))
        self.touched.append(self._draw.aalines(self.surface, colour, False, points))

    def smooth(self, points: Sequence[Point], colour: Colour, thickness: int = 1) -> None:
        """A polyline as `curve`, smooth when it is thick too; it costs four times as much."""
        if thickness < 2:
            self.curve(points, colour)
            return
        self.touched.append(self._draw.lines(self.surface, colour, False, points, thickness - 1))
        half = 0.5 * (thickness - 1)
        for across, down in ((half, 0.0), (-half, 0.0), (0.0, half), (0.0, -half)):
            moved = [(x + across, y + down) for x, y in points]
            self.touched.append(self._draw.aalines(self.surface, colour, False, moved))

    def disc(self, center: Point, radius: float, colour: Colour) -> None:
        """A filled circle with a smooth edge."""
        self.touched.append(self._draw.aacircle(self.surface, colour, center, radius))

    def ring(self, center: Point, radius: float, colour: Colour, thickness: int) -> None:
        """A circle's outline with a smooth edge."""
        self.touched.append(self._draw.aacircle(self.surface, colour, center, radius, thickness))

    def shape(self, points: Sequence[Point], colour: Colour, outline: Colour | None = None) -> None:
        """A filled polygon with a smooth edge, of another colour if `outline` is given."""
        self.touched.append(self._draw.polygon(self.surface, colour, points))
        self.touched.append(self._draw.aalines(self.surface, outline or colour, True, points))

    def arrow(self, tip: Point, along: float, half: float, colour: Colour) -> None:
        """A triangle from its tip to a foot `along` pixels right of it (left where negative), `half` to each side."""
        (x, y), foot = tip, tip[0] + along
        self.shape([(x, y), (foot, y - half), (foot, y + half)], colour)

    def glass(self, points: Sequence[Point], colour: Colour, strength: int) -> None:
        """A filled polygon through which the ground is seen; `strength` 0 to 255."""
        sheet, size = self._glass, self.surface.get_size()
        if sheet is None or sheet.get_width() < size[0] or sheet.get_height() < size[1]:
            have = (0, 0) if sheet is None else sheet.get_size()
            largest = max(have[0], size[0]), max(have[1], size[1])
            sheet = self._glass = self._pygame.Surface(largest, self._pygame.SRCALPHA)
        sheet.set_clip(self.surface.get_clip())
        area = self._draw.polygon(sheet, (*colour, strength), points)
        if area:
            self.touched.append(self.surface.blit(sheet, area, area))
            self._draw.polygon(sheet, (0, 0, 0, 0), points)

    def stamp(self, key: Hashable, size: tuple[int, int], place: tuple[int, int], drawn: Drawing) -> None:
        """What `drawn` draws within a size from a place on, pixels, by a picture of it that is kept under `key`.

        Drawn on black and on white it says how much of the ground is seen through it.
        """
        picture = self._stamps.get(key)
        if picture is None:
            black, white = (self._drawn_on(ground, size, drawn) for ground in ((0, 0, 0), (255, 255, 255)))
            picture = self._stamps[key] = self._pygame.Surface(size, self._pygame.SRCALPHA)
            picture.blit(black, (0, 0))
            shades, alpha = (self._pygame.surfarray.pixels_green(one) for one in (black, white))
            self._pygame.surfarray.pixels_alpha(picture)[:] = 255 - (alpha - shades)
            if len(self._stamps) > _KEPT_STAMPS:
                self._stamps.popitem(last=False)
        else:
            self._stamps.move_to_end(key)
        self.touched.append(self.surface.blit(picture, place, special_flags=self._pygame.BLEND_PREMULTIPLIED))

    def _drawn_on(self, ground: Colour, size: tuple[int, int], drawn: Drawing) -> pygame.Surface:
        """A picture of what is drawn on an even ground."""
        before = self.surface, self.texts, self.touched
        picture = self._pygame.Surface(size, depth=32)
        picture.fill(ground)
        self.onto(picture)
        drawn((0, 0))
        self.surface, self.texts, self.touched = before
        return picture

    def pixels(self, colours: Floats, box: Box) -> None:
        """Colours, 0..255, as an array (columns, rows, 3), smoothed to the size of a box."""
        small = self._pygame.surfarray.make_surface(colours.round().astype(np.uint8))
        self.touched.append(self.surface.blit(self._pygame.transform.smoothscale(small, box[2:]), box[:2]))

    def diamond(self, center: Point, radius: float, colour: Colour) -> None:
        """A square standing on its corner."""
        x, y = center
        self.shape([(x, y - radius), (x + radius, y), (x, y + radius), (x - radius, y)], colour)

    def _fitting(self, text: str, width: int, size: int, bold: bool) -> str:
        if self.width_of(text, size, bold) <= width:
            return text
        shown = text
        while shown and self.width_of(shown + "…", size, bold) > width:
            shown = shown[:-1]
        return shown.rstrip() + "…"

    def _picture(self, text: str, size: int, bold: bool, colour: Colour) -> pygame.Surface:
        key = (text, size, bold, colour)
        picture = self._pictures.get(key)
        if picture is None:
            picture = self.font(size, bold).render(text, True, colour)
            self._pictures[key] = picture
            if len(self._pictures) > _CACHED_TEXTS:
                self._pictures.popitem(last=False)
        else:
            self._pictures.move_to_end(key)
        return picture


def _between(start: Point, end: Point, share: float) -> Point:
    return start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])
