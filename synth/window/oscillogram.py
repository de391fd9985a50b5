"""The oscillogram of the beat: a few periods that stand still because they start at a rising zero crossing."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

PERIODS = 4.0
SHORTEST = 0.002  # s
LONGEST = 0.25  # s
OSCILLOGRAM_POINTS = 220
FAINTEST = 1e-4  # full scale; below it the oscillogram is a flat line


def oscillogram_span(frequency: float, periods: float = PERIODS) -> float:
    """Time the oscillogram shows, s: `periods` of the beat, between 2 ms and 0.25 s."""
    speed = abs(frequency)
    return LONGEST if speed * LONGEST <= periods else max(SHORTEST, periods / speed)


def synchronised(samples: ArrayLike, sample_rate: float, span: float, points: int) -> NDArray[np.float64]:
    """`points` values over `span` seconds, beginning at the last rising zero crossing that leaves room for
    them.

    The values are scaled so that the largest is 1, because the level is shown elsewhere; silence (below 1e-4
    of full scale) and too few samples give zeros. The crossing and the values are interpolated linearly
    between samples.
    """
    sound = np.asarray(samples, dtype=np.float64)
    frames = span * sample_rate
    start = last_rising_crossing(sound, sound.size - 1 - frames)
    if start is None:
        return np.zeros(points)
    window = np.interp(start + np.linspace(0.0, frames, points), np.arange(sound.size), sound)
    largest = float(np.abs(window).max())
    return window / largest if largest >= FAINTEST else np.zeros(points)


def last_rising_crossing(sound: NDArray[np.float64], latest: float) -> float | None:
    """Sample position (fractional) of the last crossing from below zero to zero or above at or before
    `latest`.

    Where there is none (a locked or very slow beat) `latest` itself; None when there are too few samples.
    """
    if latest < 0:
        return None
    end = int(latest) + 1
    rising = np.flatnonzero((sound[: end - 1] < 0.0) & (sound[1:end] >= 0.0))
    if rising.size == 0:
        return float(latest)
    place = int(rising[-1])
    below, above = sound[place], sound[place + 1]
    return place + float(below / (below - above))
