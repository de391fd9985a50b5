"""A gamepad as two hands: the left stick moves the pitch hand, the right one the volume hand. The mapping is pure.

A stick gives a speed, not a place: pushed fully, the pitch hand moves at `PITCH_SPEED` and the volume changes at
`VOLUME_SPEED`; half-way beyond the dead zone at a quarter of that, so that small movements are fine ones. Only
`Gamepads` touches the system: it opens the joysticks alone, never the sound.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pygame

DEAD_ZONE = 0.15  # share of a stick's way that a worn stick rests in
PITCH_SPEED = 0.30  # m/s
VOLUME_SPEED = 1.5  # of full volume, 1/s
FINE = 1.0 / 8.0  # of the speeds, in fine mode

#: Axes: left stick to the right; right stick towards the player, on pads with five axes or more and on others.
LEFT_ACROSS, RIGHT_UPWARD = 0, (4, 3)

#: Button number -> the action of the table of keys, or the answer to a page; the same for the cross of directions.
BUTTONS = {0: "answer", 1: "mute", 2: "posture", 3: "record", 4: "other side", 5: "replay", 7: "help"}
DIRECTIONS = {(0, 1): "louder", (0, -1): "quieter"}


@dataclass(frozen=True, slots=True)
class Sticks:
    """Where the sticks stand, -1..1: `across` of the left one (to the right), `down` of the right one (towards the
    player)."""

    across: float = 0.0
    down: float = 0.0


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
    return Motion(PITCH_SPEED * scale * across, VOLUME_SPEED * scale * up)


def moved(distance: float, volume: float, change: Motion, rod_at_right: bool = True) -> tuple[float, float]:
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
