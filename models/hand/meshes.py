"""Meshes of the scene: rod, ring, common, room, and the player with body, head, stretched arms and their hands.

Sizes of the player are those of a typical adult, rounded (from memory of anthropometric tables such as DIN 33402-2; no
percentile is claimed). Axes as in `models.hand.scene`: the hand points towards -x, at the rod on the z axis, and moves
along x at y = 0; the shoulder of the playing arm stays in place. The other hand, where there is a ring, is palm down
above the part of it that is nearest to the player, fingers over the ring, pointing towards -x. Clothes, separate
fingers, elbow and feet are left out.

The rod is meshed finer at its ends and before the hand, the cabinet's top under the rod as well as at its edges.
"""

from __future__ import annotations

import functools
from typing import Final

import numpy as np

from models.arrays import Floats
from models.electrostatics.mesh import box, capsule, sphere
from models.electrostatics.surfaces import (
    Surface,
    between,
    block_faces,
    capsule_triangles,
    graded_both_ends,
    grading_for,
    lifted,
    rectangle,
    revolved,
)
from models.hand.antenna_meshes import pitch_antenna_mesh
from models.hand.antennas import AnyAntenna, AnyVolumeAntenna
from models.hand.scene import Bystander, Cabinet, Posture, Scene, Table, Wall

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
#: From the shoulder joint to the far end of the axis of an arm that hangs, its hand closed, m.
HANGING_ARM: Final = 0.62
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
    return np.array([scene.player.stand_distance - scene.player.lean, SHOULDER_SIDE, height])


def other_shoulder(scene: Scene) -> Floats:
    """The fixed end of the other arm, (3,) m: the playing hand's shoulder mirrored in the body's middle."""
    stand, _, height = shoulder(scene)
    return np.array([stand, 2.0 * BODY_SIDE - SHOULDER_SIDE, height])


def body(scene: Scene, fineness: float = 1.0) -> list[Floats]:
    """Meshes of trunk with legs, and of the head; of the hanging arm where the scene has it."""
    parts = _trunk_and_head(shoulder(scene), fineness)
    if scene.player.hanging_arm and scene.ring is None:
        parts.append(hanging_arm(other_shoulder(scene), fineness))
    return parts


def hanging_arm(joint: Floats, fineness: float = 1.0) -> Floats:
    """An arm with its closed hand straight down from a shoulder joint, a capsule."""
    return arm(joint - (0.0, 0.0, HANGING_ARM), joint, fineness)


def bystander(person: Bystander, fineness: float = 1.0) -> list[Floats]:
    """Meshes of a second person: trunk, head and both arms at the sides."""
    joint = np.array([person.x, person.y + SHOULDER_SIDE - BODY_SIDE, STANDING_SHOULDER])
    other = joint - (0.0, 2.0 * (SHOULDER_SIDE - BODY_SIDE), 0.0)
    parts = _trunk_and_head(joint, fineness)
    return [*parts, hanging_arm(joint, fineness), hanging_arm(other, fineness)]


def _trunk_and_head(joint: Floats, fineness: float) -> list[Floats]:
    """Trunk with legs, and head, of a body whose playing shoulder is at `joint`."""
    stand, side, top = joint + (0.0, BODY_SIDE - SHOULDER_SIDE, 0.0)
    trunk = capsule(
        (0.0, 0.0, BODY_BOTTOM + BODY_HALF_WIDTH),
        (0.0, 0.0, top + NECK_OVER_SHOULDER - BODY_HALF_WIDTH),
        BODY_HALF_WIDTH,
        panels=round(130 * fineness**2),
    )
    head_center = (stand, side, top + HEAD_OVER_SHOULDER)
    head = sphere(head_center, HEAD_RADIUS, panels=round(40 * fineness**2))
    return [trunk * (BODY_DEPTH_RATIO, 1.0, 1.0) + (stand, side, 0.0), head]


def hand(posture: Posture, fineness: float = 1.0, even: bool = False) -> Floats:
    """The hand with its foremost point at the origin, pointing towards -x; triangles (n, 3, 3) m.

    even: its cells no finer at the foremost point than elsewhere, and more of them.

    Surface: (X^2 + Z^2)^(p/2) + |Y|^p = 1 in units of the half sizes, p the fullness. The foremost point of it is
    the nearest to any vertical line before the hand, because no point lies farther along -x.
    """
    half = np.array(HAND_HALF_SIZES[posture])
    points, faces = _nose_graded_sphere(round(15 * fineness), 1.0) if even else _nose_graded_sphere(round(9 * fineness))
    unit_points = _filled(points, HAND_FULLNESS[posture])
    triangles = lifted((unit_points * half, faces), _filled_normals(unit_points, HAND_FULLNESS[posture], half))
    return np.asarray(triangles + (half[0], 0.0, 0.0))


#: How exactly the nearest skin is brought to its distance, m, and the steps taken at most.
_NEAREST_SKIN: Final = 1e-10
_SKIN_STEPS: Final = 200


def pitch_hand(scene: Scene, posture: Posture, distance: float, fineness: float = 1.0) -> Floats:
    """The pitch hand with its nearest skin `distance`, m, from the antenna; triangles (n, 3, 3) m."""
    shape = palm(posture, fineness, even=True) if scene.from_above else hand(posture, fineness)
    return np.asarray(shape + hand_place(scene, posture, distance))


def hand_place(scene: Scene, posture: Posture, distance: float) -> Floats:
    """Where the foremost point of a hand from the front, or the middle of the underside of one from above, is, (3,) m.

    The hand is moved along its way until its nearest skin is `distance`, m, from the antenna. Raises ValueError where
    it does not come that near.
    """
    antenna = scene.antenna
    if scene.from_above:
        skin, way = _skin(posture) @ _PALM_DOWN + (-HAND_HALF_SIZES[posture][0], 0.0, _half_thickness(posture)), 2
        place = antenna.aim_below()
    else:
        skin, way = _skin(posture), 0
        place = antenna.aim(scene.hand_height)
        place[2] = scene.hand_height
    place[way] += distance

    def missing() -> float:
        return distance - float(antenna.distance(skin + place, extended=not scene.from_above).min())

    # The nearest skin comes nearer by no more than the hand moves: every step back is safe, and it ends at once where
    # the hand moves straight at the surface.
    for _ in range(_SKIN_STEPS):
        step = missing()
        if abs(step) < _NEAREST_SKIN:
            return np.asarray(place)
        place[way] += step
    raise ValueError(
        f"hand_height and approach must let the hand come within {distance:g} m of the antenna: at this height it "
        "passes by"
    )


def player_meshes(
    scene: Scene, posture: Posture, distance: float, height: float | None, fineness: float = 1.0
) -> list[Floats]:
    """Every part of the player, the pitch hand at `distance` and, where there is a ring, the other at `height`, m."""
    parts = [*body(scene, fineness), pitch_hand(scene, posture, distance, fineness)]
    parts.append(arm(shoulder(scene), wrist(scene, posture, distance), fineness))
    if scene.ring is not None and height is not None:
        parts.append(volume_hand(scene.ring, height, fineness))
        parts.append(arm(other_shoulder(scene), other_wrist(scene, scene.ring, height), fineness))
    return parts


@functools.cache
def _skin(posture: Posture) -> Floats:
    """Points (n, 3) m of the ideal surface of `hand`, among them the foremost."""
    half = np.array(HAND_HALF_SIZES[posture])
    unit = _filled(_nose_graded_sphere(72)[0], HAND_FULLNESS[posture])
    return np.asarray(unit * half + (half[0], 0.0, 0.0))


def wrist(scene: Scene, posture: Posture, distance: float) -> Floats:
    """The moving end of the arm's axis, (3,) m, at hand distance `distance`, m.

    Raises ValueError where the player could not reach that far from the shoulder.
    """
    length = 2.0 * HAND_HALF_SIZES[posture][0]
    place = hand_place(scene, posture, distance)
    if scene.from_above:
        place = place + (0.5 * length + WRIST_CLEARANCE + ARM_RADIUS, 0.0, ARM_RADIUS)
    else:
        place = place + (length + WRIST_CLEARANCE + ARM_RADIUS, 0.0, 0.0)
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
    span = end - start
    length = float(np.sqrt((span**2).sum()))
    triangles = capsule_triangles(counts, np.linspace(0.0, 1.0, cells + 1), length, ARM_RADIUS)
    axis = span / length
    first = np.cross((0.0, 0.0, 1.0) if np.hypot(*axis[:2]) > 1e-9 else (0.0, 1.0, 0.0), axis)
    first /= np.sqrt((first**2).sum())
    return np.asarray(triangles @ np.stack([first, np.cross(axis, first), axis]) + start)


#: A quarter turn about x: the hand on edge, thumb up, comes to lie palm down.
_PALM_DOWN: Final[Floats] = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])


def _half_thickness(posture: Posture) -> float:
    return HAND_HALF_SIZES[posture][1]


def palm(posture: Posture = "open", fineness: float = 1.0, even: bool = False) -> Floats:
    """The hand, palm down and level, fingers towards -x, the middle of its underside at the origin.

    even: its cells as fine under the palm as at the finger tips.
    """
    half_length = HAND_HALF_SIZES[posture][0]
    return np.asarray(hand(posture, fineness, even) @ _PALM_DOWN + (-half_length, 0.0, _half_thickness(posture)))


def volume_hand(ring: AnyVolumeAntenna, height: float, fineness: float = 1.0) -> Floats:
    """The open hand over the volume antenna, its underside `height`, m, above it."""
    return palm("open", fineness) + ring.over + (0.0, 0.0, height)


def other_wrist(scene: Scene, ring: AnyVolumeAntenna, height: float) -> Floats:
    """The moving end of the other arm's axis, (3,) m, its underside level with the hand's, for a hand at `height`, m.

    Raises ValueError where the player could not reach that far from the shoulder.
    """
    back = HAND_HALF_SIZES["open"][0] + WRIST_CLEARANCE + ARM_RADIUS
    place = ring.over + (back, 0.0, height + ARM_RADIUS)
    stretch = float(np.sqrt(((place - other_shoulder(scene)) ** 2).sum()))
    if stretch > LONGEST_ARM:
        raise ValueError(
            f"the volume antenna's height and offset must let the player hold a hand {height:g} m above it: the arm "
            f"is at most {LONGEST_ARM:g} m from shoulder to wrist; got {stretch:g} m"
        )
    return np.asarray(place)


def wall_mesh(wall: Wall, fineness: float = 1.0) -> Floats:
    """Triangles of the wall, of no thickness, cells crowding before the antenna."""
    cells = round(6 * fineness)
    span = between(0.5 * wall.width, cells, 0.25 * wall.distance, 0.1 * wall.width)
    across = np.concatenate([-span[:0:-1], span])
    upright = wall.clearance + wall.height * graded_both_ends(round(8 * fineness), 1.2)
    flat = rectangle(across, upright, 0.0)
    return np.stack([flat[..., 2] - wall.distance, flat[..., 0], flat[..., 1]], axis=-1)


def table_mesh(table: Table, fineness: float = 1.0) -> Floats:
    """Triangles of the table's plate, a thin block under the antenna."""
    size = (table.depth, table.width, TABLE_THICKNESS)
    return box(size, (0.0, 0.0, table.top - 0.5 * TABLE_THICKNESS), panels=round(240 * fineness**2))


#: Thickness of the metal plate of a table, m.
TABLE_THICKNESS: Final = 0.02


def _nose_graded_sphere(bands: int, grading: float = 1.5) -> Surface:
    """Unit sphere of rings about the x axis, closer together towards the nose at -x for a grading above 1."""
    angles = np.pi * (1.0 - (np.arange(bands + 1) / bands) ** grading)
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


def antenna_mesh(scene: Scene, fineness: float = 1.0) -> Floats:
    """Triangles of the pitch antenna, finer at its ends and edges and before the hand."""
    return pitch_antenna_mesh(scene.antenna, scene.hand_height, scene.from_above, fineness)


def cabinet_mesh(antenna: AnyAntenna, cabinet: Cabinet, fineness: float = 1.0) -> Floats:
    """Triangles of the cabinet's box; the cells of its top crowd under the antenna as well as at the edges."""
    size, center = cabinet_box(antenna, cabinet)
    edge = 0.08 * float(size.min()) / fineness
    cells = (round(4 * fineness), round(5 * fineness), round(3 * fineness))
    coarse = [span * _even_ends(count, span, edge) for span, count in zip(size, cells, strict=True)]
    _, *others = block_faces(*[nodes - 0.5 * span for nodes, span in zip(coarse, size, strict=True)])
    under = 0.7 * (cabinet.gap + antenna.foot_radius) / fineness
    halves = [between(0.5 * span, round(4 * fineness), under, edge) for span in size[:2]]
    x, y = (np.concatenate([-half[:0:-1], half]) for half in halves)
    return np.asarray(np.concatenate([rectangle(x, y, 0.5 * float(size[2])), *others]) + center)


def _even_ends(cells: int, span: float, edge: float) -> Floats:
    """Nodes from 0 to 1 crowding at both ends to steps of `edge` / `span`."""
    return graded_both_ends(cells, grading_for(0.5 * span, 0.5 * cells, edge))


def cabinet_box(antenna: AnyAntenna, cabinet: Cabinet) -> tuple[Floats, Floats]:
    """Size (3,) and middle (3,) of the cabinet, m, along x (towards the player), y, z."""
    middle = antenna.base_height - cabinet.gap - 0.5 * cabinet.height
    return np.array([cabinet.depth, cabinet.width, cabinet.height]), np.array([0.0, 0.0, middle])
