"""Hand, arm and body seen from above, metres from the rod's surface: the shapes the capacitance is computed for.

Points are (distance, side): `distance` from the rod's surface along the hand's line, `side` across it, negative towards
the player's body (as y in `models.hand.scene`). The computed hand and arm end 4 mm apart
(`models.hand.meshes.WRIST_CLEARANCE`), at one potential. The drawing shows the arm as a sleeve, round end and all, and
closes the gap by a wrist no wider than the hand, which runs into that sleeve and takes nothing away from either.
"""

from __future__ import annotations

import cmath
import functools
import math
from collections.abc import Iterable, Sequence
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


def arm_outline(start: Point, end: Point) -> tuple[Point, ...]:
    """The arm from its shoulder `start` to its wrist `end`, with round ends, as its shadow from above."""
    turn = cmath.phase(_direction(complex(*start), complex(*end)))
    ends = ((complex(*end), turn), (complex(*start), turn + math.pi))
    return _points(
        middle + cmath.rect(meshes.ARM_RADIUS, way + math.pi * (number / 24 - 0.5))
        for middle, way in ends
        for number in range(25)
    )


def body_outline(stand_distance: float, rod_diameter: float) -> tuple[Point, ...]:
    """The trunk from above, an ellipse."""
    center = stand_distance - 0.5 * rod_diameter, meshes.BODY_SIDE
    deep, wide = meshes.BODY_DEPTH_RATIO * meshes.BODY_HALF_WIDTH, meshes.BODY_HALF_WIDTH
    angles = (2.0 * math.pi * number / _CORNERS for number in range(_CORNERS))
    return tuple((center[0] + deep * math.cos(angle), center[1] + wide * math.sin(angle)) for angle in angles)


def _powered(value: float, power: float) -> float:
    return math.copysign(abs(value) ** power, value)


#: Half the wrist's width, as a share of half the hand's.
WRIST_SHARE: Final[dict[Posture, float]] = {"open": 0.9, "fist": 0.7}
HEEL_BEGINS: Final = 0.93  # of the hand's length: the drawn part of its back end, as a crease
_WRIST_DEPTH: Final = 0.02  # m that the wrist runs into the sleeve, beyond the end of the arm's axis
_CURVE_STEPS: Final = 12


@dataclass(frozen=True, slots=True)
class Figure:
    """`skin`: hand and wrist, closed within the sleeve; `bare`: what of its outline the sleeve does not cover.

    `sleeve`: the arm, closed. `heel`: the back end of the computed hand, a line within the skin.
    """

    skin: tuple[Point, ...]
    bare: tuple[Point, ...]
    sleeve: tuple[Point, ...]
    heel: tuple[Point, ...]


@functools.lru_cache(maxsize=4)
def figure(posture: Posture, distance: float, stand_distance: float, rod_diameter: float) -> Figure:
    """The player's hand at `distance`, m, with its arm from the fixed shoulder."""
    shoulder_end, wrist_end = shoulder(stand_distance, rod_diameter), wrist(posture, distance)
    start, end = complex(*shoulder_end), complex(*wrist_end)
    along = _direction(end, start)
    half = WRIST_SHARE[posture] * hand_half_width(posture)
    front, heel = _parted(posture, distance, half)
    inner, outer = (end + _WRIST_DEPTH * along + side * half * 1j * along for side in (-1.0, 1.0))
    skin = (
        *reversed(_curve(front[0], 1.0 + 0.0j, inner, along)),
        *front[1:-1],
        *_curve(front[-1], 1.0 + 0.0j, outer, along),
    )
    return Figure(
        _points(skin), _points(_outside(skin, start, end)), arm_outline(shoulder_end, wrist_end), _points(heel)
    )


def _parted(posture: Posture, distance: float, half: float) -> tuple[list[complex], list[complex]]:
    """The hand's outline from the body's side round the tip, but for its back end that is narrower than `half` to each
    side; and the last of that back end.
    """
    outline = [complex(*point) for point in hand_outline(posture)]
    count, middle = len(outline), 0.5 * hand_length(posture)
    last = max(number for number in range(count // 2) if outline[number].real <= middle or outline[number].imag >= half)
    order = [*outline[count - last :], *outline[: last + 1]]
    rest = [point for point in outline if point.real >= HEEL_BEGINS * hand_length(posture)]
    return [distance + point for point in order], [distance + point for point in rest]


def _outside(points: Sequence[complex], start: complex, end: complex) -> list[complex]:
    """Those of the points that the arm from `start` to `end` does not cover."""
    axis = start - end
    found = []
    for point in points:
        share = min(max(((point - end) * axis.conjugate()).real / abs(axis) ** 2, 0.0), 1.0)
        if abs(point - end - share * axis) >= meshes.ARM_RADIUS:
            found.append(point)
    return found


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
