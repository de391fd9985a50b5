"""The spectrum of what sounds: one window of samples, its levels in dB, gathered on a logarithmic frequency axis."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

LOWEST = 20.0  # Hz
HIGHEST = 20000.0  # Hz
FLOOR_DB = -100.0
FRAMES = 8192  # 0.17 s at 48 kHz: lines 12 Hz apart, each four of them wide at its foot
POINTS = 160

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """`frequencies`, Hz, rising evenly on a logarithmic scale; `levels_db` there, 0 dB a sine that just reaches 1."""

    frequencies: Floats
    levels_db: Floats


def spectrum(samples: ArrayLike, sample_rate: float, points: int = POINTS) -> Spectrum:
    """Levels of the last `FRAMES` samples (fewer are filled up with silence before them) between 20 Hz and 20 kHz.

    w[n] = 0.5 - 0.5 cos(2 pi n / N) (Hann), L(f) = 20 log10(2 |sum x[n] w[n] e^(-2 pi i f n / N)| / sum w[n]).

    A steady sine of amplitude 1 reads 0 dB where it lies on a line of the transform and at most 1.42 dB less half-way
    between two (F. J. Harris, Proc. IEEE 66 (1978), table 1, scallop loss of the Hann window; from memory). Each point
    shows the largest line within its share of the axis; below about 800 Hz, where lines are farther apart than points,
    it is interpolated between lines in dB. Above half the sample rate there is only the floor.
    """
    sound = np.asarray(samples, dtype=np.float64)[-FRAMES:]
    if sound.size < FRAMES:
        sound = np.concatenate([np.zeros(FRAMES - sound.size), sound])
    lines = np.abs(np.fft.rfft(sound * _window())) * (4.0 / FRAMES)
    lines_db = 20.0 * np.log10(np.maximum(lines, 10.0 ** (FLOOR_DB / 20.0)))
    frequencies, first, last, position = _axis(points, float(sample_rate))
    between = np.interp(position, np.arange(lines_db.size), lines_db, right=FLOOR_DB)
    starts = np.minimum(np.stack([first, last], axis=1).ravel(), lines_db.size - 1)
    largest = np.maximum.reduceat(lines_db, starts)[::2]
    return Spectrum(frequencies, np.where(last > first, np.maximum(largest, between), between))


@functools.cache
def _window() -> Floats:
    return 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(FRAMES) / FRAMES)


@functools.lru_cache(maxsize=4)
def _axis(points: int, sample_rate: float) -> tuple[Floats, NDArray[np.intp], NDArray[np.intp], Floats]:
    """Frequencies of the points, first line and line after the last of each point's share, and its own position."""
    ratio = (HIGHEST / LOWEST) ** (1.0 / (points - 1))
    frequencies = LOWEST * ratio ** np.arange(points)
    lines = FRAMES / sample_rate
    first = np.ceil(frequencies * ratio**-0.5 * lines).astype(np.intp)
    last = np.ceil(frequencies * ratio**0.5 * lines).astype(np.intp)
    return frequencies, first, last, frequencies * lines


def share_of(frequency: float) -> float:
    """Where a frequency, Hz, lies along the axis: 0 at 20 Hz, 1 at 20 kHz."""
    return float(np.log(frequency / LOWEST) / np.log(HIGHEST / LOWEST))
