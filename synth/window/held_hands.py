"""The hands moved without a pointer: by held keys, smoothly, so that no step is heard, and by the sticks of a gamepad.

By keys the pitch hand speeds up and slows down with a time constant, towards SPEED or none; the volume hand goes to its
height or down in the same manner.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from synth.window import gamepad
from synth.window.scale import StageScale
from synth.window.state import Action, WindowState

if TYPE_CHECKING:
    import pygame


SPEED = 0.12  # m/s of a held key
SLOW_SHARE = 1.0 / 8.0
SPEED_TIME = 0.06  # s, time constant of the hand's speed
VOLUME_TIME = 0.025  # s, time constant of the volume hand
VOLUME_SPEED = 0.8  # heights per second
LONGEST_STEP = 0.1  # s; a longer pause between two pictures moves no further, by keys or by sticks


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


class HeldHands:
    """What is held down, and where the sticks stand."""

    def __init__(self) -> None:
        self._held: set[str] = set()
        self._keys = KeyHand()
        self._sticks = gamepad.Sticks()
        self._pads = gamepad.Gamepads()

    def start(self) -> None:
        """Listen to gamepads, where the system has any."""
        self._pads.start()

    @property
    def sounding(self) -> bool:
        """Whether keys say the volume."""
        return self._keys.sounding

    def hold(self, action: Action) -> None:
        """A key of a held action went down."""
        self._held.add(action)

    def release(self, action: Action) -> None:
        """It came up."""
        self._held.discard(action)

    def release_all(self) -> None:
        """The window no longer hears of keys."""
        self._held.clear()

    def moved_by_keys(self, state: WindowState, scale: StageScale, seconds: float) -> WindowState | None:
        """The hands after `seconds` more, s; None while no key moves them."""
        before = self._keys
        hand = self._keys = advanced(before, self._held, seconds, state.mirrored)
        if not (hand.moving or hand.sounding or before.sounding):
            return None
        distance = moved(state.distance, hand, seconds, scale.nearest, scale.farthest)
        volume = state.volume
        if hand.sounding or before.sounding:
            volume = scale.volume.gain_at(hand.risen) if hand.sounding else 0.0
        return replace(state, distance=distance, volume=volume, place=None, present=True)

    def moved_by_sticks(self, state: WindowState, scale: StageScale, seconds: float) -> WindowState | None:
        """The hands after `seconds` more, s; None while the sticks rest."""
        change = gamepad.motion(self._sticks, min(max(seconds, 0.0), LONGEST_STEP), state.fine)
        if change is None or state.caution_open:
            return None
        distance, volume = gamepad.moved(state.distance, state.volume, change, not state.mirrored)
        inside = min(max(distance, scale.nearest), scale.farthest)
        return replace(state, distance=inside, volume=volume, place=None, present=True)

    def pad_event(self, event: pygame.event.Event) -> tuple[str | None, str]:
        """Take a gamepad's event: the action it asks for, and what to tell the player."""
        import pygame

        if event.type == pygame.JOYAXISMOTION:
            axes = self._pads.axes(event.instance_id)
            self._sticks = gamepad.pushed(self._sticks, event.axis, event.value, axes)
        elif event.type == pygame.JOYBUTTONDOWN:
            return gamepad.BUTTONS.get(event.button), ""
        elif event.type == pygame.JOYHATMOTION:
            return gamepad.DIRECTIONS.get(tuple(event.value)), ""
        elif event.type == pygame.JOYDEVICEADDED:
            name = self._pads.add(event.device_index)
            return None, f"Gamepad: {name}" if name else ""
        elif event.type == pygame.JOYDEVICEREMOVED:
            self._pads.remove(event.instance_id)
            self._sticks = gamepad.Sticks()
        return None, ""
