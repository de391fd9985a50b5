"""Maxwell's matrix of the scene at many places of both hands, by eliminating one block of panels after another.

Blocks: s what stands still (antenna, common, room, trunk and head), f the far side (ring, volume hand and its arm),
1 the pitch hand and its arm. P potentials per charge, 1/F; B 0/1 columns saying which panels belong to which conductor
(an earthed wall to none). Block elimination (Cholesky; any textbook of linear algebra):
    Ls Ls' = Pss,           zs = Ls^-1 Bs
    Ui = Ls^-1 Psi,         Sij = Pij - Ui' Uj,      bi = Bi - Ui' zs          (i, j = 1, f)
    Lf Lf' = Sff,           zf = Lf^-1 bf,           L1 L1' = S11,    z1 = L1^-1 b1
    M = Lf^-1 Sf1 L1'^-1    (what the two sides are to each other; its singular values lie below 1)
    C = zs' zs + zf' zf + y' (1 - M' M)^-1 y,        y = z1 - M' zf
Each place of either hand is coupled and eliminated once; a pair of places costs but M. That is smooth, for the two
sides are far apart: M is kept as Q K' on the few directions Q of the far side that any place of the pitch hand
reaches (singular values above `LEAST_DIRECTION` of the largest), and of the far side the pitch hand feels groups of
panels, `CLUSTER` wide, as charges in their middle. Together they change what a hand adds by less than 1e-3 of it
(tests).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from scipy.linalg import LinAlgError, cholesky, solve_triangular
from scipy.spatial.distance import cdist

from models.arrays import Floats
from models.constants import VACUUM_PERMITTIVITY
from models.electrostatics.boundary_elements import (
    capacitance_matrix,
    conductor_panels,
    potential_matrix,
    symmetric_potential_matrix,
)
from models.electrostatics.panel_coupling import coupling
from models.electrostatics.panel_potential import GAUSS_POINTS, Panels, joined, mirrored
from models.hand.antenna_meshes import volume_antenna_mesh
from models.hand.antennas import AnyVolumeAntenna
from models.hand.earthing import ANTENNA, BYSTANDER, COMMON, PLAYER, RING, TABLE
from models.hand.meshes import (
    antenna_mesh,
    body,
    bystander,
    cabinet_box,
    cabinet_mesh,
    other_arm,
    pitch_arm,
    pitch_hand,
    player_meshes,
    shoulder,
    table_mesh,
    volume_hand,
    wall_mesh,
)
from models.hand.scene import Posture, Scene
from models.quick_dataclass import dataclass

#: Singular values of M below this share of the largest are left out.
LEAST_DIRECTION: Final = 1e-4
#: Width of the groups of panels by which the far side acts on the pitch hand, m.
CLUSTER: Final = 0.05
#: Random mixtures of charges of a place by which the directions are found, besides the charges that conductors give.
_MIXTURES: Final = 12


def conductor_names(scene: Scene) -> tuple[str, ...]:
    """The conductors of the matrix, in order."""
    there = {
        ANTENNA: True,
        COMMON: scene.cabinet is not None,
        RING: scene.ring is not None,
        PLAYER: True,
        BYSTANDER: scene.room.bystander is not None,
        TABLE: scene.room.table is not None,
    }
    return tuple(name for name, present in there.items() if present)


@dataclass(frozen=True, slots=True, eq=False)
class StillField:
    """What stands still, without the ring, coupled and eliminated; `apparatus`: panels before those of the body."""

    scene: Scene
    fineness: float
    names: tuple[str, ...]
    panels: Panels
    apparatus: int
    factor: Floats  # (n, n) Ls
    charges: Floats  # (n, k) zs

    def with_opening(self, opening: float) -> StillField:
        """The same with the fingers of the open pitch hand `opening` open: nothing that stands still changes."""
        return replace(self, scene=replace(self.scene, player=replace(self.scene.player, opening=opening)))

    def owner(self, name: str, count: int) -> Floats:
        """B (count, k) of panels that all belong to the conductor `name`."""
        return np.tile([1.0 if name == each else 0.0 for each in self.names], (count, 1))


@dataclass(frozen=True, slots=True, eq=False)
class Eliminated:
    """A block of panels after what stands still: Ui, Sii and bi of the module docstring."""

    panels: Panels
    reached: Floats  # (n, m) Ui
    own: Floats  # (m, m) Sii
    owner: Floats  # (m, k) bi


@dataclass(frozen=True, slots=True, eq=False)
class FarSide:
    """Ring and volume hand at one height: Lf by its blocks (ring, and under it border' and corner), zf, Uf of ring and
    of hand, and the groups of panels by which it acts.
    """

    ring: Floats  # (p, p)
    border: Floats  # (p, q)
    corner: Floats  # (q, q)
    charges: Floats  # (p + q, k) zf
    ring_reached: Floats  # (n, p)
    hand_reached: Floats  # (n, q)
    members: Floats  # (p + q, c): 1 where a panel belongs to a group
    middles: Floats  # (c, 3) m, of the groups

    def forward(self, ring: Floats, hand: Floats) -> Floats:
        """Lf^-1 times columns of the ring's panels (p, r) and the hand's (q, r)."""
        upper = solve_triangular(self.ring, ring, lower=True, check_finite=False)
        lower = solve_triangular(self.corner, hand - self.border.T @ upper, lower=True, check_finite=False)
        return np.concatenate([upper, lower])

    def backward(self, columns: Floats) -> tuple[Floats, Floats]:
        """Lf'^-1 times columns (p + q, r): of the ring's panels and of the hand's."""
        above, below = columns[: len(self.ring)], columns[len(self.ring) :]
        hand = solve_triangular(self.corner, below, lower=True, trans="T", check_finite=False)
        ring = solve_triangular(self.ring, above - self.border @ hand, lower=True, trans="T", check_finite=False)
        return ring, hand


@dataclass(frozen=True, slots=True, eq=False)
class NearSide:
    """Pitch hand and arm at one place: L1, z1, U1, and the three points of each of its panels."""

    factor: Floats  # (m, m) L1
    charges: Floats  # (m, k) z1
    reached: Floats  # (n, m) U1
    points: Floats  # (3 m, 3) m: first points, second, third


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """Charges (m, r) that a place of the pitch hand can carry, C, and what its U1 makes of them."""

    points: Floats  # (3 m, 3) m
    carried: Floats  # (m, r)
    reached: Floats  # (n, r) U1 times them


@dataclass(frozen=True, slots=True, eq=False)
class Directions:
    """A far side on the few directions Q that the pitch hand reaches: Lf'^-1 Q for groups and still panels, Q' zf."""

    middles: Floats  # (c, 3) m
    groups: Floats  # (c, r)
    still: Floats  # (n, r)
    charges: Floats  # (r, k) Q' zf
    alone: Floats  # (k, k) zf' zf


def still_field(scene: Scene, fineness: float = 1.0) -> StillField:
    """Solve the parts of `scene` that do not move; `fineness` multiplies the panels per length.

    Raises ValueError for parts that dip into the earth plane or meet each other.
    """
    plane, room = scene.room.earth_plane, scene.room
    parts = [(ANTENNA, conductor_panels(antenna_mesh(scene, fineness), "antenna", plane))]
    if scene.cabinet is not None:
        box = cabinet_mesh(scene.antenna, scene.cabinet, fineness)
        parts.append((COMMON, conductor_panels(box, "cabinet", plane)))
    if room.wall is not None:
        parts.append(("", conductor_panels(wall_mesh(room.wall, fineness), "wall", plane)))
    if room.table is not None:
        parts.append((TABLE, conductor_panels(table_mesh(room.table, fineness), "table", plane)))
    if room.bystander is not None:
        person = np.concatenate(bystander(room.bystander, fineness))
        parts.append((BYSTANDER, conductor_panels(person, "bystander", plane)))
    apparatus = sum(panels.count for _, panels in parts)
    parts += [(PLAYER, player_panels(mesh, "body", scene)) for mesh in body(scene, fineness)]
    clear_of_wall([part for name, part in parts if name not in ("", BYSTANDER)], scene)
    names = conductor_names(scene)
    panels = joined([part for _, part in parts])
    owner = np.concatenate([np.tile([float(name == each) for each in names], (part.count, 1)) for name, part in parts])
    factor = factored(symmetric_potential_matrix(panels, plane))
    charges = solve_triangular(factor, owner, lower=True, check_finite=False)
    return StillField(scene, fineness, names, panels, apparatus, factor, charges)


def without_player(still: StillField, ring: Eliminated | None = None) -> Floats:
    """Maxwell's matrix (k, k), F, with no player: its row and column are 0.

    The leading block of a factor is that of the leading panels alone: no second solution is needed.
    """
    charges = still.charges[: still.apparatus]
    matrix = charges.T @ charges
    if ring is None:
        return np.asarray(matrix)
    plane = still.scene.room.earth_plane
    reached = ring.reached[: still.apparatus]
    own = symmetric_potential_matrix(ring.panels, plane) - reached.T @ reached
    free = still.owner(RING, ring.panels.count) - reached.T @ charges
    found = solve_triangular(factored(own), free, lower=True, check_finite=False)
    return np.asarray(matrix + found.T @ found)


def player_alone(still: StillField, distance: float, height: float | None) -> float:
    """Capacitance of the player to earth with no instrument there, F: open hand at `distance`, other at `height`."""
    player = player_meshes(still.scene, "open", distance, height, still.fineness)
    return float(capacitance_matrix([np.concatenate(player)], still.scene.room.earth_plane)[0, 0])


def reached_by(still: StillField, panels: Panels) -> Floats:
    """Ui = Ls^-1 Psi of a block of panels."""
    between = potential_matrix(still.panels, panels, still.scene.room.earth_plane)
    return np.asarray(solve_triangular(still.factor, between, lower=True, overwrite_b=True, check_finite=False))


def eliminated(still: StillField, panels: Panels, own: Floats, name: str, reached: Floats | None = None) -> Eliminated:
    """A block of panels, all of the conductor `name`, with their matrix `own` (Pii), after what stands still.

    reached: Ui where it is known.
    """
    reached = reached_by(still, panels) if reached is None else reached
    owner = still.owner(name, panels.count)
    return Eliminated(panels, reached, own - reached.T @ reached, owner - reached.T @ still.charges)


@dataclass(frozen=True, slots=True, eq=False)
class Sleeve:
    """The arm of the pitch hand at one place: its matrix on itself, with images, and its Ui."""

    panels: Panels
    own: Floats
    reached: Floats


def pitch_hands(
    still: StillField, posture: Posture, distances: Iterable[float], sleeves: dict[float, Sleeve | None] | None = None
) -> Iterable[Eliminated]:
    """The pitch hand and its arm at each distance, m.

    sleeves: arms by distance, for hands with the same wrists: None where one is still to be made, and then kept there.
    """
    scene, fineness, plane = still.scene, still.fineness, still.scene.room.earth_plane
    moving, alone = None, None
    for distance in distances:
        fist = player_panels(pitch_hand(scene, posture, distance, fineness), "hand", scene)
        if alone is None:
            alone = symmetric_potential_matrix(fist)
        # A hand that moves parallel to the plane: its own block, images included, stays the same.
        if moving is None or scene.from_above:
            moving = with_image(alone, fist, plane)
        sleeve = None if sleeves is None else sleeves.get(distance)
        if sleeve is None:
            panels = player_panels(pitch_arm(scene, posture, distance, fineness), "arm", scene)
            sleeve = Sleeve(panels, symmetric_potential_matrix(panels, plane), reached_by(still, panels))
        if sleeves is not None and distance in sleeves:
            sleeves[distance] = sleeve
        mutual = potential_matrix(fist, sleeve.panels, plane)
        own = np.block([[moving, mutual], [mutual.T, sleeve.own]])
        reached = np.concatenate([reached_by(still, fist), sleeve.reached], axis=1)
        yield eliminated(still, joined([fist, sleeve.panels]), own, PLAYER, reached)


def with_image(alone: Floats, panels: Panels, plane: bool) -> Floats:
    """`alone`, the potential matrix of moved `panels` on themselves, with that of their images in the plane."""
    if not plane:
        return alone
    image = coupling(panels, mirrored(panels)) / (4.0 * np.pi * VACUUM_PERMITTIVITY)
    return np.asarray(alone - 0.5 * (image + image.T))


def ring_alone(still: StillField, ring: AnyVolumeAntenna) -> Eliminated:
    """The ring after what stands still. Raises ValueError where it meets the cabinet or the player's body."""
    plane = still.scene.room.earth_plane
    mesh = volume_antenna_mesh(ring, still.fineness)
    if meets_cabinet(mesh, still.scene):
        raise ValueError("offset must be larger: the volume antenna meets the cabinet")
    build = still.scene.player.build
    if shoulder(still.scene)[0] - build.depth_ratio * build.half_width <= ring.front:
        raise ValueError("stand_distance must be larger: the volume antenna meets the player's body")
    if meets_antenna(mesh, still.scene):
        raise ValueError("offset must be larger: the volume antenna meets the pitch antenna")
    panels = conductor_panels(mesh, "volume antenna", plane)
    clear_of_wall([panels], still.scene)
    return eliminated(still, panels, symmetric_potential_matrix(panels, plane), RING)


def far_sides(
    still: StillField, ring: AnyVolumeAntenna, base: Eliminated, heights: Iterable[float]
) -> Iterable[FarSide]:
    """Ring and volume hand at each height of the hand, m; `base` is the ring alone."""
    scene, plane = still.scene, still.scene.room.earth_plane
    shape = volume_hand(ring, 0.0, scene.player.build, still.fineness)
    ring_factor = factored(base.own)
    ring_charges = solve_triangular(ring_factor, base.owner, lower=True, check_finite=False)
    alone = symmetric_potential_matrix(conductor_panels(shape))
    for height in heights:
        flat = player_panels(shape + (0.0, 0.0, height), "volume hand", scene)
        sleeve = player_panels(other_arm(scene, ring, height, still.fineness), "arm", scene)
        own = with_image(alone, flat, plane)
        mutual = potential_matrix(flat, sleeve, plane)
        own = np.block([[own, mutual], [mutual.T, symmetric_potential_matrix(sleeve, plane)]])
        upper = eliminated(still, joined([flat, sleeve]), own, PLAYER)
        between = potential_matrix(base.panels, upper.panels, plane) - base.reached.T @ upper.reached
        border = solve_triangular(ring_factor, between, lower=True, overwrite_b=True, check_finite=False)
        corner = factored(upper.own - border.T @ border)
        charges = solve_triangular(corner, upper.owner - border.T @ ring_charges, lower=True, check_finite=False)
        panels = joined([base.panels, upper.panels])
        yield FarSide(
            ring_factor,
            border,
            corner,
            np.concatenate([ring_charges, charges]),
            base.reached,
            upper.reached,
            *clusters(panels),
        )


def near_side(block: Eliminated) -> NearSide:
    """The pitch hand after what stands still."""
    factor = factored(block.own)
    points = np.tensordot(GAUSS_POINTS, block.panels.corners, axes=1)  # (3 points, 3 components, m)
    return NearSide(
        factor,
        solve_triangular(factor, block.owner, lower=True, check_finite=False),
        block.reached,
        points.transpose(0, 2, 1).reshape(-1, 3),
    )


def sampled(places: Sequence[NearSide]) -> list[Sample]:
    """What the pitch hand at these places can carry: the charges that each conductor puts on it, and a few random
    mixtures of what its panels can (N. Halko, P.-G. Martinsson, J. A. Tropp, SIAM Review 53 (2011) 217: ranges found by
    random samples).
    """
    mixed = np.random.default_rng(1)  # always the same mixtures
    samples = []
    for near in places:
        mixtures = mixed.normal(size=(len(near.factor), _MIXTURES)) / np.sqrt(len(near.factor))
        carried = solve_triangular(
            near.factor,
            np.concatenate([near.charges, mixtures * np.abs(near.charges).max()], axis=1),
            lower=True,
            trans="T",
            check_finite=False,
        )
        samples.append(Sample(near.points, carried, near.reached @ carried))
    return samples


def directions(still: StillField, far: FarSide, samples: Sequence[Sample]) -> Directions:
    """The directions of `far` that the pitch hand of the samples reaches."""
    felt = [_group_coupling(still, far.middles, each.points).T @ each.carried for each in samples]
    columns, held = far.members @ np.hstack(felt), np.hstack([each.reached for each in samples])
    above, below = columns[: len(far.ring)], columns[len(far.ring) :]
    reached = far.forward(above - far.ring_reached.T @ held, below - far.hand_reached.T @ held)
    squares, mixes = np.linalg.eigh(reached.T @ reached)
    kept = squares > LEAST_DIRECTION**2 * squares[-1]
    basis = reached @ (mixes[:, kept] / np.sqrt(squares[kept]))
    ring, hand = far.backward(basis)
    groups = far.members.T @ np.concatenate([ring, hand])
    on_still = -(far.ring_reached @ ring + far.hand_reached @ hand)
    return Directions(far.middles, groups, on_still, basis.T @ far.charges, far.charges.T @ far.charges)


def _group_coupling(still: StillField, middles: Floats, points: Floats) -> Floats:
    """Mean potential over each panel of the pitch hand, of these points, per charge in the middle of each group, (m, c)
    V/C.
    """
    inverse = cdist(points, middles)
    np.divide(1.0, inverse, out=inverse)
    if still.scene.room.earth_plane:
        image = cdist(points, middles * (1.0, 1.0, -1.0))
        inverse -= np.divide(1.0, image, out=image)
    first, second, third = inverse.reshape(3, -1, len(middles))
    first += second
    first += third
    first /= 12.0 * np.pi * VACUUM_PERMITTIVITY
    return np.asarray(first)


def place_matrices(still: StillField, near: NearSide, far: Sequence[Directions]) -> Floats:
    """Maxwell's matrices (heights, k, k), F, of one place of the pitch hand with each of `far` (none: one matrix)."""
    alone = still.charges.T @ still.charges
    if not far:
        return np.asarray(alone + near.charges.T @ near.charges)[None]
    ends = np.cumsum([each.still.shape[1] for each in far])
    shared = np.split(near.reached.T @ np.concatenate([each.still for each in far], axis=1), ends[:-1], axis=1)
    felt = np.split(
        _group_coupling(still, np.concatenate([each.middles for each in far]), near.points),
        np.cumsum([len(each.middles) for each in far])[:-1],
        axis=1,
    )
    coupled = [part + each @ side.groups for part, each, side in zip(shared, felt, far, strict=True)]
    factors = np.split(
        solve_triangular(near.factor, np.concatenate(coupled, axis=1), lower=True, check_finite=False),
        ends[:-1],
        axis=1,
    )
    result = np.empty((len(far), *alone.shape))
    for row, (mutual, each) in enumerate(zip(factors, far, strict=True)):  # mutual: K = M' Q
        held = near.charges - mutual @ each.charges
        along = mutual.T @ held
        # (1 - K K')^-1 = 1 + K (1 - K' K)^-1 K' (the matrix inversion lemma)
        inner = np.linalg.solve(np.eye(mutual.shape[1]) - mutual.T @ mutual, along)
        result[row] = alone + each.alone + held.T @ held + along.T @ inner
    return result


def clusters(panels: Panels) -> tuple[Floats, Floats]:
    """Groups of panels: who belongs to which, (panels, c) of 0 and 1, and their middles by area, (c, 3) m.

    A group is halved along its longest side until that is no longer than `CLUSTER`.
    """
    groups, waiting = [], [np.arange(panels.count)]
    while waiting:
        group = waiting.pop()
        places = panels.centroids[group]
        lowest, spans = places.min(axis=0), np.ptp(places, axis=0)
        if spans.max() <= CLUSTER:
            groups.append(group)
            continue
        axis = int(spans.argmax())
        upper = places[:, axis] > lowest[axis] + 0.5 * spans[axis]
        waiting += [group[upper], group[~upper]]
    members = np.zeros((panels.count, len(groups)))
    for column, group in enumerate(groups):
        members[group, column] = 1.0
    weights = members * panels.areas[:, None]
    return members, np.asarray(weights.T @ panels.centroids / weights.sum(axis=0)[:, None])


def factored(matrix: Floats) -> Floats:
    """The lower Cholesky factor of a matrix that is overwritten. ValueError where conductors overlap."""
    try:
        return np.asarray(cholesky(matrix, lower=True, overwrite_a=True, check_finite=False))
    except LinAlgError:
        raise ValueError("conductors must not overlap or touch: the energy of their charges is not positive") from None


def player_panels(mesh: Floats, name: str, scene: Scene) -> Panels:
    """Panels of a part of the player, after checking that it clears the earth plane, the cabinet and the antenna."""
    if meets_antenna(mesh, scene):
        raise ValueError(f"stand_distance must be larger: the player's {name} meets the pitch antenna")
    if meets_cabinet(mesh, scene):
        raise ValueError(
            f"stand_distance must be larger, or the cabinet smaller: the player's {name} meets the cabinet"
        )
    return conductor_panels(mesh, f"the player's {name}", scene.room.earth_plane)


def clear_of_wall(parts: Sequence[Panels], scene: Scene) -> None:
    """Raise ValueError where one of the parts reaches the wall."""
    wall = scene.room.wall
    rear = min(float(part.corners[:, 0].min()) for part in parts)
    if wall is not None and rear <= -wall.distance:
        raise ValueError(
            f"distance must be > {-rear:.3g} m, or the wall meets what stands before it; got {wall.distance:g} m"
        )


def meets_antenna(mesh: Floats, scene: Scene) -> bool:
    """Whether a corner of `mesh`, or the middle of a triangle or of one of its sides, lies within the pitch antenna."""
    return bool((scene.antenna.distance(_points(mesh), extended=False) <= 0.0).any())


def _points(mesh: Floats) -> Floats:
    sides = 0.5 * (mesh + np.roll(mesh, -1, axis=1))
    return np.concatenate([mesh.reshape(-1, 3), sides.reshape(-1, 3), mesh.mean(axis=1)])


def meets_cabinet(mesh: Floats, scene: Scene) -> bool:
    """The same of the cabinet."""
    if scene.cabinet is None:
        return False
    size, center = cabinet_box(scene.antenna, scene.cabinet)
    return bool((np.abs(_points(mesh) - center) <= 0.5 * size).all(axis=1).any())
