"""The hands of each block of sound: from event to event on the hand clock, trembling if asked to, or along a path."""

from __future__ import annotations

import math
from collections import deque
from typing import NamedTuple

import numpy as np

from models.arrays import Floats
from synth.hands.gestures import TREMOR_PARTIALS, tremor_partials
from synth.hands.hand_path import HandBlock, HandPath
from synth.live.link import HandEvent, HandEvents
from synth.sound.fades import Slew

REST = 0.05  # s between two events after which the hand counts as having rested
GLIDE = 0.008  # s that the first movement after a rest takes: a pointer read 125 times a second moved within it
SHORTEST = 0.001  # s in which an event that came too late for its time is reached
MOST_WAITING = 256  # events waiting for their time; more push out the oldest
STAMPS_A_SECOND = 500.0  # as the generated gestures have
TREMOR_SLEW = 0.005  # m/s by which its size changes


class _Goal(NamedTuple):
    """Where the hands will be at hand time `at`, for an event of time `stamp`; None for a rest put in between."""

    at: float
    distance: float
    volume: float
    stamp: float | None


class HandTrack:
    """Distance (m) and volume (0..1) at every sample. One thread.

    An event is reached at its time stamp on the hand clock; one that arrives after that is reached `SHORTEST` later.
    `reached` holds, for the events of the last block, how much later than its stamp each was reached, s.
    """

    def __init__(self, distance: float, volume: float) -> None:
        self.distance = distance
        self.volume = volume
        self.reached: list[float] = []
        self._waiting: deque[_Goal] = deque(maxlen=MOST_WAITING)
        self._last = _Goal(-np.inf, distance, volume, None)
        self._knots = np.empty((3, MOST_WAITING + 1))
        self._steps = np.empty(0)

    def add(self, event: HandEvent, clock: float) -> None:
        """Take an event in; `clock` is the hand time of the next sample."""
        at = max(event.time, clock + SHORTEST)
        while self._waiting and self._waiting[-1].at >= at:
            self._waiting.pop()
        if event.time - self._last.at > REST and at - GLIDE > clock:
            self._waiting.append(_Goal(at - GLIDE, self._last.distance, self._last.volume, None))
        goal = _Goal(at, event.distance, event.volume, event.time)
        self._waiting.append(goal)
        self._last = goal

    def block(self, start: float, frames: int, rate: float) -> tuple[Floats, Floats]:
        """(distance, volume) at `frames` samples from hand time `start` on, each (frames,)."""
        self.reached.clear()
        if not self._waiting:
            return np.full(frames, self.distance), np.full(frames, self.volume)
        if self._steps.size != frames:
            self._steps = np.arange(1, frames + 1) / rate
        before = start - 1.0 / rate  # the last sample before the block
        goal = self._waiting[0]
        if goal.at > before + float(self._steps[-1]):
            share = self._steps * (1.0 / (goal.at - before))  # below 1: neither line leaves the range of its ends
            distance, volume = _line(self.distance, goal.distance, share), _line(self.volume, goal.volume, share)
        else:
            distance, volume = self._bent(before)
        self.distance, self.volume = float(distance[-1]), float(volume[-1])
        return distance, volume

    def _bent(self, before: float) -> tuple[Floats, Floats]:
        """Distance and volume of a block within which goals are reached."""
        instants = before + self._steps
        count = self._gather(before, float(instants[-1]))
        times, distances, volumes = self._knots[:, :count]
        distance = np.interp(instants, times, distances)
        volume = np.interp(instants, times, volumes)
        np.minimum(volume, 1.0, out=volume)  # the interpolation may round past its ends
        np.maximum(volume, 0.0, out=volume)
        np.maximum(distance, 0.0, out=distance)
        return distance, volume

    def _gather(self, before: float, end: float) -> int:
        """Fill the knots from the last sample before the block to the first goal beyond it; return how many."""
        times, distances, volumes = self._knots  # set one by one: a column from a tuple takes several times as long
        times[0], distances[0], volumes[0] = before, self.distance, self.volume
        count = 1
        while self._waiting:
            goal = self._waiting[0]
            times[count], distances[count], volumes[count] = max(goal.at, before), goal.distance, goal.volume
            count += 1
            if goal.at > end:
                break
            self._waiting.popleft()
            if goal.stamp is not None:
                self.reached.append(goal.at - goal.stamp)
        return count


def _line(first: float, last: float, share: Floats) -> Floats:
    """From `first` to `last` in proportion to `share`, of any shape."""
    line = share * (last - first)
    line += first
    return line


class LiveTremor:
    """Displacement, m, that does not depend on the size of the blocks while its size is constant.

    `set` may be called from another thread. `size` is the root mean square, m; the same seed gives the same tremor,
    counted from the first sample.
    """

    def __init__(self, sample_rate: float) -> None:
        self._rate = sample_rate
        self._wanted = (0.0, 1)
        self._size = Slew(TREMOR_SLEW, sample_rate, 0.0)
        self._seed = 1
        self._rates, self._phases = tremor_partials(self._seed)

    def set(self, size: float, seed: int) -> None:
        """Go to another size or seed from the next block on."""
        self._wanted = (size, seed)

    def displacement(self, first_frame: int, frames: int) -> Floats | None:
        """Displacement, m, at `frames` samples from number `first_frame` on; None while the hand is steady."""
        wanted, seed = self._wanted
        if wanted == 0.0 and self._size.value == 0.0:
            return None
        if seed != self._seed:
            self._seed = seed
            self._rates, self._phases = tremor_partials(seed)
        instants = np.arange(first_frame, first_frame + frames) / self._rate * STAMPS_A_SECOND
        stamps = np.arange(math.floor(instants[0]), math.ceil(instants[-1]) + 1)
        shape = np.interp(instants, stamps, self._unit(stamps / STAMPS_A_SECOND))
        return np.asarray(shape * self._size.towards(wanted, frames))

    def _unit(self, times: Floats) -> Floats:
        """The tremor of size 1 at `times` (n,), s: what `synth.hands.gestures.tremor` gives, all sines at once."""
        turns = self._rates[:, np.newaxis] * times + self._phases[:, np.newaxis] / (2.0 * np.pi)
        return np.asarray(np.sin(2.0 * np.pi * turns).sum(axis=0) / math.sqrt(0.5 * TREMOR_PARTIALS))


class Replay:
    """Reads a hand path block by block, to the sample, whatever the size of the blocks."""

    def __init__(self, path: HandPath, sample_rate: float) -> None:
        self._path = path
        self._rate = sample_rate
        self._frames = path.frames(sample_rate)
        self._place = 0

    @property
    def done(self) -> bool:
        """True once the last time stamp has been played."""
        return self._place >= self._frames

    def block(self, frames: int) -> HandBlock:
        """The hands of the next `frames` samples; after the end they rest."""
        block = self._path.block(self._place, frames, self._rate)
        self._place += frames
        return HandBlock(block.distance, np.clip(block.volume, 0.0, 1.0))


class LiveHand:
    """Hand events become blocks of distance and volume. `tremble` and `replay` may be called from another thread."""

    def __init__(self, events: HandEvents, distance: float, sample_rate: float) -> None:
        self._events, self._rate = events, sample_rate
        events.begin_at_newest()
        first = events.take()
        if first is None:
            first = HandEvent(0.0, distance, 0.0)
        self.distance, self.volume = first.distance, first.volume
        self._track = HandTrack(first.distance, first.volume)
        self._tremor = LiveTremor(sample_rate)
        self._replay: Replay | None = None
        self._frames = 0

    @property
    def reached(self) -> list[float]:
        """How much later than its stamp each event of the last block was reached, s."""
        return self._track.reached

    @property
    def replaying(self) -> bool:
        """Whether a path plays."""
        return self._replay is not None and not self._replay.done

    def tremble(self, size: float, seed: int) -> None:
        """Tremble by `size`, m, root mean square."""
        self._tremor.set(size, seed)

    def replay(self, path: HandPath | None) -> None:
        """Play a path from its beginning in place of the events; None ends it."""
        self._replay = None if path is None else Replay(path, self._rate)

    def block(self, start: float, frames: int) -> HandBlock:
        """The hands of the next block, from hand time `start` on."""
        while (event := self._events.take()) is not None:
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
        self._frames += frames
        self.distance, self.volume = float(block.distance[-1]), float(block.volume[-1])
        return block
