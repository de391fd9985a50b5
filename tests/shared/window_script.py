"""A script for the playing window: steps that take place after its pictures, and a listener in the speaker's place."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from models.instrument import Instrument
from models.pitch_field import pitch_field
from models.volume.volume_antenna import VolumeAntenna
from synth.designs.template import template_design
from synth.hands.hand_path import HandPath
from synth.live.meters import Meters, no_meters
from synth.live.speaker import safe_level
from synth.window.play_window import PlayWindow, WindowRun, run_session
from synth.window.session import Session, opened_side
from synth.window.tunable import Tunable

Step = Callable[[PlayWindow], Any]


class Listener:
    """Stands in for the speaker: keeps what it is told and plays nothing."""

    def __init__(self, instrument: Instrument) -> None:
        self.instrument = instrument
        self.level = safe_level(instrument)
        self.hand = (instrument.curve.farthest, 0.0)
        self.muted = False
        self.moves: list[tuple[float, float, float]] = []
        self.told: list[tuple[str, Any]] = []
        self.instruments = 0
        self.recording_to: Path | None = None
        self.notice: str | None = None
        self.device_error: str | None = None
        self.kept_seconds = 12.0
        self.take: HandPath | None = None
        self.replaying = False

    def move(self, distance: float, volume: float, time: float | None = None) -> None:
        self.hand = (distance, volume)
        self.moves.append((time or 0.0, distance, volume))

    def set_level(self, level: float) -> None:
        self.level = level

    def mute(self, muted: bool) -> None:
        self.muted = muted
        self.told.append(("mute", muted))

    def set_instrument(self, instrument: Instrument) -> None:
        self.instrument = instrument
        self.instruments += 1

    def set_jitter(self, tremor_mm: float, seed: int) -> None:
        self.told.append(("jitter", (tremor_mm, seed)))

    def set_drone(self, frequency: float | None) -> None:
        self.told.append(("drone", frequency))

    def record(self, path: Path | None) -> None:
        if path is None:
            self.notice = f"Recorded {self.recording_to}"
        self.recording_to = path

    def keep(self, folder: Path, stem: str) -> Path:
        self.told.append(("keep", stem))
        return folder / f"{stem}.wav"

    def last_take(self) -> HandPath | None:
        return self.take

    def replay(self, path: HandPath | None) -> None:
        self.replaying = path is not None
        self.told.append(("replay", path))

    def restart(self, wait: bool = True) -> None:
        self.told.append(("restart", wait))
        self.device_error = None

    def meters(self) -> Meters:
        frequency = float(self.instrument.beat_frequency(self.hand[0]))
        live = replace(no_meters(48000), alive=True, blocks=1, frequency=frequency, peak=0.09, rms=0.06)
        return replace(live, replaying=self.replaying, distance=0.22, volume=0.6)

    def recent(self, frames: int) -> np.ndarray:
        return 0.1 * np.sin(0.05 * np.arange(frames, dtype=np.float32))


def session_on(instrument: Instrument, volume: VolumeAntenna | None = None) -> Session:
    """The template's design with this instrument in place of its own, so that no field has to be solved."""
    field = pitch_field(instrument)
    faults = dict.fromkeys(("sensitivity", "pot", "temperature", "posture"), "not with this instrument")
    curves, zero_beat = {"open": instrument.curve}, field.zero_beat_distance
    offer = Tunable(template_design(), instrument, 440.0, "open", curves, zero_beat, volume, faults=faults)
    return Session([opened_side("Trial design", offer)])


def play(session: Session, steps: Sequence[Step], speaker: Any, **options: Any) -> WindowRun:
    """Run the window: each step takes place after a picture, and the window is closed after the last."""
    script = iter(steps)

    def each_frame(window: PlayWindow) -> None:
        step = next(script, None)
        if step is None:
            post("QUIT")
        else:
            step(window)

    return run_session(session, speaker, "Trial", **{"caution": False, "each_frame": each_frame, **options})


def post(kind: str, **values: Any) -> None:
    import pygame

    pygame.event.post(pygame.event.Event(getattr(pygame, kind), values))


def key(name: str, mod: int = 0, kind: str = "KEYDOWN") -> Step:
    import pygame

    return lambda window: post(kind, key=pygame.key.key_code(name), mod=mod, unicode="")


def point(place: tuple[int, int]) -> None:
    post("MOUSEMOTION", pos=place, rel=(0, 0), buttons=(0, 0, 0), touch=False)


def check(test: Step) -> Step:
    def step(window: PlayWindow) -> None:
        assert test(window)

    return step


def shows(window: PlayWindow, words: str) -> bool:
    return any(words in text.wanted for text in window.view.texts)


def idle(window: PlayWindow) -> None:
    """Let one more picture pass."""
