"""Hand, arm and body seen from above, metres from the rod's surface: the shapes the capacitance is computed for.

Points are (distance, side): `distance` from the rod's surface along the hand's line, `side` across it, negative towards
the player's body (as y in `models.hand.scene`).
"""

from __future__ import annotations

import functools
import math

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
    radius = meshes.ARM_RADIUS
    turn = math.atan2(end[1] - start[1], end[0] - start[0])
    points = []
    for center, first in ((end, turn - 0.5 * math.pi), (start, turn + 0.5 * math.pi)):
        for number in range(25):
            angle = first + math.pi * number / 24
            points.append((center[0] + radius * math.cos(angle), center[1] + radius * math.sin(angle)))
    return tuple(points)


def cuff(start: Point, end: Point, back: float) -> tuple[Point, ...]:
    """A line across the arm, curved as the edge of a sleeve, `back` m from its wrist `end`."""
    radius = meshes.ARM_RADIUS
    length = math.hypot(start[0] - end[0], start[1] - end[1])
    along = (start[0] - end[0]) / length, (start[1] - end[1]) / length
    points = []
    for number in range(13):
        turn = math.pi * number / 12
        across, depth = -math.cos(turn), back - 0.012 * math.sin(turn)
        points.append(
            (
                end[0] + depth * along[0] - across * radius * along[1],
                end[1] + depth * along[1] + across * radius * along[0],
            )
        )
    return tuple(points)


def body_outline(stand_distance: float, rod_diameter: float) -> tuple[Point, ...]:
    """The trunk from above, an ellipse."""
    center = stand_distance - 0.5 * rod_diameter, meshes.BODY_SIDE
    deep, wide = meshes.BODY_DEPTH_RATIO * meshes.BODY_HALF_WIDTH, meshes.BODY_HALF_WIDTH
    angles = (2.0 * math.pi * number / _CORNERS for number in range(_CORNERS))
    return tuple((center[0] + deep * math.cos(angle), center[1] + wide * math.sin(angle)) for angle in angles)


def _powered(value: float, power: float) -> float:
    return math.copysign(abs(value) ** power, value)
