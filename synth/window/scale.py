"""Between pixels and the hand: distance to scale across the stage, volume up and down it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from synth.window.box import Box
from synth.window.volume_axis import PLAIN, VolumeAxis

NARROWEST = 0.30  # m
AXIS_SHARE = 0.60  # of the stage's height, from its top: where the rod stands and the hand moves, seen from above


@dataclass(frozen=True, slots=True)
class StageScale:
    """The stage's box, the distance, m, that its whole width stands for, and the volume axis of its height.

    The rod's surface is its right edge, its left edge if `mirrored`. `nearest` and `farthest`, m, are the ends of the
    capacitance curve; the hand stays between them.
    """

    box: Box
    width: float
    nearest: float
    farthest: float
    volume: VolumeAxis = PLAIN
    mirrored: bool = False

    @property
    def pixels_per_metre(self) -> float:
        """The scale of the drawing."""
        return self.box.width / self.width

    @property
    def rod_x(self) -> int:
        """Pixel column of the rod's surface."""
        return self.box.left if self.mirrored else self.box.right

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
        return self.x_of(distance), self.axis_y + side * self.pixels_per_metre

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


def stage_width(zero_beat: float | None, farthest: float) -> float:
    """Distance, m, the stage shows: a little beyond zero beat, in whole 5 cm, from 30 cm to the end of the curve."""
    if zero_beat is None:
        return farthest
    steps = math.ceil(1.12 * zero_beat / 0.05 - 1e-9)
    return min(farthest, max(NARROWEST, 0.05 * steps))
