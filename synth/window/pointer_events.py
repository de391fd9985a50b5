"""Pointer, fingers and wheel: on the stage they are the hands, on the drawer they change the controls."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from models.quick_dataclass import dataclass
from synth.window.actions import Actions
from synth.window.caution import remember_caution
from synth.window.changed import changed
from synth.window.draw_readouts import panel_rooms
from synth.window.draw_settings import setting_boxes
from synth.window.drawer import Pointed, pointed_at, slider_share
from synth.window.held_hands import HeldHands
from synth.window.layout import Layout
from synth.window.scale import StageScale
from synth.window.session import Session
from synth.window.state import (
    Action,
    WindowState,
    after_action,
    let_go,
    on_click,
    rescaled,
    with_hold,
    with_pointer,
    with_pointer_aside,
)
from synth.window.view import View

if TYPE_CHECKING:
    import pygame

    from synth.live.contract import InstrumentSound


ZOOM_STEP = 1.15
PAN_STEP = 0.08  # of the stage's width

BESIDE = 0.12  # of the window: so near the pitch finger a second one is of the same hand
PINCH_WAY = 0.08  # of the window, from stretched fingers to closed ones
FINGER_STEP = 0.1  # of the fingers' opening, a step of the wheel

Place = tuple[float, float]
Kind = Literal["down", "motion", "up"]


@dataclass(frozen=True, slots=True)
class Touch:
    """The fingers down: `pitch`, `volume` and `pinch` are their numbers; places are shares (0..1) of the window, from
    the left upper corner. `volume_place` outlasts its finger. `pinch` came down beside the pitch finger, `gap` from it:
    both are fingers of the pitch hand.
    """

    pitch: int | None = None
    pitch_place: Place = (0.0, 0.0)
    volume: int | None = None
    volume_place: Place | None = None
    pinch: int | None = None
    pinch_place: Place = (0.0, 0.0)
    gap: float = 0.0

    @property
    def spread(self) -> float:
        """How much wider apart the fingers of the pitch hand are than when the second came down."""
        return 0.0 if self.pinch is None else _gap(self.pitch_place, self.pinch_place) - self.gap


def _gap(one: Place, other: Place) -> float:
    return math.hypot(one[0] - other[0], one[1] - other[1])


def touched(touch: Touch, kind: Kind, finger: int, place: Place) -> Touch:
    """The fingers after an event; events of third fingers and of unknown ones change nothing."""
    if kind == "down":
        return _down(touch, finger, place)
    if kind == "motion":
        return _moved(touch, finger, place)
    if finger == touch.pitch:
        kept = touch.volume_place if touch.volume is not None else None
        return replace(touch, pitch=None, volume_place=kept, pinch=None)
    if finger == touch.pinch:
        return replace(touch, pinch=None)
    if finger == touch.volume:
        moved = _moved(touch, finger, place)
        return replace(moved, volume=None, volume_place=moved.volume_place if touch.pitch is not None else None)
    return touch


def pointer_of(touch: Touch, size: tuple[int, int]) -> tuple[int, int] | None:
    """The pixel that stands for both hands in a window of `size`: the pitch finger's column, the volume finger's row.

    None while the pitch hand is away: nothing sounds then.
    """
    if touch.pitch is None:
        return None
    row = touch.pitch_place if touch.volume_place is None else touch.volume_place
    return round(touch.pitch_place[0] * (size[0] - 1)), round(row[1] * (size[1] - 1))


def _down(touch: Touch, finger: int, place: Place) -> Touch:
    if finger in (touch.pitch, touch.volume, touch.pinch):
        return touch
    if touch.pitch is None:
        return replace(touch, pitch=finger, pitch_place=place)
    if touch.pinch is None and (gap := _gap(touch.pitch_place, place)) <= BESIDE:
        return replace(touch, pinch=finger, pinch_place=place, gap=gap)
    if touch.volume is None:
        return replace(touch, volume=finger, volume_place=place)
    return touch


def _moved(touch: Touch, finger: int, place: Place) -> Touch:
    if finger == touch.pitch:
        return replace(touch, pitch_place=place)
    if finger == touch.volume:
        return replace(touch, volume_place=place)
    if finger == touch.pinch:
        return replace(touch, pinch_place=place)
    return touch


class PointerEvents(Actions):
    """The actions, and what pointer and fingers do to them and to the hands."""

    def __init__(
        self, session: Session, speaker: InstrumentSound, state: WindowState, folder: Path, view: View, seed: int = 1
    ) -> None:
        super().__init__(session, speaker, state, folder, seed)
        self.view = view
        self._hands = HeldHands()
        self._touch = Touch()
        self._touch_drag: int | None = None
        self._opening_before = 1.0  # of the fingers, when the second one came down beside the first
        self._scale: StageScale | None = None
        self._focused = True

    def _move(self, state: WindowState, moment: float) -> None:
        if self.state.replaying and (state.held or state.keyed):
            self.end_replay()
            state = changed(state, replaying=False)
        self.state = state
        self.speaker.move(*self.heard(state), moment)

    def _target(self, place: tuple[int, int]) -> Pointed:
        """What a pixel lies on; nothing while a page covers it."""
        layout = self.view.layout
        return Pointed() if layout is None or self.state.covered else pointed_at(layout, place)

    def _on_stage(self, place: tuple[int, int]) -> bool:
        """Whether a pixel is on the stage, and nothing covers it."""
        layout = self.view.layout
        if layout is None or self.state.covered or layout.drawer_over_stage:
            return False
        return layout.stage.holds(place)

    def _follow_scale(self, moment: float) -> None:
        """Where the stage moved, or its scale changed, the hand stays at its distance from the antenna."""
        before, scale = self._scale, self.view.scale
        if scale is before:
            return
        self._scale, state = scale, self.state
        if not state.held or state.pointer is None:
            return
        moved = before is None or scale is None or (before.box, before.mirrored) != (scale.box, scale.mirrored)
        if scale is None or moved or not self._on_stage(state.pointer):
            self._move(let_go(state), moment)
        else:
            self._move(rescaled(state, scale), moment)

    def _point(self, place: tuple[int, int], moment: float) -> None:
        self._follow_scale(moment)
        state, scale, layout = self.state, self.view.scale, self.view.layout
        if scale is None or layout is None:
            return
        if state.dragging or not self._on_stage(place):
            self._move_if_changed(with_pointer_aside(state, place), moment)
            if state.dragging:
                self.session.slide(state.dragging, slider_share(layout, state.dragging, place))
            return
        if not (self._focused or state.held):
            self.state = changed(state, pointer=place)
            return
        pointed = with_pointer(state, place, scale)
        if pointed.held and self._hands.sounding:
            pointed = changed(pointed, volume=state.volume, height=state.height, fading=True)
        self._move_if_changed(pointed, moment)

    def _move_if_changed(self, state: WindowState, moment: float) -> None:
        """Tell the speaker of hands that a pointer holds or has just left; of nothing else that the pointer does."""
        if state.held or self.state.held:
            self._move(state, moment)
        else:
            self.state = state

    def _rest(self, moment: float) -> None:
        """The window no longer hears of hands: all of them rest, nothing is held down, and what sounds fades out."""
        self._hands.release_all()
        self._touch, self._touch_drag = Touch(), None
        self._release()
        self._move(changed(let_go(self.state), fine=False), moment)

    def _ask_for_sound(self, place: tuple[int, int], moment: float) -> None:
        """The hand goes to the pointer in silence, as soon as an earlier note has faded out, and sounds."""
        self._follow_scale(moment)
        state, scale = changed(self.state, pointer=place), self.view.scale
        if state.held or scale is None:
            return
        if state.volume > 0.0:
            self.state = changed(state, asked=True, wanted=0.0, fading=True)
        else:
            self._move(with_hold(state, place, scale), moment)

    def _press(self, place: tuple[int, int], moment: float) -> None:
        """A click or a finger: answer a page, take hold of a control, or ask for sound."""
        if self.state.practice_page and not self.state.caution_open:
            self.press_practice(place)
            return
        if self.state.covered:
            self._act(*on_click(self.state))
            return
        target, layout = self._target(place), self.view.layout
        if layout is not None and layout.drawer_is_strip and layout.footer.holds(place):
            self._act(*after_action(self.state, "drawer"))  # where it says how to open all controls
            return
        if not target.control:
            if layout is not None and self._press_setting(layout, place):
                return
            if self._on_stage(place):
                self._focused = True
                self._ask_for_sound(place, moment)
            return
        self.state = changed(self.state, selected=target.control)
        control = self.session.settings.control(target.control)
        if control.choices:
            self.session.step_round(target.control)
            return
        self.session.settle()
        self.state = changed(self.state, dragging=target.control)
        self.session.slide(target.control, target.share)

    def _press_setting(self, layout: Layout, place: tuple[int, int]) -> bool:
        """Play the setting whose row in the table lies at a pixel; whether there is one."""
        if self.state.covered or len(self.session.sides) < 2:
            return False
        for number, row in enumerate(setting_boxes(layout, panel_rooms(layout)["chain"], len(self.session.sides))):
            if row.holds(place):
                self.play_side(number)
                return True
        return False

    def press_practice(self, place: tuple[int, int]) -> None:
        """A click or a finger on a page of practice: a window with practice acts on it."""

    def _release(self) -> None:
        if self.state.dragging:
            self.state = changed(self.state, dragging="")
            self.session.settle()

    def _wheel(self, steps: int, ctrl: bool, shift: bool, moment: float) -> None:
        """Over a control: its steps. Over the stage: zoom, with Shift pan, with Ctrl open the hand or close it."""
        place = self.state.pointer
        target = Pointed() if place is None else self._target(place)
        if target.control:
            self.state = changed(self.state, selected=target.control)
            self.step(steps)
        elif place is not None and steps and self._on_stage(place) and ctrl:
            self.open_fingers(self.state.wanted_opening + FINGER_STEP * steps)
        elif place is not None and steps and self._on_stage(place):
            if shift:
                self.view.pan(-PAN_STEP * steps)
            else:
                scale = self.view.scale
                self.zoom(-steps, None if self.state.held or scale is None else scale.distance_at(place[0]))
            self._follow_scale(moment)

    def zoom(self, steps: int, around: float | None = None) -> None:
        """Show more of the field (less, if negative), with a distance, m, left at its place: by default the hand's."""
        self.view.zoom(ZOOM_STEP**steps, self.state.distance if around is None else around)

    def _act(self, state: WindowState, action: Action | None) -> None:
        answered = self.state.caution_open and not state.caution_open
        self.state = state
        if answered:
            remember_caution()
        if action is not None:
            self.perform(action)

    def _points(self, place: tuple[int, int]) -> bool:
        """Whether a finger that comes down there points at something, and is no hand: the pitch hand is on the stage,
        the volume hand anywhere once that is there.
        """
        if self.state.covered or self._target(place).drawer:
            return True
        return self._touch.pitch is None and not self._on_stage(place)

    def _finger(self, event: pygame.event.Event, moment: float) -> None:
        """Fingers on the stage are the hands; one on a control moves it."""
        import pygame

        size, finger = self.view.size, int(event.finger_id)
        place = (round(event.x * (size[0] - 1)), round(event.y * (size[1] - 1)))
        if event.type == pygame.FINGERDOWN and self._points(place):
            self._touch_drag = finger
            self._press(place, moment)
        elif finger == self._touch_drag:
            if event.type == pygame.FINGERUP:
                self._touch_drag = None
                self._release()
            elif self.state.dragging and (layout := self.view.layout) is not None:
                self.session.slide(self.state.dragging, slider_share(layout, self.state.dragging, place))
        else:
            kind = {pygame.FINGERDOWN: "down", pygame.FINGERMOTION: "motion"}.get(event.type, "up")
            self._touch = touched(self._touch, kind, finger, (event.x, event.y))  # type: ignore[arg-type]
            if self._touch.pinch == finger and kind == "down":
                self._opening_before = self.state.wanted_opening
            elif self._touch.pinch is not None:
                self.open_fingers(self._opening_before + self._touch.spread / PINCH_WAY)
            both = pointer_of(self._touch, size)
            self._follow_scale(moment)
            if both is None:
                self._move(let_go(changed(self.state, pointer=None)), moment)
            elif event.type == pygame.FINGERDOWN and not self.state.held:
                self._ask_for_sound(both, moment)
            elif self.state.held and self.view.scale is not None:
                self._move(with_pointer(self.state, both, self.view.scale), moment)
            else:
                self.state = changed(self.state, pointer=both)
