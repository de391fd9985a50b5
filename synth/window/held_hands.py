"""The hands moved without a pointer: by held keys, smoothly, so that no step is heard, and by the sticks of a gamepad.

By keys the pitch hand speeds up and slows down with a time constant, towards SPEED or none; the volume hand goes to its
height or down in the same manner. Of a gamepad the left stick moves the pitch hand, the right one the volume hand: a
stick gives a speed, not a place. Pushed fully, the pitch hand moves at `PITCH_SPEED` and the volume changes at
`STICK_VOLUME_SPEED`; half-way beyond the dead zone at a quarter of that, so that small movements are fine ones. The
right trigger closes the fingers. Only `Gamepads` touches the system: it opens the joysticks alone, never the sound.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import replace
from typing import TYPE_CHECKING

from models.quick_dataclass import dataclass
from synth.window.changed import changed
from synth.window.scale import StageScale
from synth.window.state import Action, WindowState, let_go

if TYPE_CHECKING:
    import pygame


DEAD_ZONE = 0.15  # share of a stick's way that a worn stick rests in
PITCH_SPEED = 0.30  # m/s
STICK_VOLUME_SPEED = 1.5  # of full volume, 1/s
FINE = 1.0 / 8.0  # of the speeds, in fine mode

#: Axes: left stick to the right; right stick towards the player, on pads with five axes or more and on others.
LEFT_ACROSS, RIGHT_UPWARD = 0, (4, 3)
TRIGGER, TRIGGER_AXES = 5, 6  # the right one, on pads with so many axes; it rests at -1

#: Button number -> the action of the table of keys, or the answer to a page; the same for the cross of directions.
BUTTONS = {0: "answer", 1: "mute", 2: "fist", 3: "record", 4: "other side", 5: "replay", 6: "practise", 7: "help"}
DIRECTIONS = {(0, 1): "louder", (0, -1): "quieter", (-1, 0): "note lower", (1, 0): "note higher"}


@dataclass(frozen=True, slots=True)
class Sticks:
    """Where the sticks stand, -1..1: `across` of the left one (to the right), `down` of the right one (towards the
    player); and `squeeze`, 0..1, of the right trigger."""

    across: float = 0.0
    down: float = 0.0
    squeeze: float = 0.0


@dataclass(frozen=True, slots=True)
class Motion:
    """What a moment changes: `across`, m, to the right on the stage; `volume`, of full volume, up."""

    across: float
    volume: float


def pushed(sticks: Sticks, axis: int, value: float, axes: int = 6) -> Sticks:
    """The sticks after JOYAXISMOTION of `axis` to `value` (-1..1; beyond counts as the end) on a pad of `axes` axes.

    With five axes or more the right stick's way up and down is axis 4, else axis 3.
    """
    held = min(max(value, -1.0), 1.0)
    if axis == LEFT_ACROSS:
        return replace(sticks, across=held)
    if axis == RIGHT_UPWARD[0 if axes > RIGHT_UPWARD[0] else 1]:
        return replace(sticks, down=held)
    if axis == TRIGGER and axes >= TRIGGER_AXES:
        return replace(sticks, squeeze=0.5 * (held + 1.0))
    return sticks


def response(value: float) -> float:
    """Share of full speed, -1..1, of a stick at `value`: 0 in the dead zone, then the square of the rest of the way."""
    beyond = max(0.0, (abs(value) - DEAD_ZONE) / (1.0 - DEAD_ZONE))
    return beyond * beyond if value > 0.0 else -beyond * beyond


def motion(sticks: Sticks, seconds: float, fine: bool = False) -> Motion | None:
    """What `seconds` with the sticks held there change; None while both rest, so that another hand is not disturbed."""
    across, up = response(sticks.across), -response(sticks.down)
    if across == 0.0 and up == 0.0:
        return None
    scale = seconds * (FINE if fine else 1.0)
    return Motion(PITCH_SPEED * scale * across, STICK_VOLUME_SPEED * scale * up)


def moved_by_sticks(distance: float, volume: float, change: Motion, rod_at_right: bool = True) -> tuple[float, float]:
    """Distance, m, >= 0, and volume, 0..1, after `change`; to the right is nearer where the rod stands at the right."""
    nearer = change.across if rod_at_right else -change.across
    return max(0.0, distance - nearer), min(max(volume + change.volume, 0.0), 1.0)


class Gamepads:
    """The gamepads in use: opened when they are plugged in, forgotten when they are gone.

    `start` turns on the joysticks of pygame and nothing else; a system without any is left alone.
    """

    def __init__(self) -> None:
        self._pads: dict[int, pygame.joystick.JoystickType] = {}

    def start(self) -> bool:
        """Listen for gamepads; JOYDEVICEADDED reports those plugged in already. False where it is impossible."""
        import pygame

        try:
            pygame.joystick.init()
        except pygame.error:
            return False
        return True

    def add(self, device_index: int) -> str | None:
        """Open the gamepad of a JOYDEVICEADDED event; return its name, None where it cannot be opened."""
        import pygame

        try:
            pad = pygame.joystick.Joystick(device_index)
        except pygame.error:
            return None
        self._pads[pad.get_instance_id()] = pad
        return str(pad.get_name())

    def remove(self, instance_id: int) -> None:
        """Forget the gamepad of a JOYDEVICEREMOVED event."""
        self._pads.pop(instance_id, None)

    def axes(self, instance_id: int) -> int:
        """How many axes a gamepad has; 6 for one that is not open."""
        pad = self._pads.get(instance_id)
        return 6 if pad is None else int(pad.get_numaxes())


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


def advanced(hand: KeyHand, held: Collection[str], seconds: float, mirrored: bool = False) -> KeyHand:
    """The hand after `seconds`, s, with the actions `held` down. The antenna stands right, or left where `mirrored`."""
    if not held and hand.velocity == hand.risen == 0.0 and not hand.sounding:
        return hand
    step = min(max(seconds, 0.0), LONGEST_STEP)
    away = ("hand left" in held) - ("hand right" in held)
    wanted = (-away if mirrored else away) * SPEED * (SLOW_SHARE if "fine" in held else 1.0)
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


def _taken(state: WindowState, scale: StageScale, distance: float) -> WindowState:
    """The pitch hand moved to a distance, m, by keys or sticks; a pointer that holds it keeps it from there."""
    if distance == state.distance:
        return state
    offset = state.offset
    if state.held and state.pointer is not None:
        offset = scale.x_of(distance) - state.pointer[0]
    return changed(state, distance=distance, offset=offset, keyed=not state.held)


class HeldHands:
    """What is held down, and where the sticks stand."""

    def __init__(self) -> None:
        self._held: set[str] = set()
        self._keys = KeyHand()
        self._sticks = Sticks()
        self._pads = Gamepads()

    def start(self) -> None:
        """Listen to gamepads, where the system has any."""
        self._pads.start()

    @property
    def sounding(self) -> bool:
        """Whether keys say the volume."""
        return self._keys.sounding

    @property
    def fine(self) -> bool:
        """Whether the key of fine play is held."""
        return "fine" in self._held

    @property
    def squeeze(self) -> float:
        """How far key or trigger close the fingers, 0 to 1."""
        return 1.0 if "fingers" in self._held else self._sticks.squeeze

    def hold(self, action: Action) -> None:
        """A key of a held action went down."""
        self._held.add(action)

    def release(self, action: Action) -> None:
        """It came up."""
        self._held.discard(action)

    def release_all(self) -> None:
        """The window no longer hears of keys and sticks: the hand stops where it is."""
        self._held.clear()
        self._keys = KeyHand(height=self._keys.height)
        self._sticks = Sticks()

    def moved_by_keys(self, state: WindowState, scale: StageScale, seconds: float) -> WindowState | None:
        """The hands after `seconds` more, s; None while no key moves them."""
        before = self._keys
        hand = self._keys = advanced(before, self._held, seconds, state.mirrored)
        if not (hand.velocity != 0.0 or hand.sounding or before.sounding):
            return None
        distance = moved(state.distance, hand, seconds, scale.nearest, scale.farthest)
        state, top = _taken(state, scale, distance), scale.volume.top
        if not (hand.sounding or before.sounding):
            return state
        if not hand.sounding:
            return let_go(changed(state, volume=0.0, height=None))
        height = None if top is None else hand.risen * top
        volume = scale.volume.gain_at(hand.risen)
        return changed(state, volume=volume, height=height, row=None, present=True)

    def moved_by_sticks(self, state: WindowState, scale: StageScale, seconds: float) -> WindowState | None:
        """The hands after `seconds` more, s; None while the sticks rest."""
        change = motion(self._sticks, min(max(seconds, 0.0), LONGEST_STEP), state.fine)
        if change is None or state.caution_open:
            return None
        distance, volume = moved_by_sticks(state.distance, state.volume, change, not state.mirrored)
        inside, top, height = min(max(distance, scale.nearest), scale.farthest), scale.volume.top, state.height
        if volume != state.volume:
            height = None if top is None else top * scale.volume.height_of(volume)
        state = _taken(state, scale, inside)
        return changed(state, volume=volume, height=height, row=None, present=True, fading=False)

    def pad_event(self, event: pygame.event.Event) -> tuple[str | None, str]:
        """Take a gamepad's event: the action it asks for, and what to tell the player."""
        import pygame

        if event.type == pygame.JOYAXISMOTION:
            axes = self._pads.axes(event.instance_id)
            self._sticks = pushed(self._sticks, event.axis, event.value, axes)
        elif event.type == pygame.JOYBUTTONDOWN:
            return BUTTONS.get(event.button), ""
        elif event.type == pygame.JOYHATMOTION:
            return DIRECTIONS.get(tuple(event.value)), ""
        elif event.type == pygame.JOYDEVICEADDED:
            name = self._pads.add(event.device_index)
            return None, f"Gamepad: {name}" if name else ""
        elif event.type == pygame.JOYDEVICEREMOVED:
            self._pads.remove(event.instance_id)
            self._sticks = Sticks()
        return None, ""
