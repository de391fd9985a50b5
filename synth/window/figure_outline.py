"""Hand, arm and body seen from the side: the shapes the capacitance is computed for, in metres of the stage.

Points of the stage are (along, down): `along` from the antenna's surface along the hand's way, `down` from the line
on which the hand moves. A hand that comes from above is drawn with its way level too: up is then towards the player's
side of the stage, and the player is below. Within the hand, points are complex: from the finger tips back towards the
wrist, and across. The computed hand and arm end 4 mm apart (`models.hand.meshes.WRIST_CLEARANCE`), at one potential.
The drawing shows the arm as a sleeve, round end and all, and closes the gap by a wrist no wider than the hand, which
runs into that sleeve and takes nothing away from either.
"""

from __future__ import annotations

import functools
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from models.arrays import Floats
from models.hand import meshes
from models.hand.meshes import HandShape, hand_shape
from models.hand.player_sizes import Build
from models.hand.scene import Posture, Scene
from models.outline import convex_outline
from models.quick_dataclass import dataclass
from synth.analysis.scene_outlines import antenna_outline, hand_line
from synth.window.scale import STRAIGHT, Way

Points = NDArray[np.complex128]
WAY_POINTS: Final = 24
WRIST_SHARE: Final = 0.74  # half the wrist's width, of half the hand's
HEEL_BEGINS: Final = 0.93  # of the hand's length: the drawn part of its back end, as a crease
_WRIST_DEPTH: Final = 0.02  # m that the wrist runs into the sleeve, beyond the end of the arm's axis
_SHARE: Final = np.linspace(0.0, 1.0, 13)
#: Weights (4, 13) of the corners of a cubic Bezier curve.
_CURVE: Final = np.stack(
    [(1.0 - _SHARE) ** 3, 3.0 * (1.0 - _SHARE) ** 2 * _SHARE, 3.0 * (1.0 - _SHARE) * _SHARE**2, _SHARE**3]
)
_CORNERS: Final = 80
_HALF_TURN: Final = np.exp(1j * np.pi * (np.arange(25) / 24 - 0.5))


@dataclass(frozen=True)
class Sight:
    """What the stage shows of a scene. `posture`: the one whose nearest skin the distances are of."""

    scene: Scene
    posture: Posture = "open"

    def __hash__(self) -> int:
        return self._hash

    @functools.cached_property
    def _hash(self) -> int:  # asked for several times a picture
        return hash((self.scene, self.posture))

    @functools.cached_property
    def origin(self) -> Floats:
        """The point (3,) m of the antenna's surface from which the way is counted, at the height of the hand."""
        point = hand_line(self.scene)
        return point if self.scene.from_above else np.array([point[0], point[1], self.scene.hand_height])

    @functools.cached_property
    def directions(self) -> Floats:
        """Unit vectors (3, 2) along the hand's way and down on the stage."""
        along, down = (
            ((0.0, 0.0, 1.0), (1.0, 0.0, 0.0)) if self.scene.from_above else ((1.0, 0.0, 0.0), (0.0, 0.0, -1.0))
        )
        return np.array([along, down]).T

    def seen(self, points: Floats) -> Floats:
        """Points (..., 3) of the scene on the stage, (..., 2) m."""
        return np.asarray((points - self.origin) @ self.directions)

    def tip(self, way: Way, distance: float, opening: float) -> float:
        """Where the foremost point is, m along the way, of a hand whose wrist is that of a hand at `distance`, m."""
        build = self.scene.player.build
        drawn_in = 2.0 * (self.given_half - hand_shape(build, "open", opening).half[0])
        return way.tip(distance) + (0.0 if self.scene.from_above else drawn_in)

    @functools.cached_property
    def shoulder(self) -> Floats:
        """The fixed end of the arm, (3,) m."""
        return meshes.shoulder(self.scene)

    @functools.cached_property
    def given_half(self) -> float:
        """Half the length, m, of the hand whose nearest skin the distances are of."""
        return hand_shape(self.scene.player.build, self.posture).half[0]


@functools.lru_cache(maxsize=8)
def way_of(scene: Scene, posture: Posture, nearest: float, farthest: float) -> Way:
    """Where the hand's tip is at each distance, m, by the meshes; straight before an upright rod of one thickness."""
    from models.hand.antennas import RodAntenna

    if isinstance(scene.antenna, RodAntenna) and scene.antenna.lean == 0.0:
        return STRAIGHT
    sight = Sight(scene, posture)
    distances = np.geomspace(nearest, farthest, WAY_POINTS)
    drawn_in = hand_shape(scene.player.build, posture, scene.player.opening).drawn_in
    places = np.stack([meshes.hand_place(scene, posture, float(distance)) for distance in distances])
    tips = sight.seen(places)[:, 0] - (0.0 if scene.from_above else drawn_in)
    return Way(tuple(distances.tolist()), tuple(tips.tolist()))


def hand_outline(shape: HandShape, above: bool = False) -> Points:
    """Outline of the hand, the tip at 0: the widest cut of `models.hand.meshes.shaped_hand` seen from the side.

    |X|^p + |Y|^p = 1 in units of the half sizes, p = 2 for a hand on edge; its fullness for one with its palm down.
    """
    return _hand_outline(shape.half, shape.fullness if above else 2.0, 1 if above else 2)


@functools.lru_cache(maxsize=32)
def _hand_outline(half: tuple[float, float, float], power: float, across: int) -> Points:
    angle = 2.0 * np.pi * np.arange(_CORNERS) / _CORNERS
    along, aside = -np.cos(angle), np.sin(angle)
    shaped = [np.sign(part) * np.abs(part) ** (2.0 / power) for part in (along, aside)]
    return np.asarray(half[0] * (1.0 + shaped[0]) + 1j * half[across] * shaped[1])


def half_height(shape: HandShape, above: bool = False) -> float:
    """Half the hand's size across its way on the stage, m; of one from above that is half its length."""
    return shape.half[0] if above else shape.half[2]


_FINGERS: Final = (-0.86, -0.40, 0.06, 0.50, 0.92)  # edges of the fingers, from the thumb's side, of half the height
_ARC: Final = np.linspace(-0.5 * np.pi, 0.5 * np.pi, 17)
_KNUCKLES: Final = 0.16  # of half the length, that the outer knuckles lie behind the middle ones


def creases(shape: HandShape, stretched: float) -> tuple[Points, ...]:
    """Lines within a hand on edge: its fingers' tips and the gaps between them, shorter as they close, and the thumb.

    stretched: half the length, m, of the hand with its fingers stretched.
    """
    half_length, _, high = shape.half
    opened = min(max(2.0 * half_length / stretched - 1.0, 0.0), 1.0)  # a closed hand is about half as long
    lines = []
    for above, below in pairwise(_FINGERS):
        widest = max(abs(above), abs(below))
        front = half_length * (1.0 - np.sqrt(1.0 - widest**2)) + 0.003
        arc = _KNUCKLES * opened * half_length * (0.5 * (above + below)) ** 2
        back = front + 0.020 + opened * (0.80 * half_length + arc - front)
        middle, half = 0.5 * (above + below) * high, 0.48 * (below - above) * high
        tip = front + half * (1.0 - np.cos(_ARC)) + 1j * (middle + half * np.sin(_ARC))
        lines.append(np.concatenate([[back + 1j * tip[0].imag], tip, [back + 1j * tip[-1].imag]]))
    # The thumb lies along the index finger, or over the closed ones.
    tip = half_length * (0.45 + 0.35 * opened) - 1j * high * (0.20 + 0.42 * opened)
    root = half_length * 1.50 - 1j * high * (0.34 + 0.10 * opened)
    along = (tip - root) / abs(tip - root)
    round_tip = tip - 0.010 * along + 0.010 * along * np.exp(1j * _ARC[::-1] * np.sign(1.0))
    lines.append(np.concatenate([[root + 0.012j * along], round_tip, [root - 0.014j * along]]))
    return tuple(lines)


@dataclass(frozen=True, slots=True, eq=False)
class HandLines:
    """A hand in its own frame, from its tip at 0 back, as complex points, m.

    front: its outline from where the wrist begins round the tip to where it begins on the other side, both equally far
    back; heel: the back end of the computed hand, a line within the skin; creases: lines that tell how far the fingers
    are open. wrist: half its width.
    """

    front: Points
    heel: Points
    creases: tuple[Points, ...]
    wrist: float


@dataclass(frozen=True, slots=True, eq=False)
class Figure:
    """Hand and arm on the stage, complex points, m: along the hand's way, and down.

    hand: its lines in its own frame, which begins at `place` and is turned by `turn`. wrist: (2, n), both its sides
    from the hand back to within the sleeve; bare: of each, how many points the sleeve does not cover. sleeve: the arm,
    closed.
    """

    hand: HandLines
    place: complex
    turn: complex
    wrist: Points
    bare: tuple[int, int]
    sleeve: Points

    @property
    def skin(self) -> Points:
        """Outline of hand and wrist, closed within the sleeve."""
        front = self.place + self.turn * self.hand.front[1:-1]
        return np.concatenate([self.wrist[0][::-1], front, self.wrist[1]])


@functools.lru_cache(maxsize=512)  # a pointer comes back to its columns
def figure(sight: Sight, way: Way, distance: float, opening: float) -> Figure:
    """The player's hand with the wrist of a hand at `distance`, m, its fingers `opening` open, and the arm to it."""
    build, above = sight.scene.player.build, sight.scene.from_above
    shape, given, tip = hand_shape(build, "open", opening), sight.given_half, sight.tip(way, distance, opening)
    half_length, half_thick, _ = shape.half
    clear, last = meshes.WRIST_CLEARANCE + build.arm_radii[2], build.arm_radii[2]
    if above:
        place, turn = tip + half_thick + 1j * (given - 2.0 * half_length), 1j
        back = (given + clear, 0.0, tip + last)
    else:
        place, turn = complex(tip), 1.0 + 0.0j
        back = (tip + 2.0 * half_length + clear, 0.0, 0.0)
    path, radii = arm_path(sight.shoulder, sight.origin + back, build)
    seen = _complex(sight.seen(path))
    # In the hand's own frame: the arm's last part comes in from behind.
    before, end = ((complex(point) - place) / turn for point in seen[-2:])
    along = (before - end) / abs(before - end)
    hand = hand_lines(shape, above, build.open_hand[0])
    inside, half = end + _WRIST_DEPTH * along, min(hand.wrist, 0.92 * last) * 1j * along
    wrist = _wrist(complex(hand.front[0]), complex(hand.front[-1]), inside, half, along)
    covered = _covered(wrist, end, before, last)
    bare = tuple(int(side.argmax()) if side.any() else side.size for side in covered)
    return Figure(hand, place, turn, place + turn * wrist, bare, tube_outline(seen, radii))  # type: ignore[arg-type]


@functools.lru_cache(maxsize=32)
def hand_lines(shape: HandShape, above: bool, stretched: float) -> HandLines:
    """The lines of a hand. stretched: half its length, m, with its fingers stretched."""
    outline = hand_outline(shape, above)
    half = WRIST_SHARE * float(outline.imag.max())
    return HandLines(*_parted(outline, half), () if above else creases(shape, stretched), half)


def arm_path(start: Floats, end: Floats, build: Build) -> tuple[Floats, Floats]:
    """The axis (n, 3) m of an arm from its shoulder to its wrist, and its radii (n,): `models.hand.meshes.arm`."""
    first, middle, last = build.arm_radii
    if build.links is None:
        return np.stack([start, end]), np.array([last, last])
    elbow = meshes.elbow(start, end, build.links)
    rounded = meshes.ELBOW_ROUND * min(build.links)
    inner, outer = (elbow + rounded * (point - elbow) / np.linalg.norm(point - elbow) for point in (start, end))
    share = np.linspace(0.0, 1.0, 7)[:, None]
    bend = (1.0 - share) ** 2 * inner + 2.0 * share * (1.0 - share) * elbow + share**2 * outer
    return np.concatenate([[start], bend, [end]]), np.concatenate([[first], np.full(7, middle), [last]])


def tube_outline(path: Points, radii: Floats) -> Points:
    """Closed outline of a round tube seen from the side, with round ends."""
    step = np.diff(path)
    ways = step / np.maximum(np.abs(step), 1e-12)
    turned = np.concatenate([ways[:1], ways[:-1] + ways[1:], ways[-1:]])
    normals = 1j * turned / np.maximum(np.abs(turned), 1e-12) * radii
    last, first = path[-1] + radii[-1] * ways[-1] * _HALF_TURN[::-1], path[0] - radii[0] * ways[0] * _HALF_TURN[::-1]
    return np.concatenate([(path + normals)[:-1], last, (path - normals)[1:-1][::-1], first])


@functools.lru_cache(maxsize=4)
def body_outlines(sight: Sight) -> tuple[Floats, ...]:
    """Trunk with legs, and head, on the stage: hulls of the computed ones."""
    return tuple(convex_outline(sight.seen(mesh.reshape(-1, 3))) for mesh in meshes.body(sight.scene, fineness=2.0))


@functools.lru_cache(maxsize=4)
def antenna_parts(sight: Sight) -> tuple[Floats, ...]:
    """Outlines (n, 2) m of the antenna's parts on the stage."""
    return tuple(
        sight.seen(np.stack([part.side[:, 0], np.zeros(len(part.side)), part.side[:, 1]], axis=1))
        for part in antenna_outline(sight.scene.antenna)
    )


@functools.lru_cache(maxsize=4)
def cabinet_outline(sight: Sight) -> Floats | None:
    """The cabinet or board under the antenna on the stage; None where there is none."""
    cabinet = sight.scene.cabinet
    if cabinet is None:
        return None
    return convex_outline(sight.seen(meshes.cabinet_mesh(sight.scene.antenna, cabinet).reshape(-1, 3)))


def _parted(outline: Points, half: float) -> tuple[Points, Points]:
    """The hand's outline from one side round the tip, but for its back end that is narrower than `half` to each side;
    and the last of that back end.
    """
    count, length = len(outline), float(outline.real.max())
    last = max(n for n in range(count // 2) if outline[n].real <= 0.5 * length or outline[n].imag >= half)
    order = np.concatenate([outline[count - last :], outline[: last + 1]])
    return order, outline[outline.real >= HEEL_BEGINS * length]


def _covered(points: Points, end: complex, start: complex, radius: float) -> NDArray[np.bool_]:
    """Which of the points the arm's last part from `start` to `end` covers."""
    axis = start - end
    share = ((points - end) * (axis.conjugate() / abs(axis) ** 2)).real.clip(0.0, 1.0)
    return np.asarray(np.abs(points - end - share * axis) < radius)


def _wrist(above: complex, below: complex, inside: complex, half: complex, last: complex) -> Points:
    """Cubic Bezier curves (2, n) from two points, straight back, to `half` to both sides of one in the sleeve, in the
    direction `last`.
    """
    corners = []
    for start, end in ((above, inside - half), (below, inside + half)):
        reach = 0.42 * abs(end - start)
        corners.append((start, start + reach, end - reach * last, end))
    return np.asarray(np.array(corners) @ _CURVE)


def _complex(points: Floats) -> Points:
    return np.asarray(points[:, 0] + 1j * points[:, 1])


def flat(points: Points) -> Floats:
    """Complex points as (n, 2)."""
    return np.ascontiguousarray(points, dtype=complex)[:, None].view(np.float64)
