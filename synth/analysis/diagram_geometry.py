"""A circuit diagram as symbols in their places and wires between them, and the check that it shows its circuit.

A body reaches one unit to each of its ends: "top", "bottom", and "left" or "right" where it has them, as its symbol is
drawn upright. Lengths are units of the drawing; x grows to the right, y upwards. Wires that only cross are not joined.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping
from typing import Final, Literal

from models.quick_dataclass import dataclass

REACH: Final = 1.0
"""From the middle of a body to each of its ends."""
HALF_WIDTH: Final = 0.45
"""From the middle of a body to its side."""
EM: Final = 0.4
"""Height of the type."""
LINE: Final = 1.2 * EM
"""From one line of a text to the next."""
BESIDE: Final = 0.6
"""From the middle of a body to the label beside it."""
_WIDTHS: Final = (
    ("'ijlIJ", 0.3),
    (" ,.:;/\\|f-", 0.37),
    ("t!r()[]", 0.42),
    ('"*_`', 0.51),
    ("csz", 0.56),
    ("wOQDGNHUC&", 0.83),
    ("mMW%+#@<>=~^", 1.0),
)
"""Widths of characters in heights of the type, DejaVu Sans; others are not wider than a capital or a figure."""
CLEAR: Final = 0.14
"""Left free on both sides of a text."""
_TOUCH = 1e-9

Point = tuple[float, float]
Wire = tuple[Point, Point]
Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Symbol:
    """What is drawn for a part: its kind, the lines of its label, and the node at each of its ends.

    ends: by the side of the body at which they leave: "top", "bottom", "left", "right". A symbol with the end "rail"
    alone stands at a point of its node: an antenna, a supply, a text. `faint`: it is no part that is soldered in.
    """

    kind: str
    label: tuple[str, ...]
    ends: Mapping[str, str]
    faint: bool = False

    @property
    def name(self) -> str:
        """What the part is called; empty for ground."""
        return self.label[0] if self.label else ""


@dataclass(frozen=True, slots=True)
class Text:
    """Lines of text: the middle of its left end, of its middle or of its right end lies at `place`, by `align`.

    size: of its type, in that of the drawing.
    """

    lines: tuple[str, ...]
    place: Point
    align: Literal["left", "center", "right"] = "left"
    size: float = 1.0

    @property
    def box(self) -> Box:
        """Left, bottom, right and top, not less than in the typeface of the drawing."""
        x, y = self.place
        width, height = self.size * text_width(self.lines), self.size * LINE * len(self.lines)
        left = x - {"left": 0.0, "center": 0.5, "right": 1.0}[self.align] * width
        return left - CLEAR, y - 0.5 * height, left + width + CLEAR, y + 0.5 * height


def text_width(lines: Iterable[str]) -> float:
    """Width of the widest line, by the widths of its characters; DejaVu Sans is not wider."""
    return EM * max((sum(map(_character_width, line)) for line in lines), default=0.0)


def _character_width(character: str) -> float:
    return next((width for those, width in _WIDTHS if character in those), 0.7 if character.isupper() else 0.64)


@dataclass(frozen=True, slots=True)
class Placed:
    """A symbol in its place: the middle of its body, or the point of its node at which it stands; its label.

    facing: where its end "top" points: "up", "down" (its left end stays to the left), "left" or "right".
    """

    symbol: Symbol
    centre: Point
    facing: str = "up"
    label: Text | None = None

    def at(self, across: float, along: float) -> Point:
        """A point of the drawing from one of the upright symbol: so far to the right of its middle, so far up."""
        x, y = self.centre
        turned = {"right": (along, -across), "left": (-along, across), "down": (across, -along)}
        right, up = turned.get(self.facing, (across, along))
        return rounded((x + right, y + up))

    @property
    def tips(self) -> Iterator[tuple[str, Point]]:
        """The node and the place of each end."""
        places = {"top": (0.0, REACH), "bottom": (0.0, -REACH), "left": (-REACH, 0.0), "right": (REACH, 0.0)}
        for side, node in self.symbol.ends.items():
            yield node, self.centre if side == "rail" else self.at(*places[side])

    @property
    def stubs(self) -> Iterator[tuple[str, Wire]]:
        """The short wires of the ends at the sides, which belong to the symbol."""
        for side, across in (("left", -1.0), ("right", 1.0)):
            if side in self.symbol.ends:
                yield self.symbol.ends[side], (self.at(across * HALF_WIDTH, 0.0), self.at(across * REACH, 0.0))

    @property
    def box(self) -> Box | None:
        """Left, bottom, right and top of the body; of a text or a ground none."""
        x, y = self.centre
        if "rail" in self.symbol.ends:
            return (x - 0.45, y + 0.05, x + 0.45, y + 1.25) if self.symbol.kind == "antenna" else None
        wide, high = (HALF_WIDTH, REACH) if self.facing in ("up", "down") else (REACH, HALF_WIDTH)
        return x - wide, y - high, x + wide, y + high


@dataclass(frozen=True, slots=True)
class Layout:
    """Symbols in their places and the wires of each node."""

    placed: tuple[Placed, ...]
    wires: Mapping[str, tuple[Wire, ...]]

    @property
    def junctions(self) -> list[Point]:
        """Where three or more wires or ends meet, which a dot shows."""
        found = []
        for node, wires in self.wires.items():
            tips = [place for one in self.placed if one.symbol.kind != "text" for at, place in one.tips if at == node]
            points = {rounded(point) for point in (*tips, *itertools.chain.from_iterable(wires))}
            for point in sorted(points):
                ways = sum(1 for tip in tips if _same(tip, point))
                ways += sum(1 if _is_end(point, wire) else 2 for wire in wires if _is_on(point, wire))
                found += [point] if ways > 2 else []
        return found

    @property
    def box(self) -> Box:
        """Left, bottom, right and top of all of it."""
        boxes = [one.box for one in self.placed if one.box] + [one.label.box for one in self.placed if one.label]
        points = [point for wires in self.wires.values() for wire in wires for point in wire]
        boxes += [(*point, *point) for point in points]
        return min(b[0] for b in boxes), min(b[1] for b in boxes), max(b[2] for b in boxes), max(b[3] for b in boxes)


def faults(layout: Layout) -> list[str]:
    """What is wrong with a layout, none if all is well.

    Each node's wires join its ends and nothing else (ground may lie in pieces, with its symbol at each), no two wires
    lie on each other, and none runs through a body.
    """
    wires = [(node, wire) for node, found in layout.wires.items() for wire in found]
    stubs = [stub for one in layout.placed for stub in one.stubs]
    found = [f"a wire of {node} is slanting: {wire}" for node, wire in wires if _is_slanting(wire)]
    for (first, one), (second, other) in itertools.combinations([*wires, *stubs], 2):
        if _on(one, other):
            found.append(f"wires on each other: of {first} {one} and of {second} {other}")
        elif first != second and any(
            _is_on(point, line) for line, points in ((one, other), (other, one)) for point in points
        ):
            found.append(f"a wire of {first} touches one of {second}: {one}, {other}")
    found += _joints(layout)
    for placed in layout.placed:
        body = placed.box
        if body is not None:
            found += [
                f"a wire of {node} through {placed.symbol.name!r}" for node, wire in wires if _through(wire, body)
            ]
    return found


def crowding(layout: Layout) -> list[str]:
    """Texts and bodies that lie on each other, and wires through texts; none if all can be read."""
    bodies = [(one.symbol.name, one.box) for one in layout.placed if one.box]
    texts = [(" ".join(one.label.lines), one.label.box) for one in layout.placed if one.label]
    found = [
        f"{first!r} lies on {second!r}"
        for (first, box), (second, beside) in itertools.combinations([*bodies, *texts], 2)
        if _overlap(box, beside)
    ]
    wires = [(node, wire) for node, lines in layout.wires.items() for wire in lines]
    return found + [
        f"a wire of {node} through {text!r}" for text, box in texts for node, wire in wires if _through(wire, box)
    ]


def _joints(layout: Layout) -> Iterator[str]:
    """What is not joined as its node says: a piece of a node by itself, a wire that ends nowhere."""
    ends = [(one.symbol, node, place) for one in layout.placed for node, place in one.tips]
    for node in dict.fromkeys((*(node for _, node, _ in ends), *layout.wires)):
        tips = [(symbol, place) for symbol, at, place in ends if at == node]
        wires = layout.wires.get(node, ())
        lines: list[Wire] = [*wires, *((place, place) for _, place in tips)]
        for wire in wires:
            for point in wire:
                if sum(1 for line in lines if line is not wire and _is_on(point, line)) == 0:
                    yield f"a wire of {node} ends nowhere, at {point}"
        pieces = _pieces(lines)
        grounds = [place for symbol, place in tips if symbol.kind == "ground"]
        loose = [piece for piece in pieces if not any(_is_on(place, line) for place in grounds for line in piece)]
        if (loose and grounds) or (not grounds and len(pieces) > 1):
            yield f"the wires of {node} do not hang together: {[piece[0][0] for piece in pieces]}"
    for node, wire in ((node, wire) for node, found in layout.wires.items() for wire in found):
        for symbol, other, place in ends:
            if other != node and _is_on(place, wire):
                yield f"a wire of {node} touches {symbol.name!r} at its end on {other}"
    for (_, first, place), (_, second, beside) in itertools.combinations(ends, 2):
        if first != second and _same(place, beside):
            yield f"ends of {first} and {second} touch at {place}"


def _pieces(lines: list[Wire]) -> list[list[Wire]]:
    """The lines in groups that hang together."""
    pieces: list[list[Wire]] = []
    for line in lines:
        joined = [
            piece
            for piece in pieces
            if any(_is_on(a, other) or _is_on(b, line) for other in piece for a in line for b in other)
        ]
        pieces = [piece for piece in pieces if piece not in joined]
        pieces.append([line, *itertools.chain.from_iterable(joined)])
    return pieces


def rounded(point: Point) -> Point:
    """A point such that what lies at one place compares equal."""
    return round(point[0], 6), round(point[1], 6)


def _same(one: Point, other: Point) -> bool:
    return abs(one[0] - other[0]) < 1e-6 and abs(one[1] - other[1]) < 1e-6


def _is_end(point: Point, wire: Wire) -> bool:
    return _same(point, wire[0]) or _same(point, wire[1])


def _is_on(point: Point, wire: Wire) -> bool:
    """Whether a point lies on a level or upright wire, its ends included."""
    (x, y), (first_x, first_y), (second_x, second_y) = point, *wire
    along = min(first_x, second_x) - 1e-6 <= x <= max(first_x, second_x) + 1e-6
    return along and min(first_y, second_y) - 1e-6 <= y <= max(first_y, second_y) + 1e-6


def _is_slanting(wire: Wire) -> bool:
    return abs(wire[0][0] - wire[1][0]) > _TOUCH and abs(wire[0][1] - wire[1][1]) > _TOUCH


def _on(first: Wire, second: Wire) -> bool:
    """Whether two level or upright wires share more than a point."""
    for axis in (0, 1):
        across = 1 - axis
        beside = abs(first[0][across] - second[0][across]) < _TOUCH
        if beside and all(abs(wire[0][across] - wire[1][across]) < _TOUCH for wire in (first, second)):
            (a, b), (c, d) = (sorted((wire[0][axis], wire[1][axis])) for wire in (first, second))
            if min(b, d) - max(a, c) > _TOUCH:
                return True
    return False


def _overlap(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _through(wire: Wire, box: Box) -> bool:
    """Whether a wire runs through the inside of a box."""
    (left, right), (bottom, top) = (sorted((wire[0][axis], wire[1][axis])) for axis in (0, 1))
    return left < box[2] - _TOUCH and right > box[0] + _TOUCH and bottom < box[3] - _TOUCH and top > box[1] + _TOUCH
