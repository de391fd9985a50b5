"""What the window knows between two pictures, and how keys and the pointer change it."""

from __future__ import annotations

import math

from models.quick_dataclass import dataclass
from synth.window.changed import changed
from synth.window.keys import help_pages, next_control, next_text_scale, row_of
from synth.window.palette import next_look
from synth.window.scale import StageScale

Action = str  # the name of a row of `synth.window.keys`, or "level" or "layout": what is left for the loop to do

LEVEL_STEP_DB = 3.0
LOWEST_LEVEL_DB = -60.0
NOTICE_TIME = 8.0  # s a notice stays
FINE_SHARE = 1.0 / 8.0  # of the pointer's way, that the hand goes in fine play
FADE_TIME = 0.12  # s from silence to full volume, and back
FINGER_TIME = 0.035  # s, time constant of fingers that close or open
CATCH = 12  # pixels, some 3 mm of screen: so near the resting hand the pointer takes hold of it again


@dataclass(frozen=True)
class WindowState:
    """Pointer, hands and switches. `distance` m, `volume` gain 0..1 of the volume hand alone, `height` m of that hand
    above the ring (None: no hand over a ring), `opening` of the fingers from 0 closed to 1 stretched, `level` listening
    gain 0..1; `notice_until` s. The fingers go to `wanted_opening` in time, the wrist held.

    The pointer plays only while it has hold of the pitch hand (`held`). Where it leaves the stage the hand rests, and
    the sound fades out; it takes hold again where it comes back to the hand, or where sound is asked for (`asked`: as
    soon as it is silent). `offset`: pixel columns from the pointer to the hand it holds, left by fine play. While
    `fading` the volume goes to `wanted` in time. `keyed`: keys or sticks moved the resting hand last, not the pointer.
    `row`: pixel row of the volume hand while the pointer holds it. `present`: somebody plays. `fresh`: nobody has
    played yet; the hand rests in the middle of the stage then, and sounds only where it is asked for.

    `recording` and `replaying` follow the speaker, which may refuse or end them. `selected`: the control that keys
    change. `dragging`: the control whose slider the pointer holds, or "". `text_scale`: 1 is the usual size of texts.
    `drawer_open`: the controls as a page, in a window that has no room for them beside the stage. `leaving`: what would
    be lost by quitting, while the player is asked about it. `look`: the colours. `still`: less motion, no trail.
    `help_page`: from 0, of the help's pages. `practice_page`: see `practice_events`.
    """

    distance: float
    level: float
    volume: float = 0.0
    height: float | None = None
    opening: float = 1.0
    wanted_opening: float = 1.0
    present: bool = False
    fresh: bool = False
    pointer: tuple[int, int] | None = None
    held: bool = False
    asked: bool = False
    keyed: bool = False
    offset: float = 0.0
    wanted: float = 0.0
    fading: bool = False
    row: float | None = None
    muted: bool = False
    recording: bool = False
    help_open: bool = False
    help_page: int = 0
    caution_open: bool = False
    leaving: tuple[str, ...] = ()
    notice: str = ""
    notice_until: float = 0.0
    fine: bool = False
    mirrored: bool = False
    text_scale: float = 1.0
    selected: str = "sensitivity"
    dragging: str = ""
    replaying: bool = False
    drawer_open: bool = False
    look: str = "dark"
    still: bool = False
    practice_page: str = ""

    @property
    def silenced(self) -> bool:
        """True while nothing may sound: muted, or the caution has not been answered."""
        return self.muted or self.caution_open

    @property
    def covered(self) -> bool:
        """True while a page lies over the stage."""
        return self.help_open or self.caution_open or bool(self.leaving or self.practice_page)


def with_pointer(state: WindowState, pointer: tuple[int, int], scale: StageScale) -> WindowState:
    """The pointer moved on the stage: the hands follow while it holds them, and are taken where it comes to them."""
    if state.held:
        return _followed(state, pointer, scale)
    if state.asked or state.fresh or not _reaches(state, pointer, scale):
        return changed(state, pointer=pointer, keyed=False)
    if state.volume > 0.0:  # what still fades out fades out first
        return changed(state, pointer=pointer, asked=True)
    return with_hold(state, pointer, scale)


def with_hold(state: WindowState, pointer: tuple[int, int], scale: StageScale) -> WindowState:
    """The pointer takes hold of the silent hands: they go to its place, and then the sound fades in."""
    taken = changed(
        state, held=True, asked=False, keyed=False, present=True, fresh=False, offset=0.0, fading=True, fine=False
    )
    return changed(_followed(taken, pointer, scale), fine=state.fine)


def _followed(state: WindowState, pointer: tuple[int, int], scale: StageScale) -> WindowState:
    """The hands after a move of the pointer that holds them; in fine play the pitch hand goes 1/8 of its way.

    The volume always goes the pointer's whole way: silence must stay one move down, and fine play is there for
    millimetres of pitch, which no volume needs.
    """
    across, offset = pointer[0] + state.offset, state.offset
    if state.fine and state.pointer is not None:
        across = scale.x_of(state.distance) + FINE_SHARE * (pointer[0] - state.pointer[0])
        ends = sorted((scale.x_of(scale.nearest), scale.x_of(scale.farthest)))
        across = min(max(across, ends[0]), ends[1])  # so that none of the way back is lost
        offset = across - pointer[0]
    wanted = scale.gain_at(pointer[1])
    return changed(
        state,
        pointer=pointer,
        row=float(pointer[1]),
        distance=scale.distance_at(across),
        offset=offset,
        wanted=wanted,
        volume=state.volume if state.fading else wanted,
        height=scale.hand_height_at(pointer[1]),
    )


def _reaches(state: WindowState, pointer: tuple[int, int], scale: StageScale) -> bool:
    """Whether the pointer came to the column of the resting hand, or went across it on the stage."""
    box, before = scale.box, state.pointer
    hand = min(max(scale.x_of(state.distance), float(box.left)), box.right - 1.0)  # beyond it it waits at its edge
    if abs(pointer[0] - hand) <= CATCH:
        return True
    if before is None or (before[0] - hand) * (pointer[0] - hand) >= 0.0:
        return False
    row = before[1] + (hand - before[0]) / (pointer[0] - before[0]) * (pointer[1] - before[1])
    return box.top <= row < box.bottom


def with_pointer_aside(state: WindowState, pointer: tuple[int, int] | None) -> WindowState:
    """The pointer is off the stage (None: out of the window): what it held rests, and fades out if it sounds."""
    away = changed(state, pointer=pointer)
    return let_go(away) if state.held or state.asked else away


def let_go(state: WindowState) -> WindowState:
    """Nobody plays any more: the pitch hand rests where it is, the sound fades out."""
    return changed(
        state,
        held=False,
        asked=False,
        present=False,
        offset=0.0,
        row=None,
        wanted=0.0,
        fading=state.volume > 0.0,
        height=state.height if state.volume > 0.0 else None,
    )


def faded(state: WindowState, seconds: float, scale: StageScale) -> WindowState:
    """The state after `seconds`, s, of a fade. In silence the pointer takes the hand that was asked for."""
    change = max(seconds, 0.0) / FADE_TIME
    if state.asked and state.volume == 0.0 and state.pointer is not None:
        return with_hold(state, state.pointer, scale)
    volume = min(max(state.wanted, state.volume - change), state.volume + change)
    # The volume hand is heard in the pitch: it goes, like the pitch hand, only when all is silent.
    height = state.height if state.held or state.volume > 0.0 else None
    return changed(
        state,
        volume=volume,
        height=height,
        fading=volume != state.wanted or state.asked or (height is not None and not state.held),
    )


def fingered(state: WindowState, seconds: float, squeeze: float = 0.0) -> WindowState:
    """The state after `seconds`, s, of fingers on their way; the same state where they rest.

    squeeze: 0 to 1, how far a key or a trigger closes them meanwhile.
    """
    goal = state.wanted_opening * (1.0 - squeeze)
    left = state.opening - goal
    if left == 0.0:
        return state
    left *= math.exp(-min(max(seconds, 0.0), FINGER_TIME) / FINGER_TIME)  # a picture that comes late is no leap
    return changed(state, opening=goal + (left if abs(left) > 1e-3 else 0.0))


def rescaled(state: WindowState, scale: StageScale) -> WindowState:
    """The distances on the stage changed under the pointer: the hand it holds stays where it is."""
    if not state.held or state.pointer is None:
        return state
    return changed(state, offset=scale.x_of(state.distance) - state.pointer[0])


def with_notice(state: WindowState, text: str, now: float, lasting: bool = False) -> WindowState:
    """Show `text` for a while, or, `lasting`, until it is taken away."""
    return changed(state, notice=text, notice_until=math.inf if lasting else now + NOTICE_TIME)


def level_after_step(level: float, step: int) -> float:
    """The listening level `step` steps of 3 dB up or down, at most 1, at least -60 dB."""
    wanted = level * math.pow(10.0, step * LEVEL_STEP_DB / 20.0)
    return min(1.0, max(math.pow(10.0, LOWEST_LEVEL_DB / 20.0), wanted))


def on_key(state: WindowState, key: str, ctrl: bool = False, shift: bool = False) -> tuple[WindowState, Action | None]:
    """The state after a key went down (pygame's key name), and what the loop has to do about it."""
    if state.caution_open and key in ("return", "enter", "space"):
        return changed(state, caution_open=False), "mute"
    if state.leaving:
        return _answered(state, key)
    row = row_of(key, ctrl, shift)
    if row is None or (state.caution_open and row.action not in ("help", "leave", "quit", "mute")):
        return state, None
    return after_action(state, row.action)


def after_action(state: WindowState, action: Action) -> tuple[WindowState, Action | None]:
    """The state after an action of the table of keys, and what is left of it for the loop."""
    match action:
        case "help":
            page = state.help_page + 1 if state.help_open else 0
            there = page < help_pages(state.text_scale)
            return changed(state, help_open=there, help_page=page if there else 0), None
        case "drawer":
            return changed(state, drawer_open=not state.drawer_open), None
        case "leave" if state.help_open or state.drawer_open or state.practice_page:
            return changed(state, help_open=False, drawer_open=False, practice_page=""), None
        case "leave":
            return state, "quit"
        case "mute":
            return changed(state, muted=not state.muted), "mute"
        case "louder" | "quieter":
            return changed(state, level=level_after_step(state.level, 1 if action == "louder" else -1)), "level"
        case "look":
            return changed(state, look=next_look(state.look)), "layout"
        case "still":
            return changed(state, still=not state.still), None
        case "mirror":
            return changed(state, mirrored=not state.mirrored), "layout"
        case "next control" | "previous control":
            return changed(state, selected=next_control(state.selected, 1 if action == "next control" else -1)), None
        case "larger text" | "smaller text":
            scale = next_text_scale(state.text_scale, 1 if action == "larger text" else -1)
            return changed(state, text_scale=scale), "layout"
        case "usual text":
            return changed(state, text_scale=1.0), "layout"
        case _:
            return state, action


def on_click(state: WindowState) -> tuple[WindowState, Action | None]:
    """A click answers the caution or closes a page."""
    if state.caution_open:
        return changed(state, caution_open=False), "mute"
    return changed(state, help_open=False, leaving=()), None


def _answered(state: WindowState, key: str) -> tuple[WindowState, Action | None]:
    """The answer to the question before quitting: Q or Enter quits, K saves and stays, Esc stays."""
    if key in ("q", "return", "enter"):
        return state, "close"
    if key == "k":
        return changed(state, leaving=()), "keep"
    return (changed(state, leaving=()) if key == "escape" else state), None
