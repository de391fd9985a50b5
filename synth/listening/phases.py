"""The frequency of a periodic sound from the phases of its harmonics.

Symbols: x samples, w Hann window, f frequency near the true one, k harmonic, D time between two windows, a_k amplitude.

Every harmonic, looked at through a short window, turns by the phase that f misses:

    X_k(t) = sum w x exp(-2 pi i k f t),    f' = f + arg(X_k(t + D/2) conj X_k(t - D/2)) / (2 pi k D)

Source: J. L. Flanagan, R. M. Golden, Bell Syst. Tech. J. 45 (1966) 1493 (phase vocoder; from memory). The harmonics are
weighted by a_k^2 k^2, as the least squares of one common f want it where the noise is the same at all of them.

A sound that rests has the slope of its phase over the whole rest: a straight line by least squares through the phase
at many windows (S. A. Tretter, IEEE Trans. Inf. Theory 31 (1985) 832; from memory), weighted by a Hann window, so that
vibrato and hum, which turn to and fro, average out. Its value for vibrato is the mean frequency.

Before that the hum of the mains is taken away: sines at its frequency and twice to six times that, fitted by least
squares together with the harmonics of the note, those left out that are nearer to a harmonic than one over the length
of the rest. Of 50 and 60 Hz the one that leaves less is taken.

Each window holds four periods, so that a harmonic's neighbours fall on zeros of it.
Valid where f is right to some per cent. Hum nearer to a harmonic than one over the length of the rest is not told
apart.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from models.arrays import Complexes, Floats, Ints

HARMONICS = 6
PERIODS = 4.0  # in a window
SHORTEST = 0.008  # s, of a window
HIGHEST_SHARE = 0.45  # of the sample rate, of a harmonic
MAINS, MAINS_LINES = (50.0, 60.0), 6  # Hz, and how many harmonics of it
CHUNK = 256  # windows at once


def harmonics_around(sound: Floats, sample_rate: float, times: Floats, near: Floats) -> Complexes:
    """Complex amplitudes, (n, HARMONICS), of the harmonics of frequencies `near`, Hz, around `times`, s, both (n,)."""
    found = np.zeros((times.size, HARMONICS), dtype=np.complex128)
    middles = np.round(times * sample_rate).astype(np.int64)
    for places, length in _by_length(near, sample_rate):
        found[places] = _harmonics(sound, sample_rate, middles[places], middles[places], near[places], length)
    return found


def by_phase(sound: Floats, sample_rate: float, times: Floats, near: Floats) -> Floats:
    """Frequency at each of `times`, s (n,), from the phase gained around it by the harmonics of `near`, Hz (n,)."""
    found = near.copy()
    middles = np.round(times * sample_rate).astype(np.int64)
    order = np.arange(1, HARMONICS + 1)
    for places, length in _by_length(near, sample_rate):
        apart, middle = length // 2, middles[places]
        first = middle - apart // 2
        early, late = (
            _harmonics(sound, sample_rate, at, middle, near[places], length) for at in (first, first + apart)
        )
        weight = np.abs(late * early)
        gained = (weight * order * np.angle(late * np.conj(early))).sum(axis=1)
        share = gained / np.maximum((weight * order**2).sum(axis=1), 1e-300)
        found[places] = near[places] + share * sample_rate / (2.0 * math.pi * apart)
    return found


def resting_frequency(sound: Floats, sample_rate: float, near: float) -> tuple[float, float]:
    """Mean frequency, Hz, of a `sound` that rests near `near`, Hz, and its standard deviation, Hz.

    The deviation is that of the straight line, from how far the phases lie off it; it holds what turns to and fro too.
    Raises ValueError for a sound shorter than two windows.
    """
    first, _ = _line(sound, sample_rate, near)
    return _line(without_hum(sound, sample_rate, first), sample_rate, first)


def without_hum(sound: Floats, sample_rate: float, near: float) -> Floats:
    """A short `sound` of a note near `near`, Hz, without the mains hum in it."""
    notes = near * np.arange(1, HARMONICS + 1)
    low = int(np.count_nonzero(notes < 2.0 * MAINS_LINES * max(MAINS)))  # those above do not mix with hum
    overtones = _waves(near, low, sound.size, sample_rate)
    least, cleaned = math.inf, sound
    for mains in MAINS:
        lines = mains * np.arange(1, MAINS_LINES + 1)
        apart = np.abs(lines[:, None] - notes).min(axis=1) * sound.size > sample_rate
        waves = _waves(mains, MAINS_LINES, sound.size, sample_rate)[apart]
        columns = np.concatenate([waves.real, waves.imag, overtones.real, overtones.imag])
        shares = np.linalg.solve(columns @ columns.T, columns @ sound)
        left = float(((sound - shares @ columns) ** 2).sum())
        if left < least:
            count = 2 * len(waves)
            least, cleaned = left, sound - shares[:count] @ columns[:count]
    return cleaned


def _waves(frequency: float, count: int, size: int, sample_rate: float) -> Complexes:
    """exp(2 pi i k f t) for k from 1 to `count`, (count, size)."""
    turn = np.exp(2j * np.pi * frequency / sample_rate * np.arange(size))
    return np.asarray(np.cumprod(np.broadcast_to(turn, (count, size)), axis=0))


def _line(sound: Floats, sample_rate: float, near: float) -> tuple[float, float]:
    length = _length(near, sample_rate)
    step = max(length // 4, 1)
    middles = np.arange(length // 2, sound.size - length // 2, step)
    if middles.size < 5:
        raise ValueError(f"a sound of {sound.size / sample_rate:.3g} s is too short for the phase at {near:.4g} Hz")
    origin = np.zeros_like(middles)
    turned = _harmonics(sound, sample_rate, middles, origin, np.full(middles.size, near), length)
    order = np.arange(1, HARMONICS + 1)
    gains = turned[1:] * np.conj(turned[:-1])
    weight = np.abs(gains)
    steps = (weight * order * np.angle(gains)).sum(axis=1) / np.maximum((weight * order**2).sum(axis=1), 1e-300)
    phase = np.concatenate([[0.0], np.cumsum(steps)])
    times = middles / sample_rate
    taper = np.sin(np.pi * (np.arange(times.size) + 0.5) / times.size) ** 2
    about = times - np.average(times, weights=taper)
    slope = float((taper * about) @ phase / ((taper * about) @ about))
    rest = phase - np.average(phase, weights=taper) - slope * about
    spread = math.sqrt(float(taper @ rest**2) / float(taper.sum()))
    # neighbouring windows overlap by three quarters: a quarter of them, about, are independent
    deviation = (
        2.0 * spread * math.sqrt(float((taper * about) ** 2 @ np.ones_like(about))) / float((taper * about) @ about)
    )
    return near + slope / (2.0 * math.pi), deviation / (2.0 * math.pi)


def _length(near: float, sample_rate: float) -> int:
    return max(round(PERIODS * sample_rate / near), round(SHORTEST * sample_rate))


def _by_length(near: Floats, sample_rate: float) -> Iterator[tuple[Ints, int]]:
    """Places with windows of one length, of PERIODS to 1.19 times that, at most CHUNK at once."""
    grade = np.floor(4.0 * np.log2(near)).astype(np.int64)
    for each in np.unique(grade):
        places = np.nonzero(grade == each)[0]
        length = _length(float(2.0 ** (each / 4.0)), sample_rate)
        for start in range(0, places.size, CHUNK):
            yield places[start : start + CHUNK], length


def _harmonics(sound: Floats, sample_rate: float, middles: Ints, origins: Ints, near: Floats, length: int) -> Complexes:
    """Complex amplitudes, (n, HARMONICS), in windows around the samples `middles`, phases counted from `origins`."""
    offsets = np.arange(length) - length // 2
    window = np.hanning(length + 2)[1:-1]
    window = window / (0.5 * window.sum())
    places = middles[:, None] + offsets
    inside = (places >= 0) & (places < sound.size)
    pieces = np.where(inside, sound[np.clip(places, 0, max(sound.size - 1, 0))], 0.0) * window
    turn = np.exp(-2j * np.pi * (near / sample_rate)[:, None] * (places - origins[:, None]))
    found = np.zeros((middles.size, HARMONICS), dtype=np.complex128)
    carried = pieces.astype(np.complex128)
    for harmonic in range(HARMONICS):
        carried = carried * turn
        found[:, harmonic] = np.where((harmonic + 1) * near < HIGHEST_SHARE * sample_rate, carried.sum(axis=1), 0.0)
    return found
