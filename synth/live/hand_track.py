"""The hands between two events: linear from time stamp to time stamp on the hand clock, held when events stop."""

from __future__ import annotations

from collections import deque
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from synth.live.hand_events import HandEvent

Floats = NDArray[np.float64]

REST = 0.05  # s between two events after which the hand counts as having rested
GLIDE = 0.008  # s that the first movement after a rest takes: a pointer read 125 times a second moved within it
SHORTEST = 0.001  # s in which an event that came too late for its time is reached
MOST_WAITING = 256  # events waiting for their time; more push out the oldest


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
