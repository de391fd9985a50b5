"""Hand events become the next block of sound, for the sound device's callback or the silent clock."""

from __future__ import annotations

import math
import time
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from synth.hands.hand_path import HandBlock
from synth.live.drone import Drone
from synth.live.hand_timing import GestureLatency, HandClock
from synth.live.link import SPARE_SECONDS, TAKE_SECONDS, LiveLink, RowRing, row_step
from synth.live.live_hand import LiveHand
from synth.live.meters import SoundMeters, as_record
from synth.sound.fades import Gate, Slew, guard
from synth.sound.filters import triangular_solver
from synth.sound.voice import CrossfadingVoice

if TYPE_CHECKING:
    from synth.live.recorder import Recorder
    from synth.sound.source import Source

FADE_TIME = 0.008  # s, start and stop of the sound
LEVEL_SLEW = 10.0  # gain per second: a full-scale change of the listening level takes 0.1 s
PEAK_FALL = 20.0  # dB per second
RMS_TIME = 0.1  # s
SHARES_KEPT = 1024  # blocks whose render time is remembered


def prepare_sound() -> None:
    """Load what most sounds need when they are made, while there is nothing to play yet: a third of a second."""
    import scipy.special  # noqa: F401

    from synth.sound import strand  # noqa: F401

    triangular_solver()


class Renderer:
    """Renders blocks of any size from the hand events in the link, and publishes meters, samples and the hand there.

    The hand moves linearly from event to event on the hand clock, or along a replayed path; the voice adds its 5 ms
    pole and keeps it within what the sound knows. The drone is mixed in after the voice. Recordings and the take hold
    the sound before the listening level. `gate` opens and closes the whole; `hand` is what moves the voice (it may be
    told to tremble or to replay a path from any thread), `drone` the tone below, `target` the note that is to be met,
    `memory` the sound of the take, `shares` render times over block periods, `latency` that of gestures.
    """

    def __init__(self, source: Source, sample_rate: float, link: LiveLink) -> None:
        self._rate = sample_rate
        self._link = link
        self._voice = CrossfadingVoice(source.start(sample_rate), sample_rate)
        self._clock = HandClock(sample_rate)
        self._muted = False
        self._row_step = row_step(sample_rate)
        self._level = Slew(LEVEL_SLEW, sample_rate)
        self._peak = 0.0
        self._power = 0.0
        self._blocks = 0
        self._frames = 0
        self._underruns = 0
        self._late = 0
        self._recorder: Recorder | None = None
        self.hand = LiveHand(link.hand, source.resting, sample_rate)
        self.drone, self.target = Drone(sample_rate), Drone(sample_rate)
        self.gate = Gate(FADE_TIME, sample_rate)
        self.shares = np.zeros(SHARES_KEPT)
        self.latency = GestureLatency()
        self.memory = RowRing.of_own(round((TAKE_SECONDS + SPARE_SECONDS) * sample_rate))
        self.memory.prepare()
        link.played.prepare()

    @property
    def blocks(self) -> int:
        """Blocks rendered so far."""
        return self._blocks

    @property
    def recorder(self) -> Recorder | None:
        """What takes the sound down at present."""
        return self._recorder

    def record_with(self, recorder: Recorder | None) -> None:
        """Hand every block to this recorder from the next on, or to none (any thread)."""
        self._recorder = recorder

    def warm_up(self) -> None:
        """Render a little into nothing, so that the stream's first block finds imports and caches ready."""
        for frames in (64, 256, 1024):
            away = np.full(frames, self.hand.distance)
            self._voice.render_known(HandBlock(distance=away, volume=np.zeros(frames)))
        self._voice.reset()

    def change(self, source: Source) -> None:
        """Change to another source without a click (any thread, in which its sound is made ready)."""
        self._voice.change(source.start(self._rate))

    def mute(self, muted: bool) -> None:
        """Fade voice and steady tones out or in (any thread)."""
        self._muted = muted
        self._voice.mute(muted)
        self.drone.mute(muted)
        self.target.mute(muted)

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
        hand = self.hand.block(start, frames)
        self.latency.follow(None if output_delay is None else now + output_delay - start, self.hand.reached, now)
        self._remember_hand(hand)
        samples = self._voice.render_known(hand)
        added = [tone.add(samples) for tone in (self.drone, self.target)]
        if any(added):
            guard(samples)
        self.gate.apply(samples)
        self.memory.write(samples)
        recorder = self._recorder
        if recorder is not None:
            recorder.put(samples.copy())
        listening = self._link.listening.read()
        level = self._level.towards(0.0 if listening is None else listening[0], frames)
        block = np.multiply(samples, level, out=np.empty(frames, np.float32), casting="same_kind")
        self._link.samples.write(block)
        self._follow_level(block)
        self._blocks += 1
        self._frames += frames
        share = (time.perf_counter() - started) / self._period(frames)
        self.shares[(self._blocks - 1) % SHARES_KEPT] = share
        if self.gate.is_open:  # what happens before the sound begins is nobody's loss
            self._late += share > 1.0
            self._underruns += underrun
        self._publish()
        return block

    def _period(self, frames: int) -> float:
        """Time a block of `frames` may take, s: its own length, or that of the average block if it is shorter.

        Some hosts ask for a single frame now and then; what it takes is no danger to the sound.
        """
        return max(frames, self._frames / self._blocks) / self._rate

    def _remember_hand(self, hand: HandBlock) -> None:
        """Every `row_step`-th sample of the hand; a muted hand is silent, so that the path sounds like the take."""
        rows = slice(-self._frames % self._row_step, None, self._row_step)
        volumes = hand.volume[rows]
        self._link.played.write(hand.distance[rows], 0.0 * volumes if self._muted else volumes)

    def _follow_level(self, block: NDArray[np.float32]) -> None:
        duration = block.size / self._rate
        fall = 10.0 ** (-PEAK_FALL * duration / 20.0)
        highest, lowest = np.maximum.reduce(block, initial=0.0), np.minimum.reduce(block, initial=0.0)
        self._peak = max(float(highest), -float(lowest), self._peak * fall)
        keep = math.exp(-duration / RMS_TIME)
        self._power = keep * self._power + (1.0 - keep) * float(np.dot(block, block)) / block.size

    def _publish(self) -> None:
        meters = SoundMeters(
            frequency=float(self._voice.frequency),
            distance=self.hand.distance,
            volume=self.hand.volume,
            peak=self._peak,
            rms=math.sqrt(self._power),
            blocks=self._blocks,
            frames=self._frames,
            underruns=self._underruns,
            late_blocks=self._late,
            replaying=self.hand.replaying,
            time=time.monotonic(),
        )
        self._link.sound.write(as_record(meters))
