"""The lessons to play live: recipes on an axis under the pointer, and pages with what to do and what to hear."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import finite, positive
from models.quick_dataclass import dataclass
from synth.lessons.recipes import PEAK, Recipe, RecipeSound
from synth.lessons.words import said
from synth.sound.source import Sound

NEAR, FAR = 0.02, 0.60  # m, ends of the hand's axis


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
class OnAxis:
    """A recipe and the axis the pointer moves its value along: the hand is the place on the axis, 0 to 1."""

    axis: Axis
    recipe: Recipe

    level = PEAK
    resting = 0.5

    def start(self, sample_rate: float) -> Sound:
        """The sound, ready to begin."""
        return SoundOnAxis(self.axis, self.recipe.start(sample_rate))


class SoundOnAxis(RecipeSound):
    """A recipe's sound, moved along an axis."""

    def __init__(self, axis: Axis, sound: Sound) -> None:
        self._axis, self._sound = axis, sound

    def within(self, hand: Floats) -> Floats:
        """Places beyond the axis count as its ends."""
        return np.clip(hand, 0.0, 1.0)

    def begin(self, hand: float, before: Sound | None = None) -> None:
        """Start anew at that place."""
        self._sound.begin(float(self._axis.value(hand)))
        self.frequency = 0.0

    def sound(self, hand: Floats) -> Floats:
        """The next samples."""
        samples = self._sound.sound(self._sound.within(self._axis.value(hand)))
        self.frequency = abs(self._sound.frequency)
        return samples


@dataclass(frozen=True, slots=True)
class LiveChoice:
    """One of a stage's sounds: its name, what to hear in it, and the source."""

    name: str
    hear: str
    source: OnAxis


@dataclass(frozen=True, slots=True)
class LiveStage:
    """One page: what the pointer does, the sounds to choose from, and what is drawn: spectrum `band` (Hz), `span`
    of the wave (s; None: four periods of the note). `after`: the slug of the stage it follows; "": after all of them.
    """

    slug: str
    title: str
    pointer: str
    choices: tuple[LiveChoice, ...]
    band: tuple[float, float]
    span: float | None = None
    after: str = ""


@dataclass(frozen=True, slots=True)
class LiveLesson:
    """A lesson's pages in order."""

    name: str
    title: str
    stages: tuple[LiveStage, ...]


def marks(*values: float, scale: float = 1.0, decimals: int = 0) -> tuple[tuple[float, str], ...]:
    """Marks of an axis: values and their texts, at that scale."""
    return tuple((value, f"{scale * value:.{decimals}f}") for value in values)


def hand_axis(of: tuple[tuple[float, str], ...], far: float = FAR, near: float = NEAR) -> Axis:
    """The hand's distance from `far` at the left to `near` at the right, m, with those marks."""
    return Axis(said("axes", "hand"), "cm", far, near, marks=of, scale=100.0, decimals=2 if far - near < 0.1 else 1)
