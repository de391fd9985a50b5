"""Pointer, fingers and wheel: on the stage they are the hands, on the drawer they change the controls."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from synth.window.actions import Actions
from synth.window.caution import remember_caution
from synth.window.drawer import Pointed, pointed_at, slider_share
from synth.window.held_hands import HeldHands
from synth.window.session import Session
from synth.window.state import Action, WindowState, on_click, with_pointer, with_pointer_aside, without_pointer
from synth.window.view import View

if TYPE_CHECKING:
    import pygame

    from synth.live.contract import InstrumentSound


Place = tuple[float, float]
Kind = Literal["down", "motion", "up"]


@dataclass(frozen=True, slots=True)
class Touch:
    """The fingers down: `pitch` and `volume` are their numbers; places are shares (0..1) of the window, from the left
    upper corner. `volume_place` outlasts its finger."""

    pitch: int | None = None
    pitch_place: Place = (0.0, 0.0)
    volume: int | None = None
    volume_place: Place | None = None


def touched(touch: Touch, kind: Kind, finger: int, place: Place) -> Touch:
    """The fingers after an event; events of third fingers and of unknown ones change nothing."""
    if kind == "down":
        return _down(touch, finger, place)
    if kind == "motion":
        return _moved(touch, finger, place)
    if finger == touch.pitch:
        kept = touch.volume_place if touch.volume is not None else None
        return replace(touch, pitch=None, volume_place=kept)
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
    if touch.pitch is None and finger != touch.volume:
        return replace(touch, pitch=finger, pitch_place=place)
    if touch.volume is None and finger != touch.pitch:
        return replace(touch, volume=finger, volume_place=place)
    return touch


def _moved(touch: Touch, finger: int, place: Place) -> Touch:
    if finger == touch.pitch:
        return replace(touch, pitch_place=place)
    if finger == touch.volume:
        return replace(touch, volume_place=place)
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

    def _move(self, state: WindowState, moment: float) -> None:
        if self.state.replaying:
            self.end_replay()
            state = replace(state, replaying=False)
        self.state = state
        heard = self.session.tuned.heard(state.distance, state.volume, state.height)
        self.speaker.move(*heard, moment)

    def _target(self, place: tuple[int, int]) -> Pointed:
        """What a pixel lies on; nothing while a page covers it."""
        layout, state = self.view.layout, self.state
        if layout is None or state.help_open or state.caution_open:
            return Pointed()
        return pointed_at(layout, place)

    def _point(self, place: tuple[int, int], moment: float) -> None:
        state, scale, layout = self.state, self.view.scale, self.view.layout
        if scale is None or layout is None:
            return
        if state.dragging or self._target(place).drawer:
            self.state = with_pointer_aside(state, place)
            if state.dragging:
                self.session.slide(state.dragging, slider_share(layout, state.dragging, place))
        else:
            pointed = with_pointer(state, place, scale)
            if self._hands.sounding:
                pointed = replace(pointed, volume=state.volume, height=state.height)
            self._move(pointed, moment)

    def _press(self, place: tuple[int, int]) -> None:
        """A click or a finger: answer a page, or take hold of a control."""
        if self.state.caution_open or self.state.help_open:
            self._act(*on_click(self.state))
            return
        target = self._target(place)
        if not target.control:
            return
        self.state = replace(self.state, selected=target.control, pointer=place)
        control = self.session.settings.control(target.control)
        if control.choices:
            self.session.step_round(target.control)
            return
        self.session.settle()
        self.state = replace(self.state, dragging=target.control)
        self.session.slide(target.control, target.share)

    def _release(self) -> None:
        if self.state.dragging:
            self.state = replace(self.state, dragging="")
            self.session.settle()

    def _wheel(self, steps: int) -> None:
        """Over a control: its steps. Over the stage: up opens the hand, down closes it."""
        place = self.state.pointer
        target = Pointed() if place is None else self._target(place)
        if target.control:
            self.state = replace(self.state, selected=target.control)
            self.step(steps)
        elif not target.drawer and steps:
            self.session.set("posture", "open" if steps > 0 else "fist")

    def _act(self, state: WindowState, action: Action | None) -> None:
        answered = self.state.caution_open and not state.caution_open
        self.state = state
        if answered:
            remember_caution()
        if action is not None:
            self.perform(action)

    def _finger(self, event: pygame.event.Event, moment: float) -> None:
        """Fingers on the stage are the hands; one on a control moves it."""
        import pygame

        size, finger = self.view.size, int(event.finger_id)
        place = (round(event.x * (size[0] - 1)), round(event.y * (size[1] - 1)))
        if event.type == pygame.FINGERDOWN and (
            self.state.caution_open or self.state.help_open or self._target(place).drawer
        ):
            self._touch_drag = finger
            self._press(place)
        elif finger == self._touch_drag:
            if event.type == pygame.FINGERUP:
                self._touch_drag = None
                self._release()
            elif self.state.dragging:
                self._point(place, moment)
        else:
            kind = {pygame.FINGERDOWN: "down", pygame.FINGERMOTION: "motion"}.get(event.type, "up")
            self._touch = touched(self._touch, kind, finger, (event.x, event.y))  # type: ignore[arg-type]
            both = pointer_of(self._touch, size)
            if both is None:
                self._move(without_pointer(self.state), moment)
            elif self.view.scale is not None:
                self._move(with_pointer(self.state, both, self.view.scale), moment)
