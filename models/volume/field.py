"""Capacitance of the ring antenna against the height of the volume hand, from the electrostatic field of its scene.

Ring, optional earthed cabinet, earth plane and the player (trunk, head, the other arm and its flat hand, palm down: one
conductor, joined to earth through a body capacitance or bonded to it), by the boundary elements and with the neglects
of `models.hand.hand_field`. The distance is that of the hand's underside from the top of the ring's tube, straight
below it, of the ideal shapes; it is the shortest between hand and ring.

Neglected as well: the rod and the pitch hand with its arm (the rod sits at another oscillator's frequency; the ring's
field is short beside their distance), the ring's open ends, its bracket and its lead (`stray` of the volume antenna).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import ArrayLike
from scipy.constants import epsilon_0

from models.arrays import Floats
from models.electrostatics.boundary_elements import conductor_panels, potential_matrix, symmetric_potential_matrix
from models.electrostatics.mesh import torus
from models.electrostatics.panel_coupling import coupling
from models.electrostatics.panel_potential import Panels, joined, mirrored
from models.hand.capacitance_curve import CapacitanceCurve, distance_table
from models.hand.field_solution import (
    StillField,
    effective_capacitance,
    meets_cabinet,
    moved,
    player_panels,
    still_parts,
)
from models.hand.meshes import (
    ARM_RADIUS,
    BODY_DEPTH_RATIO,
    BODY_HALF_WIDTH,
    BODY_SIDE,
    HAND_HALF_SIZES,
    LONGEST_ARM,
    SHOULDER_SIDE,
    WRIST_CLEARANCE,
    arm,
    hand,
    shoulder,
)
from models.volume.scene import VOLUME_DISTANCES, VolumeScene


def loop_curve(scene: VolumeScene, distances: ArrayLike = VOLUME_DISTANCES, fineness: float = 1.0) -> CapacitanceCurve:
    """Capacitance of the ring against the hand's height above it.

    distances: (n,) m, at least two, strictly increasing. fineness: panels per length against the default mesh.
    Raises ValueError for a bad table of distances, and for parts that meet or a hand the player cannot bring there.
    """
    table = distance_table(distances)
    still = still_loop(scene, fineness)
    bond = scene.scene.player.body_capacitance
    values = np.array([effective_capacitance(matrix, bond) for matrix in loop_matrices(still, scene, table)])
    return CapacitanceCurve(table, values, still.empty_capacitance)


def loop_mesh(scene: VolumeScene, fineness: float = 1.0) -> Floats:
    """Triangles of the ring."""
    loop = scene.loop
    return torus(
        0.5 * loop.diameter,
        0.5 * loop.tube_diameter,
        (0.0, -loop.offset, loop.height),
        panels=round(600 * fineness**2),
    )


def still_loop(scene: VolumeScene, fineness: float = 1.0) -> StillField:
    """Solve what does not move: ring, cabinet, trunk and head. Raises ValueError for parts that meet."""
    surroundings = scene.scene
    ring = loop_mesh(scene, fineness)
    _check_clear(scene, ring)
    return still_parts(surroundings, fineness, ring, "volume antenna")


def loop_matrices(still: StillField, scene: VolumeScene, distances: Floats) -> Iterator[Floats]:
    """Maxwell capacitance matrix (2, 2) of (ring, player), F, at each height of the hand, m."""
    shape = palm(still.fineness) + (0.5 * scene.loop.diameter, -scene.loop.offset, scene.loop.top)
    start = other_shoulder(scene)
    alone = coupling(conductor_panels(shape), conductor_panels(shape)) / (4.0 * np.pi * epsilon_0)

    def moving(distance: float) -> tuple[Panels, Floats]:
        flat = player_panels(shape + (0.0, 0.0, distance), "volume hand", still.scene)
        sleeve = player_panels(arm(start, other_wrist(scene, distance), still.fineness), "arm", still.scene)
        image = coupling(flat, mirrored(flat)) / (4.0 * np.pi * epsilon_0)
        mutual = potential_matrix(flat, sleeve, ground_plane=True)
        own = 0.5 * (alone + alone.T) - 0.5 * (image + image.T)
        own = np.block([[own, mutual], [mutual.T, symmetric_potential_matrix(sleeve, True)]])
        return joined([flat, sleeve]), own

    return moved(still, moving, distances)


def palm(fineness: float = 1.0) -> Floats:
    """The open hand, palm down and level, fingers towards -x, the middle of its underside at the origin."""
    half = HAND_HALF_SIZES["open"]
    x, y, z = np.moveaxis(hand("open", fineness), -1, 0)
    return np.stack([x - half[0], -z, y + half[1]], axis=-1)  # a quarter turn about x, then moved


def other_shoulder(scene: VolumeScene) -> Floats:
    """The fixed end of the volume hand's arm, (3,) m: the pitch hand's shoulder mirrored in the body's middle."""
    stand, _, height = shoulder(scene.scene)
    return np.array([stand, 2.0 * BODY_SIDE - SHOULDER_SIDE, height])


def other_wrist(scene: VolumeScene, distance: float) -> Floats:
    """The moving end of that arm's axis, (3,) m, its underside level with the hand's, for a height `distance`, m.

    Raises ValueError where the player could not reach that far from the shoulder.
    """
    loop = scene.loop
    x = 0.5 * loop.diameter + HAND_HALF_SIZES["open"][0] + WRIST_CLEARANCE + ARM_RADIUS
    place = np.array([x, -loop.offset, loop.top + distance + ARM_RADIUS])
    stretch = float(np.sqrt(((place - other_shoulder(scene)) ** 2).sum()))
    if stretch > LONGEST_ARM:
        raise ValueError(
            f"the volume antenna's height and offset must let the player hold a hand {distance:g} m above it: the arm "
            f"is at most {LONGEST_ARM:g} m from shoulder to wrist; got {stretch:g} m"
        )
    return place


def _check_clear(scene: VolumeScene, ring: Floats) -> None:
    """Raise ValueError where the ring meets the cabinet or the player's body."""
    surroundings, loop = scene.scene, scene.loop
    reach = 0.5 * (loop.diameter + loop.tube_diameter)
    if meets_cabinet(ring, surroundings):
        raise ValueError("the volume antenna must clear the cabinet: make its offset larger; they overlap")
    if surroundings.player.stand_distance - BODY_DEPTH_RATIO * BODY_HALF_WIDTH <= reach:
        raise ValueError("the volume antenna must clear the player's body: make stand_distance larger")
