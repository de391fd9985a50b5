"""A circuit laid out as drawn by hand: a table says where each part stands and how each node's wires run.

The table (`Plan`) is data; this module puts the symbols of a circuit into their places and checks the outcome by
`diagram_geometry.faults`. Parts that a design may leave out (antenna, trimmer, load, ...) leave their place empty, and
the wires that led only there go with them. A circuit whose parts or nodes are others fits no plan.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from typing import Final, Literal

from models.quick_dataclass import dataclass
from synth.analysis.diagram_geometry import (
    BESIDE,
    LINE,
    Layout,
    Placed,
    Point,
    Symbol,
    Text,
    Wire,
    crowding,
    faults,
    rounded,
)

OPTIONAL: Final = frozenset(
    ("antenna", "antenna inductor", "trimmer", "board stray", "tank capacitor", "coupling capacitor")
    + ("output resistor", "load resistance", "load capacitance")
)
"""Parts that a circuit of a plan may be without."""
LONGEST: Final = 10
"""Characters of a line of a label, before it is broken at a blank."""
SIZES: Final = (1.0, 0.9, 0.8, 0.7)
"""Of the type, tried one after the other."""
ABOVE: Final = 0.5
"""From the middle of a body that lies to the label above or below it."""


@dataclass(frozen=True, slots=True)
class At:
    """Where a part stands: the middle of its body (or the point of its node), where its top end points, and on which
    side its label stands ("right", "left", "above", "below").
    """

    x: float
    y: float
    facing: str = "up"
    label: str = ""


@dataclass(frozen=True, slots=True)
class Plan:
    """A drawing: the places of parts by name, the wires of each node as lists of corners "x,y x,y ...", and the ground
    symbols. Points: where each node's test point lies, and on which side of it its text ("ne", "nw", "se", "sw", "e",
    "w"; "ne+" clears a body that lies on the same wire).
    """

    parts: Mapping[str, At]
    wires: Mapping[str, str]
    points: Mapping[str, tuple[float, float, str]]
    grounds: tuple[Point, ...] = field(default=((0.0, 0.0),))


def planned(symbols: Sequence[Symbol], plan: Plan) -> Layout | None:
    """The symbols in the places of a plan; None where a part has no place, or a wire would not join what it should.

    Where values are so long that texts would lie on each other, the type is smaller.
    """
    named = by_name(symbols)
    texts = [symbol for symbol in symbols if symbol.kind == "text"]
    if named is None or mismatch(named, plan) != ((), ()):
        return None
    if not all(symbol.ends["rail"] in plan.points for symbol in texts):
        return None
    placed = [_placed(named[name], place) for name, place in plan.parts.items() if name in named]
    placed += [_test_point(symbol, *plan.points[symbol.ends["rail"]]) for symbol in texts]
    ground = next((symbol for symbol in symbols if symbol.kind == "ground"), None)
    if ground is not None:
        placed += [Placed(ground, place) for place in plan.grounds]
    wires = {node: _wires(corners) for node, corners in plan.wires.items()}
    if "antenna" in named and "antenna inductor" not in named:  # a wire in its place, all of it one node
        node = named["antenna"].ends["rail"]
        stand_in = _placed(Symbol("", (), {"top": node, "bottom": node}), plan.parts["antenna inductor"])
        (_, first), (_, second) = stand_in.tips
        wires[node] = [*wires.get(node, []), (first, second), *wires.pop("antenna", [])]
    layout = Layout(tuple(placed), {node: tuple(kept) for node, kept in _without_ends(wires, placed).items() if kept})
    if faults(layout):
        return None
    sized = (_in_type(layout, size) for size in SIZES)
    return next((one for one in sized if not crowding(one)), _in_type(layout, SIZES[-1]))


def _in_type(layout: Layout, size: float) -> Layout:
    """The same with its texts in another size."""
    placed = (replace(one, label=one.label and replace(one.label, size=size)) for one in layout.placed)
    return replace(layout, placed=tuple(placed))


def by_name(symbols: Sequence[Symbol]) -> dict[str, Symbol] | None:
    """The parts by their names, the supply by its kind; None where two have the same."""
    parts = [symbol for symbol in symbols if symbol.kind not in ("text", "ground")]
    named = {"supply" if part.kind == "supply" else part.name: part for part in parts}
    return named if len(named) == len(parts) else None


def mismatch(names: Mapping[str, object], plan: Plan) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names that have no place in a plan, and places of it that no name has."""
    extra = tuple(name for name in names if name not in plan.parts)
    return extra, tuple(name for name in plan.parts if name not in names and name not in OPTIONAL)


def _placed(symbol: Symbol, place: At) -> Placed:
    """A symbol where it stands, with its label beside it."""
    middle = (place.x, place.y)
    if "rail" in symbol.ends:
        return Placed(symbol, middle, "up", _beside((place.x, place.y + 0.55), _broken(symbol.label), "right", BESIDE))
    upright = place.facing in ("up", "down")
    away = BESIDE if upright else ABOVE
    if symbol.kind == "inverter":  # wires leave it on all sides
        return Placed(symbol, middle, place.facing, Text(symbol.label, (place.x + BESIDE, place.y + 0.75)))
    if upright and "right" in symbol.ends and place.label != "left":
        away = 1.2
    label = place.label or ("right" if upright else "above")
    return Placed(symbol, middle, place.facing, _beside(middle, _broken(symbol.label), label, away))


def _beside(place: Point, lines: tuple[str, ...], side: str, away: float) -> Text:
    """Lines to one side of a point."""
    x, y = place
    high = away + 0.5 * LINE * len(lines)
    places: dict[str, tuple[float, float, Literal["left", "center", "right"]]] = {
        "right": (x + away, y, "left"),
        "left": (x - away, y, "right"),
        "above": (x, y + high, "center"),
        "below": (x, y - high, "center"),
    }
    across, up, align = places[side]
    return Text(lines, (across, up), align)


def _test_point(symbol: Symbol, x: float, y: float, side: str) -> Placed:
    """The open dot of a node with what to read there, in short lines."""
    name, *readings = symbol.label
    lines = (*_broken((name,), 18), *(piece for line in readings for piece in line.split(", ")))
    half = 0.5 * LINE * len(lines) + (ABOVE if side.endswith("+") else 0.12)
    up = {"n": half, "s": -half}.get(side[0], 0.0)
    away = 0.12 if up else BESIDE
    east = "e" in side
    place = x + away if east else x - away, y + up
    return Placed(symbol, (x, y), "up", Text(lines, place, "left" if east else "right"))


def _broken(lines: Sequence[str], longest: int = LONGEST) -> tuple[str, ...]:
    """Lines no longer than they need be: a long one in two or more of about one length."""
    found: list[str] = []
    for line in lines:
        gaps = [place for place, one in enumerate(line) if one == " "]
        if len(line) <= longest or not gaps:
            found.append(line)
            continue
        gap = min(gaps, key=lambda place: max(place, len(line) - place - 1))
        found += _broken((line[:gap], line[gap + 1 :]), longest)
    return tuple(found)


def _wires(corners: str) -> list[Wire]:
    """The wires of a node: lists of corners "x,y x,y ..." with semicolons between them."""
    found: list[Wire] = []
    for line in filter(None, map(str.strip, corners.split(";"))):
        points = [rounded((float(x), float(y))) for x, y in (point.split(",") for point in line.split())]
        found += zip(points[:-1], points[1:], strict=True)
    return found


def _without_ends(wires: Mapping[str, list[Wire]], placed: Sequence[Placed]) -> dict[str, list[Wire]]:
    """The wires cut back to where they join something: what led to a part that is absent goes with it."""
    kept: dict[str, list[Wire]] = {}
    for node, lines in wires.items():
        tips = [tip for one in placed for at, tip in one.tips if at == node]
        kept[node] = _cut_back(lines, tips)
    return kept


def _cut_back(lines: list[Wire], tips: list[Point]) -> list[Wire]:
    """Lines without the pieces that lead nowhere."""
    pieces = [piece for line in lines for piece in _split(line, [*tips, *(point for one in lines for point in one)])]
    while True:
        ends = [point for piece in pieces for point in piece]
        loose = [piece for piece in pieces if any(ends.count(point) == 1 and point not in tips for point in piece)]
        if not loose:
            break
        pieces = [piece for piece in pieces if piece not in loose]
    return _joined(pieces)


def _split(line: Wire, points: Sequence[Point]) -> list[Wire]:
    """A line cut at those of the points that lie on it."""
    axis = 0 if line[0][0] != line[1][0] else 1
    low, high = sorted(line, key=lambda point: point[axis])
    on = [point for point in points if point[1 - axis] == low[1 - axis] and low[axis] < point[axis] < high[axis]]
    stops = sorted({low, high, *on}, key=lambda point: point[axis])
    return list(zip(stops[:-1], stops[1:], strict=True))


def _joined(pieces: list[Wire]) -> list[Wire]:
    """Pieces that follow each other in one line as one."""
    found: list[Wire] = []
    for axis in (0, 1):
        along = [piece for piece in pieces if (0 if piece[0][0] != piece[1][0] else 1) == axis]
        for piece in sorted(along, key=lambda one: (one[0][1 - axis], one[0][axis])):
            if found and found[-1][1] == piece[0] and found[-1][0][1 - axis] == piece[1][1 - axis]:
                found[-1] = (found[-1][0], piece[1])
            else:
                found.append(piece)
    return found
