"""Between pixels and the hands: distance to scale across the stage; up it a plain gain, or the height above a ring."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from models.arrays import Floats
from models.pitch_field import NoteLine
from models.quick_dataclass import dataclass
from models.volume.volume_antenna import VolumeAntenna
from synth.window.box import Box

VOLUME_MARKS_DB: Final = (0, -3, -6, -12, -20, -30, -40)
LOWEST_TOP = 0.15  # m
USUAL_TOP = 0.30  # m, where full volume is never reached


@dataclass(frozen=True, slots=True)
class VolumeAxis:
    """What the stage's height stands for; heights are shares of it, 0 at its bottom to 1 at its top.

    By itself, without a volume antenna: gain = height^2, that is 40 log10(height) dB, -12 dB at half height, silence at
    the bottom.
    """

    @property
    def top(self) -> float | None:
        """What the whole height stands for, m; None for a plain gain."""
        return None

    def gain_at(self, height: float) -> float:
        """Volume gain, 0..1, of a pointer at `height`; beyond the stage it counts as at the nearer end."""
        inside = min(max(height, 0.0), 1.0)
        return inside * inside

    def height_of(self, gain: float) -> float:
        """The lowest height, 0..1, at which the gain is reached."""
        return math.sqrt(gain)

    def marks(self) -> tuple[tuple[int, float], ...]:
        """Decibels and heights of the scale's marks, from the top down."""
        return tuple((mark, self.height_of(10.0 ** (mark / 20.0))) for mark in VOLUME_MARKS_DB)


PLAIN: Final = VolumeAxis()


@dataclass(frozen=True, slots=True)
class RingVolume(VolumeAxis):
    """The hand above a volume antenna, to scale: `whole` m from the antenna's top to the top of the stage.

    `thickness`, m, and `form` ("ring", "plate" or "rod") are the drawn antenna's. A hand nearer or farther than the
    computed heights counts as at their end.
    """

    antenna: VolumeAntenna
    whole: float
    thickness: float = 0.008
    form: str = "ring"

    @property
    def top(self) -> float | None:
        """See VolumeAxis."""
        return self.whole

    def gain_at(self, height: float) -> float:
        """See VolumeAxis."""
        return float(self.antenna.held_gain(min(max(height, 0.0), 1.0) * self.whole))

    def height_of(self, gain: float) -> float:
        """See VolumeAxis; the nearer end where the hand does not reach the gain."""
        try:
            return min(self.antenna.distance_at(gain) / self.whole, 1.0)
        except ValueError:
            return 0.0 if gain <= self.antenna.quietest else 1.0

    def marks(self) -> tuple[tuple[int, float], ...]:
        """See VolumeAxis; only what the hand reaches on the stage."""
        found = []
        for mark in VOLUME_MARKS_DB:
            try:
                distance = self.antenna.distance_at(10.0 ** (mark / 20.0))
            except ValueError:
                continue
            if distance <= self.whole:
                found.append((mark, distance / self.whole))
        return tuple(found)


def ring_volume(antenna: VolumeAntenna, thickness: float = 0.008, form: str = "ring") -> RingVolume:
    """The axis of a volume antenna: a little beyond full volume, in whole 5 cm, within the computed heights."""
    try:
        full = antenna.distance_at(1.0)
    except ValueError:
        full = USUAL_TOP
    steps = math.ceil(1.12 * full / 0.05 - 1e-9)
    return RingVolume(antenna, min(antenna.curve.farthest, max(LOWEST_TOP, 0.05 * steps)), thickness, form)


NARROWEST = 0.12  # m, of the notes from C2 to C6
LEAST_WHOLE = 0.30  # m, of the field from the rod on
AXIS_SHARE = 0.60  # of the stage's height, from its top: the line along which the hand moves, seen from the side


@dataclass(frozen=True, slots=True)
class Way:
    """How far the hand's tip is along its way from the antenna where its nearest skin is at a distance.

    `distances` and `tips`, m, both strictly increasing, are pairs of them; beyond their ends both go on alike. Left
    out, both are the same, as before an upright rod; before a leaning one the skin nearest to it is not the tip.
    """

    distances: tuple[float, ...] = ()
    tips: tuple[float, ...] = ()

    def tip(self, distance: float) -> float:
        """Place of the tip, m, along the way, of a hand at `distance`, m."""
        return self._between(distance, self.distances, self.tips)

    def distance(self, tip: float) -> float:
        """Distance, m, of a hand whose tip is there."""
        return self._between(tip, self.tips, self.distances)

    def along(self, distances: Sequence[float]) -> Floats:
        """The places of the tips, m, of many hands."""
        values = np.array(distances)
        if not self.distances:
            return values
        first, last = self.distances[0], self.distances[-1]
        beyond = np.minimum(values - first, 0.0) + np.maximum(values - last, 0.0)
        return np.asarray(np.interp(values, self.distances, self.tips) + beyond)

    @staticmethod
    def _between(value: float, given: tuple[float, ...], wanted: tuple[float, ...]) -> float:
        if not given:
            return value
        beyond = min(value - given[0], 0.0) + max(value - given[-1], 0.0)
        return float(np.interp(value, given, wanted)) + beyond


STRAIGHT: Final = Way()


@dataclass(frozen=True, slots=True)
class StageScale:
    """The stage's box, the way of the hand, m, that its width stands for, and the volume axis of its height.

    It shows the hand's way from `start` to `start + width`, counted from the antenna's surface, which is beyond its
    right edge, its left edge if `mirrored`; `way` says at which distance the hand's tip is where. `nearest` and
    `farthest`, m, are the ends of the capacitance curve; the hand stays between them.
    """

    box: Box
    width: float
    nearest: float
    farthest: float
    volume: VolumeAxis = PLAIN
    mirrored: bool = False
    start: float = 0.0
    way: Way = STRAIGHT

    @property
    def pixels_per_metre(self) -> float:
        """The scale of the drawing."""
        return self.box.width / self.width

    @property
    def rod_x(self) -> float:
        """Pixel column of the antenna's surface where the hand is led to, on the stage's edge or beyond it."""
        edge = self.box.left if self.mirrored else self.box.right
        return edge - self.away * self.start * self.pixels_per_metre

    @property
    def away(self) -> int:
        """Direction from the antenna to the player along the pixel columns: -1 to the left, 1 to the right."""
        return 1 if self.mirrored else -1

    @property
    def axis_y(self) -> float:
        """Pixel row of the line along which the hand moves."""
        return self.box.top + AXIS_SHARE * self.box.height

    def x_of(self, distance: float) -> float:
        """Pixel column of the tip of a hand at a distance, m."""
        return self.rod_x + self.away * self.way.tip(distance) * self.pixels_per_metre

    def pixels(self, points: Floats) -> list[tuple[float, float]]:
        """Pixels of points (n, 2), m: along the hand's way from the antenna's surface, and down from its line."""
        placed = points * (self.away * self.pixels_per_metre, self.pixels_per_metre) + (self.rod_x, self.axis_y)
        return list(map(tuple, placed.tolist()))

    def y_of(self, gain: float) -> float:
        """Pixel row of a volume gain, 0..1."""
        return self.y_at(self.volume.height_of(gain))

    def y_at(self, height: float) -> float:
        """Pixel row of a height, 0 at the bottom of the stage to 1 at its top."""
        return self.box.bottom - height * self.box.height

    def hand_height_at(self, y: float) -> float | None:
        """Height of the volume hand above the ring at a pixel row, m; None where the volume is a plain gain."""
        top = self.volume.top
        share = min(max((self.box.bottom - y) / self.box.height, 0.0), 1.0)
        return None if top is None else share * top

    def distance_at(self, x: float) -> float:
        """Distance, m, of a pixel column, kept within the capacitance curve."""
        distance = self.way.distance(self.away * (x - self.rod_x) / self.pixels_per_metre)
        return min(max(distance, self.nearest), self.farthest)

    def gain_at(self, y: float) -> float:
        """Volume gain, 0..1, of a pixel row; beyond the stage that of its nearer end."""
        return self.volume.gain_at((self.box.bottom - y) / self.box.height)


LOWEST_SHOWN, HIGHEST_SHOWN = 36, 84  # note numbers, C2 and C6: the range that fills the stage
RANGE_SHARE = 0.85  # of the stage's width, that the range takes
CLOSEST = 0.04  # m, the least the stage may show


@dataclass(frozen=True, slots=True)
class Shown:
    """The part of the hand's way on the stage, m: from `start` on over `width`."""

    start: float
    width: float

    def zoomed(self, factor: float, around: float, farthest: float) -> Shown:
        """`factor` times as wide, with the hand's tip `around`, m, left at its place; at most to `farthest`."""
        width = min(max(self.width * factor, CLOSEST), farthest)
        share = min(max((around - self.start) / self.width, 0.0), 1.0)
        return Shown(around - share * width, width).within(farthest)

    def panned(self, share: float, farthest: float) -> Shown:
        """Moved by a share of its width away from the antenna."""
        return Shown(self.start + share * self.width, self.width).within(farthest)

    def within(self, farthest: float) -> Shown:
        """The same width, from the antenna on and not beyond `farthest`."""
        width = min(self.width, farthest)
        return Shown(min(max(self.start, 0.0), farthest - width), width)


def stage_width(zero_beat: float | None, farthest: float) -> float:
    """Distance, m, from the rod to a little beyond zero beat, in whole 5 cm, from 30 cm to the end of the curve."""
    if zero_beat is None:
        return farthest
    steps = math.ceil(1.12 * zero_beat / 0.05 - 1e-9)
    return min(farthest, max(LEAST_WHOLE, 0.05 * steps))


def usual_view(notes: Sequence[NoteLine], zero_beat: float | None, farthest: float, way: Way = STRAIGHT) -> Shown:
    """The notes from C2 to C6 that are there, in the middle `RANGE_SHARE` of the width where the antenna allows it.

    Where fewer than two of them are, a little beyond zero beat. In whole millimetres, so that the picture keeps still.
    farthest: m, the end of the way.
    """
    places = [way.tip(line.distance) for line in notes if LOWEST_SHOWN <= line.number <= HIGHEST_SHOWN]
    if len(places) < 2:
        return Shown(0.0, stage_width(None if zero_beat is None else way.tip(zero_beat), farthest))
    near, far = min(places), max(places)
    width = max((far - near) / RANGE_SHARE, NARROWEST)
    start = max(0.0, 0.5 * (near + far - width))
    return Shown(round(start, 3), max(round(width, 3), CLOSEST)).within(farthest)
