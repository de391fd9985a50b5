"""The playing window: events move the hands and the controls, and 60 times a second a picture shows the result."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np

from models.arrays import Floats
from models.hand.antennas import AnyVolumeAntenna, LoopAntenna, VolumePlate, VolumeRod
from models.hand.capacitance_curve import CapacitanceCurve
from synth.window.canvas import FieldPicture
from synth.window.caution import caution_wanted
from synth.window.changed import changed
from synth.window.curves import LONGEST, OSCILLOGRAM_POINTS, oscillogram_span, synchronised
from synth.window.draw_hand import TRAIL_STEP, TRAIL_TIME
from synth.window.draw_practice_pages import FoundPage, PracticePage
from synth.window.figure_outline import Sight, way_of
from synth.window.keys import row_of
from synth.window.own_hand import OwnHandPage
from synth.window.picture import Picture, picture_now
from synth.window.pointer_events import PAN_STEP
from synth.window.practice import Practice
from synth.window.practice_events import AFTER, BEFORE, PracticeEvents
from synth.window.scale import PLAIN, VolumeAxis, ring_volume
from synth.window.screen import FIRST_SIZE, fill_screen, opened_screen, run_events
from synth.window.session import Session
from synth.window.state import (
    Action,
    WindowState,
    after_action,
    faded,
    fingered,
    let_go,
    on_click,
    on_key,
    with_pointer_aside,
)
from synth.window.view import View

if TYPE_CHECKING:
    import pygame

    from synth.live.contract import InstrumentSound
    from synth.live.meters import Meters


FRAME_TIME = 1.0 / 60.0  # s
READOUT_FRAMES = 6  # the numbers change every sixth picture, faster than they can be read
ROW_FRAMES = 12  # what the selected control does for the hand is told anew in every twelfth picture
WAVE_FRAMES = 2  # the sound, and what is told of it, is shown anew in every second picture
PREPARED = 30  # pictures after which what changes of a circuit need is prepared, once the sound has begun
CHANGE_TIME = 1.0 / 65.0  # s between two looks at what the controls changed
STEP_TIME = 0.8  # s after which steps of one control are a step of undo
REPLAY_GRACE = 0.6  # s a replay may take to begin


class HandListener(Protocol):
    """What follows the hand beside the speaker, such as a MIDI output."""

    def play(self, time: float, frequency: float, volume: float) -> None:
        """The hand now sounds `frequency`, Hz (signed), at a gain of `volume`, 0..1."""


@dataclass(slots=True)
class Pace:
    """How often something is drawn while a control is dragged, so that the sound can follow the pointer: after a pause
    of at least `least`, s, and of `share` of the time that it took the last time.
    """

    least: float
    share: float
    _next: float = 0.0

    def due(self, now: float) -> bool:
        """Whether the pause is over, now, s."""
        return now >= self._next

    def took(self, begun: float, ended: float) -> None:
        """It was drawn, from `begun` to `ended`, s."""
        self._next = ended + max(self.least, self.share * (ended - begun))


@dataclass(frozen=True, slots=True, eq=False)
class Wave:
    """What was heard last: the oscillogram (n,) over its span, s, and the peak and RMS of full scale."""

    values: Floats
    span: float
    peak: float
    rms: float


class PlayWindow(PracticeEvents):
    """Joins events, session, speaker and view. One per window."""

    def __init__(
        self,
        session: Session,
        speaker: InstrumentSound,
        state: WindowState,
        record_folder: Path,
        remarks: tuple[str, ...] = (),
        midi: HandListener | None = None,
        seed: int = 1,
        practice: Practice | None = None,
        own_hand: OwnHandPage | None = None,
    ) -> None:
        view = View(field_picture(session))
        super().__init__(session, speaker, state, record_folder, view, seed, practice, own_hand)
        self._remarks = remarks
        self._midi = midi
        self._told, self._meters = speaker.notice, speaker.meters()
        self.shown: Picture | None = None
        self._advanced = self._changed = time.monotonic()
        self.frames = 0
        self._seen: tuple[object, ...] = ()
        self.windowed: tuple[int, int] | None = None  # size of the window, while it fills the screen
        self._wave: Wave | None = None
        self._trail: deque[tuple[float, float]] = deque()
        self._stale = False  # the field that is drawn is not the one that sounds
        self._fresh = False  # the next picture draws another field
        self._field_pace, self._number_pace = Pace(0.06, 4.0), Pace(0.0, 2.0)
        speaker.mute(state.silenced)

    def open(self, size: tuple[int, int]) -> None:
        """Lay out the first picture with the silent hand in it, and listen to gamepads where the system has any."""
        self.lay_out()
        self.resize(size)
        if (scale := self.view.scale) is not None:
            resting = changed(self.state, distance=scale.distance_at(scale.box.center[0]), fresh=True)
            self._move(resting, time.monotonic())
        self._hands.start()

    def handle(self, event: pygame.event.Event, moment: float | None = None) -> None:
        """Act on one event; `moment`: when it happened (time.monotonic), s, by default now."""
        import pygame

        when = time.monotonic() if moment is None else moment
        kind = event.type
        if kind == pygame.QUIT:
            self.close()
        elif kind == pygame.MOUSEMOTION and not getattr(event, "touch", False):
            if self.state.dragging and not event.buttons[0]:
                self._release()  # the button came up where the window did not hear of it
            self._point(event.pos, when)
        elif kind == pygame.MOUSEBUTTONDOWN and event.button == 1 and not getattr(event, "touch", False):
            self._press(event.pos, when)
        elif kind == pygame.MOUSEBUTTONUP and event.button == 1:
            self._release()
        elif kind == pygame.MOUSEWHEEL:
            mods = pygame.key.get_mods()
            self._wheel(event.y or event.x, bool(mods & pygame.KMOD_CTRL), bool(mods & pygame.KMOD_SHIFT), when)
        elif kind == pygame.WINDOWLEAVE:
            self._move_if_changed(with_pointer_aside(self.state, None), when)
        elif kind == pygame.WINDOWFOCUSLOST:
            self._focused = False
            self._rest(when)
        elif kind == pygame.WINDOWFOCUSGAINED:
            self._focused = True
        elif kind in (pygame.WINDOWEXPOSED, pygame.VIDEOEXPOSE):
            self.view.renew()
        elif kind == pygame.KEYDOWN:
            self._key_down(event)
        elif kind == pygame.KEYUP:
            self._key_up(event)
        elif kind in (pygame.FINGERDOWN, pygame.FINGERMOTION, pygame.FINGERUP):
            self._finger(event, when)
        else:
            action, text = self._hands.pad_event(event)
            self.say(text)
            self._pad(action)

    def perform(self, action: Action) -> None:
        """Do what an action asks for; those of the picture are done here."""
        seen = SEEN.get(action)
        if seen is None:
            super().perform(action)
            return
        seen(self)
        self._follow_scale(time.monotonic())

    def pan(self, columns: int) -> None:
        """Show what lies to the right by steps (to the left, if negative)."""
        away = 1 if self.state.mirrored else -1
        self.view.pan(away * columns * PAN_STEP)

    def resize(self, size: tuple[int, int]) -> None:
        """Lay out anew; the hand stays where it is."""
        self.view.resize(size, self.state.text_scale, self.state.mirrored)
        self._follow_scale(time.monotonic())

    def advance(self, now: float) -> None:
        """Let held keys, sticks and changed controls have their effect."""
        seconds, self._advanced = now - self._advanced, now
        self._follow_scale(now)
        if self.state.fine != self._hands.fine:
            self.state = changed(self.state, fine=self._hands.fine)
        scale, layout = self.view.scale, self.view.layout
        if self.state.held and (layout is None or self.state.covered or layout.drawer_over_stage):
            self._move(let_go(self.state), now)
        if scale is not None and self.state.fading and not self._hands.sounding:
            self._move(faded(self.state, seconds, scale), now)
        squeeze = self._hands.squeeze if self.session.tuned.hand.heeds_opening else 0.0
        if (fingers := fingered(self.state, seconds, squeeze)) is not self.state:
            self._move(fingers, now)
        if self.state.volume > 0.0 and not self.state.silenced:
            self.unsaved_seconds += seconds
        for move in (self._hands.moved_by_keys, self._hands.moved_by_sticks):
            scale = self.view.scale
            state = None if scale is None else move(self.state, scale, seconds)
            if state is not None:
                self._move(state, now)
        self.advance_practice(now, seconds)
        self.end_notice()
        if now - self._stepped > STEP_TIME and not self.state.dragging:
            self._stepped = now
            self.session.settle()
        if self.frames == PREPARED:
            self.session.prepare()
        if now - self._changed >= CHANGE_TIME:
            self.update()
            done = time.monotonic()
            self._changed = done + (done - now) - CHANGE_TIME if done - now > CHANGE_TIME / 2 else now
        if self._stale and (not self.state.dragging or self._field_pace.due(now)):
            self._show_field()

    def draw(self, surface: pygame.Surface) -> list[pygame.Rect]:
        """Draw the next picture; return the rectangles that may have changed."""
        state, anew = self.state, self.frames % WAVE_FRAMES == 0
        if anew or state.replaying or self._midi is not None:
            self._meters = self.speaker.meters()
        meters = self._meters
        if anew:
            self._follow(meters)
            state = self.state
        if state.replaying and meters.replaying:
            played = float(self.session.tuned.instrument.clip_to_curve(meters.distance))
            state = changed(state, distance=played, volume=meters.volume, height=None, present=True, row=None)
            state = changed(state, opening=resting_opening(self.session))
        asked = (state.notice, state.selected, state.level, state.muted, state.recording, state.replaying, state.fine)
        seen, now = (*asked, id(self.session.settings)), time.monotonic()
        other = seen != self._seen and (not state.dragging or self._number_pace.due(now))
        if self.shown is None or other or self.frames % READOUT_FRAMES == 0:
            self._seen = seen
            layout = self.view.layout
            spectral = layout is not None and layout.spectrum is not None
            kept = None if self.shown is None or other or self.frames % ROW_FRAMES == 0 else self.shown.rows
            self.shown = picture_now(
                self.session, state, self.heard(state)[0], self.speaker, meters, self._remarks, spectral, kept
            )
            self._number_pace.took(now, time.monotonic())
        if self._wave is None or anew:
            span = oscillogram_span(meters.frequency)
            sound = self.speaker.recent(round(2.0 * max(span, 0.05 * LONGEST) * meters.sample_rate))
            values = synchronised(sound, meters.sample_rate, span, OSCILLOGRAM_POINTS)
            self._wave = Wave(values, span, meters.peak, meters.rms)
        wave = self._wave
        now = time.monotonic()
        trail = self._trail_now(state, now)
        shown = changed(
            self.shown,
            heard=self.heard(state)[0],
            peak=wave.peak,
            rms=wave.rms,
            oscillogram=wave.values,
            oscillogram_span=wave.span,
            trail=trail,
            practice=self.practice.shown() or self.own_hand.shown(now, self.practice.notes),
            scatter=0.0 if self.own_hand.hand is None else self.own_hand.hand.scatter,
        )
        page = state.practice_page
        if page in ("", BEFORE):
            self.view.practice_page = self._before() if page else None
        else:
            self.view.practice_page = self.practice.result if page == AFTER else FoundPage(self.found)
        if self._midi is not None:
            self._midi.play(time.monotonic(), meters.frequency, 0.0 if state.silenced else meters.volume)
        self.frames += 1
        begun, fresh = time.monotonic(), self._fresh
        places = self.view.draw(surface, state, shown)
        if fresh:
            self._fresh = False
            self._field_pace.took(begun, time.monotonic())
        return places

    def _before(self) -> PracticePage:
        """The page before practice as it stands."""
        practice, score = self.practice, self.practice.score
        advice = practice.fault if score is None else score.advice
        return PracticePage(
            practice.rows(self.session.settings.text("drone")),
            practice.selected,
            advice,
            practice.runs,
            score,
            (0, 0) if score is None else practice.terms.part(score),
        )

    def _trail_now(self, state: WindowState, now: float) -> list[tuple[float, float]]:
        """What was heard in the last seconds, as distances, while it sounds and the player wants to see movement."""
        trail = self._trail
        if state.volume > 0.0 and not state.silenced:
            trail.append((now, self.heard(state)[0]))
        while trail and now - trail[0][0] > TRAIL_TIME:
            trail.popleft()
        return [] if state.still else [(now - when, distance) for when, distance in list(trail)[::-TRAIL_STEP]]

    def _follow(self, meters: Meters) -> None:
        """Take note of what the speaker did of itself."""
        if (notice := self.speaker.notice) != self._told:
            self._told = notice
            self.say(notice or "")
        replaying = self.state.replaying
        if replaying and not meters.replaying and time.monotonic() - self._replay_began > REPLAY_GRACE:
            replaying = False
        recording = self.speaker.recording_to is not None
        if (recording, replaying) != (self.state.recording, self.state.replaying):
            self.state = changed(self.state, recording=recording, replaying=replaying)

    def lay_out(self) -> None:
        """Show the field that plays, as large and as it stands now; keep the hand within it.

        While a control is dragged the field is drawn as often as leaves time for the sound to follow.
        """
        session, state = self.session, self.state
        curve = session.tuned.instrument.curve
        self._stale = True
        if not state.dragging:
            self._show_field()
        if (self.view.text_scale, self.view.mirrored) != (state.text_scale, state.mirrored):
            self.view.resize(self.view.size, state.text_scale, state.mirrored)
        if not session.tuned.hand.heeds_opening:
            resting = resting_opening(session)
            state = self.state = changed(state, opening=resting, wanted_opening=resting)
        inside = min(max(state.distance, curve.nearest), curve.farthest)
        if inside != state.distance:
            self._move(changed(state, distance=inside), time.monotonic())
        elif not state.replaying and (session.tuned.both is not None or state.opening != session.tuned.hand.opening):
            self.speaker.move(
                *session.tuned.heard(state.distance, state.volume, state.height, state.opening), time.monotonic()
            )
        if not state.dragging:
            self.shown = None

    def _show_field(self) -> None:
        """Draw the field that plays at the next picture."""
        shown = field_picture(self.session)
        self.view.show(shown)
        self.practice.follow(shown.notes, self.session.settings.number("reference_a"))
        self._stale, self._fresh = False, True

    def _key_down(self, event: pygame.event.Event) -> None:
        import pygame

        ctrl, shift = bool(event.mod & pygame.KMOD_CTRL), bool(event.mod & pygame.KMOD_SHIFT)
        name = pygame.key.name(event.key)
        if not (self.state.caution_open or self.state.leaving or ctrl) and self.practice_key(name):
            return
        row = row_of(name, ctrl, shift)
        if row is not None and row.held and not (self.state.caution_open or self.state.leaving):
            if row.action == "sound hand":
                self._sound_at_pointer()
            if row.action == "fingers":
                self.open_fingers(self.state.wanted_opening)  # says so where they cannot move
            self._hands.hold(row.action)
            return
        self._act(*on_key(self.state, name, ctrl, shift))

    def _sound_at_pointer(self) -> None:
        """Sound is asked for by a key: the resting hand goes to the pointer, unless keys have moved it since."""
        place = self.state.pointer
        if place is not None and self._on_stage(place) and not (self.state.held or self.state.keyed):
            self._ask_for_sound(place, time.monotonic())

    def _key_up(self, event: pygame.event.Event) -> None:
        import pygame

        row = row_of(pygame.key.name(event.key))
        if row is not None:
            self._hands.release(row.action)

    def _pad(self, action: str | None) -> None:
        if self.state.practice_page and not self.state.caution_open and self.practice_pad(action):
            return
        if action == "answer":
            self._act(*on_click(self.state))
        elif action is not None and not self.state.caution_open:
            self._act(*after_action(self.state, action))


def toggle_fullscreen(window: PlayWindow) -> None:
    """Fill the screen, or go back to a window of the size it had."""
    window.windowed = fill_screen(window.windowed)
    window.view.renew()


SEEN: dict[Action, Callable[[PlayWindow], None]] = {
    "zoom in": lambda window: window.zoom(-1),
    "zoom out": lambda window: window.zoom(1),
    "pan left": lambda window: window.pan(-1),
    "pan right": lambda window: window.pan(1),
    "usual range": lambda window: window.view.usual_range(),
    "fullscreen": toggle_fullscreen,
}


def resting_opening(session: Session) -> float:
    """Of the fingers as the design has them: 0 closed to 1 stretched."""
    return 0.0 if session.side.offer.posture == "fist" else session.tuned.hand.opening


def field_picture(session: Session) -> FieldPicture:
    """The drawn part of the field that plays, to the design's own sizes."""
    tuned, scene, posture = session.tuned, session.tuned.scene, session.side.offer.posture
    volume: VolumeAxis = PLAIN
    if tuned.volume is not None:
        volume = ring_volume(tuned.volume, *volume_form(scene.ring))
    curve = tuned.instrument.curve
    return FieldPicture(
        tuned.field.notes(),
        tuned.field.zero_beat_distance,
        tuned.field.locked_span,
        (curve.nearest, curve.farthest),
        sight=Sight(scene, posture),
        way=way_of(scene, posture, curve.nearest, curve.farthest),
        volume=volume,
        title=session.side.name,
        light=field_light(curve),
    )


def volume_form(antenna: AnyVolumeAntenna | None) -> tuple[float, str]:
    """Thickness, m, and name of a volume antenna; of a usual ring where the scene has none."""
    if isinstance(antenna, VolumePlate):
        return antenna.thickness, "plate"
    if isinstance(antenna, VolumeRod):
        return antenna.diameter, "rod"
    return (antenna or LoopAntenna()).tube_diameter, "ring"


LIGHT_DECADES = 3.0  # of the capacitance's slope, from full light to none


def field_light(curve: CapacitanceCurve) -> tuple[float, ...]:
    """How much the antenna's capacitance changes with the hand, at 0, 1, 2 ... cm: 1 at most, 0 three decades below."""
    places = np.linspace(0.0, 1.0, 101)
    slope = np.abs(curve.slope(np.clip(places, curve.nearest, curve.farthest)))
    share = 1.0 + np.log10(np.maximum(slope / slope.max(), 1e-9)) / LIGHT_DECADES
    return tuple(np.clip(share, 0.0, 1.0).round(4).tolist())


@dataclass(frozen=True, slots=True)
class WindowRun:
    """What `run` returns: pictures drawn and time open, s."""

    frames: int
    seconds: float


@dataclass(frozen=True, slots=True)
class Look:
    """How the window opens: left-handed or not, text size (1 is usual), seed of the tremor."""

    mirrored: bool = False
    text_scale: float = 1.0
    seed: int = 1


def run_session(
    session: Session,
    speaker: InstrumentSound,
    title: str,
    *,
    record_folder: Path | str = ".",
    remarks: tuple[str, ...] = (),
    size: tuple[int, int] = FIRST_SIZE,
    caution: bool | None = None,
    each_frame: Callable[[PlayWindow], None] = lambda window: None,
    look: Look | None = None,
    midi: HandListener | None = None,
    practice: Practice | None = None,
    practise_now: bool = False,
    own_hand: OwnHandPage | None = None,
    once_open: Callable[[], None] = lambda: None,
) -> WindowRun:
    """Open the window on a started speaker, play, and return when the player closes it.

    `title` names the window; recordings go to `record_folder`. `remarks` appear under the keys in the help. `caution`:
    show the hearing caution first, silent until it is answered; None shows it until it was answered once on this
    account. `each_frame` is called after each picture. `practice`: what may be practised; `practise_now` opens its
    page; `own_hand`: the player's. `once_open` is called when the window is open and empty: there a speaker may be
    waited for that was started without waiting. Raises DeviceError where no window can be opened.
    """
    first = look or Look()
    opening = resting_opening(session)
    with closing(session), opened_screen(f"Beatfield: {title}", size, lambda: speaker.stop()) as opened:
        import pygame

        once_open()
        state = WindowState(
            distance=session.tuned.instrument.curve.farthest,
            opening=opening,
            wanted_opening=opening,
            level=speaker.level,
            caution_open=caution_wanted(speaker.device_error) if caution is None else caution,
            mirrored=first.mirrored,
            text_scale=first.text_scale,
        )
        window = PlayWindow(session, speaker, state, Path(record_folder), remarks, midi, first.seed, practice, own_hand)
        window.open(opened.get_size())
        if practise_now:
            window.open_practice()
        begun = time.monotonic()

        def show(surface: pygame.Surface, now: float) -> None:
            window.advance(now)
            if surface.get_size() != window.view.size:
                window.resize(surface.get_size())
            pygame.display.update(window.draw(surface))
            each_frame(window)

        run_events(opened, window.handle, show, lambda: window.closing, FRAME_TIME)
        return WindowRun(window.frames, time.monotonic() - begun)
