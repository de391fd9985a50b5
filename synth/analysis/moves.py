"""What moves the pitch by itself: a lean, shoes, a second person, a wall, the volume hand; in cents at three notes.

Every cause is solved as a scene of its own (kept in the cache) or, where it only ties conductors otherwise, computed
from the matrices of the design's scene. What it adds to the antenna's capacitance is added to that of the instrument;
the instrument's own law says what the beat becomes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from functools import cached_property
from typing import Final, cast

import numpy as np

from models.arrays import Floats
from models.electrostatics.air import air_permittivity
from models.hand.earthing import ANTENNA, USUAL_SHOES, Earthing, seen_capacitance
from models.hand.hand_field import RING_HEIGHTS, HandField
from models.hand.scene import Bystander, Posture, Scene, Wall
from models.pulling import pulled_beat
from models.quick_dataclass import dataclass
from models.spline import spline
from synth.build.curve_cache import field_for
from synth.build.workbench import OpenedDesign
from synth.progress_line import ProgressLine

#: Nearest hand distance at which a changed scene is solved, m, and how many: what it adds is smooth between them.
NEAREST: Final = 0.02
PLACES_SOLVED: Final = 7
LEAN: Final = 0.05
HIGHER: Final = 0.10
HALF_OPEN: Final = 0.5
BYSTANDER: Final = Bystander(0.0, 1.5)
WALL: Final = Wall(0.5)
MORE_SHOES: Final = 50e-12
HUMIDITY: Final = (0.4, 0.6)
FARTHER_RING: Final = 0.15
QUIETEST_DB: Final = -40.0
#: A change of a melody's note as small as this is heard: Hill & Summers 2007 (abstract), about 10 cents.
FELT_CENTS: Final = 10.0
NOTES: Final = ("C3", "C4", "C5")


@dataclass(frozen=True, slots=True)
class PitchMove:
    """One cause. Cents at each of the notes, None where the note falls silent or passes zero beat: as it happens, and
    with zero beat tuned again where it was; `retuned` is empty where tuning is no part of it.
    """

    cause: str
    cents: tuple[float | None, ...]
    retuned: tuple[float | None, ...]

    @property
    def largest(self) -> float:
        """The largest change as it happens, cents; infinite where a note is lost."""
        return max((math.inf if value is None else abs(value) for value in self.cents), default=0.0)

    @property
    def felt(self) -> bool:
        """Whether the player hears it in a melody."""
        return self.largest >= FELT_CENTS


@dataclass(frozen=True, slots=True)
class PitchMoves:
    """The notes, their hand distances, m, and what moves them, the strongest first.

    crosstalk_farther: cents, as the move "volume hand", with the ring `FARTHER_RING` farther from the rod; None where
    there is no ring or no such place for it.
    """

    notes: tuple[str, ...] = ()
    distances_m: tuple[float, ...] = ()
    moves: tuple[PitchMove, ...] = ()
    crosstalk_farther: tuple[float | None, ...] | None = None


def pitch_moves(opened: OpenedDesign) -> PitchMoves:
    """What moves the pitch of a design by itself; nothing for one whose curves were given, or that sounds no note."""
    lines = opened.field.notes()
    if opened.given is not None or not lines:
        return PitchMoves()
    chosen = [line for line in lines if line.name in NOTES]
    if len(chosen) < len(NOTES):
        chosen = [lines[k] for k in sorted({0, len(lines) // 2, len(lines) - 1})]
    asked = _Asked(opened, np.array([line.distance for line in chosen]), np.array([line.frequency for line in chosen]))
    with ProgressLine("solving what moves the pitch") as line:
        moves = sorted(asked.all(line), key=lambda move: -move.largest)
        farther = asked.farther_ring()
    return PitchMoves(
        tuple(line.name for line in chosen), tuple(line.distance for line in chosen), tuple(moves), farther
    )


@dataclass(frozen=True, eq=False)
class _Asked:
    """A design and the notes that are looked at: hand distances, m, and frequencies, Hz."""

    opened: OpenedDesign
    distances: Floats
    frequencies: Floats

    def all(self, progress: ProgressLine) -> Iterator[PitchMove]:
        """Every cause there is for this design; `progress` counts the scenes that are solved, and one for the ring."""
        scene, share = self.opened.scene, self.opened.hand_field.body_share
        player, room = scene.player, scene.room
        scenes = {}
        with suppress(ValueError):  # no room to lean
            scenes["lean"] = scene.moved(lean=player.lean + LEAN)
        if room.bystander is None:
            scenes["bystander"] = scene.moved(bystander=BYSTANDER)
        if room.wall is None:
            scenes["wall"] = replace(scene, room=replace(room, wall=WALL))
        with suppress(ValueError):  # a plate or ring that a higher hand does not meet
            if not scene.from_above:
                scenes["hand height"] = scene.moved(hand_height=scene.hand_height + HIGHER)
        if self._posture == "open" and player.opening == 1.0:
            scenes["fingers"] = scene.moved(opening=HALF_OPEN)
        if scene.ring is None and not player.hanging_arm:
            scenes["second arm"] = replace(scene, player=replace(player, hanging_arm=True))
        count = len(scenes) + (scene.ring is not None)
        for number, (cause, changed) in enumerate(scenes.items()):
            progress(number / count, (number + 1) / count)
            added = self._added(changed)
            if added is not None:
                yield self._move(cause, added)
        progress(len(scenes) / count, 1.0)
        earthing = self.opened.earthing
        if earthing.body_capacitance != math.inf:
            total = share + USUAL_SHOES if earthing.body_capacitance is None else earthing.body_capacitance
            for cause, more in (("shoes", total + MORE_SHOES), ("touching earth", math.inf)):
                yield self._move(cause, self._tied(replace(earthing, body_capacitance=more)))
        dry, damp = (air_permittivity(humidity=share) for share in HUMIDITY)
        yield self._move("humidity", lambda places: (damp / dry - 1.0) * self.opened.curve.capacitance(places))
        crosstalk = self._crosstalk()
        if crosstalk is not None:
            yield PitchMove("volume hand", crosstalk, ())

    @cached_property
    def _places(self) -> Floats:
        """Hand distances at which a changed scene is solved, m."""
        return np.geomspace(NEAREST, min(0.8, float(self.opened.hand_field.distances[-1])), PLACES_SOLVED)

    @cached_property
    def _posture(self) -> Posture:
        return cast(Posture, self.opened.design.player.posture)

    @cached_property
    def _place(self) -> int:
        """The place of the volume hand, among those solved with every distance, that is nearest to its rest."""
        rest = self.opened.resting_height
        heights = self.opened.hand_field.heights
        return 0 if not heights.size else int(np.abs(np.log(heights / (rest or heights[-1]))).argmin())

    def _seen(self, field: HandField, place: int, earthing: Earthing | None = None) -> Callable[[Floats], Floats]:
        """Capacitance, F, against ln(distance in m), with the volume hand at a solved place."""
        ties, given = self.opened.ties_with_notices[0], earthing or self.opened.earthing
        # the shoes stay what they are; what the field itself finds between body and floor is each scene's own
        shoes = given.shoes(self.opened.hand_field.body_share)
        own = field.ties(Earthing(field.body_share + shoes, given.common_to_earth))
        seen = seen_capacitance(
            field.places[self._posture], field.names, replace(own, to_common=ties.to_common), ANTENNA
        )
        along = spline(np.log(field.distances), seen[:, place])
        return lambda logs: np.asarray(along(logs))

    def _added(self, scene: Scene) -> Callable[[Floats], Floats] | None:
        """What another scene adds to the antenna's capacitance; None where it cannot be."""
        heights = self.opened.hand_field.heights[[self._place]] if scene.ring is not None else RING_HEIGHTS
        try:
            field = field_for(scene, self.opened.tell, None, self._places, (self._posture,), heights, (0,), ())
        except ValueError:
            return None
        before, after = self._seen(self.opened.hand_field, self._place), self._seen(field, 0)
        added = spline(np.log(field.distances), after(np.log(field.distances)) - before(np.log(field.distances)))
        return lambda places: np.asarray(added(np.log(np.clip(places, field.distances[0], field.distances[-1]))))

    def _tied(self, earthing: Earthing) -> Callable[[Floats], Floats]:
        """What other ties add to the antenna's capacitance."""
        before, after = (
            self._seen(self.opened.hand_field, self._place, each) for each in (self.opened.earthing, earthing)
        )
        return lambda places: np.asarray(after(np.log(places)) - before(np.log(places)))

    def _move(self, cause: str, added: Callable[[Floats], Floats]) -> PitchMove:
        zero_beat = self.opened.field.zero_beat_distance
        places = np.append(self.distances, self.opened.tuning_distance if zero_beat is None else zero_beat)
        law = self.opened.instrument
        before = law.antenna_capacitance(places)
        try:
            shift = law.frequency_with(before + added(places)) - law.frequency_with(before)
        except ValueError:  # beyond what the circuit was solved for
            nothing = (None,) * self.distances.size
            return PitchMove(cause, nothing, nothing)
        offset = law.offset_frequency(self.distances)
        return PitchMove(cause, self._cents(offset - shift[:-1]), self._cents(offset - shift[:-1] + shift[-1]))

    def _cents(self, offset: Floats) -> tuple[float | None, ...]:
        """Change of each note, cents, whose oscillators are `offset`, Hz, apart."""
        beat = pulled_beat(offset, self.opened.instrument.lock_range)
        kept = beat * np.sign(self.opened.instrument.offset_frequency(self.distances)) > 0.0
        ratio = np.abs(np.where(kept, beat, np.nan)) / self.frequencies
        return tuple(None if math.isnan(each) else float(1200.0 * math.log2(each)) for each in ratio)

    def _crosstalk(self) -> tuple[float | None, ...] | None:
        """Cents as the volume hand comes down from rest to `QUIETEST_DB`; None without a volume antenna."""
        both = self.opened.both_hands.get(self._posture)
        if both is None:
            return None
        heard = both.pitch_distance(self.distances, self._quiet_height(both.volume.span(QUIETEST_DB)))
        return self._cents(self.opened.instrument.offset_frequency(heard))

    def _quiet_height(self, span: tuple[float, float] | None) -> float:
        return span[0] if span is not None else float(self.opened.hand_field.heights[0])

    def farther_ring(self) -> tuple[float | None, ...] | None:
        """The cross-talk with the ring farther from the rod, at the same tuning; None where it cannot be."""
        scene = self.opened.scene
        both = self.opened.both_hands.get(self._posture)
        if scene.ring is None or both is None:
            return None
        away = replace(scene, ring=replace(scene.ring, offset=scene.ring.offset + FARTHER_RING))
        heights = np.array(
            [self._quiet_height(both.volume.span(QUIETEST_DB)), self.opened.hand_field.heights[self._place]]
        )
        if not heights[1] > heights[0]:
            return None
        try:
            field = field_for(away, self.opened.tell, None, self._places, (self._posture,), heights, (0, 1), ())
        except ValueError:
            return None
        low, rest = self._seen(field, 0), self._seen(field, 1)
        places = np.log(np.clip(self.distances, field.distances[0], field.distances[-1]))
        law = self.opened.instrument
        changed = law.antenna_capacitance(self.distances) + low(places) - rest(places)
        try:
            return self._cents(law.reference_frequency - law.frequency_with(changed))
        except ValueError:
            return None
