"""Outlines of the conductors of a scene, from the side and from above, with the hands at a place: for a drawing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from models.arrays import Floats
from models.hand.earthing import ANTENNA, BYSTANDER, COMMON, PLAYER, RING, TABLE
from models.hand.scene import Posture, Scene

SIDE: Final = (0, 2)
"""Axes of the view from the side: towards the player, up."""
TOP: Final = (0, 1)
"""Axes of the view from above: towards the player, to the side."""


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """One part of a conductor: closed lines (n, 2), m, from the side and from above. name "wall": at earth."""

    name: str
    side: Floats
    top: Floats


def scene_outlines(scene: Scene, posture: Posture, distance: float, height: float) -> tuple[Outline, ...]:
    """Every part, the pitch hand at `distance` and the volume hand, if any, at `height`, m."""
    return tuple(
        Outline(name, _hull(mesh, SIDE), _hull(mesh, TOP)) for name, mesh in _parts(scene, posture, distance, height)
    )


def _hull(mesh: Floats, axes: tuple[int, int]) -> Floats:
    """The convex outline of a mesh seen along the third axis."""
    from scipy.spatial import ConvexHull

    flat = mesh.reshape(-1, 3)[:, axes]
    if np.ptp(flat, axis=0).min() < 1e-9:  # a plate seen from its edge
        return flat[[flat.sum(axis=1).argmin(), flat.sum(axis=1).argmax()]]
    return np.asarray(flat[ConvexHull(flat).vertices])


def _parts(scene: Scene, posture: Posture, distance: float, height: float) -> Iterator[tuple[str, Floats]]:
    from models.hand import meshes
    from models.hand.antenna_meshes import volume_antenna_mesh

    for mesh in meshes.body(scene):
        yield PLAYER, mesh
    yield PLAYER, meshes.pitch_hand(scene, posture, distance)
    yield PLAYER, meshes.arm(meshes.shoulder(scene), meshes.wrist(scene, posture, distance))
    ring, room = scene.ring, scene.room
    if ring is not None:
        yield PLAYER, meshes.volume_hand(ring, height)
        yield PLAYER, meshes.arm(meshes.other_shoulder(scene), meshes.other_wrist(scene, ring, height))
        yield RING, volume_antenna_mesh(ring)
    if scene.cabinet is not None:
        yield COMMON, meshes.cabinet_mesh(scene.antenna, scene.cabinet)
    if room.table is not None:
        yield TABLE, meshes.table_mesh(room.table)
    if room.wall is not None:
        yield "wall", meshes.wall_mesh(room.wall)
    if room.bystander is not None:
        for mesh in meshes.bystander(room.bystander):
            yield BYSTANDER, mesh
    yield ANTENNA, meshes.antenna_mesh(scene)
