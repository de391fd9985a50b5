"""What the stage's height stands for: a plain gain, or the true height of the volume hand above a ring antenna."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Protocol

if TYPE_CHECKING:
    from models.volume.volume_antenna import VolumeAntenna

VOLUME_MARKS_DB: Final = (0, -3, -6, -12, -20, -30, -40)
LOWEST_TOP = 0.15  # m
USUAL_TOP = 0.30  # m, where full volume is never reached


class VolumeAxis(Protocol):
    """Heights are shares of the stage, 0 at its bottom to 1 at its top; `top` is the latter in m, if it is a length."""

    @property
    def top(self) -> float | None:
        """What the whole height stands for, m; None for a plain gain."""

    def gain_at(self, height: float) -> float:
        """Volume gain, 0..1, of a pointer at `height`; beyond the stage it counts as at the nearer end."""

    def height_of(self, gain: float) -> float:
        """The lowest height, 0..1, at which the gain is reached."""

    def marks(self) -> tuple[tuple[int, float], ...]:
        """Decibels and heights of the scale's marks, from the top down."""


@dataclass(frozen=True, slots=True)
class PlainVolume:
    """No volume antenna: gain = height^2, that is 40 log10(height) dB, -12 dB at half height, silence at the bottom."""

    @property
    def top(self) -> float | None:
        """Not a length."""
        return None

    def gain_at(self, height: float) -> float:
        """See VolumeAxis."""
        return gain_of_height(height)

    def height_of(self, gain: float) -> float:
        """See VolumeAxis."""
        return height_of_gain(gain)

    def marks(self) -> tuple[tuple[int, float], ...]:
        """See VolumeAxis."""
        return tuple((mark, height_of_gain(10.0 ** (mark / 20.0))) for mark in VOLUME_MARKS_DB)


PLAIN: Final = PlainVolume()


@dataclass(frozen=True, slots=True)
class RingVolume:
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


def gain_of_height(height: float) -> float:
    """Plain volume gain for a pointer at `height` of the stage (0 bottom .. 1 top; beyond: the nearer end)."""
    inside = min(max(height, 0.0), 1.0)
    return inside * inside


def height_of_gain(gain: float) -> float:
    """Height, 0..1, at which the plain volume gain is `gain` (0..1)."""
    return math.sqrt(gain)
