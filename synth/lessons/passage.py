"""What a stage plays: a recipe whose value takes a set course. The sound file and the page both play it from here."""

from __future__ import annotations

import numpy as np

from models.arrays import Floats
from models.checks import finite_array, positive_array
from models.quick_dataclass import dataclass
from synth.hands.hand_path import HandBlock
from synth.lessons.recipes import Recipe, performed

SAMPLE_RATE = 48_000
FADE_TIME = 0.02  # s, at both ends of a stage, and where one passage ends before another
HOLD, MOVE, SETTLE = 1.5, 0.3, 0.2  # s: the hand at rest, on its way, and until all has settled


def times(seconds: float) -> Floats:
    """Sample instants of a passage, s."""
    return np.arange(round(seconds * SAMPLE_RATE)) / SAMPLE_RATE


@dataclass(frozen=True, slots=True)
class Passage:
    """A recipe and the course of its value (Hz or m): straight lines between `values` at `instants` (s, the first 0).

    `even_pitch`: straight in the logarithm instead, equal steps of pitch in equal times; the values are then > 0.
    `volumes`: the volume hand's gain at the same instants, 0 to 1; None: 1 throughout.
    """

    recipe: Recipe
    instants: tuple[float, ...]
    values: tuple[float, ...]
    even_pitch: bool = False
    volumes: tuple[float, ...] | None = None

    def __post_init__(self) -> None:
        instants = finite_array("instants", self.instants)
        if instants.size < 2 or instants[0] != 0.0 or (np.diff(instants) <= 0.0).any():
            raise ValueError(f"instants must rise from 0; got {self.instants}")
        (positive_array if self.even_pitch else finite_array)("values", self.values)
        if not len(self.values) == instants.size == len(self.volumes or self.values):
            raise ValueError("instants, values and volumes must be of one length")

    @property
    def seconds(self) -> float:
        """How long it lasts, s."""
        return self.instants[-1]

    @property
    def slides(self) -> bool:
        """Whether the value takes longer than MOVE from one place to the next."""
        steps = zip(np.diff(self.instants).tolist(), np.diff(self.values).tolist(), strict=True)
        return any(change != 0.0 and lasts > 1.01 * MOVE for lasts, change in steps)

    def course(self) -> Floats:
        """The value at every sample."""
        at = times(self.seconds)
        if self.even_pitch:
            return np.asarray(np.exp(np.interp(at, self.instants, np.log(self.values))))
        return np.interp(at, self.instants, self.values)

    def samples(self) -> Floats:
        """The sound."""
        if self.volumes is None:
            return performed(self.recipe, self.course(), SAMPLE_RATE)
        volumes = np.interp(times(self.seconds), self.instants, self.volumes)
        return performed(self.recipe, HandBlock(self.course(), volumes), SAMPLE_RATE)


def rested(recipe: Recipe, value: float, seconds: float) -> Passage:
    """The value rests."""
    return Passage(recipe, (0.0, seconds), (value, value))


def held(recipe: Recipe, values: tuple[float, ...]) -> Passage:
    """The value rests HOLD s at each of `values` and takes MOVE s from one to the next."""
    begins = (HOLD + MOVE) * np.arange(len(values))
    instants = np.stack([begins, begins + HOLD], axis=1).ravel()
    return Passage(recipe, tuple(instants.tolist()), tuple(np.repeat(values, 2).tolist()))


def rest(index: int) -> tuple[float, float]:
    """The stretch (s) of `held` in which the value rests at its place `index` and everything has settled."""
    begin = index * (HOLD + MOVE)
    return begin + SETTLE, begin + HOLD - 0.05


def joined(passages: tuple[Passage, ...]) -> Floats:
    """The sound of passages one after the other, MOVE s of silence between them."""
    fade = round(FADE_TIME * SAMPLE_RATE)
    fall = np.cos(0.5 * np.pi * np.arange(1, fade + 1) / fade) ** 2
    pieces = [passages[0].samples()]
    for passage in passages[1:]:
        pieces[-1][-fade:] *= fall
        pieces += [np.zeros(round(MOVE * SAMPLE_RATE)), passage.samples()]
    return np.concatenate(pieces)
