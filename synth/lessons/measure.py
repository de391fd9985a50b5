"""Read the lines back from a finished sound: what each claim of a stage comes to in the samples."""

from __future__ import annotations

import numpy as np

from models.arrays import Floats
from synth.lessons.passage import SAMPLE_RATE
from synth.lessons.stage import Claim

# minimum four-term Blackman-Harris window, side lobes below -92 dB: F. J. Harris, Proc. IEEE 66 (1978) 51 (from memory)
_TERMS = (0.35875, -0.48829, 0.14128, -0.01168)
_FLOOR = 1e-9


def _window(size: int) -> Floats:
    turn = 2.0 * np.pi * (np.arange(size) + 0.5) / size
    return np.asarray(sum(term * np.cos(order * turn) for order, term in enumerate(_TERMS)))


def stretch(samples: Floats, start: float, end: float) -> Floats:
    """The samples from `start` to `end` (s)."""
    return samples[round(start * SAMPLE_RATE) : round(end * SAMPLE_RATE)]


def spectrum(samples: Floats, padding: int = 4) -> tuple[Floats, Floats]:
    """Frequencies (Hz) and amplitudes of lines (peak, in units of the samples); the mean is taken off first.

    `padding`: how many times finer than the samples alone would give.
    """
    from scipy.fft import next_fast_len, rfft

    window = _window(samples.size)
    count = next_fast_len(padding * samples.size, real=True)
    bins = rfft((samples - samples.mean()) * window, n=count)
    places = np.fft.rfftfreq(count, 1.0 / SAMPLE_RATE)
    return np.asarray(places, dtype=np.float64), np.asarray(2.0 * np.abs(bins) / window.sum(), dtype=np.float64)


def amplitude(samples: Floats, frequency: float) -> float:
    """Peak amplitude of the line at exactly `frequency` (Hz); the mean is taken off first."""
    window = _window(samples.size)
    turning = np.exp(-2j * np.pi * frequency / SAMPLE_RATE * np.arange(samples.size))
    return float(2.0 * abs(np.sum((samples - samples.mean()) * window * turning)) / window.sum())


def measured(claims: tuple[Claim, ...], sound: Floats) -> tuple[float, ...]:
    """What each claim's stretch of the sound shows, in dB.

    line, absent: the level at the frequency against the strongest line. softer, silent: the peak against the stage's.
    beat: the swing of the squared sound at the frequency against its mean, 0 dB for two tones of equal strength.
    """
    lined = {(claim.start, claim.end) for claim in claims if claim.kind in ("line", "absent")}
    strongest = {span: spectrum(stretch(sound, *span))[1].max() for span in lined}
    return tuple(_measured(claim, sound, strongest.get((claim.start, claim.end), 1.0)) for claim in claims)


def _measured(claim: Claim, sound: Floats, strongest: float) -> float:
    piece = stretch(sound, claim.start, claim.end)
    if claim.kind in ("softer", "silent"):
        return _level(np.abs(piece).max() / np.abs(sound).max())
    if claim.kind == "beat":
        return _level(amplitude(piece**2, claim.frequency) / float(np.mean(piece**2)))
    return _level(amplitude(piece, claim.frequency) / strongest)


def _level(ratio: float) -> float:
    return float(20.0 * np.log10(max(ratio, _FLOOR)))
