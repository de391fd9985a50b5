"""Hand, arm and body seen from above, metres from the rod's surface: the shapes the capacitance is computed for.

Points are (distance, side): `distance` from the rod's surface along the hand's line, `side` across it, negative towards
the player's body (as y in `models.hand.scene`). The computed hand and arm end 4 mm apart
(`models.hand.meshes.WRIST_CLEARANCE`), at one potential. The drawing closes that gap by a wrist: a curve from the sides
of the hand to the sides of the arm, which takes nothing away from either.
"""

from __future__ import annotations

import cmath
import functools
import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from models.hand import meshes
from models.hand.scene import Posture

Point = tuple[float, float]
_CORNERS = 48


@functools.cache
def hand_outline(posture: Posture) -> tuple[Point, ...]:
    """Outline of the hand with its foremost point at (0, 0): |X|^p + |Y|^p = 1 in units of the half sizes.

    This is the cut of the surface in `models.hand.meshes.hand` at its middle height, which is its widest.
    """
    half_length, half_width, _ = meshes.HAND_HALF_SIZES[posture]
    power = 2.0 / meshes.HAND_FULLNESS[posture]
    points = []
    for number in range(_CORNERS):
        angle = 2.0 * math.pi * number / _CORNERS
        along, across = -math.cos(angle), math.sin(angle)
        points.append((half_length * (1.0 + _powered(along, power)), half_width * _powered(across, power)))
    return tuple(points)


def hand_length(posture: Posture) -> float:
    """From the foremost point to the back of the hand, m."""
    return 2.0 * meshes.HAND_HALF_SIZES[posture][0]


def hand_half_width(posture: Posture) -> float:
    """Half the hand's width seen from above, m."""
    return meshes.HAND_HALF_SIZES[posture][1]


def creases(posture: Posture) -> tuple[tuple[Point, ...], ...]:
    """Lines within the hand that tell its postures apart: the thumb on an open hand, three knuckle gaps on a fist."""
    if posture == "fist":
        gaps = ((-0.020, 0.013), (0.0, 0.007), (0.020, 0.013))
        return tuple(((front, side), (front + 0.022, 0.92 * side)) for side, front in gaps)
    turns = [math.pi * (0.5 + number / 12) for number in range(13)]
    tip = [(0.078 + 0.007 * math.cos(turn), 0.006 * math.sin(turn)) for turn in turns]
    return (((0.150, 0.0075), *tip, (0.150, -0.0075)),)


def wrist(posture: Posture, distance: float) -> Point:
    """The moving end of the arm's axis with the hand at `distance`, m."""
    return distance + hand_length(posture) + meshes.WRIST_CLEARANCE + meshes.ARM_RADIUS, 0.0


def shoulder(stand_distance: float, rod_diameter: float) -> Point:
    """The fixed end of the arm's axis; `stand_distance`, m, is from the rod's axis to the body's."""
    return stand_distance - 0.5 * rod_diameter, meshes.SHOULDER_SIDE


def cuff(start: Point, end: Point, back: float) -> tuple[Point, ...]:
    """A line across the arm, curved as the edge of a sleeve, `back` m from its wrist `end`."""
    along = _direction(complex(*end), complex(*start))
    turns = [math.pi * number / 12 for number in range(13)]
    return _points(
        complex(*end) + (back - 0.012 * math.sin(turn) - 1j * math.cos(turn) * meshes.ARM_RADIUS) * along
        for turn in turns
    )


def body_outline(stand_distance: float, rod_diameter: float) -> tuple[Point, ...]:
    """The trunk from above, an ellipse."""
    center = stand_distance - 0.5 * rod_diameter, meshes.BODY_SIDE
    deep, wide = meshes.BODY_DEPTH_RATIO * meshes.BODY_HALF_WIDTH, meshes.BODY_HALF_WIDTH
    angles = (2.0 * math.pi * number / _CORNERS for number in range(_CORNERS))
    return tuple((center[0] + deep * math.cos(angle), center[1] + wide * math.sin(angle)) for angle in angles)


def _powered(value: float, power: float) -> float:
    return math.copysign(abs(value) ** power, value)


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


@functools.lru_cache(maxsize=4)
def figure(posture: Posture, distance: float, stand_distance: float, rod_diameter: float) -> Figure:
    """The player's hand at `distance`, m, with its arm from the fixed shoulder."""
    start, end = complex(*shoulder(stand_distance, rod_diameter)), complex(*wrist(posture, distance))
    along, radius = _direction(end, start), meshes.ARM_RADIUS
    outer = 1j * along  # from the arm's axis to its side away from the body
    front, heel = _parted(posture, distance)
    inner_side = end - radius * outer
    back = _joint(posture, along, inner_side.imag)
    inner = _curve(front[0], _direction(front[1], front[0]), inner_side + back * along, along)
    ball = _turned(end, radius, outer)
    outside = _curve(front[-1], _direction(front[-2], front[-1]), ball[0], 1.0 + 0.0j)
    edge = cuff((start.real, start.imag), (end.real, end.imag), max(_SLEEVE, back + 0.02))
    skin = (edge[0], *_points((*reversed(inner), *front[1:-1], *outside, *ball[1:])), edge[-1])
    turn = cmath.phase(outer)
    cap = _points(start + cmath.rect(radius, turn - math.pi * number / 24) for number in range(25))
    return Figure(skin, cap, edge, _points(heel))


def _parted(posture: Posture, distance: float) -> tuple[list[complex], list[complex]]:
    """The hand's outline before the wrist, from the body's side round the tip; and its back end."""
    outline = [complex(*point) for point in hand_outline(posture)]
    limit = WRIST_BEGINS[posture] * hand_length(posture)
    count = len(outline)
    last = max(number for number in range(count // 2) if outline[number].real <= limit)
    order = [*outline[count - last :], *outline[: last + 1]]
    rest = [point for point in outline if point.real >= HEEL_BEGINS * hand_length(posture)]
    return [distance + point for point in order], [distance + point for point in rest]


def _joint(posture: Posture, along: complex, side: float) -> float:
    """How far along the arm's inner side, m, the wrist's curve joins it: clear of the hand's own side."""
    clear = -(0.8 * hand_half_width(posture) + _FILLET * abs(along.imag))
    return max(0.0, (side - clear) / abs(along.imag)) if along.imag < 0.0 else 0.0


def _turned(center: complex, radius: float, outer: complex) -> list[complex]:
    """The arm's round end from its point farthest from the body to where its straight side begins."""
    first, last = 0.5 * math.pi, cmath.phase(outer)
    return [center + cmath.rect(radius, first + (last - first) * number / 12) for number in range(13)]


def _direction(before: complex, point: complex) -> complex:
    """Unit direction from `before` to `point`."""
    return (point - before) / abs(point - before)


def _curve(start: complex, first: complex, end: complex, last: complex) -> list[complex]:
    """A cubic Bezier curve from `start` in the direction `first` to `end` in the direction `last`."""
    reach = 0.42 * abs(end - start)
    one, two = start + reach * first, end - reach * last
    shares = [number / _CURVE_STEPS for number in range(_CURVE_STEPS + 1)]
    return [
        (1.0 - t) ** 3 * start + 3.0 * (1.0 - t) ** 2 * t * one + 3.0 * (1.0 - t) * t**2 * two + t**3 * end
        for t in shares
    ]


def _points(places: Iterable[complex]) -> tuple[Point, ...]:
    return tuple((place.real, place.imag) for place in places)
