"""A rectangle in pixels, and how it is cut up."""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple


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

    def holds(self, place: tuple[int, int]) -> bool:
        """True where the pixel lies in the box."""
        return self.left <= place[0] < self.right and self.top <= place[1] < self.bottom

    def overlaps(self, other: Box) -> bool:
        """True where the two boxes share a pixel."""
        return (
            self.left < other.right and other.left < self.right and self.top < other.bottom and other.top < self.bottom
        )

    def shrunk(self, across: int, down: int) -> Box:
        """The box less a margin of `across` pixels at each side and `down` above and below."""
        return Box(self.left + across, self.top + down, max(0, self.width - 2 * across), max(0, self.height - 2 * down))

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

    def mirrored(self, width: int) -> Box:
        """The same box in a mirror image of a window `width` pixels wide."""
        return Box(width - self.right, self.top, self.width, self.height)
