"""Hand, wrist and arm seen from above as one smooth outline, of the true sizes of hand and arm.

The computed hand and arm end 4 mm apart (`models.hand.meshes.WRIST_CLEARANCE`), at one potential. The drawing closes
that gap by a wrist: a curve from the sides of the hand to the sides of the arm, which takes nothing away from either.
Points are (distance, side) as in `synth.window.hand_outline`.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Final

from models.hand import meshes
from models.hand.scene import Posture
from synth.window.hand_outline import Point, cuff, hand_half_width, hand_length, hand_outline, shoulder, wrist

#: Where the wrist's curve leaves the hand, as a share of the hand's length.
WRIST_BEGINS: Final[dict[Posture, float]] = {"open": 0.72, "fist": 0.66}
HEEL_BEGINS: Final = 0.93  # of the hand's length: the drawn part of its back end, as a crease
_CURVE_STEPS: Final = 14
_SLEEVE: Final = 0.06  # m from the end of the arm's axis to the edge of the sleeve
_FILLET: Final = 0.03  # m the curve runs beside the arm where the arm comes square to the hand


@dataclass(frozen=True, slots=True)
class Figure:
    """`skin` runs from one end of the cuff round the hand to the other, `sleeve` back round the arm.

    `cuff` closes both. `heel` is the back end of the computed hand, a line within the skin.
    """

    skin: tuple[Point, ...]
    sleeve: tuple[Point, ...]
    cuff: tuple[Point, ...]
    heel: tuple[Point, ...]

    @property
    def whole(self) -> tuple[Point, ...]:
        """The one closed outline of hand, wrist and arm."""
        return self.skin + self.sleeve


@functools.lru_cache(maxsize=4)
def figure(posture: Posture, distance: float, stand_distance: float, rod_diameter: float) -> Figure:
    """The player's hand at `distance`, m, with its arm from the fixed shoulder."""
    start, end = shoulder(stand_distance, rod_diameter), wrist(posture, distance)
    radius = meshes.ARM_RADIUS
    length = math.hypot(start[0] - end[0], start[1] - end[1])
    along = (start[0] - end[0]) / length, (start[1] - end[1]) / length
    outer = -along[1], along[0]  # from the arm's axis to its side away from the body

    def on_side(side: float, back: float) -> Point:
        return (
            end[0] + side * radius * outer[0] + back * along[0],
            end[1] + side * radius * outer[1] + back * along[1],
        )

    front, heel = _parted(posture, distance)
    back = _joint(posture, along, on_side(-1.0, 0.0)[1])
    inner = _curve(front[0], _away_from(front[0], front[1]), on_side(-1.0, back), along)
    ball = _turned(end, radius, outer)
    outside = _curve(front[-1], _away_from(front[-1], front[-2]), ball[0], (1.0, 0.0))
    edge = cuff(start, end, max(_SLEEVE, back + 0.02))
    skin = (edge[0], *reversed(inner), *front[1:-1], *outside, *ball[1:], edge[-1])
    turn = math.atan2(outer[1], outer[0])
    cap = tuple(
        (start[0] + radius * math.cos(angle), start[1] + radius * math.sin(angle))
        for angle in (turn - math.pi * number / 24 for number in range(25))
    )
    return Figure(skin, cap, edge, heel)


def _parted(posture: Posture, distance: float) -> tuple[tuple[Point, ...], tuple[Point, ...]]:
    """The hand's outline before the wrist, from the body's side round the tip; and its back end."""
    outline = hand_outline(posture)
    limit = WRIST_BEGINS[posture] * hand_length(posture)
    count = len(outline)
    last = max(number for number in range(count // 2) if outline[number][0] <= limit)
    order = [*range(count - last, count), *range(last + 1)]
    crease = HEEL_BEGINS * hand_length(posture)
    rest = [number for number in range(count) if outline[number][0] >= crease]
    moved = [(distance + along, side) for along, side in outline]
    return tuple(moved[number] for number in order), tuple(moved[number] for number in rest)


def _joint(posture: Posture, along: Point, side: float) -> float:
    """How far along the arm's inner side, m, the wrist's curve joins it: clear of the hand's own side."""
    clear = -(0.8 * hand_half_width(posture) + _FILLET * abs(along[1]))
    return max(0.0, (side - clear) / abs(along[1])) if along[1] < 0.0 else 0.0


def _turned(center: Point, radius: float, outer: Point) -> tuple[Point, ...]:
    """The arm's round end from its point farthest from the body to where its straight side begins."""
    first, last = 0.5 * math.pi, math.atan2(outer[1], outer[0])
    turns = [first + (last - first) * number / 12 for number in range(13)]
    return tuple((center[0] + radius * math.cos(turn), center[1] + radius * math.sin(turn)) for turn in turns)


def _away_from(point: Point, before: Point) -> Point:
    """Unit direction from `before` to `point`."""
    length = math.hypot(point[0] - before[0], point[1] - before[1])
    return (point[0] - before[0]) / length, (point[1] - before[1]) / length


def _curve(start: Point, first: Point, end: Point, last: Point) -> tuple[Point, ...]:
    """A cubic Bezier curve from `start` in the direction `first` to `end` in the direction `last`."""
    reach = 0.42 * math.hypot(end[0] - start[0], end[1] - start[1])
    one = start[0] + reach * first[0], start[1] + reach * first[1]
    two = end[0] - reach * last[0], end[1] - reach * last[1]
    points = []
    for number in range(_CURVE_STEPS + 1):
        share = number / _CURVE_STEPS
        rest = 1.0 - share
        weights = rest**3, 3.0 * rest**2 * share, 3.0 * rest * share**2, share**3
        points.append(
            (
                weights[0] * start[0] + weights[1] * one[0] + weights[2] * two[0] + weights[3] * end[0],
                weights[0] * start[1] + weights[1] * one[1] + weights[2] * two[1] + weights[3] * end[1],
            )
        )
    return tuple(points)
