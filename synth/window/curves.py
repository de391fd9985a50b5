"""The curves that are drawn of the sound, as plain numbers: oscillogram and spectrum, of either window.

The oscillogram shows a few periods that stand still because they start at a rising zero crossing. The playing window's
spectrum is gathered on a logarithmic axis of frequency; a lesson's is that of its own band, below its strongest line.
"""

from __future__ import annotations

import functools

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.arrays import Floats
from models.quick_dataclass import dataclass

LOWEST = 20.0  # Hz
HIGHEST = 20000.0  # Hz
FLOOR_DB = -100.0
FRAMES = 8192  # 0.17 s at 48 kHz: lines 12 Hz apart, each four of them wide at its foot
POINTS = 160


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


PERIODS = 4.0
SHORTEST = 0.002  # s
LONGEST = 0.25  # s
OSCILLOGRAM_POINTS = 220
FAINTEST = 1e-4  # full scale; below it the oscillogram is a flat line


def oscillogram_span(frequency: float, periods: float = PERIODS) -> float:
    """Time the oscillogram shows, s: `periods` of the beat, between 2 ms and 0.25 s."""
    speed = abs(frequency)
    return LONGEST if speed * LONGEST <= periods else max(SHORTEST, periods / speed)


def synchronised(samples: ArrayLike, sample_rate: float, span: float, points: int) -> Floats:
    """`points` values over `span` seconds, beginning at the last rising zero crossing that leaves room for them.

    The values are scaled so that the largest is 1, because the level is shown elsewhere; silence (below 1e-4 of full
    scale) and too few samples give zeros. The crossing and the values are interpolated linearly between samples.
    """
    sound = np.asarray(samples, dtype=np.float64)
    frames = span * sample_rate
    start = last_rising_crossing(sound, sound.size - 1 - frames)
    if start is None:
        return np.zeros(points)
    window = np.interp(start + np.linspace(0.0, frames, points), np.arange(sound.size), sound)
    largest = float(np.abs(window).max())
    return window / largest if largest >= FAINTEST else np.zeros(points)


def last_rising_crossing(sound: Floats, latest: float) -> float | None:
    """Sample position (fractional) of the last crossing from below zero to zero or above at or before `latest`.

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


RECENT = 32_768  # samples the speaker keeps: lines nearer than some 3 Hz at 48 kHz run into one
LESSON_FLOOR_DB = -70.0
FAINTEST_LINE = 1e-6  # full scale: below it there is nothing to draw


@functools.lru_cache(maxsize=4)
def _hanning(size: int) -> Floats:
    return np.asarray(np.hanning(size))


def live_spectrum(samples: NDArray[np.float32], sample_rate: float, band: tuple[float, float]) -> tuple[Floats, Floats]:
    """Frequencies (Hz) within the band and levels (dB below the strongest line there, at least LESSON_FLOOR_DB).

    A Hann window: lines two bins apart (twice the sample rate over the number of samples) are still told apart.
    """
    sound = samples.astype(np.float64)
    if sound.size < 64:
        return np.zeros(0), np.zeros(0)
    size = np.abs(
        np.fft.rfft((sound - sound.mean()) * _hanning(sound.size), 2 ** int(np.ceil(np.log2(2 * sound.size))))
    )
    frequency = np.arange(size.size) * sample_rate / (2.0 * (size.size - 1))
    shown = (frequency >= band[0]) & (frequency <= band[1])
    frequency, size = frequency[shown], size[shown] * 2.0 / _hanning(sound.size).sum()
    strongest = float(size.max(initial=0.0))
    if strongest < FAINTEST_LINE:
        return np.asarray(frequency, np.float64), np.full(frequency.size, LESSON_FLOOR_DB)
    level = np.maximum(20.0 * np.log10(np.maximum(size / strongest, 1e-9)), LESSON_FLOOR_DB)
    return np.asarray(frequency, np.float64), np.asarray(level, np.float64)


def steps_of(frequency: Floats, level: Floats, places: Floats, columns: int) -> Floats:
    """The highest level in each of `columns` columns (places 0 to 1 of each frequency); LESSON_FLOOR_DB in an empty one
    between is filled from its neighbours.
    """
    if frequency.size == 0:
        return np.full(columns, LESSON_FLOOR_DB)
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
