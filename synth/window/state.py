"""What the window knows between two pictures, and how keys and the pointer change it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from synth.window.scale import StageScale

Action = Literal["mute", "record", "level", "quit"]

LEVEL_STEP_DB = 3.0
LOWEST_LEVEL_DB = -60.0
NOTICE_TIME = 8.0  # s a notice stays

KEYS: tuple[tuple[str, str], ...] = (
    ("pointer left and right", "pitch: its distance from the antenna is the hand's, to scale"),
    ("pointer up and down", "volume: loud at the top, silent below the stage"),
    ("↑  ↓", "listening level, 3 dB a step (recordings stay as played)"),
    ("M", "mute"),
    ("R", "start or end a recording (WAV)"),
    ("H  F1", "this help"),
    ("Esc  Q", "close help, quit"),
)
RING_KEYS = (
    KEYS[0],
    ("pointer up and down", "volume: the other hand's height above the ring, to scale; down is quiet"),
    *KEYS[2:],
)


@dataclass(frozen=True, slots=True)
class WindowState:
    """Pointer, hand and switches. `distance` m, `volume` gain 0..1, `level` listening gain 0..1;
    `notice_until` s.

    `recording` follows the speaker, which may refuse or end a recording.
    """

    distance: float
    level: float
    volume: float = 0.0
    present: bool = False
    pointer: tuple[int, int] | None = None
    muted: bool = False
    recording: bool = False
    help_open: bool = False
    caution_open: bool = False
    notice: str = ""
    notice_until: float = 0.0

    @property
    def silenced(self) -> bool:
        """True while nothing may sound: muted, or the caution has not been answered."""
        return self.muted or self.caution_open


def with_pointer(state: WindowState, pointer: tuple[int, int], scale: StageScale) -> WindowState:
    """The hand follows the pointer."""
    distance, volume = scale.distance_at(pointer[0]), scale.gain_at(pointer[1])
    return replace(state, pointer=pointer, distance=distance, volume=volume, present=True)


def without_pointer(state: WindowState) -> WindowState:
    """The pointer has left the window: the volume hand drops to silence, the pitch hand stays."""
    return replace(state, pointer=None, volume=0.0, present=False)


def with_notice(state: WindowState, text: str, now: float) -> WindowState:
    """Show `text` for a while."""
    return replace(state, notice=text, notice_until=now + NOTICE_TIME)


def level_after_step(level: float, step: int) -> float:
    """The listening level `step` steps of 3 dB up or down, at most 1, at least -60 dB."""
    changed = level * math.pow(10.0, step * LEVEL_STEP_DB / 20.0)
    return min(1.0, max(math.pow(10.0, LOWEST_LEVEL_DB / 20.0), changed))


def on_key(state: WindowState, key: str) -> tuple[WindowState, Action | None]:
    """The state after a key (pygame's key name), and what the loop has to do about it."""
    if state.caution_open and key in ("return", "enter", "space"):
        return replace(state, caution_open=False), "mute"
    if key in ("h", "f1"):
        return replace(state, help_open=not state.help_open), None
    if key == "escape" and state.help_open:
        return replace(state, help_open=False), None
    if key in ("escape", "q"):
        return state, "quit"
    if key == "m":
        return replace(state, muted=not state.muted), "mute"
    if key == "r":
        return state, "record"
    if key in ("up", "down"):
        return replace(state, level=level_after_step(state.level, 1 if key == "up" else -1)), "level"
    return state, None


def on_click(state: WindowState) -> tuple[WindowState, Action | None]:
    """A click answers the caution or closes the help."""
    if state.caution_open:
        return replace(state, caution_open=False), "mute"
    return replace(state, help_open=False), None
