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
from itertools import accumulate, pairwise
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
_CURVE: Final = np.linspace(0.0, 1.0, 13)
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

    @property
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
class Figure:
    """Lines (n, 2) m on the stage. `skin`: hand and wrist, closed within the sleeve; `bare`: what of its outline the
    sleeve does not cover. `sleeve`: the arm, closed. `heel`: the back end of the computed hand, a line within the skin;
    `creases`: lines that tell how far the fingers are open. `points` (n, 2) holds them all, in this order.
    """

    points: Floats
    skin: Floats
    bare: Floats
    sleeve: Floats
    heel: Floats
    creases: tuple[Floats, ...]

    @property
    def lines(self) -> tuple[Floats, ...]:
        """All of them, in the order of `points`."""
        return self.skin, self.bare, self.sleeve, self.heel, *self.creases


@functools.lru_cache(maxsize=4)
def figure(sight: Sight, way: Way, distance: float, opening: float) -> Figure:
    """The player's hand with the wrist of a hand at `distance`, m, its fingers `opening` open, and the arm to it."""
    scene, build = sight.scene, sight.scene.player.build
    shape, given = hand_shape(build, "open", opening), sight.given_half
    above, tip = scene.from_above, sight.tip(way, distance, opening)
    half_length, half_thick, _ = shape.half
    if above:
        place, turn = tip + half_thick + 1j * (given - 2.0 * half_length), 1j
        back = np.array([given, 0.0, tip])
    else:
        place, turn = complex(tip), 1.0 + 0.0j
        back = np.array([tip + 2.0 * half_length, 0.0, 0.0])
    clear = meshes.WRIST_CLEARANCE + build.arm_radii[2]
    joint = sight.origin + back + ((clear, 0.0, build.arm_radii[2]) if above else (clear, 0.0, 0.0))
    path, radii = arm_path(meshes.shoulder(scene), joint, build)
    seen = _complex(sight.seen(path))
    sleeve = tube_outline(seen, radii)
    # In the hand's own frame: the arm's last part comes in from behind.
    end, before = (seen[-1] - place) / turn, (seen[-2] - place) / turn
    along = (before - end) / abs(before - end)
    half, front, back_end, creased = _hand_lines(shape, above, build.open_hand[0])
    sides = [
        end + _WRIST_DEPTH * along + side * min(half, 0.92 * build.arm_radii[2]) * 1j * along for side in (-1.0, 1.0)
    ]
    hand = np.concatenate([_curve(front[0], sides[0], along)[::-1], front[1:-1], _curve(front[-1], sides[1], along)])
    uncovered = hand[_clear_of(hand, end, before, build.arm_radii[2])]
    parts = [place + turn * hand, place + turn * uncovered, sleeve]
    parts += [place + turn * line for line in (back_end, *creased)]
    points = _flat(np.concatenate(parts))
    skin, bare, arm, heel, *lines = (
        points[first:last] for first, last in pairwise(accumulate(map(len, parts), initial=0))
    )
    return Figure(points, skin, bare, arm, heel, tuple(lines))


@functools.lru_cache(maxsize=4)
def _hand_lines(shape: HandShape, above: bool, stretched: float) -> tuple[float, Points, Points, tuple[Points, ...]]:
    """Half the wrist's width, m, and in the hand's own frame its outline from wrist to wrist, its heel, its creases."""
    outline = hand_outline(shape, above)
    half = WRIST_SHARE * float(outline.imag.max())
    return half, *_parted(outline, half), () if above else creases(shape, stretched)


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


def _clear_of(points: Points, end: complex, start: complex, radius: float) -> NDArray[np.bool_]:
    """Which of the points the arm's last part from `start` to `end` does not cover."""
    axis = start - end
    share = np.clip(((points - end) * axis.conjugate()).real / abs(axis) ** 2, 0.0, 1.0)
    return np.asarray(np.abs(points - end - share * axis) >= radius)


def _curve(start: complex, end: complex, last: complex) -> Points:
    """A cubic Bezier curve from `start`, straight back, to `end` in the direction `last`."""
    reach = 0.42 * abs(end - start)
    one, two = start + reach, end - reach * last
    t = _CURVE
    return np.asarray(
        (1.0 - t) ** 3 * start + 3.0 * (1.0 - t) ** 2 * t * one + 3.0 * (1.0 - t) * t**2 * two + t**3 * end
    )


def _complex(points: Floats) -> Points:
    return np.asarray(points[:, 0] + 1j * points[:, 1])


def _flat(points: Points) -> Floats:
    return np.ascontiguousarray(points, dtype=complex)[:, None].view(np.float64)
