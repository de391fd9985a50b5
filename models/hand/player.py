"""Meshes of the player: body and head, one arm stretched from the shoulder to the wrist, and the hand in its postures.

Sizes are those of a typical adult, rounded (from memory of anthropometric tables such as DIN 33402-2; no percentile is
claimed). Axes as in `models.hand.scene`: the hand points towards -x, at the rod on the z axis, and moves along x at
y = 0; the shoulder of the playing arm stays in place. Clothes, the other arm, separate fingers, elbow and feet are left
out.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from models.electrostatics.mesh import capsule, sphere
from models.electrostatics.surfaces import Floats, Surface, lifted, revolved
from models.hand.scene import Posture, Scene

#: Shoulder joint of a standing adult above the floor; a player of a lower antenna sits (shoulder over hand), m.
STANDING_SHOULDER: Final = 1.40
SHOULDER_OVER_HAND: Final = 0.35
#: Longest distance from shoulder to wrist the player stretches to, leaning included, m.
LONGEST_ARM: Final = 0.90
SHOULDER_SIDE: Final = -0.18
BODY_SIDE: Final = -0.42
BODY_HALF_WIDTH: Final = 0.17
BODY_DEPTH_RATIO: Final = 0.7
BODY_BOTTOM: Final = 0.03
NECK_OVER_SHOULDER: Final = 0.08
HEAD_OVER_SHOULDER: Final = 0.23
HEAD_RADIUS: Final = 0.105
ARM_RADIUS: Final = 0.042
#: Clearance between the back of the hand and the end of the arm, m (same potential: of no electrical effect).
WRIST_CLEARANCE: Final = 0.004

#: Half sizes of the hand along x (pointing), y (side to side) and z (up), m: the open hand is held on edge, thumb up.
HAND_HALF_SIZES: Final[dict[Posture, tuple[float, float, float]]] = {
    "open": (0.095, 0.014, 0.045),
    "fist": (0.050, 0.040, 0.045),
}
#: Exponent across the thickness y: 2 is an ellipsoid; 3 a fuller slab with blunt edges (303 ml for the open hand).
HAND_FULLNESS: Final[dict[Posture, float]] = {"open": 3.0, "fist": 2.0}


def shoulder(scene: Scene) -> Floats:
    """The fixed end of the arm, (3,) m."""
    height = min(STANDING_SHOULDER, scene.hand_height + SHOULDER_OVER_HAND)
    return np.array([scene.player.stand_distance, SHOULDER_SIDE, height])


def body(scene: Scene, fineness: float = 1.0) -> list[Floats]:
    """Meshes of trunk with legs, and of the head."""
    stand, _, top = shoulder(scene)
    trunk = capsule(
        (0.0, 0.0, BODY_BOTTOM + BODY_HALF_WIDTH),
        (0.0, 0.0, top + NECK_OVER_SHOULDER - BODY_HALF_WIDTH),
        BODY_HALF_WIDTH,
        panels=round(130 * fineness**2),
    )
    head_center = (stand, BODY_SIDE, top + HEAD_OVER_SHOULDER)
    head = sphere(head_center, HEAD_RADIUS, panels=round(40 * fineness**2))
    return [trunk * (BODY_DEPTH_RATIO, 1.0, 1.0) + (stand, BODY_SIDE, 0.0), head]


def hand(posture: Posture, fineness: float = 1.0) -> Floats:
    """The hand with its foremost point at the origin, pointing towards -x; triangles (n, 3, 3) m.

    Surface: (X^2 + Z^2)^(p/2) + |Y|^p = 1 in units of the half sizes, p the fullness. The foremost point of it is
    the nearest to any vertical line before the hand, because no point lies farther along -x.
    """
    half = np.array(HAND_HALF_SIZES[posture])
    points, faces = _nose_graded_sphere(round(9 * fineness))
    unit_points = _filled(points, HAND_FULLNESS[posture])
    triangles = lifted((unit_points * half, faces), _filled_normals(unit_points, HAND_FULLNESS[posture], half))
    return np.asarray(triangles + (half[0], 0.0, 0.0))


def wrist(scene: Scene, posture: Posture, distance: float) -> Floats:
    """The moving end of the arm's axis, (3,) m, at hand distance `distance`, m.

    Raises ValueError where the player could not reach that far from the shoulder.
    """
    length = 2.0 * HAND_HALF_SIZES[posture][0]
    x = 0.5 * scene.antenna.diameter + distance + length + WRIST_CLEARANCE + ARM_RADIUS
    place = np.array([x, 0.0, scene.hand_height])
    stretch = float(np.sqrt(((place - shoulder(scene)) ** 2).sum()))
    if stretch > LONGEST_ARM:
        raise ValueError(
            f"stand_distance and hand_height must let the player reach a hand distance of {distance:g} m: the arm is "
            f"at most {LONGEST_ARM:g} m from shoulder to wrist; got {stretch:g} m"
        )
    return place


def arm(start: Floats, end: Floats, fineness: float = 1.0) -> Floats:
    """Capsule of `ARM_RADIUS` from `start` to `end`, always of the same triangles, so that it deforms smoothly."""
    bands, cells, sectors = max(2, round(2 * fineness)), round(5 * fineness), round(7 * fineness)
    angles = np.linspace(0.0, 0.5 * np.pi, bands + 1)
    counts = [1] + [max(5, round(sectors * float(np.sin(angle)))) for angle in angles[1:]]
    middle = np.ones(cells + 1)
    tilt = np.concatenate([-np.cos(angles[:-1]), 0.0 * middle, np.cos(angles[-2::-1])])
    across = np.concatenate([np.sin(angles[:-1]), middle, np.sin(angles[-2::-1])])
    along = np.concatenate([np.zeros(bands), np.linspace(0.0, 1.0, cells + 1), np.ones(bands)])
    sizes = counts[:-1] + [sectors] * (cells + 1) + counts[-2::-1]
    span = end - start
    length = float(np.sqrt((span**2).sum()))
    vertices, faces = revolved(ARM_RADIUS * across, length * along + ARM_RADIUS * tilt, sizes)
    triangles = lifted((vertices, faces), revolved(across, tilt, sizes)[0])
    axis = span / length
    first = np.cross((0.0, 0.0, 1.0), axis)
    first /= np.sqrt((first**2).sum())
    return np.asarray(triangles @ np.stack([first, np.cross(axis, first), axis]) + start)


def _nose_graded_sphere(bands: int) -> Surface:
    """Unit sphere of rings about the x axis, closer together towards the nose at -x."""
    angles = np.pi * (1.0 - (np.arange(bands + 1) / bands) ** 1.5)
    steps = np.abs(np.gradient(angles))
    counts = [int(np.clip(round(5.4 * np.sin(a) / s), 6, 2 * bands)) for a, s in zip(angles, steps, strict=True)]
    counts[0] = counts[-1] = 1
    points, faces = revolved(np.sin(angles), np.cos(angles), counts)
    return points[:, [2, 0, 1]], faces


def _filled(points: Floats, fullness: float) -> Floats:
    """Points of the unit sphere moved radially onto (x^2 + z^2)^(p/2) + |y|^p = 1."""
    rim = points[:, 0] ** 2 + points[:, 2] ** 2
    scale = (rim ** (0.5 * fullness) + np.abs(points[:, 1]) ** fullness) ** (-1.0 / fullness)
    return np.asarray(points * scale[:, None])


def _filled_normals(points: Floats, fullness: float, half: Floats) -> Floats:
    """Outward unit normals of the surface of `_filled` stretched by the half sizes."""
    rim = (points[:, 0] ** 2 + points[:, 2] ** 2) ** (0.5 * fullness - 1.0)
    across = np.sign(points[:, 1]) * np.abs(points[:, 1]) ** (fullness - 1.0)
    gradient = np.stack([points[:, 0] * rim, across, points[:, 2] * rim], axis=1) / half
    return np.asarray(gradient / np.sqrt((gradient**2).sum(axis=1))[:, None])
