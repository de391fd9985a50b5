"""Between pixels and the hands: distance to scale across the stage; up it a plain gain, or the height above a ring."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from models.pitch_field import NoteLine
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
    """The hand above the ring of a volume antenna, to scale: `whole` m from the ring's top to the top of the stage.

    `tube_diameter`, m, is the drawn ring's. A hand nearer or farther than the computed heights counts as at their end.
    """

    antenna: VolumeAntenna
    whole: float
    tube_diameter: float = 0.008

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


def ring_volume(antenna: VolumeAntenna, tube_diameter: float = 0.008) -> RingVolume:
    """The axis of a volume antenna: a little beyond full volume, in whole 5 cm, within the computed heights."""
    try:
        full = antenna.distance_at(1.0)
    except ValueError:
        full = USUAL_TOP
    steps = math.ceil(1.12 * full / 0.05 - 1e-9)
    return RingVolume(antenna, min(antenna.curve.farthest, max(LOWEST_TOP, 0.05 * steps)), tube_diameter)


NARROWEST = 0.12  # m, of the notes from C2 to C6
LEAST_WHOLE = 0.30  # m, of the field from the rod on
AXIS_SHARE = 0.60  # of the stage's height, from its top: where the rod stands and the hand moves, seen from above


@dataclass(frozen=True, slots=True)
class StageScale:
    """The stage's box, the distances, m, that its width stands for, and the volume axis of its height.

    It shows those from `start` to `start + width`, counted from the rod's surface, which stands beyond its right edge,
    its left edge if `mirrored`. `nearest` and `farthest`, m, are the ends of the
    capacitance curve; the hand stays between them.
    """

    box: Box
    width: float
    nearest: float
    farthest: float
    volume: VolumeAxis = PLAIN
    mirrored: bool = False
    start: float = 0.0

    @property
    def pixels_per_metre(self) -> float:
        """The scale of the drawing."""
        return self.box.width / self.width

    @property
    def rod_x(self) -> float:
        """Pixel column of the rod's surface, on the stage's edge or beyond it."""
        edge = self.box.left if self.mirrored else self.box.right
        return edge - self.away * self.start * self.pixels_per_metre

    @property
    def away(self) -> int:
        """Direction from the rod to the player along the pixel columns: -1 to the left, 1 to the right."""
        return 1 if self.mirrored else -1

    @property
    def axis_y(self) -> float:
        """Pixel row of the line along which the hand moves, through the rod, in the plan."""
        return self.box.top + AXIS_SHARE * self.box.height

    def x_of(self, distance: float) -> float:
        """Pixel column of a distance, m."""
        return self.rod_x + self.away * distance * self.pixels_per_metre

    def plan(self, distance: float, side: float) -> tuple[float, float]:
        """Pixels of a point seen from above: `distance` m from the rod's surface, `side` m from the hand's line.

        `side` is negative towards the player's body, which is drawn above the line.
        """
        return self.plans([(distance, side)])[0]

    def plans(self, points: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
        """Pixels of many points as `plan`: they are drawn 60 times a second."""
        rod, axis, down = self.rod_x, self.axis_y, self.pixels_per_metre
        across = self.away * down
        return [(rod + across * distance, axis + down * side) for distance, side in points]

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
        distance = self.away * (x - self.rod_x) / self.pixels_per_metre
        return min(max(distance, self.nearest), self.farthest)

    def gain_at(self, y: float) -> float:
        """Volume gain, 0..1, of a pixel row; beyond the stage that of its nearer end."""
        return self.volume.gain_at((self.box.bottom - y) / self.box.height)


LOWEST_SHOWN, HIGHEST_SHOWN = 36, 84  # note numbers, C2 and C6: the range that fills the stage
RANGE_SHARE = 0.85  # of the stage's width, that the range takes
CLOSEST = 0.04  # m, the least the stage may show


@dataclass(frozen=True, slots=True)
class Shown:
    """The distances on the stage, m: from `start` on over `width`."""

    start: float
    width: float

    def zoomed(self, factor: float, around: float, farthest: float) -> Shown:
        """`factor` times as wide, with the distance `around`, m, left at its place; at most to `farthest`."""
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


def usual_view(notes: Sequence[NoteLine], zero_beat: float | None, farthest: float) -> Shown:
    """The notes from C2 to C6 that are there, in the middle `RANGE_SHARE` of the width where the antenna allows it.

    Where fewer than two of them are, a little beyond zero beat. In whole millimetres, so that the picture keeps still.
    """
    places = [line.distance for line in notes if LOWEST_SHOWN <= line.number <= HIGHEST_SHOWN]
    if len(places) < 2:
        return Shown(0.0, stage_width(zero_beat, farthest))
    near, far = min(places), max(places)
    width = max((far - near) / RANGE_SHARE, NARROWEST)
    start = max(0.0, 0.5 * (near + far - width))
    return Shown(round(start, 3), max(round(width, 3), CLOSEST)).within(farthest)
