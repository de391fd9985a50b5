"""Hands without a pointer: held keys and the sticks of a gamepad."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from synth.window import gamepad
from synth.window.key_hand import KeyHand, advanced, moved
from synth.window.scale import StageScale
from synth.window.state import Action, WindowState

if TYPE_CHECKING:
    import pygame

LONGEST_STEP = 0.1  # s between two pictures that sticks count
PAD_ACTIONS: dict[str, Action] = {
    "mute": "mute",
    "record": "record",
    "posture": "posture",
    "side": "other side",
    "replay": "replay",
    "help": "help",
    "louder": "louder",
    "softer": "quieter",
}


class OtherHands:
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
        """Take a gamepad's event: the switch it asks for, and what to tell the player."""
        import pygame

        if event.type == pygame.JOYAXISMOTION:
            axes = self._pads.axes(event.instance_id)
            self._sticks = gamepad.pushed(self._sticks, event.axis, event.value, axes)
        elif event.type == pygame.JOYBUTTONDOWN:
            return gamepad.button_switch(event.button), ""
        elif event.type == pygame.JOYHATMOTION:
            across, up = event.value
            return gamepad.direction_switch((across, up)), ""
        elif event.type == pygame.JOYDEVICEADDED:
            name = self._pads.add(event.device_index)
            return None, f"Gamepad: {name}" if name else ""
        elif event.type == pygame.JOYDEVICEREMOVED:
            self._pads.remove(event.instance_id)
            self._sticks = gamepad.Sticks()
        return None, ""
