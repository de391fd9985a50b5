"""The newest hand becomes the next block of sound, for the sound device's callback or the silent clock."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from synth.hand_path import HandBlock
from synth.live.link import Hand, LiveLink, SoundMeters
from synth.sound.fades import Fade

if TYPE_CHECKING:
    from models.instrument import Instrument
    from synth.live.recorder import Recorder
    from synth.voice import Voice

FADE_TIME = 0.008  # s, start and stop of the sound
LEVEL_SLEW = 10.0  # gain per second: a full-scale change of the listening level takes 0.1 s
PEAK_FALL = 20.0  # dB per second
RMS_TIME = 0.1  # s
SHARES_KEPT = 1024  # blocks whose render time is remembered


class Gate:
    """Opens and closes the sound as a whole: the fade at the start and at the end of the stream."""

    def __init__(self, sample_rate: float) -> None:
        self._fade = Fade(FADE_TIME, sample_rate)
        self.open = False

    @property
    def closed(self) -> bool:
        """True once the fade-out has ended."""
        return not self.open and self._fade.rests_at(0.0)

    def apply(self, samples: NDArray[np.float64]) -> None:
        """Fade `samples` in place."""
        if self.closed:
            samples[:] = 0.0
        elif samples.size and not (self.open and self._fade.rests_at(1.0)):
            samples *= self._fade.gains(samples.size, up=self.open)


class Renderer:
    """Renders blocks of any size from the hand in the link, and publishes meters and samples there.

    Within a block the hand moves linearly from where it was to the newest one (the voice adds its 5 ms pole
    and keeps it within the computed field). Recording takes the voice's sound before the listening level.
    """

    def __init__(self, voice: Voice, instrument: Instrument, sample_rate: float, link: LiveLink) -> None:
        self._voice = voice
        self._rate = sample_rate
        self._link = link
        self._distance = float(instrument.curve.farthest)
        self._volume = 0.0
        self._level: float | None = None
        self._peak = 0.0
        self._power = 0.0
        self._ramp = np.zeros(0)
        self._blocks = 0
        self._frames = 0
        self._underruns = 0
        self._late = 0
        self.gate = Gate(sample_rate)
        self.recorder: Recorder | None = None
        self.shares = np.zeros(SHARES_KEPT)

    @property
    def blocks(self) -> int:
        """Blocks rendered so far."""
        return self._blocks

    def warm_up(self) -> None:
        """Render a little into nothing, so that the stream's first block finds imports and caches ready."""
        for frames in (64, 256, 1024):
            away = np.full(frames, self._distance)
            self._voice.render(HandBlock(distance=away, volume=np.zeros(frames)), frames)
        self._voice.reset()

    def set_instrument(self, instrument: Instrument) -> None:
        """Change to another instrument without a click (any thread)."""
        self._voice.set_instrument(instrument)

    def mute(self, muted: bool) -> None:
        """Fade the voice out or in (any thread)."""
        self._voice.mute(muted)

    def render(self, frames: int, underrun: bool = False) -> NDArray[np.float32]:
        """The next `frames` samples, float32 within -1..1. One thread at a time."""
        started = time.perf_counter()
        newest = self._link.hand.read()
        hand = Hand(*newest) if newest is not None else Hand(self._distance, 0.0, 0.0, 0.0)
        samples = self._voice.render(self._hand_block(hand, frames), frames)
        self.gate.apply(samples)
        recorder = self.recorder
        if recorder is not None:
            recorder.put(samples.copy())
        samples *= self._level_ramp(hand.level, frames)
        block = samples.astype(np.float32)
        self._link.samples.write(block)
        self._follow_level(block)
        self._blocks += 1
        self._frames += frames
        share = (time.perf_counter() - started) / self._period(frames)
        self.shares[(self._blocks - 1) % SHARES_KEPT] = share
        if self.gate.open:  # what happens before the sound begins is nobody's loss
            self._late += share > 1.0
            self._underruns += underrun
        self._publish()
        return block

    def _period(self, frames: int) -> float:
        """Time a block of `frames` may take, s: its own length, or that of the average block if it is shorter.

        Some hosts ask for a single frame now and then; what it takes is no danger to the sound.
        """
        return max(frames, self._frames / self._blocks) / self._rate

    def _steps(self, frames: int) -> NDArray[np.float64]:
        if self._ramp.size != frames:
            self._ramp = np.arange(1, frames + 1) / frames
        return self._ramp

    def _hand_block(self, hand: Hand, frames: int) -> HandBlock:
        ramp = self._steps(frames)
        block = HandBlock(
            distance=self._distance + (hand.distance - self._distance) * ramp,
            volume=np.minimum(self._volume + (hand.volume - self._volume) * ramp, 1.0),
        )
        self._distance, self._volume = hand.distance, hand.volume
        return block

    def _level_ramp(self, wanted: float, frames: int) -> NDArray[np.float64] | float:
        if self._level is None or self._level == wanted:
            self._level = wanted
            return wanted
        longest = LEVEL_SLEW * frames / self._rate
        change = min(max(wanted - self._level, -longest), longest)
        ramp = self._level + change * self._steps(frames)
        self._level = wanted if abs(wanted - self._level) <= longest else self._level + change
        return ramp

    def _follow_level(self, block: NDArray[np.float32]) -> None:
        duration = block.size / self._rate
        fall = 10.0 ** (-PEAK_FALL * duration / 20.0)
        self._peak = max(float(np.abs(block).max(initial=0.0)), self._peak * fall)
        keep = np.exp(-duration / RMS_TIME)
        self._power = keep * self._power + (1.0 - keep) * float(np.dot(block, block)) / block.size

    def _publish(self) -> None:
        self._link.sound.write(
            SoundMeters(
                frequency=float(self._voice.frequency),
                distance=self._distance,
                volume=self._volume,
                peak=self._peak,
                rms=float(np.sqrt(self._power)),
                blocks=self._blocks,
                frames=self._frames,
                underruns=self._underruns,
                late_blocks=self._late,
                time=time.monotonic(),
            )
        )
