"""Where the parts of a circuit diagram stand: every node a level rail, every part a column between its rails.

Rails lie one below the other, the supply's on top and ground's at the bottom. The body of a part lies in the gap
between two neighbouring rails, so that no rail runs through it; every wire that leaves a part has a column to itself,
so that no two wires lie on each other, whatever the circuit. Where a wire ends on a rail there is a dot; wires that
only cross are not joined. Which column comes where is searched so that rails are short and few wires cross.
Lengths are units of the drawing; x grows to the right, y upwards.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

GAP = 3.4
"""Between two rails."""
BODY = 2.0
"""Height of the body of a part."""
STUB = 0.9
"""From a body to the column of a wire that leaves it sideways."""
SPARE = 0.7
"""Between a text and what follows."""
CHARACTER = 0.186
"""Width of a character of a label."""
PASSES = 12
"""Rounds of the search, at most: it ends before, where nothing is better."""
CROSSING, TURNED, COLUMN = 2.0, 3.0, 3.0
"""What a crossing, a device upside down and a column cost, in columns of a rail's length."""

Point = tuple[float, float]
Wire = tuple[Point, Point]


@dataclass(frozen=True, slots=True)
class Symbol:
    """What is drawn for a part: its kind, the lines of its label, and the node at each of its ends.

    ends: by the side of the body at which they leave: "top", "bottom", "left", "right"; two parts of the body may have
    "top" and "bottom" exchanged where their rails lie the other way round (`turned` in the layout). A symbol with the
    end "rail" alone stands on its rail: an antenna, a supply, a text.
    """

    kind: str
    label: tuple[str, ...]
    ends: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Placed:
    """A symbol in its place: the middle of its body, whether its top end points down, and its wires."""

    symbol: Symbol
    centre: Point
    turned: bool
    wires: tuple[Wire, ...]
    dots: tuple[Point, ...]

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, bottom, right and top of the body."""
        x, y = self.centre
        return x - 0.45, y - BODY / 2.0, x + 0.45, y + BODY / 2.0

    @property
    def label_place(self) -> Point:
        """The left end of the middle of the label."""
        x, y = self.centre
        return x + (0.6 if "right" not in self.symbol.ends else STUB + 0.75), y


@dataclass(frozen=True, slots=True)
class Layout:
    """Symbols in their places, and the rail of each node: its name, its two ends."""

    placed: tuple[Placed, ...]
    rails: Mapping[str, Wire]
    width: float

    @property
    def junctions(self) -> set[Point]:
        """Where three or more wires meet, which a dot shows."""
        meeting: dict[Point, int] = {}
        for one in self.placed:
            for node, dot in zip(one.symbol.ends.values(), one.dots, strict=True):
                (left, _), (right, _) = self.rails[node]
                passing = (left < dot[0]) + (dot[0] < right) if dot not in meeting else 0
                meeting[dot] = meeting.get(dot, 0) + passing + (one.symbol.kind != "text")
        return {dot for dot, count in meeting.items() if count > 2}

    @property
    def wires(self) -> Iterator[Wire]:
        """Every wire, rails included."""
        yield from self.rails.values()
        for symbol in self.placed:
            yield from symbol.wires


def lay_out(symbols: Sequence[Symbol], nodes: Sequence[str]) -> Layout:
    """Place the symbols of a circuit; `nodes` from the top rail to the bottom one.

    Raises ValueError for a symbol at a node that is not among them.
    """
    for symbol in symbols:
        for node in symbol.ends.values():
            if node not in nodes:
                raise ValueError(f"{symbol.label}: the node {node!r} has no rail")
    return _Order(tuple(symbols), _Rails(tuple((node,) for node in nodes))).searched().layout


@dataclass(frozen=True, slots=True)
class _Reach:
    """The highest and the lowest rail of a symbol, the nodes that pass between them, and whether a device is turned."""

    top: int
    bottom: int
    passing: tuple[str, ...]
    turned: bool


class _Rails:
    """Nodes level by level, and how far each symbol then reaches: worked out once for all orders of the symbols."""

    def __init__(self, nodes: tuple[tuple[str, ...], ...]) -> None:
        self.nodes = nodes
        self.level = {node: place for place, level in enumerate(nodes) for node in level}
        self._reaches: dict[int, _Reach] = {}

    def reach(self, symbol: Symbol) -> _Reach:
        """How far a symbol reaches; one that stands on a rail takes the gap above it."""
        found = self._reaches.get(id(symbol))
        if found is None:
            ends = symbol.ends
            levels = [self.level[node] for node in ends.values()]
            top, bottom = (levels[0] - 1, levels[0]) if "rail" in ends else (min(levels), max(levels))
            between = (node for level in self.nodes[top + 1 : bottom] for node in level)
            passing = tuple(node for node in between if node not in ends.values())
            device = "top" in ends and len(ends) > 2
            found = _Reach(top, bottom, passing, device and self.level[ends["top"]] > self.level[ends["bottom"]])
            self._reaches[id(symbol)] = found
        return found


@dataclass(frozen=True, eq=False)
class _Order:
    """Symbols in their order and the rails; the columns they make, what that costs, what it looks like.

    A symbol stands in the column of the one before it where their rails leave room for both.
    """

    symbols: tuple[Symbol, ...]
    rails: _Rails

    @cached_property
    def columns(self) -> list[list[Symbol]]:
        columns: list[list[Symbol]] = []
        taken: list[_Reach] = []
        for symbol in self.symbols:
            reach = self.rails.reach(symbol)
            top, bottom = reach.top, reach.bottom
            for other in taken:
                if top < other.bottom and bottom > other.top:
                    taken = []
                    break
            if not taken:
                columns.append([])
            columns[-1].append(symbol)
            taken.append(reach)
        return columns

    @cached_property
    def spans(self) -> dict[str, tuple[int, int]]:
        """The first and the last column of every rail."""
        spans: dict[str, tuple[int, int]] = {}
        for place, column in enumerate(self.columns):
            for symbol in column:
                for node in symbol.ends.values():
                    spans[node] = (spans[node][0] if node in spans else place), place
        return spans

    @cached_property
    def cost(self) -> float:
        """Width and length of all rails, in columns, and what crossings and turned devices add."""
        spans = self.spans
        length = float(sum(last - first for first, last in spans.values()))
        crossings = turned = 0
        for place, column in enumerate(self.columns):
            for symbol in column:
                reach = self.rails.reach(symbol)
                turned += reach.turned
                for node in reach.passing:
                    if node in spans:
                        first, last = spans[node]
                        crossings += first <= place <= last
        return length + CROSSING * crossings + TURNED * turned + COLUMN * len(self.columns)

    def searched(self) -> _Order:
        """The best order that moving one symbol, or one inner rail, at a time leads to."""
        best = self
        for _ in range(PASSES):
            before = best
            for symbol in best.symbols:
                best = min((best, *best._with_symbol_moved(symbol)), key=lambda order: order.cost)
            for level in best.rails.nodes[1:-1]:
                best = min((best, *best._with_rail_moved(level)), key=lambda order: order.cost)
            if best is before:
                break
        return best._compacted()

    def _compacted(self) -> _Order:
        """The same with neighbouring rails at one height, where they lie beside each other."""
        order, place = self, 0
        while place < len(order.rails.nodes) - 1:
            nodes = order.rails.nodes
            above, below = nodes[place : place + 2]
            joined = _Order(order.symbols, _Rails((*nodes[:place], above + below, *nodes[place + 2 :])))
            if joined._rails_are_apart(place) and joined.cost <= order.cost:
                order = joined
            else:
                place += 1
        return order

    def _rails_are_apart(self, place: int) -> bool:
        """Whether no two rails of a level share a column, and no symbol stands between two of them."""
        taken = sorted(self.spans[node] for node in self.rails.nodes[place])
        if any(later[0] <= before[1] for before, later in itertools.pairwise(taken)):
            return False
        level = set(self.rails.nodes[place])
        return all(len(level & set(symbol.ends.values())) < 2 for symbol in self.symbols)

    def _with_symbol_moved(self, symbol: Symbol) -> Iterator[_Order]:
        rest = [other for other in self.symbols if other is not symbol]
        for place in range(len(rest) + 1):
            yield _Order((*rest[:place], symbol, *rest[place:]), self.rails)

    def _with_rail_moved(self, level: tuple[str, ...]) -> Iterator[_Order]:
        rest = [other for other in self.rails.nodes if other != level]
        for place in range(1, len(rest)):
            yield _Order(self.symbols, _Rails((*rest[:place], level, *rest[place:])))

    @property
    def layout(self) -> Layout:
        """The symbols in their places."""
        heights = {node: -GAP * place for node, place in self.rails.level.items()}
        placed, left = [], 0.0
        for column in self.columns:
            middle = left + max(map(_left_of, column))
            placed += [_placed(symbol, middle, heights) for symbol in column]
            left = middle + max(_right_of(symbol) + _detours(symbol, heights) for symbol in column)
        ends: dict[str, list[float]] = {node: [] for node in self.rails.level}
        for one in placed:
            for node, (x, _) in zip(one.symbol.ends.values(), one.dots, strict=True):
                ends[node].append(x)
        rails = {node: ((min(xs), heights[node]), (max(xs), heights[node])) for node, xs in ends.items() if xs}
        return Layout(tuple(placed), rails, left)


def _left_of(symbol: Symbol) -> float:
    """Room to the left of the middle of the body."""
    return STUB + 0.5 if "left" in symbol.ends else 0.5


def _right_of(symbol: Symbol) -> float:
    """Room to the right of it, with the label."""
    text = CHARACTER * max((len(line) for line in symbol.label), default=0)
    if symbol.kind == "text":
        return text + SPARE
    return (STUB + 0.75 if "right" in symbol.ends else 0.6) + text + SPARE


def _ends_of_body(symbol: Symbol, heights: Mapping[str, float]) -> tuple[float, bool]:
    """Where the middle of the body lies, and whether it is turned: in a gap between its rails, if they have one."""
    if "rail" in symbol.ends:
        return heights[symbol.ends["rail"]] + GAP / 2.0, False
    high, low = heights[symbol.ends["top"]], heights[symbol.ends["bottom"]]
    turned = low > high
    upper, lower = max(high, low), min(high, low)
    gaps = max(1, round((upper - lower) / GAP))
    beside = [heights[symbol.ends[side]] for side in ("left", "right") if side in symbol.ends]
    middles = [upper - GAP * (place + 0.5) for place in range(gaps)]
    aim = sum(beside) / len(beside) if beside else 0.5 * (upper + lower)
    return min(middles, key=lambda middle: (abs(middle - aim), middle)), turned


def _detours(symbol: Symbol, heights: Mapping[str, float]) -> float:
    """Room for the columns of ends whose rail lies on the other side of the body."""
    middle, turned = _ends_of_body(symbol, heights)
    return STUB * sum(1 for side in ("top", "bottom") if _leads_back(symbol, side, middle, turned, heights))


def _leads_back(symbol: Symbol, side: str, middle: float, turned: bool, heights: Mapping[str, float]) -> bool:
    """Whether the wire of an end must lead round the body to its rail."""
    if side not in symbol.ends:
        return False
    points_up = (side == "top") != turned
    return (heights[symbol.ends[side]] > middle) != points_up


def _placed(symbol: Symbol, x: float, heights: Mapping[str, float]) -> Placed:
    middle, turned = _ends_of_body(symbol, heights)
    if "rail" in symbol.ends:
        y = heights[symbol.ends["rail"]]
        wires: tuple[Wire, ...] = () if symbol.kind in ("text", "ground") else (((x, y), (x, y + 0.7)),)
        return Placed(symbol, (x, middle), False, wires, ((x, y),))
    aside = x + _right_of(symbol)
    found: list[Wire] = []
    dots: list[Point] = []
    for side, node in symbol.ends.items():
        rail = heights[node]
        if side in ("left", "right"):
            column = x - STUB if side == "left" else x + STUB
            edge = x - 0.45 if side == "left" else x + 0.45
            found += [((column, middle), (edge, middle)), ((column, middle), (column, rail))]
        else:
            column = x
            tip = middle + BODY / 2.0 * (1.0 if (side == "top") != turned else -1.0)
            if _leads_back(symbol, side, middle, turned, heights):
                column, aside = aside, aside + STUB
                found += [((x, tip), (column, tip)), ((column, tip), (column, rail))]
            else:
                found.append(((x, tip), (x, rail)))
        dots.append((column, rail))
    return Placed(symbol, (x, middle), turned, tuple(found), tuple(dots))


def faults(layout: Layout) -> list[str]:
    """What is wrong with a layout: wires on each other, or through the body of a part; none if all is well."""
    found = []
    wires = [wire for wire in layout.wires if wire[0] != wire[1]]
    for place, first in enumerate(wires):
        found += [f"wires on each other: {first} and {second}" for second in wires[place + 1 :] if _on(first, second)]
    for one in layout.placed:
        if "rail" not in one.symbol.ends:
            found += [f"a wire through {one.symbol.label}: {wire}" for wire in wires if _through(wire, one.box)]
    return found


def _on(first: Wire, second: Wire) -> bool:
    """Whether two level or upright wires share more than a point."""
    for axis in (0, 1):
        across = 1 - axis
        lines = [wire for wire in (first, second) if wire[0][across] == wire[1][across]]
        if len(lines) == 2 and abs(first[0][across] - second[0][across]) < 1e-9:
            (a, b), (c, d) = (sorted((wire[0][axis], wire[1][axis])) for wire in (first, second))
            if min(b, d) - max(a, c) > 1e-9:
                return True
    return False


def _through(wire: Wire, box: tuple[float, float, float, float]) -> bool:
    """Whether a wire runs through the inside of a box."""
    (left, right), (bottom, top) = (sorted((wire[0][axis], wire[1][axis])) for axis in (0, 1))
    return left < box[2] - 1e-9 and right > box[0] + 1e-9 and bottom < box[3] - 1e-9 and top > box[1] + 1e-9
