"""The renderer of a live lesson: the pointer's place on an axis in, the sound of a recipe out, block by block."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.checks import finite, finite_array, positive
from synth.hands.hand_path import HandBlock
from synth.lessons.sources import Recipe, Sound
from synth.sound.fades import Fade, guard
from synth.sound.filters import Smoother

Floats = NDArray[np.float64]

SMOOTHING_TIME = 0.005  # s, pole on the pointer's place and on the volume
CHANGE_TIME = 0.02  # s, from one sound to the next
OPENING_TIME = 0.008  # s, start and mute
PIECE = 4096  # frames at once


@dataclass(frozen=True, slots=True)
class Axis:
    """The value a place between 0 (left) and 1 (right) stands for: its name, unit, ends, and marks (value, text)."""

    name: str
    unit: str
    left: float
    right: float
    logarithmic: bool = False
    marks: tuple[tuple[float, str], ...] = ()
    scale: float = 1.0  # shown number = value x scale
    decimals: int = 0

    def __post_init__(self) -> None:
        for name in ("left", "right"):
            (positive if self.logarithmic else finite)(name, getattr(self, name))
        if self.left == self.right:
            raise ValueError(f"left and right must differ; got {self.left:g} twice")

    def value(self, place: ArrayLike) -> Floats:
        """The value at a place; broadcasts."""
        share = np.asarray(place, dtype=np.float64)
        if self.logarithmic:
            return np.asarray(self.left * (self.right / self.left) ** share)
        return np.asarray(self.left + (self.right - self.left) * share)

    def place(self, value: float) -> float:
        """The place of a value."""
        if self.logarithmic:
            return math.log(value / self.left) / math.log(self.right / self.left)
        return (value - self.left) / (self.right - self.left)

    def text(self, value: float) -> str:
        """The value for a person."""
        return f"{self.scale * value:,.{self.decimals}f} {self.unit}".replace(",", "\N{NARROW NO-BREAK SPACE}")


@dataclass(frozen=True, slots=True)
class LiveSource:
    """A recipe and the axis the pointer moves it along; called with a sample rate it gives the renderer."""

    axis: Axis
    recipe: Recipe

    def __call__(self, sample_rate: float) -> LessonVoice:
        """The renderer that begins with this source."""
        return LessonVoice(self, sample_rate)


class LessonVoice:
    """Renders live sources with the calls of `synth.sound.voice.Voice`: `distance` is the place on the axis, 0 to 1.

    One thread at a time calls `render`; `mute` and `set_source` may be called from another and act from the next
    render on. A change of source crosses over in 20 ms; of several waiting the last counts.
    """

    def __init__(self, source: LiveSource, sample_rate: float) -> None:
        self.sample_rate = positive("sample_rate", sample_rate)
        self._latest = source
        self._waiting: deque[LiveSource] = deque(maxlen=1)
        self._hands = Smoother(SMOOTHING_TIME, self.sample_rate)
        self._opening = Fade(OPENING_TIME, self.sample_rate)
        self._change = Fade(CHANGE_TIME, self.sample_rate)
        self._muted = False
        self._here: tuple[LiveSource, Sound] | None = None
        self._leaving: tuple[LiveSource, Sound] | None = None
        self._last_place = 0.0

    @property
    def frequency(self) -> float:
        """The frequency the trace is drawn by, Hz, at the last rendered sample; 0 before the first."""
        return 0.0 if self._here is None else self._here[1].frequency

    def set_source(self, source: LiveSource) -> None:
        """Change to another source."""
        self._latest = source
        self._waiting.append(source)

    def mute(self, muted: bool) -> None:
        """Fade the sound out or in over 8 ms."""
        self._muted = bool(muted)

    def reset(self) -> None:
        """Forget the past; the next render starts like the first, with the latest source; mute stays."""
        self._waiting.clear()
        self._here = self._leaving = None
        for part in (self._hands, self._opening, self._change):
            part.reset()

    def render(self, hand: HandBlock | ArrayLike, frames: int) -> Floats:
        """The next `frames` samples, float64 (frames,): places 0 to 1 (beyond them: the end of the axis), volumes 0..1.

        Raises ValueError for a number of frames below 0 and for values that are not finite or of another shape.
        """
        if isinstance(frames, bool | np.bool_) or not isinstance(frames, int | np.integer) or frames < 0:
            raise ValueError(f"frames must be a whole number >= 0; got {frames!r}")
        place, volume = (hand.distance, hand.volume) if isinstance(hand, HandBlock) else (hand, 1.0)
        places = np.clip(np.broadcast_to(finite_array("place", place), (int(frames),)), 0.0, 1.0)
        volumes = np.clip(np.broadcast_to(finite_array("volume", volume), (int(frames),)), 0.0, 1.0)
        samples = np.empty(int(frames))
        start = 0
        while start < frames:
            end = min(start + PIECE, int(frames))
            self._take_over(float(places[start]))
            if self._leaving is not None:
                end = min(end, start + self._change.left)
            samples[start:end] = self._piece(places[start:end], volumes[start:end])
            start = end
        return samples

    def render_known(self, hand: HandBlock) -> Floats:
        """`render` of all of a block."""
        return self.render(hand, hand.distance.size)

    def _take_over(self, place: float) -> None:
        """Begin, end a change that is complete, and begin the one that waits."""
        if self._here is None:
            self._waiting.clear()
            self._here, self._last_place = self._started(self._latest, place), place
        if self._leaving is not None and self._change.left == 0:
            self._leaving = None
        if self._waiting and self._leaving is None:
            self._leaving, self._here = self._here, self._started(self._waiting.popleft(), self._last_place)
            self._change.reset()

    def _started(self, source: LiveSource, place: float) -> tuple[LiveSource, Sound]:
        return source, source.recipe.start(self.sample_rate, float(source.axis.value(place)))

    def _piece(self, places: Floats, volumes: Floats) -> Floats:
        """Samples of a piece in which no change begins or ends."""
        smoothed, gains = self._hands.smooth(places, volumes)
        self._last_place = float(smoothed[-1])
        if self._here is None:
            raise RuntimeError("no source has begun")
        source, sound = self._here
        samples = sound.sound(source.axis.value(smoothed))
        if self._leaving is not None:
            left_source, left = self._leaving
            before = left.sound(left_source.axis.value(smoothed))
            samples = before + self._change.gains(samples.size, up=True) * (samples - before)
        samples = np.asarray(samples * gains)
        guard(samples)
        if self._muted and self._opening.rests_at(0.0):
            samples[:] = 0.0
        elif self._muted or not self._opening.rests_at(1.0):
            samples *= self._opening.gains(samples.size, up=not self._muted)
        return samples
