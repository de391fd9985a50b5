"""Meshes of the scene: rod, ring, common, room, and the player with body, head, stretched arms and their hands.

Sizes of the player: `models.hand.player_sizes`. Axes as in `models.hand.scene`: the hand points towards -x, at the
antenna over the z axis, and moves along x or down to it; the shoulder of the playing arm stays in place. The other
hand, where there is a volume antenna, is palm down above it, pointing towards -x. Clothes, separate fingers and feet
are left out, and of the build of rounded sizes the elbow.

The rod is meshed finer at its ends and before the hand, the cabinet's top under the rod as well as at its edges.
"""

from __future__ import annotations

import functools
import math
from typing import Final

import numpy as np

from models.arrays import Floats
from models.electrostatics.mesh import box, sphere
from models.electrostatics.surfaces import (
    Surface,
    between,
    block_faces,
    capsule_triangles,
    frame,
    graded_both_ends,
    grading_for,
    lifted,
    rectangle,
    revolved,
    ring_faces,
)
from models.hand.antenna_meshes import pitch_antenna_mesh
from models.hand.antennas import AnyAntenna, AnyVolumeAntenna, LoopAntenna, VolumeRod
from models.hand.player_sizes import Build
from models.hand.scene import Bystander, Cabinet, Posture, Scene, Table, Wall
from models.quick_dataclass import dataclass

#: The build of a player whose sizes are not said.
TYPICAL: Final = Build()
#: Bands of each half sphere, cells along and sectors around: of a straight arm, and of the trunk, which far from the
#: antenna is most of what the player adds. (Half spheres of two bands cost 0.4 % of that, seven sectors 0.1 % more.)
ARM_CELLS: Final = (2, 5, 7)
TRUNK_CELLS: Final = (3, 5, 10)
#: Panels per length of a pitch arm with an elbow, which from the front stays far from the antenna.
FRONT_FINER: Final = 0.8
#: The cells of an arm whose wrist comes over the pitch antenna, and panels per length of one with an elbow there.
OVER_CELLS: Final = (4, 6, 12)
OVER_FINER: Final = 1.5
#: The same of the other straight arm over a volume antenna that is no ring, and panels per length of one with an elbow;
#: and panels per length of the hand over a rod, whose charge crowds along a line. (Coarser ones cost a plate 0.32 % of
#: what the hand adds, a rod 0.31 %.)
FLAT_CELLS: Final = (3, 5, 7)
FLAT_FINER: Final = 1.27
ROD_FINER: Final = 1.1
#: A player of that build stoops or sits before a low antenna: highest shoulder over hand, m.
SHOULDER_OVER_HAND: Final = 0.35
SHOULDER_SIDE: Final = -0.18
BODY_BOTTOM: Final = 0.03
#: Clearance between the back of the hand and the end of the arm, m (same potential: of no electrical effect).
WRIST_CLEARANCE: Final = 0.004
#: Where the elbow goes from the line of shoulder and wrist: down, outwards and, of a hand drawn back, behind the body.
#: (One that went only down and outwards would enter the ribs where the wrist comes beside the shoulder.)
ELBOW_WAY: Final = (0.6, 0.4, -1.0)
#: Length of the rounded part of an arm beside its elbow, of the shorter link.
ELBOW_ROUND: Final = 0.35
#: A seated player's thighs and shins, as one: half the thickness, m, and how much wider than thick both are.
LEG_RADIUS: Final = 0.075
LEGS_WIDTH: Final = 2.0
#: Panels per length of the legs against those of an arm: they lie under the hand.
LEGS_FINER: Final = 1.2

#: Half sizes of the hand along x (pointing), y (side to side) and z (up), m: the open hand is held on edge, thumb up.
HAND_HALF_SIZES: Final[dict[Posture, tuple[float, float, float]]] = {"open": TYPICAL.open_hand, "fist": TYPICAL.fist}
#: Exponent across the thickness y: 2 is an ellipsoid; 3 a fuller slab with blunt edges (303 ml for the open hand).
HAND_FULLNESS: Final[dict[Posture, float]] = {"open": 3.0, "fist": 2.0}


@dataclass(frozen=True, slots=True)
class HandShape:
    """Half sizes of a hand, m, as `HAND_HALF_SIZES`, its fullness, and how much longer it is with fingers stretched."""

    half: tuple[float, float, float]
    fullness: float
    drawn_in: float = 0.0


def hand_shape(build: Build, posture: Posture, opening: float = 1.0) -> HandShape:
    """The hand of a posture; an open one with its fingers `opening` open: between open hand and fist in every size."""
    if posture == "fist":
        return HandShape(build.fist, HAND_FULLNESS["fist"])
    first, second, third = (
        opening * wide + (1.0 - opening) * closed for wide, closed in zip(build.open_hand, build.fist, strict=True)
    )
    fullness = opening * HAND_FULLNESS["open"] + (1.0 - opening) * HAND_FULLNESS["fist"]
    return HandShape((first, second, third), fullness, 2.0 * (build.open_hand[0] - first))


OPEN_HAND: Final = hand_shape(TYPICAL, "open")


def shoulder(scene: Scene) -> Floats:
    """The fixed end of the arm, (3,) m."""
    build = scene.player.build
    height = build.shoulder_height
    if build == TYPICAL:
        height = min(height, scene.hand_height + SHOULDER_OVER_HAND)
    return np.array([scene.player.stand_distance - scene.player.lean, SHOULDER_SIDE, height])


def other_shoulder(scene: Scene) -> Floats:
    """The fixed end of the other arm, (3,) m: the playing hand's shoulder mirrored in the body's middle."""
    return shoulder(scene) - (0.0, 2.0 * scene.player.build.shoulder_out, 0.0)


def body(scene: Scene, fineness: float = 1.0) -> list[Floats]:
    """Meshes of trunk with legs, and of the head; of the hanging arm where the scene has it."""
    build = scene.player.build
    parts = _trunk_and_head(shoulder(scene), build, fineness)
    if scene.player.hanging_arm and scene.ring is None:
        parts.append(hanging_arm(other_shoulder(scene), build, fineness))
    return parts


def hanging_arm(joint: Floats, build: Build = TYPICAL, fineness: float = 1.0) -> Floats:
    """An arm with its closed hand straight down from a shoulder joint, a capsule."""
    return straight_capsule(joint - (0.0, 0.0, build.hanging), joint, build.arm_radii[1], fineness)


def bystander(person: Bystander, fineness: float = 1.0) -> list[Floats]:
    """Meshes of a second person of the typical build: trunk, head and both arms at the sides."""
    joint = np.array([person.x, person.y + TYPICAL.shoulder_out, TYPICAL.shoulder_height])
    other = joint - (0.0, 2.0 * TYPICAL.shoulder_out, 0.0)
    parts = _trunk_and_head(joint, TYPICAL, fineness)
    return [*parts, hanging_arm(joint, TYPICAL, fineness), hanging_arm(other, TYPICAL, fineness)]


def _trunk_and_head(joint: Floats, build: Build, fineness: float) -> list[Floats]:
    """Trunk with legs, and head, of a body whose playing shoulder is at `joint`; a seated one has legs of their own."""
    stand, side, top = joint - (0.0, build.shoulder_out, 0.0)
    half_width, bottom = build.half_width, BODY_BOTTOM if build.seat is None else build.seat
    lower, upper = ((0.0, 0.0, z) for z in (bottom + half_width, top + build.neck - half_width))
    trunk = straight_capsule(np.array(lower), np.array(upper), half_width, fineness, TRUNK_CELLS)
    head = sphere((0.0, 0.0, 0.0), 1.0, panels=round(40 * fineness**2)) * build.head_radii
    parts = [trunk * (build.depth_ratio, 1.0, 1.0) + (stand, side, 0.0), head + (stand, side, top + build.head)]
    if build.seat is not None:
        front, level = stand - build.depth_ratio * half_width - 1.2 * LEG_RADIUS, build.seat + LEG_RADIUS
        knee = front - 1.1 * build.seat  # buttock to knee is a little more than the seat is high (from memory)
        path = np.array([[front, 0.0, level], [knee, 0.0, level], [knee, 0.0, BODY_BOTTOM + LEG_RADIUS]])
        parts.append(
            bent_tube(path, (LEG_RADIUS,) * 3, LEGS_FINER * fineness) * (1.0, LEGS_WIDTH, 1.0) + (0.0, side, 0.0)
        )
    return parts


def hand(posture: Posture, fineness: float = 1.0) -> Floats:
    """The typical hand of a posture; see `shaped_hand`."""
    return shaped_hand(hand_shape(TYPICAL, posture), fineness)


def shaped_hand(shape: HandShape, fineness: float = 1.0, underside: bool = False) -> Floats:
    """The hand with its foremost point at the origin, pointing towards -x; triangles (n, 3, 3) m.

    underside: its cells finer at the middle of the palm than at the foremost point, and more of them.

    Surface: (X^2 + Z^2)^(p/2) + |Y|^p = 1 in units of the half sizes, p the fullness. The foremost point of it is
    the nearest to any vertical line before the hand, because no point lies farther along -x.
    """
    half, fullness = np.array(shape.half), shape.fullness
    if underside:
        points, faces = _nose_graded_sphere(round(12 * fineness), 1.4)
        points = points[:, [2, 0, 1]]  # the nose to -y
    else:
        points, faces = _nose_graded_sphere(round(9 * fineness))
    unit_points = _filled(points, fullness)
    triangles = lifted((unit_points * half, faces), _filled_normals(unit_points, fullness, half))
    return np.asarray(triangles + (half[0], 0.0, 0.0))


#: How exactly the nearest skin is brought to its distance, m, and the steps taken at most.
_NEAREST_SKIN: Final = 1e-10
_SKIN_STEPS: Final = 200


def pitch_hand(scene: Scene, posture: Posture, distance: float, fineness: float = 1.0) -> Floats:
    """The pitch hand with its nearest skin `distance`, m, from the antenna; triangles (n, 3, 3) m."""
    shape = hand_shape(scene.player.build, posture, scene.player.opening)
    mesh = palm(shape, fineness) if scene.from_above else shaped_hand(shape, fineness)
    return np.asarray(mesh + hand_place(scene, posture, distance))


def hand_place(scene: Scene, posture: Posture, distance: float) -> Floats:
    """Where the foremost point of a hand from the front, or the middle of the underside of one from above, is, (3,) m.

    The hand is moved along its way until its nearest skin is `distance`, m, from the antenna. Raises ValueError where
    it does not come that near. Fingers that close draw the hand in from there.
    """
    antenna, half = scene.antenna, hand_shape(scene.player.build, posture).half
    if scene.from_above:
        skin, way = _skin(half, posture) @ _PALM_DOWN + (-half[0], 0.0, half[1]), 2
        place = antenna.aim_below()
    else:
        skin, way = _skin(half, posture), 0
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
            drawn_in = hand_shape(scene.player.build, posture, scene.player.opening).drawn_in
            return np.asarray(place + (0.5 * drawn_in if scene.from_above else drawn_in, 0.0, 0.0))
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
    build = scene.player.build
    parts.append(pitch_arm(scene, posture, distance, fineness))
    if scene.ring is not None and height is not None:
        parts.append(volume_hand(scene.ring, height, build, fineness))
        parts.append(other_arm(scene, scene.ring, height, fineness))
    return parts


@functools.lru_cache(maxsize=8)
def _skin(half_sizes: tuple[float, float, float], posture: Posture) -> Floats:
    """Points (n, 3) m of the ideal surface of `hand`, among them the foremost."""
    unit = _filled(_nose_graded_sphere(72)[0], HAND_FULLNESS[posture])
    return np.asarray(unit * half_sizes + (half_sizes[0], 0.0, 0.0))


def wrist(scene: Scene, posture: Posture, distance: float) -> Floats:
    """The moving end of the arm's axis, (3,) m, at hand distance `distance`, m.

    Raises ValueError where the player could not reach that far from the shoulder.
    """
    place, joint, build = _wrist_place(scene, posture, distance), shoulder(scene), scene.player.build
    stretch, reach = _span(joint, place), build.longest
    # A hand taken back beside the body only completes the table: its arm is as long as it has to be.
    if stretch > reach and (build.links is None or place[0] < joint[0]):
        shortest = _wrist_place(scene, "fist", distance)  # a fist has to come nearest
        raise ValueError(
            f"stand_distance and hand_height must let the player reach a hand distance of {distance:.3g} m: the arm is "
            f"at most {reach:.3g} m from shoulder to wrist; got {stretch:.3g} m: {_nearer(joint, shortest, reach)}"
        )
    return place


def _wrist_place(scene: Scene, posture: Posture, distance: float) -> Floats:
    """Where the wrist is, (3,) m, whether it can be reached or not."""
    build = scene.player.build
    half_length = hand_shape(build, posture, scene.player.opening).half[0]
    radius = build.arm_radii[2]
    place = hand_place(scene, posture, distance)
    if scene.from_above:
        return place + (half_length + WRIST_CLEARANCE + radius, 0.0, radius)
    return place + (2.0 * half_length + WRIST_CLEARANCE + radius, 0.0, 0.0)


def farthest_distance(scene: Scene, most: float) -> float:
    """The farthest distance, m, at most `most`, to which the player takes the pitch hand back.

    With an elbow: until the wrist is beside the shoulder. From above: as high as the arm reaches. Without an elbow: as
    far as the arm reaches back, or the hand's way leads away from the antenna.
    """
    build, joint = scene.player.build, shoulder(scene)
    first = 0.01
    near = wrist(scene, "open", first)
    if scene.from_above:
        rise = build.longest**2 - _span(joint[:2], near[:2]) ** 2
        return min(most, first + float(joint[2] - near[2]) + 0.999 * float(np.sqrt(max(rise, 0.0))))
    if build.links is not None:
        return min(most, first + float(joint[0] - near[0]))
    low, high = first, most
    while high - low > _FARTHEST_WITHIN:
        try:
            wrist(scene, "open", high)
            low = high
        except ValueError:
            most = high
        high = 0.5 * (low + most)
    return low


#: How closely the farthest distance is found, m.
_FARTHEST_WITHIN: Final = 1e-3


def _span(first: Floats, second: Floats) -> float:
    return float(np.sqrt(((second - first) ** 2).sum()))


def _nearer(joint: Floats, place: Floats, reach: float) -> str:
    """What lets an arm from `joint` reach `place`: another height, a nearer stand, or both."""
    aside, ahead = abs(float(joint[1] - place[1])), float(joint[0] - place[0])
    high = f"between {{0:.2g}} m and {{1:.2g}} m high, the shoulder being at {joint[2]:.2g} m"
    upright = reach**2 - aside**2 - ahead**2
    if upright > 0.0:
        rise = float(np.sqrt(upright))
        return f"bring the hand, or the antenna, to where it is {high.format(joint[2] - rise, joint[2] + rise)}"
    level = reach**2 - aside**2 - float(joint[2] - place[2]) ** 2
    if level > 0.0 and ahead > 0.0:
        stand = math.floor(100.0 * (float(place[0]) + float(np.sqrt(level)))) / 100.0
        return f"stand {stand:.2f} m from it or nearer, or lean"
    return f"stand nearer, and bring hand and antenna to the shoulder's height of {joint[2]:.2g} m"


def arm(
    start: Floats,
    end: Floats,
    build: Build = TYPICAL,
    fineness: float = 1.0,
    layout: tuple[int, int, int] = ARM_CELLS,
    finer: float = 1.0,
) -> Floats:
    """The arm from the shoulder joint to the wrist, always of the same triangles, so that it deforms smoothly.

    layout: of a straight arm, as for `straight_capsule`. finer: panels per length of one with an elbow.
    """
    if build.links is None:
        return straight_capsule(start, end, build.arm_radii[2], fineness, layout)
    return bent_tube(np.stack([start, elbow(start, end, build.links), end]), build.arm_radii, finer * fineness)


def pitch_arm(scene: Scene, posture: Posture, distance: float, fineness: float = 1.0) -> Floats:
    """The arm of the pitch hand at `distance`, m; finer for a hand from above, whose wrist comes over the antenna."""
    ends = shoulder(scene), wrist(scene, posture, distance)
    cells, finer = (OVER_CELLS, OVER_FINER) if scene.from_above else (ARM_CELLS, FRONT_FINER)
    return arm(*ends, scene.player.build, fineness, cells, finer)


def other_arm(scene: Scene, antenna: AnyVolumeAntenna, height: float, fineness: float = 1.0) -> Floats:
    """The arm of the hand `height`, m, above the volume antenna; finer over one that is no ring."""
    ends = other_shoulder(scene), other_wrist(scene, antenna, height)
    cells, finer = (ARM_CELLS, 1.0) if isinstance(antenna, LoopAntenna) else (FLAT_CELLS, FLAT_FINER)
    return arm(*ends, scene.player.build, fineness, cells, finer)


def elbow(start: Floats, end: Floats, links: tuple[float, float]) -> Floats:
    """The elbow of an arm of these links, m, between shoulder `start` and wrist `end`: it goes down, outwards and back.

    Links too short for the way are both lengthened alike.
    """
    span = _span(start, end)
    stretched = max(1.0, span / (0.9999 * sum(links)))
    upper, lower = stretched * links[0], stretched * links[1]
    axis = (end - start) / span
    along = (span**2 + upper**2 - lower**2) / (2.0 * span)
    way = np.array(ELBOW_WAY) * (1.0, 1.0 if start[1] >= SHOULDER_SIDE else -1.0, 1.0)
    away = way - (axis @ way) * axis
    out = float(np.sqrt(max(upper**2 - along**2, 0.0)))
    return np.asarray(start + along * axis + out * away / np.sqrt((away**2).sum()))


def bent_tube(path: Floats, radii: tuple[float, float, float], fineness: float = 1.0) -> Floats:
    """A round tube along two straight links of `path` (3, 3) m, rounded at their joint, with half spheres on its ends.

    radii: m, at the three points; between them they change evenly along the axis. The bend is of an even number of
    pieces, so that a cross-section lies in its middle: without one an arm drawn back costs 0.5 % of what it adds.
    """
    bands, sectors = max(2, round(2 * fineness)), round(9 * fineness)
    first, second = _span(path[0], path[1]), _span(path[1], path[2])
    one, two = (path[1] - path[0]) / first, (path[2] - path[1]) / second
    rounded = ELBOW_ROUND * min(first, second)
    inner, outer = path[1] - rounded * one, path[1] + rounded * two
    steps, turns = np.linspace(0.0, 1.0, round(2 * fineness) + 1)[:, None], 2 * round(3 * fineness)
    shares = np.linspace(0.0, 1.0, turns + 1)[1:-1, None]
    bend = (1.0 - shares) ** 2 * inner + 2.0 * shares * (1.0 - shares) * path[1] + shares**2 * outer
    middles = np.concatenate([path[0] + steps * (inner - path[0]), bend, outer + steps * (path[2] - outer)])
    tangents = np.concatenate([0.0 * steps + one, (1.0 - shares) * one + shares * two, 0.0 * steps + two])
    tangents /= np.sqrt((tangents**2).sum(axis=1))[:, None]
    along = np.concatenate([[0.0], np.cumsum(np.sqrt((np.diff(middles, axis=0) ** 2).sum(axis=1)))])
    sizes = np.interp(along, [0.0, along[len(steps) - 1 + turns // 2], along[-1]], radii)
    # The cross-sections turn about the normal of the plane of both links, which stays the same.
    normal = np.cross(one, two)
    length = float(np.sqrt((normal**2).sum()))
    normal = normal / length if length > 1e-9 else frame(one)[0]
    cap = np.linspace(0.0, 0.5 * np.pi, bands + 1)[:-1]
    rings: list[tuple[Floats, Floats, float, float]] = []
    for angle in cap:
        rings.append((path[0] - sizes[0] * np.cos(angle) * one, one, sizes[0], angle - 0.5 * np.pi))
    rings += [(middle, tangent, size, 0.0) for middle, tangent, size in zip(middles, tangents, sizes, strict=True)]
    for angle in cap[::-1]:
        rings.append((path[2] + sizes[-1] * np.cos(angle) * two, two, sizes[-1], 0.5 * np.pi - angle))
    counts = [1 if abs(tilt) > 1.5 else max(5, round(sectors * float(np.cos(tilt)))) for *_, tilt in rings]
    points, normals = [], []
    for (middle, tangent, size, tilt), count in zip(rings, counts, strict=True):
        side = np.cross(tangent, normal)
        turn = 2.0 * np.pi * np.arange(count)[:, None] / count
        radial = np.cos(turn) * normal + np.sin(turn) * side if count > 1 else np.zeros((1, 3))
        outward = np.cos(tilt) * radial + np.sin(tilt) * tangent
        points.append(middle + size * np.cos(tilt) * radial)
        normals.append(outward)
    return lifted((np.concatenate(points), ring_faces(tuple(counts))), np.concatenate(normals))


def straight_capsule(
    start: Floats, end: Floats, radius: float, fineness: float = 1.0, layout: tuple[int, int, int] = ARM_CELLS
) -> Floats:
    """A straight capsule from `start` to `end`, always of the same triangles.

    layout: bands of each half sphere, cells along and sectors around the cylinder, at fineness 1.
    """
    bands, cells, sectors = (round(count * fineness) for count in layout)
    bands = max(2, bands)
    angles = np.linspace(0.0, 0.5 * np.pi, bands + 1)
    counts = [1] + [max(5, round(sectors * float(np.sin(angle)))) for angle in angles[1:]]
    span = end - start
    length = float(np.sqrt((span**2).sum()))
    triangles = capsule_triangles(counts, np.linspace(0.0, 1.0, cells + 1), length, radius)
    axis = span / length
    first = np.cross((0.0, 0.0, 1.0) if np.hypot(*axis[:2]) > 1e-9 else (0.0, 1.0, 0.0), axis)
    first /= np.sqrt((first**2).sum())
    return np.asarray(triangles @ np.stack([first, np.cross(axis, first), axis]) + start)


#: A quarter turn about x: the hand on edge, thumb up, comes to lie palm down.
_PALM_DOWN: Final[Floats] = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])


def palm(shape: HandShape = OPEN_HAND, fineness: float = 1.0) -> Floats:
    """The hand, palm down and level, fingers towards -x, the middle of its underside at the origin."""
    half_length, half_thickness, _ = shape.half
    return np.asarray(shaped_hand(shape, fineness, underside=True) @ _PALM_DOWN + (-half_length, 0.0, half_thickness))


def volume_hand(ring: AnyVolumeAntenna, height: float, build: Build = TYPICAL, fineness: float = 1.0) -> Floats:
    """The open hand over the volume antenna, its underside `height`, m, above it."""
    finer = ROD_FINER if isinstance(ring, VolumeRod) else 1.0
    return palm(hand_shape(build, "open"), finer * fineness) + ring.over + (0.0, 0.0, height)


def highest_hand(scene: Scene, ring: AnyVolumeAntenna, lowest: float, most: float) -> float:
    """How high above the volume antenna, m, at most `most`, the player holds the hand: as the arm reaches.

    Raises ValueError where it does not reach the height `lowest`.
    """
    place, joint = other_wrist(scene, ring, lowest), other_shoulder(scene)
    rise = scene.player.build.longest**2 - _span(joint[:2], place[:2]) ** 2
    highest = lowest + float(joint[2] - place[2]) + 0.999 * float(np.sqrt(max(rise, 0.0)))
    return float(np.clip(highest, lowest, most))


def other_wrist(scene: Scene, ring: AnyVolumeAntenna, height: float) -> Floats:
    """The moving end of the other arm's axis, (3,) m, its underside level with the hand's, for a hand at `height`, m.

    Raises ValueError where the player could not reach that far from the shoulder.
    """
    build = scene.player.build
    back = build.open_hand[0] + WRIST_CLEARANCE + build.arm_radii[2]
    place = np.asarray(ring.over + (back, 0.0, height + build.arm_radii[2]))
    stretch, joint = _span(place, other_shoulder(scene)), other_shoulder(scene)
    if stretch > build.longest:
        raise ValueError(
            f"height and offset must let the player hold a hand {height:g} m above the volume antenna: the arm "
            f"is at most {build.longest:.3g} m from shoulder to wrist; got {stretch:.3g} m: "
            f"{_nearer(joint, place, build.longest)}"
        )
    return place


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
