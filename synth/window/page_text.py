"""Typesetting of the help page: groups of keys in two columns, at the largest text size that holds all of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

from synth.window.box import Box

Group = tuple[str, tuple[tuple[str, str], ...]]
LINE = 1.32  # text heights from one line to the next


class Measure(Protocol):
    """What knows how wide texts are: a painter."""

    def wrapped(self, text: str, width: int, size: int) -> list[str]: ...
    def width_of(self, text: str, size: int) -> int: ...


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
    groups: Sequence[Group], remarks: Sequence[str], room: Box, sizes: tuple[int, int], measure: Measure
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
    measure: Measure,
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


def _keys_width(groups: Sequence[Group], widest: float, size: int, measure: Measure) -> int:
    """Room for the keys of the groups; those wider than `widest` stand above their meaning and do not count."""
    widths = (measure.width_of(keys, size) + size for _, entries in groups for keys, _ in entries)
    return max((width for width in widths if width <= widest), default=2 * size)


def _block(group: Group, width: int, keys_width: int, size: int, measure: Measure) -> list[Placed]:
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
