"""Sounds whose pitch is known: notes with overtones, noise, hum, vibrato and reverberation."""

from __future__ import annotations

import numpy as np

from models.arrays import Floats

RATE = 48000
VOICES = {
    "sine": (1.0,),
    "bright": (1.0, 0.5, 0.3, 0.2, 0.1),
    "weak fundamental": (0.35, 1.0, 0.6, 0.3),
    "odd": (1.0, 0.0, 0.3, 0.0, 0.2),
    "third loudest": (0.3, 0.5, 1.0, 0.5, 0.3),
}


def voiced(frequencies: Floats, amplitudes: tuple[float, ...] = (1.0,), rate: int = RATE) -> Floats:
    """A voice whose frequency, Hz, at each sample is given; overtones near half the rate left out."""
    phase = 2.0 * np.pi * np.cumsum(frequencies) / rate
    order = [k for k in range(1, len(amplitudes) + 1) if k * frequencies.max() < 0.45 * rate]
    return np.asarray(0.1 * sum(amplitudes[k - 1] * np.sin(k * phase + 0.7 * k) for k in order))


def note(frequency: float, seconds: float = 0.5, voice: str = "sine", vibrato: float = 0.0, rate: int = RATE) -> Floats:
    """A note at rest; `vibrato`: each way, cents, at 6.3 Hz."""
    times = np.arange(round(seconds * rate)) / rate
    return voiced(frequency * 2.0 ** (vibrato * np.sin(2.0 * np.pi * 6.3 * times) / 1200.0), VOICES[voice], rate)


def disturbed(sound: Floats, noise: float = 20.0, hum: float = 20.0, mains: float = 50.0, seed: int = 1) -> Floats:
    """`sound` with white noise and hum with a second harmonic, each so many dB below it (RMS)."""
    level = float(np.sqrt(np.mean(sound**2)))
    times = np.arange(sound.size) / RATE
    waves = np.sqrt(2.0) * np.sin(2.0 * np.pi * mains * times + 0.3) + 0.7 * np.sin(4.0 * np.pi * mains * times)
    rough = np.random.default_rng(seed).normal(size=sound.size)
    return np.asarray(sound + level * (10.0 ** (-noise / 20.0) * rough + 10.0 ** (-hum / 20.0) * waves))


def reverberated(sound: Floats, seconds: float = 0.6, share: float = 0.3) -> Floats:
    """`sound` in a room: noise that decays by 60 dB in `seconds`, `share` of the direct sound's energy."""
    times = np.arange(round(seconds * RATE)) / RATE
    tail = np.random.default_rng(2).normal(size=times.size) * 10.0 ** (-3.0 * times / seconds)
    tail *= np.sqrt(share / np.sum(tail**2))
    tail[0] += 1.0
    size = 1 << (sound.size + tail.size).bit_length()
    return np.asarray(np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(tail, size), size)[: sound.size])


def scale_of(frequencies: tuple[float, ...], rest: float = 0.7, slide: float = 0.2, voice: str = "bright") -> Floats:
    """Notes at rest with slides between them."""
    pieces = []
    for one, other in zip(frequencies, (*frequencies[1:], None), strict=True):
        pieces.append(np.full(round(rest * RATE), one))
        if other is not None:
            pieces.append(np.geomspace(one, other, round(slide * RATE)))
    return voiced(np.concatenate(pieces), VOICES[voice])
