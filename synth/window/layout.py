"""Where everything stands in the window: rectangles and text sizes from the window's size."""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise
from typing import NamedTuple

SMALLEST = (900, 560)  # pixels; below it the window only asks to be enlarged
_DESIGN_SIZE = (1280.0, 720.0)


class Box(NamedTuple):
    """A rectangle in pixels: left, top, width, height."""

    left: int
    top: int
    width: int
    height: int

    @property
    def right(self) -> int:
        """First pixel column beyond the box."""
        return self.left + self.width

    @property
    def bottom(self) -> int:
        """First pixel row beyond the box."""
        return self.top + self.height

    @property
    def center(self) -> tuple[int, int]:
        """Middle of the box."""
        return self.left + self.width // 2, self.top + self.height // 2

    def overlaps(self, other: Box) -> bool:
        """True where the two boxes share a pixel."""
        return (
            self.left < other.right and other.left < self.right and self.top < other.bottom and other.top < self.bottom
        )

    def contains(self, other: Box) -> bool:
        """True where `other` lies wholly inside."""
        return (
            self.left <= other.left
            and self.top <= other.top
            and other.right <= self.right
            and other.bottom <= self.bottom
        )

    def shrunk(self, across: int, down: int) -> Box:
        """The box less a margin of `across` pixels at each side and `down` above and below."""
        return Box(
            self.left + across,
            self.top + down,
            max(0, self.width - 2 * across),
            max(0, self.height - 2 * down),
        )

    def columns(self, shares: tuple[float, ...], gap: int) -> tuple[Box, ...]:
        """The box cut into columns of the given shares with `gap` pixels between them."""
        room = self.width - gap * (len(shares) - 1)
        edges = [0.0]
        for share in shares:
            edges.append(edges[-1] + room * share / sum(shares))
        return tuple(
            Box(self.left + round(start) + number * gap, self.top, round(end) - round(start), self.height)
            for number, (start, end) in enumerate(pairwise(edges))
        )

    def rows(self, shares: tuple[float, ...], gap: int) -> tuple[Box, ...]:
        """The box cut into rows of the given shares with `gap` pixels between them."""
        turned = Box(self.top, self.left, self.height, self.width).columns(shares, gap)
        return tuple(Box(row.top, row.left, row.height, row.width) for row in turned)


@dataclass(frozen=True, slots=True)
class Layout:
    """Boxes of the window's parts, and the text sizes in pixels that belong to them.

    The parts named in `parts` never overlap. The stage holds the field to scale; above it stand the note
    names, below it the centimetre scale, at its left the volume scale, at its right the antenna.
    """

    size: tuple[int, int]
    scale: float
    title: Box
    flags: Box
    status: Box
    notice: Box
    note_band: Box
    volume_scale: Box
    stage: Box
    antenna: Box
    distance_scale: Box
    tuner: Box
    trace: Box
    chain: Box
    level: Box
    footer: Box
    text_small: int
    text_normal: int
    text_large: int
    text_note: int

    @property
    def page(self) -> Box:
        """Where help and caution are shown instead of stage and panels."""
        left, top = self.tuner.left, self.note_band.top
        return Box(left, top, self.level.right - left, self.level.bottom - top)

    def parts(self) -> dict[str, Box]:
        """Every box by its name."""
        names = [field.name for field in fields(self)]
        return {name: value for name in names if isinstance(value := getattr(self, name), Box)}


def too_small(size: tuple[int, int]) -> bool:
    """True where the window cannot hold its parts legibly."""
    return size[0] < SMALLEST[0] or size[1] < SMALLEST[1]


def lay_out(size: tuple[int, int]) -> Layout:
    """The layout of a window of `size` pixels (at least `SMALLEST`; ValueError below)."""
    if too_small(size):
        raise ValueError(f"size must be at least {SMALLEST[0]} x {SMALLEST[1]} pixels; got {size[0]} x {size[1]}")
    width, height = size
    scale = min(width / _DESIGN_SIZE[0], height / _DESIGN_SIZE[1])

    def px(length: float) -> int:
        return round(length * scale)

    margin, gap = px(24), px(16)
    header = Box(margin, px(14), width - 2 * margin, px(34))
    title, flags, status = header.columns((0.28, 0.19, 0.53), gap)
    notice = Box(margin, header.bottom, width - 2 * margin, px(20))
    footer_height = px(24)
    footer = Box(margin, height - px(10) - footer_height, width - 2 * margin, footer_height)
    panel_height = px(190)
    panels = Box(margin, footer.top - px(10) - panel_height, width - 2 * margin, panel_height)
    tuner, trace, chain, level = panels.columns((0.30, 0.36, 0.26, 0.08), gap)
    field_top = notice.bottom + px(6)
    field = Box(margin, field_top, width - 2 * margin, panels.top - px(14) - field_top)
    left, right, above, below = px(84), px(62), px(34), px(52)
    stage = Box(field.left + left, field.top + above, field.width - left - right, field.height - above - below)
    return Layout(
        size=size,
        scale=scale,
        title=title,
        flags=flags,
        status=status,
        notice=notice,
        note_band=Box(stage.left, field.top, stage.width, above),
        volume_scale=Box(field.left, field.top, left, field.height - below),
        stage=stage,
        antenna=Box(stage.right, field.top, right, field.height - below),
        distance_scale=Box(field.left, stage.bottom, field.width, below),
        tuner=tuner,
        trace=trace,
        chain=chain,
        level=level,
        footer=footer,
        text_small=max(10, px(13)),
        text_normal=max(11, px(15)),
        text_large=px(24),
        text_note=px(64),
    )
