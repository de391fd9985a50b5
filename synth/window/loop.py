"""The window's loop: events as they arrive move the hand, and 60 times a second the picture is drawn."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from synth.window import first_start
from synth.window.draw_field import FieldPicture
from synth.window.readings import full_scale_text, readings, status_text
from synth.window.screen import FIRST_SIZE, close_screen, open_screen
from synth.window.state import (
    Action,
    WindowState,
    on_click,
    on_key,
    with_notice,
    with_pointer,
    without_pointer,
)
from synth.window.trace import LONGEST, synchronised, trace_span
from synth.window.view import TRACE_POINTS, Shown, View
from synth.window.volume_axis import PLAIN, ring_volume

if TYPE_CHECKING:
    import pygame

    from models.instrument import Instrument
    from models.pitch_field import PitchField
    from models.volume_antenna import VolumeAntenna
    from synth.speaker import Meters, Speaker

FRAME_TIME = 1.0 / 60.0  # s
READING_FRAMES = 2  # the numbers change every second picture


@dataclass(frozen=True, slots=True)
class Played:
    """What `run` returns: pictures drawn and time open, s."""

    frames: int
    seconds: float


class Player:
    """Joins events, state, speaker and view. One per window."""

    def __init__(
        self,
        instrument: Instrument,
        view: View,
        speaker: Speaker,
        state: WindowState,
        record_folder: Path,
        name: str,
        reference_a: float,
        remarks: tuple[str, ...],
    ) -> None:
        self._instrument = instrument
        self._speaker = speaker
        self._record_folder = record_folder
        self._name = name
        self._reference_a = reference_a
        self._remarks = remarks
        self._told = speaker.notice
        self._shown: Shown | None = None
        self.view = view
        self.state = state
        self.closing = False
        self.frames = 0
        speaker.mute(state.silenced)

    def handle(self, event: pygame.event.Event) -> None:
        """Act on one event."""
        import pygame

        if event.type == pygame.QUIT:
            self.closing = True
        elif event.type == pygame.MOUSEMOTION and self.view.scale is not None:
            self._move(with_pointer(self.state, event.pos, self.view.scale))
        elif event.type in (pygame.WINDOWEXPOSED, pygame.VIDEOEXPOSE):
            self.view.renew()
        elif event.type == pygame.WINDOWLEAVE:
            self._move(without_pointer(self.state))
        elif event.type == pygame.MOUSEBUTTONDOWN and event.button == 1:
            self._act(*on_click(self.state))
        elif event.type == pygame.KEYDOWN:
            self._act(*on_key(self.state, pygame.key.name(event.key)))

    def resize(self, size: tuple[int, int]) -> None:
        """Lay out anew; the hand goes with the pointer."""
        self.view.resize(size)
        if self.view.scale is not None and self.state.pointer is not None:
            self._move(with_pointer(self.state, self.state.pointer, self.view.scale))

    def draw(self, surface: pygame.Surface) -> list[pygame.Rect]:
        """Draw the next picture; return the rectangles that may have changed."""
        meters = self._speaker.meters()
        if self._shown is None or self.frames % READING_FRAMES == 0:
            self._shown = self._read(meters)
        span = trace_span(meters.frequency)
        sound = self._speaker.recent(round(2.0 * max(span, 0.05 * LONGEST) * meters.sample_rate))
        trace = synchronised(sound, meters.sample_rate, span, TRACE_POINTS)
        shown = replace(self._shown, peak=meters.peak, rms=meters.rms, trace=trace, trace_span=span)
        self.frames += 1
        return self.view.draw(surface, self.state, shown)

    def _move(self, state: WindowState) -> None:
        self.state = state
        self._speaker.move(state.distance, state.volume)

    def _act(self, state: WindowState, action: Action | None) -> None:
        answered = self.state.caution_open and not state.caution_open
        self.state = state
        if action == "quit":
            self.closing = True
        elif action == "mute":
            self._speaker.mute(state.silenced)
        elif action == "level":
            self._speaker.set_level(state.level)
        elif action == "record":
            self._toggle_recording()
        if answered:
            first_start.remember_caution()

    def _toggle_recording(self) -> None:
        if self._speaker.recording_to is not None:
            self._speaker.record(None)
            return
        path = recording_path(self._record_folder, self._name, datetime.now())
        self._speaker.record(path)
        self._say(f"Recording to {path}")

    def _say(self, text: str) -> None:
        self.state = with_notice(self.state, text, time.monotonic())

    def _read(self, meters: Meters) -> Shown:
        """The texts of the next pictures."""
        if (notice := self._speaker.notice) != self._told:
            self._told = notice
            self._say(notice or "")
        self.state = replace(self.state, recording=self._speaker.recording_to is not None)
        state, fault = self.state, self._speaker.device_error
        live = meters.alive and meters.blocks > 0
        beat = meters.frequency if live else float(self._instrument.beat_frequency(state.distance))
        return Shown(
            readings=readings(self._instrument, state.distance, beat, self._reference_a),
            flags=flags_text(state, meters),
            status=status_text(meters),
            notice=state.notice if time.monotonic() < state.notice_until else (f"▲ {fault}" if fault else ""),
            listening=f"full volume peaks at {full_scale_text(state.level * self._instrument.level)}",
            remarks=self._remarks + ((fault,) if fault else ()),
        )


def flags_text(state: WindowState, meters: Meters) -> str:
    """Muted and recording, in words."""
    seconds = meters.recorded_frames // max(1, meters.sample_rate)
    parts = []
    if state.recording:
        parts.append(f"● REC {seconds // 60}:{seconds % 60:02d}")
    if state.muted:
        parts.append("MUTED")
    return "  ".join(parts)


def recording_path(folder: Path, name: str, now: datetime) -> Path:
    """A name that does not exist yet: design name and time, with a number if need be."""
    stem = f"{re.sub(r'[^A-Za-z0-9]+', '-', name).strip('-').lower() or 'beatfield'}-{now:%Y%m%d-%H%M%S}"
    path, number = folder / f"{stem}.wav", 2
    while path.exists():
        path, number = folder / f"{stem}-{number}.wav", number + 1
    return path


def run(
    instrument: Instrument,
    field: PitchField,
    speaker: Speaker,
    title: str,
    *,
    record_folder: Path | str = ".",
    reference_a: float = 440.0,
    antenna_diameter: float = 0.010,
    volume: VolumeAntenna | None = None,
    tube_diameter: float = 0.008,
    remarks: tuple[str, ...] = (),
    size: tuple[int, int] = FIRST_SIZE,
    caution: bool | None = None,
    each_frame: Callable[[Player], None] | None = None,
) -> Played:
    """Open the window on a started speaker, play, and return when the player closes it.

    `title` names the design in the window and in recordings, which go to `record_folder`. `antenna_diameter`, m, is the
    drawn rod's. With a `volume` antenna (its ring drawn with `tube_diameter`, m) the pointer's height is the other
    hand's above the ring, to scale; without, a plain gain. `remarks` appear under the keys in the help. `caution`: show
    the hearing caution first, silent until it is answered; None shows it until it was answered once on this account.
    `each_frame` is called after each picture. Raises DeviceError where no window can be opened.
    """
    surface = open_screen(f"Beatfield: {title}", size)
    import pygame

    picture = FieldPicture(field.notes(), field.zero_beat_distance, field.locked_span, antenna_diameter)
    axis = PLAIN if volume is None else ring_volume(volume, tube_diameter)
    view = View(title, picture, instrument.curve.nearest, instrument.curve.farthest, axis)
    if caution is None:
        caution = speaker.device_error is None and not first_start.caution_was_read()
    state = WindowState(distance=instrument.curve.farthest, level=speaker.level, caution_open=caution)
    player = Player(instrument, view, speaker, state, Path(record_folder), title, reference_a, remarks)
    player.resize(surface.get_size())
    opened = due = time.monotonic()
    try:
        while not player.closing:
            remaining = round(1000.0 * (due - time.monotonic()))
            event = pygame.event.wait(remaining) if remaining > 0 else pygame.event.poll()
            while event.type != pygame.NOEVENT:
                player.handle(event)
                event = pygame.event.poll()
            now = time.monotonic()
            if now < due:
                continue
            surface = pygame.display.get_surface() or surface
            if surface.get_size() != view.size:
                player.resize(surface.get_size())
            pygame.display.update(player.draw(surface))
            due = max(due + FRAME_TIME, now)
            if each_frame is not None:
                each_frame(player)
        return Played(player.frames, time.monotonic() - opened)
    finally:
        close_screen()
