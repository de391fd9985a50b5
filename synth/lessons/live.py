"""The lessons to play live: pages with what the pointer moves, what to hear, and the sounds to choose from."""

from __future__ import annotations

from dataclasses import dataclass

from synth.lessons.recipes import Axis, OnAxis

NEAR, FAR = 0.02, 0.60  # m


@dataclass(frozen=True, slots=True)
class LiveChoice:
    """One of a stage's sounds: its name, what to hear in it, and the source."""

    name: str
    hear: str
    source: OnAxis


@dataclass(frozen=True, slots=True)
class LiveStage:
    """One page: what the pointer does, the sounds to choose from, and what is drawn: spectrum `band` (Hz), `span`
    of the wave (s; None: four periods of the note).
    """

    slug: str
    title: str
    pointer: str
    choices: tuple[LiveChoice, ...]
    band: tuple[float, float]
    span: float | None = None


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
    return Axis("hand", "cm", far, near, marks=of, scale=100.0, decimals=2 if far - near < 0.1 else 1)
