"""Stands in for the speaker in the tests of the window: keeps what it is told and plays nothing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from models.instrument import Instrument
from synth.hands.hand_path import HandPath
from synth.live.live_sound import safe_level
from synth.live.meters import Meters, no_meters


class Listener:
    """`synth.live.contract.InstrumentSound` without sound; `told` holds (what, value) of what it has nothing else for.

    A tone of 0.1 is what it "played" last. While a path is "replayed" the meters show a hand at 22 cm, volume 0.6.
    """

    def __init__(self, instrument: Instrument) -> None:
        self.instrument = instrument
        self.level = safe_level(instrument)
        self.hand = (float(instrument.curve.farthest), 0.0)
        self.moves: list[tuple[float, float, float]] = []
        self.told: list[tuple[str, Any]] = []
        self.instruments = 0
        self.muted = False
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

    def set_instrument(self, instrument: Instrument) -> None:
        self.instrument = instrument
        self.instruments += 1

    def set_jitter(self, tremor_mm: float, seed: int) -> None:
        self.told.append(("jitter", (tremor_mm, seed)))

    def set_drone(self, frequency: float | None, gain: float = 0.1) -> None:
        self.told.append(("drone", frequency))

    def set_target(self, frequency: float | None, gain: float = 0.04) -> None:
        self.told.append(("target", frequency))

    def record(self, path: Path | str | None) -> None:
        if path is None:
            self.notice = f"Recorded {self.recording_to}"
        self.recording_to = None if path is None else Path(path)

    def keep(self, folder: Path | str, stem: str) -> Path:
        self.told.append(("keep", stem))
        return Path(folder) / f"{stem}.wav"

    def last_take(self) -> HandPath | None:
        return self.take

    def replay(self, path: HandPath | None) -> None:
        self.replaying = path is not None
        self.told.append(("replay", path))

    def restart(self, wait: bool = True) -> None:
        self.told.append(("restart", wait))
        self.device_error = None

    def stop(self) -> None:
        self.told.append(("stop", None))

    def meters(self) -> Meters:
        frequency = float(self.instrument.beat_frequency(self.hand[0]))
        shown = replace(no_meters(48000), alive=True, blocks=1, frequency=frequency, peak=0.09, rms=0.06)
        return replace(shown, replaying=self.replaying, distance=0.22, volume=0.6)

    def recent(self, frames: int) -> np.ndarray:
        return 0.1 * np.sin(0.05 * np.arange(frames, dtype=np.float32))
