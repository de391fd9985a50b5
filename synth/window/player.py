"""One player at one window: events move the hands and the controls, and pictures show what became of it."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from synth.window.draw_field import FieldPicture
from synth.window.drawn_notes import drawn_notes
from synth.window.keys import row_of
from synth.window.other_hands import PAD_ACTIONS
from synth.window.performer import Performer
from synth.window.pointing import Pointing
from synth.window.session import Session
from synth.window.shown import shown_now
from synth.window.state import (
    WindowState,
    after_action,
    on_click,
    on_key,
    with_pointer,
    without_pointer,
)
from synth.window.trace import LONGEST, synchronised, trace_span
from synth.window.view import TRACE_POINTS, Shown, View
from synth.window.volume_axis import PLAIN, VolumeAxis, ring_volume

if TYPE_CHECKING:
    import pygame

    from synth.live.meters import Meters

READING_FRAMES = 2  # the numbers change every second picture
CHANGE_TIME = 1.0 / 30.0  # s between two changes of the instrument
STEP_TIME = 0.8  # s after which steps of one control are a step of undo
REPLAY_GRACE = 0.6  # s a replay may take to begin


class Player(Pointing):
    """Joins events, session, speaker and view. One per window."""

    def __init__(
        self,
        session: Session,
        view: View,
        speaker: Any,
        state: WindowState,
        record_folder: Path,
        remarks: tuple[str, ...] = (),
        picture_of: Callable[[Session], FieldPicture] | None = None,
        tube_diameter: float = 0.008,
        midi: Any = None,
    ) -> None:
        super().__init__(Performer(session, speaker, state, record_folder, self._lay_out), view, speaker)
        self._remarks = remarks
        self._picture_of = picture_of or field_picture
        self._tube_diameter = tube_diameter
        self._midi = midi
        self._told = speaker.notice
        self._shown: Shown | None = None
        self._advanced = self._changed = time.monotonic()
        self.frames = 0
        speaker.mute(state.silenced)

    def open(self, size: tuple[int, int]) -> None:
        """Lay out the first picture, and listen to gamepads where the system has any."""
        self._lay_out()
        self.resize(size)
        self._hands.start()

    def handle(self, event: pygame.event.Event, moment: float | None = None) -> None:
        """Act on one event; `moment`: when it happened (time.monotonic), s, by default now."""
        import pygame

        when = time.monotonic() if moment is None else moment
        kind = event.type
        if kind == pygame.QUIT:
            self._performer.quit()
        elif kind == pygame.MOUSEMOTION and not getattr(event, "touch", False):
            self._point(event.pos, when)
        elif kind == pygame.MOUSEBUTTONDOWN and event.button == 1 and not getattr(event, "touch", False):
            self._press(event.pos)
        elif kind == pygame.MOUSEBUTTONUP and event.button == 1:
            self._release()
        elif kind == pygame.MOUSEWHEEL:
            self._wheel(event.y)
        elif kind == pygame.WINDOWLEAVE:
            self._move(without_pointer(self.state), when)
        elif kind == pygame.WINDOWFOCUSLOST:
            self._hands.release_all()
        elif kind in (pygame.WINDOWEXPOSED, pygame.VIDEOEXPOSE):
            self.view.renew()
        elif kind == pygame.KEYDOWN:
            self._key_down(event)
        elif kind == pygame.KEYUP:
            self._key_up(event)
        elif kind in (pygame.FINGERDOWN, pygame.FINGERMOTION, pygame.FINGERUP):
            self._finger(event, when)
        else:
            switch, text = self._hands.pad_event(event)
            self._performer.say(text)
            self._switch(switch)

    def resize(self, size: tuple[int, int]) -> None:
        """Lay out anew; the hand goes with the pointer."""
        self.view.resize(size, self.state.text_scale, self.state.mirrored)
        state, scale = self.state, self.view.scale
        if scale is not None and state.pointer is not None and not self._target(state.pointer).drawer:
            self._move(with_pointer(replace(state, place=None), state.pointer, scale), time.monotonic())

    def advance(self, now: float) -> None:
        """Let held keys, sticks and changed controls have their effect."""
        seconds, self._advanced = now - self._advanced, now
        for move in (self._hands.moved_by_keys, self._hands.moved_by_sticks):
            scale = self.view.scale
            state = None if scale is None else move(self.state, scale, seconds)
            if state is not None:
                self._move(state, now)
        if now - self._stepped > STEP_TIME and not self.state.dragging:
            self._stepped = now
            self._session.settle()
        if now - self._changed >= CHANGE_TIME:
            self._performer.update()
            done = time.monotonic()
            self._changed = done + (done - now) - CHANGE_TIME if done - now > CHANGE_TIME / 2 else now

    def draw(self, surface: pygame.Surface) -> list[pygame.Rect]:
        """Draw the next picture; return the rectangles that may have changed."""
        meters = self._speaker.meters()
        self._follow(meters)
        state = self.state
        if state.replaying and meters.replaying:
            held = float(self._session.tuned.instrument.clip_to_curve(meters.distance))
            state = replace(state, distance=held, volume=meters.volume, present=True)
        if self._shown is None or self.frames % READING_FRAMES == 0:
            layout = self.view.layout
            spectral = layout is not None and layout.spectrum is not None
            self._shown = shown_now(self._session, state, self._speaker, meters, self._remarks, spectral)
        span = trace_span(meters.frequency)
        sound = self._speaker.recent(round(2.0 * max(span, 0.05 * LONGEST) * meters.sample_rate))
        trace = synchronised(sound, meters.sample_rate, span, TRACE_POINTS)
        shown = replace(self._shown, peak=meters.peak, rms=meters.rms, trace=trace, trace_span=span)
        if self._midi is not None:
            self._midi.play(time.monotonic(), meters.frequency, 0.0 if state.silenced else meters.volume)
        self.frames += 1
        return self.view.draw(surface, state, shown)

    def _follow(self, meters: Meters) -> None:
        """Take note of what the speaker did of itself."""
        if (notice := self._speaker.notice) != self._told:
            self._told = notice
            self._performer.say(notice or "")
        replaying = self.state.replaying
        if replaying and not meters.replaying and time.monotonic() - self._replay_began > REPLAY_GRACE:
            replaying = False
        recording = self._speaker.recording_to is not None
        self.state = replace(self.state, recording=recording, replaying=replaying)

    def _lay_out(self) -> None:
        """Show the field that plays, as large and as it stands now; keep the hand within it."""
        session, state = self._session, self.state
        curve = session.tuned.instrument.curve
        self.view.show(session.side.name, self._picture_of(session), curve.nearest, curve.farthest, self._axis())
        if (self.view.text_scale, self.view.mirrored) != (state.text_scale, state.mirrored):
            self.view.resize(self.view.size, state.text_scale, state.mirrored)
        inside = min(max(state.distance, curve.nearest), curve.farthest)
        if inside != state.distance:
            self._move(replace(state, distance=inside), time.monotonic())
        self._shown = None

    def _axis(self) -> VolumeAxis:
        volume, design = self._session.tuned.volume, self._session.side.offer.design
        if volume is None:
            return PLAIN
        ring = None if design is None else design.volume_antenna
        return ring_volume(volume, self._tube_diameter if ring is None else ring.tube_diameter)

    def _key_down(self, event: pygame.event.Event) -> None:
        import pygame

        ctrl, shift = bool(event.mod & pygame.KMOD_CTRL), bool(event.mod & pygame.KMOD_SHIFT)
        name = pygame.key.name(event.key)
        row = row_of(name, ctrl, shift)
        if row is not None and row.held and not self.state.caution_open:
            self._hands.hold(row.action)
            return
        if row is not None and row.action.split()[0] in ("step", "ten"):
            self._stepped = time.monotonic()
        self._act(*on_key(self.state, name, ctrl, shift))

    def _key_up(self, event: pygame.event.Event) -> None:
        import pygame

        row = row_of(pygame.key.name(event.key))
        if row is not None:
            self._hands.release(row.action)

    def _switch(self, switch: str | None) -> None:
        if switch == "answer":
            self._act(*on_click(self.state))
        elif switch is not None and not self.state.caution_open:
            self._act(*after_action(self.state, PAD_ACTIONS[switch]))


def field_picture(session: Session, antenna_diameter: float = 0.010) -> FieldPicture:
    """The drawn part of the field that plays, to the design's own sizes where there is a design."""
    tuned, design = session.tuned.field, session.side.offer.design
    if design is None:
        return FieldPicture(drawn_notes(tuned), tuned.zero_beat_distance, tuned.locked_span, antenna_diameter)
    return FieldPicture(
        drawn_notes(tuned),
        tuned.zero_beat_distance,
        tuned.locked_span,
        design.antenna.diameter,
        stand_distance=design.player.stand_distance,
        cabinet=None if design.cabinet is None else (design.cabinet.width, design.cabinet.depth),
    )
