"""The plain layout of any circuit: every node a level rail, every part a column between its rails.

Rails lie one below the other, the supply's on top and ground's at the bottom. The body of a part lies in the gap
between two neighbouring rails, so that no rail runs through it; every wire that leaves a part has a column to itself,
so that no two wires lie on each other, whatever the circuit. Where a wire ends on a rail there is a dot; wires that
only cross are not joined. Which column comes where is searched so that rails are short and few wires cross.
Two ends of a body may be exchanged, its top end pointing down, where their rails lie the other way round.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property

from models.quick_dataclass import dataclass
from synth.analysis.diagram_geometry import BESIDE, LINE, REACH, Layout, Placed, Point, Symbol, Text, Wire, text_width

GAP = 3.4
"""Between two rails."""
STUB = REACH
"""From a body to the column of a wire that leaves it sideways, or that leads round it."""
SPARE = 0.7
"""Between a text and what follows."""
PASSES = 12
"""Rounds of the search, at most: it ends before, where nothing is better."""
CROSSING, TURNED, COLUMN = 2.0, 3.0, 3.0
"""What a crossing, a device upside down and a column cost, in columns of a rail's length."""


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
        placed: list[Placed] = []
        columns: dict[str, list[Wire]] = {node: [] for node in heights}
        dots: dict[str, list[float]] = {node: [] for node in heights}
        left = 0.0
        for column in self.columns:
            middle = left + max(map(_left_of, column))
            for symbol in column:
                one, ways = _placed(symbol, middle, heights)
                placed.append(one)
                for node, (x, _), found in ways:
                    dots[node].append(x)
                    columns[node] += found
            left = middle + max(_right_of(symbol) + _detours(symbol, heights) for symbol in column)
        wires: dict[str, tuple[Wire, ...]] = {}
        for node, xs in dots.items():
            if len(xs) > 1:
                rail = ((min(xs), heights[node]), (max(xs), heights[node]))
                wires[node] = tuple(wire for wire in (rail, *columns[node]) if wire[0] != wire[1])
        return Layout(tuple(placed), wires)


def _left_of(symbol: Symbol) -> float:
    """Room to the left of the middle of the body."""
    return STUB + 0.5 if "left" in symbol.ends else 0.5


def _right_of(symbol: Symbol) -> float:
    """Room to the right of it, with the label."""
    text = text_width(symbol.label)
    if symbol.kind == "text":
        return text + SPARE
    return (STUB + 0.2 if "right" in symbol.ends else BESIDE) + text + SPARE


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
    if side not in symbol.ends or side in ("left", "right"):
        return False
    points_up = (side == "top") != turned
    return (heights[symbol.ends[side]] > middle) != points_up


def _placed(
    symbol: Symbol, x: float, heights: Mapping[str, float]
) -> tuple[Placed, list[tuple[str, Point, tuple[Wire, ...]]]]:
    """A symbol in its place, and for each of its ends the node, where it meets the rail, and the wires to there."""
    middle, turned = _ends_of_body(symbol, heights)
    if "rail" in symbol.ends:
        node = symbol.ends["rail"]
        y = heights[node]
        if symbol.kind == "text":
            label = Text(symbol.label, (x - 0.1, y + 0.12 + 0.5 * LINE * len(symbol.label)))
            return Placed(symbol, (x, y), "up", label), [(node, (x, y), ())]
        if symbol.kind == "ground":
            return Placed(symbol, (x, y)), [(node, (x, y), ())]
        foot = (x, y + 0.7)
        one = Placed(symbol, foot, "up", Text(symbol.label, (x + BESIDE, y + 1.2)))
        return one, [(node, (x, y), (((x, y), foot),))]
    beside = x + (STUB + 0.2 if "right" in symbol.ends else BESIDE)
    one = Placed(symbol, (x, middle), "down" if turned else "up", Text(symbol.label, (beside, middle)))
    aside = x + _right_of(symbol)
    ways: list[tuple[str, Point, tuple[Wire, ...]]] = []
    for (side, node), (_, tip) in zip(symbol.ends.items(), one.tips, strict=True):
        rail, column = heights[node], tip[0]
        wires: tuple[Wire, ...] = ()
        if _leads_back(symbol, side, middle, turned, heights):
            column, aside = aside, aside + STUB
            wires = ((tip, (column, tip[1])),)
        ways.append((node, (column, rail), (*wires, ((column, tip[1]), (column, rail)))))
    return one, ways
