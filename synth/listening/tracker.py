"""Pitch against time of one voice: a period by comparing the sound with itself, then its frequency by phase.

Symbols: x samples, t their number, W window and tau lag in samples.

The period is the shortest lag at which the sound repeats itself. The squared difference, summed over a window of W
samples, is divided by its own mean up to that lag; the first dip below DIP, or nearly as deep as the deepest, is it:

    d(tau) = sum (x(t) - x(t + tau))^2,    d'(tau) = d(tau) tau / (d(1) + ... + d(tau))

Source: A. de Cheveigne, H. Kawahara, J. Acoust. Soc. Am. 111 (2002) 1917, eqs. 6 and 8 (from memory); sums by FFT.

The frequency follows from the phases of its harmonics (synth/listening/phases.py).

If the even harmonics alone hold all of the power (or every third), the period found is two (three) true ones and is
divided. Where a shorter lag has a dip that is nearly deep enough, the octave is marked as doubtful.
Valid for one voice of LOWEST to HIGHEST. Two voices, or hum as strong as the voice, give no meaningful pitch; a low
confidence tells it. Hum of 50 and 100 Hz is harmless where it is 20 dB below the voice; at 12 dB notes of about 110 to
210 Hz may be taken for a lower one and are marked, at 6 dB they may be unmarked (measured on made sounds).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.signal import firwin, oaconvolve, resample_poly

from models.arrays import Floats, Ints
from models.checks import positive
from models.quick_dataclass import dataclass
from synth.listening.phases import by_phase, harmonics_around

LOWEST, HIGHEST = 28.0, 4200.0  # Hz
STEP = 0.01  # s, from one pitch to the next
WINDOW = 0.045  # s, over which the sound is compared with itself
DIP: Final = 0.08
"""Largest d' at which the sound counts as repeating for certain; near the published 0.1 (from memory)."""
AS_DEEP: Final = 0.06
"""A dip that is less deep than the deepest by no more than this counts as deep."""
ALMOST: Final = 0.25
"""A dip at a shorter lag that is not deep, but below this, leaves the octave in doubt."""
NOTHING: Final = 0.5
"""Where the deepest dip is above this, the sound has no pitch."""
EMPTY: Final = 0.01
"""Share of the power below which the harmonics that only the longer period has are none."""
MOVED = 2e-3
"""Relative change by phase above which a frequency is refined once more: the sound slides."""
SILENCE = -60.0  # dB of full scale, RMS
WORKING_RATES = (40_000, 50_000)  # Hz; other rates are brought to WORKING_RATE for the search of the period
WORKING_RATE = 48_000
EDGE = 5500.0  # Hz: what lies above is left out of the search
CHUNK = 256  # frames at once


@dataclass(frozen=True, slots=True)
class PitchTrack:
    """Pitch at equal steps of time. All (n,).

    times: s, the middle of what is judged. frequencies: Hz, NaN where there is no pitch. confidence: 0 to 1, the share
    of the sound that repeats itself. levels: RMS, dB of full scale. silent: below the level of silence.
    octave_doubts: the pitch may be an octave off.
    """

    times: Floats
    frequencies: Floats
    confidence: Floats
    levels: Floats
    silent: NDArray[np.bool_]
    octave_doubts: NDArray[np.bool_]


def track_pitch(
    samples: Floats,
    sample_rate: float,
    silence: float = SILENCE,
    progress: Callable[[float], None] = lambda share: None,
) -> PitchTrack:
    """The pitch of `samples`, (n,), full scale 1, every STEP; `silence`: dB of full scale, RMS.

    progress: hears the share of the time that is searched.

    Raises ValueError for samples that are not finite or a rate below 8 kHz.
    """
    sound = np.asarray(samples, dtype=np.float64)
    if sound.ndim != 1 or not np.isfinite(sound).all():
        raise ValueError("samples must be finite numbers, shape (n,)")
    if positive("sample_rate", sample_rate) < 8000.0:
        raise ValueError(f"sample_rate must be at least 8000 Hz; got {sample_rate:g}")
    low, rate = _searched(sound, sample_rate)
    longest = math.ceil(rate / LOWEST) + 2
    window = round(WINDOW * rate)
    half = (window + longest) // 2
    count = int(sound.size / sample_rate / STEP)
    times = np.asarray((np.arange(count) + 0.5) * STEP)
    starts = np.round(times * rate).astype(np.int64) - half
    padded = np.pad(low, (half + 1, half + longest + window))
    parts = []
    for chunk in _chunks(count):
        parts.append(_periods(padded, starts[chunk] + half + 1, window, longest, rate))
        progress(min(chunk.stop / count, 1.0))
    parts = parts or [(np.empty(0), np.empty(0), np.empty(0, dtype=np.bool_))]
    coarse, dips, doubts = (np.concatenate(part) for part in zip(*parts, strict=True))
    levels = _levels(sound, sample_rate, times)
    silent = levels < silence
    heard = np.isfinite(coarse) & ~silent
    frequencies = np.full(count, np.nan)
    frequencies[heard] = _refined(sound - sound.mean() if count else sound, sample_rate, times[heard], coarse[heard])
    confidence = np.where(silent, 0.0, np.clip(1.0 - dips, 0.0, 1.0))
    return PitchTrack(times, frequencies, confidence, levels, silent, doubts & heard)


def _searched(sound: Floats, sample_rate: float) -> tuple[Floats, float]:
    """The sound as the period is searched in it: nothing above EDGE, at a rate that resolves short periods."""
    rate = float(sample_rate)
    if not WORKING_RATES[0] <= rate <= WORKING_RATES[1]:
        divisor = math.gcd(round(rate), WORKING_RATE)
        up, down = WORKING_RATE // divisor, round(rate) // divisor
        sound, rate = resample_poly(sound, up, down), rate * up / down
    taps = firwin(129, EDGE, fs=rate)
    return np.asarray(oaconvolve(sound, taps, mode="same") if sound.size else sound), rate


def _chunks(count: int) -> Iterator[slice]:
    return (slice(start, start + CHUNK) for start in range(0, count, CHUNK))


def _levels(sound: Floats, sample_rate: float, times: Floats) -> Floats:
    """RMS about the mean, dB of full scale, over WINDOW around each time."""
    half = max(round(0.5 * WINDOW * sample_rate), 1)
    middle = np.round(times * sample_rate).astype(np.int64)
    first, last = np.clip(middle - half, 0, sound.size), np.clip(middle + half, 0, sound.size)
    sums, squares = (np.concatenate([[0.0], np.cumsum(part)]) for part in (sound, sound * sound))
    size = np.maximum(last - first, 1)
    power = (squares[last] - squares[first]) / size - ((sums[last] - sums[first]) / size) ** 2
    return np.asarray(10.0 * np.log10(np.maximum(power, 1e-20)))


def _periods(
    padded: Floats, starts: Ints, window: int, longest: int, rate: float
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Frequency, Hz (NaN for none), depth of the dip and whether the octave is in doubt, of frames that begin there."""
    frames = padded[starts[:, None] + np.arange(window + longest)]
    frames = frames - frames.mean(axis=1, keepdims=True)
    curve = _normalised_difference(frames, window, longest)
    shortest = max(int(rate / HIGHEST), 2)
    inner = curve[:, 1:-1]
    is_dip = (inner <= curve[:, :-2]) & (inner < curve[:, 2:])
    is_dip[:, : shortest - 2] = False
    lags, depths = _parabola(curve)
    depths = np.where(is_dip, depths, np.inf)
    rows = np.arange(len(frames))
    place = np.argmax(depths <= np.maximum(depths.min(axis=1) + AS_DEEP, DIP)[:, None], axis=1)
    depth, lag = depths[rows, place], lags[rows, place]
    none = ~(depth < NOTHING)
    before = np.arange(depths.shape[1]) < place[:, None]
    doubt = np.where(before, depths, np.inf).min(axis=1) < ALMOST
    return np.where(none, np.nan, rate / lag), np.where(none, 1.0, depth), doubt & ~none


def _normalised_difference(frames: Floats, window: int, longest: int) -> Floats:
    """d' of every frame, (m, longest), at lags 0, 1, ...; 1 at lag 0."""
    size = 1 << (window + longest - 1).bit_length()
    spectrum = np.fft.rfft(frames, size)
    head = np.fft.rfft(frames[:, :window], size)
    products = np.fft.irfft(spectrum * np.conj(head), size)[:, :longest]
    squares = np.concatenate([np.zeros((len(frames), 1)), np.cumsum(frames * frames, axis=1)], axis=1)
    powers = squares[:, window : window + longest] - squares[:, :longest]
    difference: Floats = np.maximum(powers[:, :1] + powers - 2.0 * products, 0.0)
    mean = np.cumsum(difference[:, 1:], axis=1) / np.arange(1, longest)
    curve = np.ones_like(difference)
    np.divide(difference[:, 1:], mean, out=curve[:, 1:], where=mean > 0.0)
    return curve


def _parabola(curve: Floats) -> tuple[Floats, Floats]:
    """Lag and depth of the vertex through each point and its two neighbours, (m, n - 2)."""
    left, middle, right = curve[:, :-2], curve[:, 1:-1], curve[:, 2:]
    bend = left - 2.0 * middle + right
    shift = np.clip(np.divide(0.5 * (left - right), bend, out=np.zeros_like(bend), where=bend > 0.0), -0.5, 0.5)
    lags = np.asarray(np.arange(1, curve.shape[1] - 1) + shift)
    return lags, middle - 0.25 * (left - right) * shift


def _refined(sound: Floats, sample_rate: float, times: Floats, coarse: Floats) -> Floats:
    """Frequencies by phase, Hz, from `coarse` ones, which may be those of two or three periods."""
    near = np.array(coarse)
    power = np.abs(harmonics_around(sound, sample_rate, times, near)) ** 2
    total = power.sum(axis=1)
    for count in (2, 3):
        others = power[:, np.arange(1, power.shape[1] + 1) % count > 0].sum(axis=1)
        near[(others < EMPTY * total) & (count * near < HIGHEST)] *= count
    found = by_phase(sound, sample_rate, times, near)
    moved = np.abs(found - near) > MOVED * near
    found[moved] = by_phase(sound, sample_rate, times[moved], found[moved])
    return found
