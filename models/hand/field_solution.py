"""Antenna capacitance for many hand positions: what stands still is meshed, coupled and inverted once.

Symbols: s still panels (antenna, cabinet, body), m moving ones (hand, arm); P potentials per charge, 1/F; B 0/1
columns saying which panels belong to the antenna and which to the player (the cabinet, earthed, to neither).
    P = [[Pss, Psm], [Pms, Pmm]],  P X = B,  C = B^T X
Per position only Psm and the arm's part of Pmm are computed anew. P X = B is solved by conjugate gradients,
preconditioned with the inverses of Pss and of Pmm at one middle position: some ten thin products per position.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve, cholesky, solve_triangular

from models.arrays import Floats
from models.electrostatics.boundary_elements import (
    conductor_panels,
    conjugate_gradients,
    potential_matrix,
    symmetric_potential_matrix,
)
from models.electrostatics.panel_coupling import thin_product
from models.electrostatics.panel_potential import Panels, joined
from models.hand.meshes import antenna_mesh, arm, body, cabinet_box, cabinet_mesh, hand, shoulder, wrist
from models.hand.scene import Posture, Scene


@dataclass(frozen=True, slots=True, eq=False)
class StillField:
    """Everything of a scene that does not move, in the order antenna, cabinet, body, coupled and inverted."""

    scene: Scene
    fineness: float
    panels: Panels
    owner: Floats  # (n, 2) B: columns antenna, player
    matrix: Floats  # (n, n) Pss
    inverse: Floats  # (n, n)
    empty_capacitance: float  # F, without the player


def still_field(scene: Scene, fineness: float = 1.0) -> StillField:
    """Solve the parts of `scene` that do not move; `fineness` multiplies the panels per length.

    Raises ValueError for parts that dip into the earth plane or meet each other.
    """
    return still_parts(scene, fineness, antenna_mesh(scene, fineness), "antenna")


def still_parts(scene: Scene, fineness: float, sensing_mesh: Floats, name: str) -> StillField:
    """Solve a sensing conductor (`name` in messages) with the cabinet, trunk and head of `scene` beside it."""
    apparatus = [conductor_panels(sensing_mesh, name, ground_plane=True)]
    if scene.cabinet is not None:
        box = cabinet_mesh(scene.antenna, scene.cabinet, fineness)
        apparatus.append(conductor_panels(box, "cabinet", ground_plane=True))
    trunk = [player_panels(mesh, "body", scene) for mesh in body(scene, fineness)]
    panels = joined(apparatus + trunk)
    matrix = symmetric_potential_matrix(panels, ground_plane=True)
    factor = cholesky(matrix, lower=True, check_finite=False)
    without_player = sum(part.count for part in apparatus)
    owner = np.zeros((panels.count, 2))
    owner[: apparatus[0].count, 0] = 1.0
    owner[without_player:, 1] = 1.0
    # The leading block of the factor is that of antenna and cabinet alone: no second solution is needed.
    forward = solve_triangular(factor, owner[:, 0], lower=True, check_finite=False)[:without_player]
    inverse = cho_solve((factor, True), np.eye(panels.count), check_finite=False)
    return StillField(scene, fineness, panels, owner, matrix, inverse, float((forward**2).sum()))


def antenna_capacitances(still: StillField, posture: Posture, distances: Floats) -> Floats:
    """Capacitance of the antenna with the player, F, at each hand distance, m."""
    return np.array(
        [
            effective_capacitance(matrix, still.scene.player.body_capacitance)
            for matrix in capacitance_matrices(still, posture, distances)
        ]
    )


def effective_capacitance(matrix: Floats, body_capacitance: float | None) -> float:
    """Antenna capacitance with the player afloat on C_body to earth: C_aa - C_ap^2 / (C_pp + C_body), F.

    `matrix` is Maxwell's of (antenna, player). None: the player bonded to earth, C_aa. (The player and its body
    capacitance together hold no charge; elementary circuit algebra.)
    """
    antenna, mutual, player = float(matrix[0, 0]), float(matrix[0, 1]), float(matrix[1, 1])
    return antenna if body_capacitance is None else antenna - mutual**2 / (player + body_capacitance)


def capacitance_matrices(still: StillField, posture: Posture, distances: Floats) -> Iterator[Floats]:
    """Maxwell capacitance matrix (2, 2) of (antenna, player), F, at each hand distance, m."""
    scene, fineness = still.scene, still.fineness
    start, shape = shoulder(scene), hand(posture, fineness)
    nose = np.array([0.5 * scene.antenna.diameter, 0.0, scene.hand_height])
    # The hand moves parallel to the plane: its own block, images included, stays the same.
    hand_matrix = symmetric_potential_matrix(player_panels(shape + nose, "hand", scene), True)

    def moving(distance: float) -> tuple[Panels, Floats]:
        palm = player_panels(shape + nose + (distance, 0.0, 0.0), "hand", scene)
        sleeve = player_panels(arm(start, wrist(scene, posture, distance), fineness), "arm", scene)
        mutual = potential_matrix(palm, sleeve, ground_plane=True)
        own = np.block([[hand_matrix, mutual], [mutual.T, symmetric_potential_matrix(sleeve, True)]])
        return joined([palm, sleeve]), own

    return moved(still, moving, distances)


def moved(still: StillField, moving: Callable[[float], tuple[Panels, Floats]], distances: Floats) -> Iterator[Floats]:
    """Maxwell capacitance matrix (2, 2), F, at each distance, m, at which `moving` gives panels and their Pmm."""
    middle = moving(float(np.sqrt(distances[0] * distances[-1])))[1]
    inverse = np.asarray(np.linalg.inv(middle), dtype=np.float64)
    for distance in distances:
        panels, own = moving(float(distance))
        yield solved(still, own, inverse, potential_matrix(still.panels, panels, ground_plane=True))


def solved(still: StillField, own: Floats, own_inverse: Floats, coupling: Floats) -> Floats:
    """C of the module docstring from Pmm = `own`, about inverted by `own_inverse`, and Psm = `coupling`.

    All moving panels are the player's. The error of C is of second order in that of X by the symmetric form used.
    """
    count = still.panels.count
    owner = np.concatenate([still.owner, np.tile([0.0, 1.0], (len(own), 1))])

    def product(x: Floats) -> Floats:
        s, m = x[:count], x[count:]
        above = thin_product(still.matrix, s) + thin_product(coupling, m)
        return np.concatenate([above, thin_product(coupling.T, s) + thin_product(own, m)])

    def precondition(x: Floats) -> Floats:
        return np.concatenate([thin_product(still.inverse, x[:count]), thin_product(own_inverse, x[count:])])

    charges = conjugate_gradients(product, precondition, owner)
    given = charges.T @ owner
    return np.asarray(given + given.T - charges.T @ product(charges))


def player_panels(mesh: Floats, name: str, scene: Scene) -> Panels:
    """Panels of a part of the player, after checking that it clears the earth plane and the cabinet."""
    if meets_cabinet(mesh, scene):
        raise ValueError(f"cabinet must clear the player's {name}; they overlap")
    return conductor_panels(mesh, f"the player's {name}", ground_plane=True)


def meets_cabinet(mesh: Floats, scene: Scene) -> bool:
    """Whether a corner of `mesh` lies within the cabinet."""
    if scene.cabinet is None:
        return False
    size, center = cabinet_box(scene.antenna, scene.cabinet)
    return bool((np.abs(mesh.reshape(-1, 3) - center) <= 0.5 * size).all(axis=1).any())
