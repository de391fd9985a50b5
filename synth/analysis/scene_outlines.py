"""Outlines of the conductors of a scene, from the side and from above, with the hands at a place: for a drawing."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import Final

import numpy as np

from models.arrays import Floats
from models.electrostatics.surfaces import frame
from models.hand.antennas import AnyAntenna, PlateAntenna, RingAntenna
from models.hand.earthing import ANTENNA, BYSTANDER, COMMON, PLAYER, RING, TABLE
from models.hand.scene import Posture, Scene
from models.outline import convex_outline
from models.quick_dataclass import dataclass

SIDE: Final = (0, 2)
"""Axes of the view from the side: towards the player, up."""
TOP: Final = (0, 1)
"""Axes of the view from above: towards the player, to the side."""


PIECES: Final = 8
"""Parts that a bent arm is drawn in."""
_CIRCLE: Final = np.stack([f(2.0 * np.pi * np.arange(48) / 48) for f in (np.cos, np.sin)], axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """One part of a conductor: closed lines (n, 2), m, from the side and from above. name "wall": at earth."""

    name: str
    side: Floats
    top: Floats


def scene_outlines(scene: Scene, posture: Posture, distance: float, height: float) -> tuple[Outline, ...]:
    """Every part, the pitch hand at `distance` and the volume hand, if any, at `height`, m."""
    parts = tuple(
        Outline(name, _hull(mesh, SIDE), _hull(mesh, TOP)) for name, mesh in _parts(scene, posture, distance, height)
    )
    return parts + antenna_outline(scene.antenna)


def antenna_outline(antenna: AnyAntenna) -> tuple[Outline, ...]:
    """The pitch antenna from the side and from above, axes as of the scene: one outline a section of a rod."""
    if isinstance(antenna, RingAntenna):
        return (Outline(ANTENNA, _ring_line(antenna, SIDE), _ring_line(antenna, TOP)),)
    if isinstance(antenna, PlateAntenna):
        corners = np.array(list(itertools.product((-0.5, 0.5), repeat=3))) * antenna.size + (0.0, 0.0, antenna.middle)
        return (Outline(ANTENNA, _hull(corners, SIDE), _hull(corners, TOP)),)
    found, foot, turned = [], antenna.foot, frame(antenna.axis)
    for length, diameter in antenna.sections:
        rim = 0.5 * diameter * _CIRCLE @ turned[:2]
        ends = np.concatenate([foot + rim, foot + length * antenna.axis + rim])
        found.append(Outline(ANTENNA, _hull(ends, SIDE), _hull(ends, TOP)))
        foot = foot + length * antenna.axis
    return tuple(found)


def hand_line(scene: Scene) -> Floats:
    """The point (3,) m of the antenna's surface that the pitch hand is led to: outlines are drawn from there."""
    return scene.antenna.aim_below() if scene.from_above else scene.antenna.aim(scene.hand_height)


def _ring_line(ring: RingAntenna, axes: tuple[int, int]) -> Floats:
    """A ring seen with its hole, as one line round the outside and back round the inside; or from its edge."""
    turned = frame(ring.normal)
    if abs(ring.normal[next(axis for axis in range(3) if axis not in axes)]) > 0.5:
        radii = [0.5 * (ring.diameter + sign * ring.tube_diameter) for sign in (1.0, -1.0)]
        outer, inner = (radius * _CIRCLE @ turned[:2] + ring.center for radius in radii)
        line = np.concatenate([outer, outer[:1], inner[:1], inner[::-1]])
        return np.asarray(line[:, axes])
    tube = 0.5 * ring.tube_diameter * _CIRCLE
    around = 0.5 * ring.diameter * _CIRCLE @ turned[:2] + ring.center
    outward = _CIRCLE @ turned[:2]
    surface = [around + across * outward + along * ring.normal for across, along in tube]
    return _hull(np.concatenate(surface), axes)


def _hull(mesh: Floats, axes: tuple[int, int]) -> Floats:
    """The convex outline of points (..., 3) seen along the third axis."""
    flat = mesh.reshape(-1, 3)[:, axes]
    if np.ptp(flat, axis=0).min() < 1e-9:  # a plate seen from its edge
        return flat[[flat.sum(axis=1).argmin(), flat.sum(axis=1).argmax()]]
    return convex_outline(flat)


def _parts(scene: Scene, posture: Posture, distance: float, height: float) -> Iterator[tuple[str, Floats]]:
    from models.hand import meshes
    from models.hand.antenna_meshes import volume_antenna_mesh

    for mesh in meshes.player_meshes(scene, posture, distance, height):
        # An arm with an elbow is not convex: its rings, in their order, are drawn in pieces that are.
        for piece in np.array_split(mesh, 1 if scene.player.build.links is None else PIECES):
            yield PLAYER, piece
    ring, room = scene.ring, scene.room
    if ring is not None:
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
