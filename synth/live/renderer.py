"""Hand events become the next block of sound, for the sound device's callback or the silent clock."""

from __future__ import annotations

import math
import time
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from synth.hands.hand_path import HandBlock
from synth.live.drone import Drone
from synth.live.gesture_latency import GestureLatency
from synth.live.hand_clock import HandClock
from synth.live.hand_memory import row_step
from synth.live.hand_track import HandTrack
from synth.live.link import LiveLink, SoundMeters
from synth.live.live_tremor import LiveTremor
from synth.live.replay import Replay
from synth.live.take import SoundMemory
from synth.sound.fades import Fade, guard

if TYPE_CHECKING:
    from models.instrument import Instrument
    from synth.hands.hand_path import HandPath
    from synth.live.recorder import Recorder
    from synth.sound.voice import Voice

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
    """Renders blocks of any size from the hand events in the link, and publishes meters, samples and the hand there.

    The hand moves linearly from event to event on the hand clock, or along a replayed path; the voice adds its 5 ms
    pole and keeps it within the computed field. The drone is mixed in after the voice. Recordings and the take hold the
    sound before the listening level.
    """

    def __init__(self, voice: Voice, instrument: Instrument, sample_rate: float, link: LiveLink) -> None:
        self._voice = voice
        self._rate = sample_rate
        self._link = link
        link.hand.begin_at_newest()
        first = link.hand.take()
        self._distance = float(instrument.curve.farthest) if first is None else first.distance
        self._volume = 0.0 if first is None else first.volume
        self._track = HandTrack(self._distance, self._volume)
        self._clock = HandClock(sample_rate)
        self._tremor = LiveTremor(sample_rate)
        self._drone = Drone(sample_rate)
        self._replay: Replay | None = None
        self._muted = False
        self._row_step = row_step(sample_rate)
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
        self.latency = GestureLatency()
        self.memory = SoundMemory(int(sample_rate))
        link.played.prepare()

    @property
    def blocks(self) -> int:
        """Blocks rendered so far."""
        return self._blocks

    def warm_up(self) -> None:
        """Render a little into nothing, so that the stream's first block finds imports and caches ready."""
        for frames in (64, 256, 1024):
            away = np.full(frames, self._distance)
            self._voice.render_known(HandBlock(distance=away, volume=np.zeros(frames)))
        self._voice.reset()

    def set_instrument(self, instrument: Instrument) -> None:
        """Change to another instrument without a click (any thread)."""
        self._voice.set_instrument(instrument)

    def set_source(self, source: Any) -> None:
        """Tell a source that stands in for the voice to change to `source` (any thread)."""
        stand_in: Any = self._voice
        stand_in.set_source(source)

    def mute(self, muted: bool) -> None:
        """Fade voice and drone out or in (any thread)."""
        self._muted = muted
        self._voice.mute(muted)
        self._drone.mute(muted)

    def set_tremor(self, size: float, seed: int) -> None:
        """Let the hand tremble by `size`, m, root mean square (any thread)."""
        self._tremor.set(size, seed)

    def set_drone(self, frequency: float | None, gain: float) -> None:
        """Sound a steady tone, Hz, or end it with None (any thread)."""
        self._drone.set(frequency, gain)

    def replay(self, path: HandPath | None) -> None:
        """Play a hand path from its beginning in place of the hand events; None ends it (any thread)."""
        self._replay = None if path is None else Replay(path, self._rate)

    def render(
        self, frames: int, underrun: bool = False, output_delay: float | None = None, now: float | None = None
    ) -> NDArray[np.float32]:
        """The next `frames` samples, float32 within -1..1. One thread at a time.

        `output_delay`: time until the first of them leaves the device, s, where that is known; `now`: the moment they
        are asked for (time.monotonic, s), by default this one.
        """
        started = time.perf_counter()
        now = time.monotonic() if now is None else now
        start = self._clock.start_of(frames, now)
        hand = self._hand_block(start, frames)
        self.latency.follow(None if output_delay is None else now + output_delay - start, self._track.reached, now)
        self._remember_hand(hand)
        samples = self._voice.render_known(hand)
        if self._drone.add(samples):
            guard(samples)
        self.gate.apply(samples)
        self.memory.write(samples)
        recorder = self.recorder
        if recorder is not None:
            recorder.put(samples.copy())
        listening = self._link.listening.read()
        level = self._level_ramp(0.0 if listening is None else listening[0], frames)
        block = np.multiply(samples, level, out=np.empty(frames, np.float32), casting="same_kind")
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

    def _hand_block(self, start: float, frames: int) -> HandBlock:
        """The hands of the next block, from hand time `start` on."""
        while (event := self._link.hand.take()) is not None:
            self._track.add(event, start)
        distance, volume = self._track.block(start, frames, self._rate)
        replay = self._replay
        if replay is not None and not replay.done:
            block = replay.block(frames)
        else:
            shaken = self._tremor.displacement(self._frames, frames)
            if shaken is not None:
                distance = np.maximum(distance + shaken, 0.0)
            block = HandBlock(distance, volume)
        self._distance, self._volume = float(block.distance[-1]), float(block.volume[-1])
        return block

    def _remember_hand(self, hand: HandBlock) -> None:
        """Every `row_step`-th sample of the hand; a muted hand is silent, so that the path sounds like the take."""
        rows = slice(-self._frames % self._row_step, None, self._row_step)
        volumes = hand.volume[rows]
        self._link.played.write(hand.distance[rows], 0.0 * volumes if self._muted else volumes)

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
        highest, lowest = np.maximum.reduce(block, initial=0.0), np.minimum.reduce(block, initial=0.0)
        self._peak = max(float(highest), -float(lowest), self._peak * fall)
        keep = math.exp(-duration / RMS_TIME)
        self._power = keep * self._power + (1.0 - keep) * float(np.dot(block, block)) / block.size

    def _publish(self) -> None:
        self._link.sound.write(
            SoundMeters(
                frequency=float(self._voice.frequency),
                distance=self._distance,
                volume=self._volume,
                peak=self._peak,
                rms=math.sqrt(self._power),
                blocks=self._blocks,
                frames=self._frames,
                underruns=self._underruns,
                late_blocks=self._late,
                replaying=float(self._replay is not None and not self._replay.done),
                time=time.monotonic(),
            )
        )
