"""What the window knows between two pictures, and how keys and the pointer change it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from synth.window.keys import next_control, next_text_scale, row_of
from synth.window.scale import StageScale

Action = str  # the name of a row of `synth.window.keys`, or "level" or "layout": what is left for the loop to do

LEVEL_STEP_DB = 3.0
LOWEST_LEVEL_DB = -60.0
NOTICE_TIME = 8.0  # s a notice stays
FINE_SHARE = 1.0 / 8.0  # of the pointer's way, that the hand goes in fine mode


@dataclass(frozen=True, slots=True)
class WindowState:
    """Pointer, hands and switches. `distance` m, `volume` gain 0..1 of the volume hand alone, `height` m of that hand
    above the ring (None: no hand over a ring), `level` listening gain 0..1; `notice_until` s.

    `recording` and `replaying` follow the speaker, which may refuse or end them. `place`: the pixel that the pitch hand
    follows, the pointer's own but in fine mode. `selected`: the control that keys change. `dragging`: the control whose
    slider the pointer holds, or "". `text_scale`: 1 is the usual size of texts. `drawer_open`: the controls as a page,
    in a window that has no room for them beside the stage.
    """

    distance: float
    level: float
    volume: float = 0.0
    height: float | None = None
    present: bool = False
    pointer: tuple[int, int] | None = None
    muted: bool = False
    recording: bool = False
    help_open: bool = False
    caution_open: bool = False
    notice: str = ""
    notice_until: float = 0.0
    place: tuple[float, float] | None = None
    fine: bool = False
    mirrored: bool = False
    text_scale: float = 1.0
    selected: str = "sensitivity"
    dragging: str = ""
    replaying: bool = False
    drawer_open: bool = False

    @property
    def silenced(self) -> bool:
        """True while nothing may sound: muted, or the caution has not been answered."""
        return self.muted or self.caution_open


def with_pointer(state: WindowState, pointer: tuple[int, int], scale: StageScale) -> WindowState:
    """The hands follow the pointer; in fine mode the pitch hand goes 1/8 of its way, from where it was.

    The volume always goes the pointer's whole way: silence must stay one move down, and fine mode is there for
    millimetres of pitch, which no volume needs.
    """
    across = float(pointer[0])
    if state.fine:
        before = scale.x_of(state.distance)  # and not the place before: the stage's scale may have changed
        moved = 0 if state.pointer is None else pointer[0] - state.pointer[0]
        across = _within(before + FINE_SHARE * moved, scale)
    distance, volume = scale.distance_at(across), scale.gain_at(pointer[1])
    place, height = (across, float(pointer[1])), scale.hand_height_at(pointer[1])
    return replace(state, pointer=pointer, place=place, distance=distance, volume=volume, height=height, present=True)


def _within(across: float, scale: StageScale) -> float:
    """A pixel column kept where the hand is within its field, so that none of the way back is lost."""
    ends = sorted((scale.x_of(scale.nearest), scale.x_of(scale.farthest)))
    return min(max(across, ends[0]), ends[1])


def with_pointer_aside(state: WindowState, pointer: tuple[int, int]) -> WindowState:
    """The pointer is on the controls: the hands stay where they were."""
    return replace(state, pointer=pointer)


def without_pointer(state: WindowState) -> WindowState:
    """The pointer has left the window: the volume hand drops to silence, the pitch hand stays."""
    return replace(state, pointer=None, volume=0.0, height=None, present=False)


def with_notice(state: WindowState, text: str, now: float) -> WindowState:
    """Show `text` for a while."""
    return replace(state, notice=text, notice_until=now + NOTICE_TIME)


def level_after_step(level: float, step: int) -> float:
    """The listening level `step` steps of 3 dB up or down, at most 1, at least -60 dB."""
    changed = level * math.pow(10.0, step * LEVEL_STEP_DB / 20.0)
    return min(1.0, max(math.pow(10.0, LOWEST_LEVEL_DB / 20.0), changed))


def on_key(state: WindowState, key: str, ctrl: bool = False, shift: bool = False) -> tuple[WindowState, Action | None]:
    """The state after a key went down (pygame's key name), and what the loop has to do about it."""
    if state.caution_open and key in ("return", "enter", "space"):
        return replace(state, caution_open=False), "mute"
    row = row_of(key, ctrl, shift)
    if row is None or (state.caution_open and row.action not in ("help", "leave", "quit", "mute")):
        return state, None
    return after_action(state, row.action)


def after_action(state: WindowState, action: Action) -> tuple[WindowState, Action | None]:
    """The state after an action of the table of keys, and what is left of it for the loop."""
    match action:
        case "help":
            return replace(state, help_open=not state.help_open), None
        case "drawer":
            return replace(state, drawer_open=not state.drawer_open), None
        case "leave" if state.help_open or state.drawer_open:
            return replace(state, help_open=False, drawer_open=False), None
        case "leave":
            return state, "quit"
        case "mute":
            return replace(state, muted=not state.muted), "mute"
        case "louder" | "quieter":
            return replace(state, level=level_after_step(state.level, 1 if action == "louder" else -1)), "level"
        case "fine":
            return replace(state, fine=not state.fine, place=None), None
        case "mirror":
            return replace(state, mirrored=not state.mirrored), "layout"
        case "next control" | "previous control":
            return replace(state, selected=next_control(state.selected, 1 if action == "next control" else -1)), None
        case "larger text" | "smaller text":
            scale = next_text_scale(state.text_scale, 1 if action == "larger text" else -1)
            return replace(state, text_scale=scale), "layout"
        case "usual text":
            return replace(state, text_scale=1.0), "layout"
        case _:
            return state, action


def on_click(state: WindowState) -> tuple[WindowState, Action | None]:
    """A click answers the caution or closes the help."""
    if state.caution_open:
        return replace(state, caution_open=False), "mute"
    return replace(state, help_open=False), None
