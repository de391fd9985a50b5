"""The field of the scene: Maxwell's matrices for many places of both hands, and the capacitance of the pitch antenna.

Antenna, ring, common, what stands in the room, earth plane, and the player (trunk, head, arms and hands: one
conductor) are solved by boundary elements. The distance of the pitch hand is the shortest from its skin to the surface
of the pitch antenna (a rod taken as longer at both ends), that of the volume hand from its underside to the top of the
volume antenna straight below, of the ideal shapes. The matrices are geometry alone; shoes, supply and tanks come to
them by `models.hand.earthing`.

Skin and tissue count as a perfect conductor: at some 100 kHz their conductivity (about 0.1-0.5 S/m, from memory of C.
Gabriel's tables) makes sigma / (omega eps0) some 10^4 to 10^5, so charge settles on the surface and the
field inside is negligible; the player's resistance (some kilohm) is small beside the reactance of a picofarad
(hundreds of kilohm and more).
Against a mesh of four times the panels, measured at 2, 10, 30, 60 cm or as far as the hand is taken back: what the
player adds to the pitch antenna is 0.26 % low at most (rod, the default player, the other hand 2 cm over a ring, the
pitch hand at 60 cm), for every form, open hand and fist, man, woman, child and a seated woman; what the volume hand
adds to a ring, plate or rod 0.30 % at most (a seated woman, 30 cm over a ring).
Neglected: that resistance and the loss it brings, dry skin's thin insulating layer, clothes, furniture of wood and
plastic, the other arm where there is no ring for it, separate fingers, the elbow of the build of rounded sizes (its arm
is a straight capsule that stretches), the lead and mount of either antenna (their strays), the ring's open ends,
radiation.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import field
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import one_of, positive, positive_array
from models.hand.both_hands import Changes, Fingers, HandCurve
from models.hand.capacitance_curve import CapacitanceCurve, distance_table
from models.hand.earthing import (
    ANTENNA,
    BYSTANDER,
    COMMON,
    PLAYER,
    RING,
    USUAL_SHOES,
    Earthing,
    Ties,
    seen_capacitance,
)
from models.hand.scene import POSTURES, Posture, Scene
from models.quick_dataclass import dataclass

if TYPE_CHECKING:
    from models.hand.field_solution import NearSide, Sleeve, StillField

#: Distances of the pitch hand in a field, m: 40 from 1 cm to 80 cm in equal ratios.
DEFAULT_DISTANCES: Final[Floats] = np.geomspace(0.01, 0.80, 40)
#: Heights of the volume hand at which the ring's curve is solved, m: 30 from 1 cm to 60 cm in equal ratios.
RING_HEIGHTS: Final[Floats] = np.geomspace(0.01, 0.60, 30)
#: Those of them that are solved with every distance of the pitch hand.
PLACES: Final = (0, 4, 8, 12, 16, 21, 25, 29)
#: Openings of the fingers of an open pitch hand that are solved, the wrist held: closed, half open, stretched.
OPENINGS: Final = (0.0, 0.5, 1.0)
#: How many of the distances are solved with every opening: what the fingers do is smooth between them. Twice as many
#: where the player's own opening is not the largest.
FINGER_PLACES: Final = 10
#: Work of the volume hand at one height, by that of the pitch hand at one place (measured, of the default design).
FAR_SIDE: Final = 3.0
#: The way of the pitch hand that a field must have at least, m.
LEAST_ROOM: Final = 0.1
for _table in (DEFAULT_DISTANCES, RING_HEIGHTS):
    _table.setflags(write=False)


@dataclass(frozen=True, slots=True, eq=False)
class HandField:
    """Maxwell's matrices of a scene, F, of k conductors.

    names: (k,) of the conductors. distances: (n,) m, of the pitch hand. heights: (m,) m, of the volume hand; (0,)
    without a ring. places: by posture of the pitch hand (n, m or 1, k, k). ring_heights: (p,) m, and ring_places:
    (p, k, k), the open pitch hand at the largest distance. without_player: (k, k). body_share: F, of the player alone
    to earth, hands at the largest distances: what the field finds of `Earthing.body_capacitance`.
    opening: of the fingers in the posture "open". Other openings, the wrist held: openings (o,), at finger_distances
    (f,) m, some of the distances, finger_places (o, f, m or 1, k, k). drawn_in: m, how far closing takes back the
    foremost skin.
    """

    names: tuple[str, ...]
    distances: Floats
    heights: Floats
    places: Mapping[Posture, Floats]
    ring_heights: Floats
    ring_places: Floats
    without_player: Floats
    body_share: float
    opening: float = 1.0
    drawn_in: float = 0.0
    openings: Floats = field(default_factory=lambda: np.zeros(0))
    finger_distances: Floats = field(default_factory=lambda: np.zeros(0))
    finger_places: Floats = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        count = len(self.names)
        wanted = (self.distances.size, max(self.heights.size, 1), count, count)
        checked: list[tuple[str, Floats, tuple[int, ...]]] = [
            (posture, matrices, wanted) for posture, matrices in self.places.items()
        ]
        checked.append(("the ring", self.ring_places, (self.ring_heights.size, count, count)))
        checked.append(("no player", self.without_player, (count, count)))
        if self.openings.size:
            places = (self.openings.size, self.finger_distances.size, *wanted[1:])
            checked.append(("the fingers", self.finger_places, places))
            if not (self.finger_distances[:, None] == self.distances).any(axis=1).all():
                raise ValueError("finger_distances must be some of the distances")
        for name, matrices, shape in checked:
            if matrices.shape != shape or not np.isfinite(matrices).all():
                raise ValueError(f"the matrices of {name} must be finite and of shape {shape}; got {matrices.shape}")
        if not (count and self.places and np.isfinite(self.body_share)):
            raise ValueError("a field must have conductors, a posture and a finite body_share")

    def ties(self, earthing: Earthing, ring: float = np.inf, antenna: float = np.inf) -> Ties:
        """All ties: shoes and common by `earthing`; `ring` and `antenna`, F, each to the common by its own tank."""
        to_earth = {PLAYER: earthing.shoes(self.body_share), COMMON: earthing.common_to_earth, BYSTANDER: USUAL_SHOES}
        return Ties(to_earth, {RING: ring, ANTENNA: antenna})

    def pitch(self, posture: Posture, ties: Ties, rest: float | None = None) -> HandCurve:
        """Capacitance of the pitch antenna to the common against the distance of its hand.

        rest: m, height of the volume hand where nothing is said of it; None: the highest. `ties` from `self.ties`.
        """
        seen = seen_capacitance(self.places[posture], self.names, ties, ANTENNA)
        empty = float(seen_capacitance(self.without_player, self.names, ties, ANTENNA))
        fingers = self._fingers(seen, empty, ties) if posture == "open" and self.openings.size else None
        if not self.heights.size:
            return HandCurve(CapacitanceCurve(self.distances, seen[:, 0], empty), None, fingers)
        return HandCurve.of_table(self.distances, self.heights, seen, empty, rest, fingers)

    def _fingers(self, seen: Floats, empty: float, ties: Ties) -> Fingers:
        """What other openings change of the capacitances `seen` (n, m or 1), F."""
        others = np.log(seen_capacitance(self.finger_places, self.names, ties, ANTENNA) - empty)
        table, added = dict(zip(self.openings.tolist(), others, strict=True)), np.log(seen - empty)
        table[self.opening] = added[(self.distances[:, None] == self.finger_distances).any(axis=1)]
        most = max(table)
        wide = (self.distances, added) if most == self.opening else (self.finger_distances, table[most])
        return Fingers.of_table(
            self.finger_distances, self.heights, table, (wide[0], wide[1][:, -1]), self.drawn_in, self.opening
        )

    def ring(self, posture: Posture, ties: Ties) -> HandCurve:
        """Capacitance of the ring to the common against the height of its hand, the pitch hand at rest far away.

        Raises ValueError for a field without a ring.
        """
        if RING not in self.names:
            raise ValueError("this field has no ring: give the scene one")
        own = seen_capacitance(self.ring_places, self.names, ties, RING)
        empty = float(seen_capacitance(self.without_player, self.names, ties, RING))
        table = seen_capacitance(self.places[posture], self.names, ties, RING).T
        change = np.log((table - empty) / (table[:, -1:] - empty))
        curve = CapacitanceCurve(self.ring_heights, own, empty)
        return HandCurve(curve, Changes(self.heights, self.distances, change), rest=float(self.distances[-1]))


def hand_field(
    scene: Scene,
    distances: ArrayLike = DEFAULT_DISTANCES,
    postures: Sequence[Posture] = POSTURES,
    fineness: float = 1.0,
    ring_heights: ArrayLike = RING_HEIGHTS,
    places: Sequence[int] = PLACES,
    openings: Sequence[float] = OPENINGS,
    progress: Callable[[float], None] = lambda share: None,
) -> HandField:
    """Solve the field of `scene`.

    distances: (n,) m, at least two, strictly increasing. fineness: panels per length against the default mesh (about
    0.8 or more). ring_heights: (p,) m, likewise, or one alone; `places`: which of them are solved with every distance.
    openings: of the fingers of the open hand, 0 to 1, strictly increasing, that are solved beside the player's own.
    progress: hears the share of the places that are solved, after each, those of the volume hand included.
    Raises ValueError for a bad table of distances, an unknown posture, and scenes whose parts meet or whose hands the
    player cannot bring there.
    """
    from models.hand.field_solution import (  # meshes and scipy.linalg: only when solving
        conductor_names,
        directions,
        far_sides,
        near_side,
        pitch_hands,
        place_matrices,
        player_alone,
        ring_alone,
        sampled,
        still_field,
        without_player,
    )
    from models.hand.meshes import hand_shape
    from models.hand.overlaps import overlap

    table = distance_table(distances)
    heights = distance_table(ring_heights) if np.size(ring_heights) != 1 else positive_array("heights", ring_heights)
    if scene.ring is not None and not all(0 <= place < heights.size for place in places):
        raise ValueError(f"places must be among the {heights.size} ring_heights; got {list(places)}")
    for posture in postures:
        one_of("posture", posture, POSTURES)
    meeting = overlap(scene, table[:: max(1, table.size // 4)].tolist(), heights[:1].tolist())
    if meeting:
        raise ValueError(meeting)
    own = scene.player.opening
    others = [each for each in openings if each != own] if "open" in postures else []
    count = FINGER_PLACES if own >= max(openings, default=1.0) else 2 * FINGER_PLACES
    chosen = table[np.unique(np.linspace(0, table.size - 1, min(count, table.size)).round().astype(int))]
    of_ring = 0 if scene.ring is None else heights.size
    total, done = table.size * len(postures) + chosen.size * len(others) + FAR_SIDE * of_ring, [0.0]

    def told(work: float) -> None:
        done[0] += work
        progress(done[0] / total)

    progress(0.0)
    still = still_field(scene, positive("fineness", fineness))
    names = conductor_names(scene)
    far, ring_places, ring = [], np.zeros((0, len(names), len(names))), None
    known: dict[tuple[Posture, float], NearSide] = {}
    if scene.ring is None:
        heights, places = np.zeros(0), []
    else:
        ring = ring_alone(still, scene.ring)
        ends = [float(each) for each in (table[0], np.sqrt(table[0] * table[-1]), table[-1])]
        for posture in postures:
            found = pitch_hands(still, posture, ends)
            known |= {(posture, end): near_side(hand) for end, hand in zip(ends, found, strict=True)}
        samples, rest = sampled(list(known.values())), (POSTURES[0], ends[-1])
        away = known[rest] if rest in known else near_side(next(iter(pitch_hands(still, rest[0], ends[-1:]))))
        every = []
        for side in far_sides(still, scene.ring, ring, heights):
            every.append(directions(still, side, samples))
            told(FAR_SIDE)
        ring_places = place_matrices(still, away, every)
        far = [every[place] for place in places]
    # the wrist is held: one arm for all openings
    sleeves: dict[float, Sleeve | None] = dict.fromkeys(chosen.tolist()) if others else {}

    def places_of(moved: StillField, posture: Posture, distances: Floats) -> Floats:
        wanted = [(posture, each) for each in distances.tolist()]
        before = known if moved is still else {}
        kept = sleeves if posture == "open" else None
        fresh = iter(pitch_hands(moved, posture, [each[1] for each in wanted if each not in before], kept))
        solved = []
        for place in wanted:
            near = before[place] if place in before else near_side(next(fresh))
            solved.append(place_matrices(moved, near, far))
            told(1.0)
        return np.stack(solved)

    solved = {posture: places_of(still, posture, table) for posture in postures}
    fingers = [places_of(still.with_opening(each), "open", chosen) for each in others]
    share = player_alone(still, float(table[-1]), float(heights[-1]) if heights.size else None)
    return HandField(
        names,
        table,
        heights[list(places)],
        solved,
        heights,
        ring_places,
        without_player(still, ring),
        share,
        own,
        0.0 if scene.from_above else hand_shape(scene.player.build, "open", 0.0).drawn_in,
        np.array(others),
        chosen if others else np.zeros(0),
        np.array(fingers),
    )


def distances_of(scene: Scene) -> Floats:
    """`DEFAULT_DISTANCES`, or as many up to where this player's pitch hand ends.

    Raises ValueError for a player who cannot bring the hand near the antenna, or has no room to take it back.
    """
    from models.hand.meshes import farthest_distance

    nearest, most = float(DEFAULT_DISTANCES[0]), float(DEFAULT_DISTANCES[-1])
    farthest = farthest_distance(scene, most)
    if farthest == most:
        return DEFAULT_DISTANCES
    if farthest < LEAST_ROOM:
        raise ValueError(
            f"stand_distance leaves the pitch hand {farthest:.2g} m to be taken back from the antenna; it must be at "
            f"least {LEAST_ROOM:g} m: stand farther away"
        )
    return np.geomspace(nearest, farthest, DEFAULT_DISTANCES.size)


def heights_of(scene: Scene) -> Floats:
    """`RING_HEIGHTS`, or as many up to where this player's volume hand ends. Without a ring nothing hangs on them.

    Raises ValueError for a player who cannot hold the hand low above the volume antenna, or not raise it from there.
    """
    from models.hand.meshes import highest_hand

    if scene.ring is None:
        return RING_HEIGHTS
    lowest, most = float(RING_HEIGHTS[0]), float(RING_HEIGHTS[-1])
    highest = highest_hand(scene, scene.ring, lowest, most)
    if highest == most:
        return RING_HEIGHTS
    if highest < LEAST_ROOM:
        raise ValueError(
            f"height leaves the volume hand {highest:.2g} m to be raised above the antenna; it must be at least "
            f"{LEAST_ROOM:g} m: put the antenna lower, or stand nearer"
        )
    return np.geomspace(lowest, highest, RING_HEIGHTS.size)


def capacitance_curves(
    scene: Scene,
    distances: ArrayLike = DEFAULT_DISTANCES,
    postures: Sequence[Posture] = POSTURES,
    fineness: float = 1.0,
    earthing: Earthing | None = None,
) -> dict[Posture, CapacitanceCurve]:
    """Capacitance of the antenna to the common against hand distance for each posture, the ring's hand, if any, away.

    The ring, where there is one, is held to the common. earthing: by default the usual shoes and a bonded common.
    Everything else as for `hand_field`.
    """
    solved = hand_field(scene, distances, postures, fineness, openings=())
    ties = solved.ties(earthing or Earthing())
    return {posture: solved.pitch(posture, ties).curve for posture in postures}
