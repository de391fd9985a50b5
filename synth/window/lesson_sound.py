"""What the lesson's window draws of the sound: its spectrum in dB and its oscillogram, as plain numbers."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from synth.window.oscillogram import synchronised

Floats = NDArray[np.float64]

LONGEST = 32_768  # samples the speaker keeps: lines nearer than some 3 Hz at 48 kHz run into one
FLOOR_DB = -70.0
FAINTEST = 1e-6  # full scale: below it there is nothing to draw


@lru_cache(maxsize=4)
def _window(size: int) -> Floats:
    return np.asarray(np.hanning(size))


def live_spectrum(samples: NDArray[np.float32], sample_rate: float, band: tuple[float, float]) -> tuple[Floats, Floats]:
    """Frequencies (Hz) within the band and levels (dB below the strongest line there, at least FLOOR_DB).

    A Hann window: lines two bins apart (twice the sample rate over the number of samples) are still told apart.
    """
    sound = samples.astype(np.float64)
    if sound.size < 64:
        return np.zeros(0), np.zeros(0)
    size = np.abs(np.fft.rfft((sound - sound.mean()) * _window(sound.size), 2 ** int(np.ceil(np.log2(2 * sound.size)))))
    frequency = np.arange(size.size) * sample_rate / (2.0 * (size.size - 1))
    shown = (frequency >= band[0]) & (frequency <= band[1])
    frequency, size = frequency[shown], size[shown] * 2.0 / _window(sound.size).sum()
    strongest = float(size.max(initial=0.0))
    if strongest < FAINTEST:
        return np.asarray(frequency, np.float64), np.full(frequency.size, FLOOR_DB)
    level = np.maximum(20.0 * np.log10(np.maximum(size / strongest, 1e-9)), FLOOR_DB)
    return np.asarray(frequency, np.float64), np.asarray(level, np.float64)


def steps_of(frequency: Floats, level: Floats, places: Floats, columns: int) -> Floats:
    """The highest level in each of `columns` columns (places 0 to 1 of each frequency); FLOOR_DB in an empty one
    between is filled from its neighbours.
    """
    if frequency.size == 0:
        return np.full(columns, FLOOR_DB)
    column = np.clip((places * columns).astype(int), 0, columns - 1)
    highest = np.full(columns, -np.inf)
    np.maximum.at(highest, column, level)
    known = np.flatnonzero(np.isfinite(highest))
    return np.asarray(np.interp(np.arange(columns), known, highest[known]))


def live_oscillogram(samples: NDArray[np.float32], sample_rate: float, span: float, columns: int) -> Floats:
    """Lowest and highest sample, scaled so that the largest is 1, of each of `columns` columns over `span` s: (2, n).

    Short spans start at a rising zero crossing, so that they stand still.
    """
    frames = round(span * sample_rate)
    if samples.size < frames + 2:
        return np.zeros((2, columns))
    if frames < 4 * columns:
        line = synchronised(samples, sample_rate, span, columns)
        return np.stack([line, line])
    newest = samples[-(frames // columns) * columns :].astype(np.float64).reshape(columns, -1)
    largest = float(np.abs(newest).max())
    scale = 1.0 / largest if largest >= 1e-4 else 0.0
    low, high = newest.min(axis=1), newest.max(axis=1)
    joined = np.stack([low, high])
    joined[0, 1:] = np.minimum(low[1:], high[:-1])  # each column reaches to the one before: no gaps in the line
    joined[1, 1:] = np.maximum(high[1:], low[:-1])
    return scale * joined
