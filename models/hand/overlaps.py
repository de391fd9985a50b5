"""Which conductors of a scene meet: one reaches into the other at some place of the hands.

A point lies within a closed mesh where the solid angles of its triangles sum to 4 pi, beyond it to 0 (A. van Oosterom,
J. Strackee, IEEE Trans. Biomed. Eng. 30 (1983) 125, equation 8). What is tried are corners and the middles of
sides and triangles: two thin tubes that cross between them are not seen.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

import numpy as np

from models.arrays import Floats
from models.hand.antenna_meshes import volume_antenna_mesh
from models.hand.meshes import (
    antenna_mesh,
    body,
    bystander,
    cabinet_mesh,
    other_arm,
    pitch_arm,
    pitch_hand,
    table_mesh,
    volume_hand,
    wall_mesh,
)
from models.hand.scene import Scene

Part = tuple[str, Floats]
"""What a conductor is called, and its triangles (n, 3 corners, 3 components), m."""
_ANTENNA, _COMMON, _RING, _TABLE, _WALL, _PERSON = (
    "pitch antenna",
    "cabinet or board",
    "volume antenna",
    "table",
    "wall",
    "bystander",
)
_REMEDIES = (
    (_PERSON, "x and y must be larger"),
    (_TABLE, "top must be smaller"),
    (_WALL, "distance must be larger"),
    (_RING, "offset must be larger"),
    (_COMMON, "gap must be larger"),
)
"""What to do about a conductor that meets another, the first that is one of both."""


def winding(points: Floats, mesh: Floats) -> Floats:
    """How often each of `points` (m, 3) is enclosed by a closed mesh (n, 3, 3): 1 within, 0 beyond.

    tan(solid angle / 2) = [r1 r2 r3] / (R1 R2 R3 + (r1 r2) R3 + (r1 r3) R2 + (r2 r3) R1), r to the corners, R lengths.
    """
    first, second, third = (mesh[None, :, corner, :] - points[:, None, :] for corner in range(3))
    lengths = [np.sqrt((way * way).sum(axis=2)) for way in (first, second, third)]
    volume = (first * np.cross(second, third)).sum(axis=2)
    below = lengths[0] * lengths[1] * lengths[2]
    below += (first * second).sum(axis=2) * lengths[2] + (first * third).sum(axis=2) * lengths[1]
    below += (second * third).sum(axis=2) * lengths[0]
    return np.asarray(np.arctan2(volume, below).sum(axis=1) / (2.0 * np.pi))


def meet(one: Floats, other: Floats) -> bool:
    """Whether a point of one closed mesh lies within the other."""
    for outer, inner in ((one, other), (other, one)):
        corners = outer.reshape(-1, 3)
        low, high = corners.min(axis=0), corners.max(axis=0)
        sides = 0.5 * (inner + np.roll(inner, -1, axis=1))
        points = np.concatenate([inner.reshape(-1, 3), sides.reshape(-1, 3), inner.mean(axis=1)])
        near = points[((points >= low) & (points <= high)).all(axis=1)]
        if near.size and bool((np.abs(winding(near, outer)) > 0.5).any()):
            return True
    return False


def overlap(scene: Scene, distances: Sequence[float], heights: Sequence[float]) -> str:
    """Which two conductors meet with the hands at these places, m, and what must be otherwise; empty if none do.

    Parts of the player may touch each other.
    """
    standing, wall = list(_standing(scene)), scene.room.wall
    for (first, mesh), (second, other) in itertools.combinations(standing, 2):
        rear = float(mesh[:, :, 0].min())
        if wall is not None and second == _WALL and first != _PERSON and rear <= -wall.distance:
            return f"distance must be > {-rear:.3g} m: the wall meets the {first}; got {wall.distance:g} m"
        if meet(mesh, other):
            return _told(first, second)
    for part, flesh in _player(scene, distances, heights):
        for name, mesh in standing:
            if meet(mesh, flesh):
                return _told(name, f"player's {part}")
    return ""


def _told(first: str, second: str) -> str:
    """Two that meet, named with what must be otherwise, the one first that must move."""
    if second.startswith("player's") and first not in (_PERSON, _TABLE, _WALL):
        smaller = ", or the cabinet smaller" if first == _COMMON else ""
        one, other = (first, second) if first == _RING else (second, first)
        return f"stand_distance must be larger{smaller}: the {one} meets the {other}"
    names = [name for name, _ in _REMEDIES]
    if second in names and (first not in names or names.index(second) < names.index(first)):
        first, second = second, first
    return f"{dict(_REMEDIES)[first]}: the {first} meets the {second}"


def _standing(scene: Scene) -> Iterator[Part]:
    """What is not the player's, coarsely."""
    room = scene.room
    yield _ANTENNA, antenna_mesh(scene)
    if scene.cabinet is not None:
        yield _COMMON, cabinet_mesh(scene.antenna, scene.cabinet)
    if scene.ring is not None:
        yield _RING, volume_antenna_mesh(scene.ring)
    if room.table is not None:
        yield _TABLE, table_mesh(room.table)
    if room.wall is not None:
        yield _WALL, wall_mesh(room.wall)
    if room.bystander is not None:
        yield from ((_PERSON, mesh) for mesh in bystander(room.bystander))


def _player(scene: Scene, distances: Sequence[float], heights: Sequence[float]) -> Iterator[Part]:
    """The player's body, and both arms and hands at each place."""
    yield from (("body", mesh) for mesh in body(scene))
    for distance in distances:
        yield "hand", pitch_hand(scene, "open", distance)
        yield "arm", pitch_arm(scene, "open", distance)
    for height in heights if scene.ring is not None else ():
        assert scene.ring is not None
        yield "volume hand", volume_hand(scene.ring, height, scene.player.build)
        yield "other arm", other_arm(scene, scene.ring, height)
