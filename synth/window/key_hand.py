"""The hands moved by held keys: smooth, so that no step is heard.

The pitch hand speeds up and slows down with a time constant, towards SPEED or none; the volume hand goes to its height
or down in the same manner.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass, replace

SPEED = 0.12  # m/s of a held key
SLOW_SHARE = 1.0 / 8.0
SPEED_TIME = 0.06  # s, time constant of the hand's speed
VOLUME_TIME = 0.025  # s, time constant of the volume hand
VOLUME_SPEED = 0.8  # heights per second
LONGEST_STEP = 0.1  # s; a longer pause between two pictures moves no further


@dataclass(frozen=True, slots=True)
class KeyHand:
    """Speed of the pitch hand, m/s (positive away from the antenna); `height` 0..1 that Space raises the volume hand
    to; `risen` 0..1, the height where it is now. `sounding`: keys, not the pointer, say the volume.
    """

    velocity: float = 0.0
    height: float = 0.7
    risen: float = 0.0
    sounding: bool = False

    @property
    def moving(self) -> bool:
        """Whether the pitch hand moves by keys."""
        return self.velocity != 0.0


def advanced(hand: KeyHand, held: Collection[str], seconds: float, mirrored: bool = False) -> KeyHand:
    """The hand after `seconds`, s, with the actions `held` down. The antenna stands right, or left where `mirrored`."""
    step = min(max(seconds, 0.0), LONGEST_STEP)
    away = ("hand left" in held) - ("hand right" in held)
    wanted = (-away if mirrored else away) * SPEED * (SLOW_SHARE if "slower" in held else 1.0)
    velocity = wanted + (hand.velocity - wanted) * math.exp(-step / SPEED_TIME)
    if wanted == 0.0 and abs(velocity) < 1e-4:
        velocity = 0.0
    change = VOLUME_SPEED * step * (("volume up" in held) - ("volume down" in held))
    height = min(max(hand.height + change, 0.05), 1.0)
    goal = height if "sound hand" in held else 0.0
    risen = goal + (hand.risen - goal) * math.exp(-step / VOLUME_TIME)
    if goal == 0.0 and risen < 1e-3:
        risen = 0.0
    sounding = "sound hand" in held or (hand.sounding and risen > 0.0)
    return replace(hand, velocity=velocity, height=height, risen=risen, sounding=sounding)


def moved(distance: float, hand: KeyHand, seconds: float, nearest: float, farthest: float) -> float:
    """The pitch hand's distance, m, after `seconds` more, kept within the field."""
    return min(max(distance + hand.velocity * min(max(seconds, 0.0), LONGEST_STEP), nearest), farthest)
