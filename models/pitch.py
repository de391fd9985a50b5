"""Musical pitch: frequencies, note numbers, cents and note names in twelve-tone equal temperament.

Note numbers count semitones with 69 for A4, whose frequency is `reference_a` (440 Hz, ISO 16). Middle C is
C4, number 60.

`frequency_limen`: the smallest change of pitch a listener hears. Source: C. C. Wier, W. Jesteadt and D. M. Green,
J. Acoust. Soc. Am. 61 (1977) 178, their straight line for tones 40 dB above threshold (from memory):

    log10(limen / Hz) = 0.026 sqrt(frequency / Hz) - 0.533

for pure tones heard one after the other by practised listeners, measured from 200 Hz to 8 kHz. Beyond these ends the
line is only carried on. Neglected: level, and that tones with overtones are told apart better at low frequencies
(B. C. J. Moore, An Introduction to the Psychology of Hearing, from memory), so that below 200 Hz the line gives more
than the ear needs; and that a pitch which trembles is judged otherwise than two steady ones.
"""

from __future__ import annotations

import math
import re

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import finite, finite_array, positive, positive_array

REFERENCE_A = 440.0  # Hz, ISO 16
NOTE_OF_A4 = 69
NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_SHIFTS = {"": 0, "#": 1, "\N{MUSIC SHARP SIGN}": 1, "b": -1, "\N{MUSIC FLAT SIGN}": -1}
_NOTE = re.compile(r"([A-Ga-g])([#b\N{MUSIC SHARP SIGN}\N{MUSIC FLAT SIGN}]?)(-?\d{1,2})")


def frequency_of_note(number: ArrayLike, reference_a: float = REFERENCE_A) -> Floats:
    """Frequency in Hz of a note number (whole or not), reference_a 2^((number - 69) / 12); broadcasts."""
    steps = (finite_array("number", number) - NOTE_OF_A4) / 12.0
    return np.asarray(positive("reference_a", reference_a) * np.exp2(steps))


def note_number(frequency: ArrayLike, reference_a: float = REFERENCE_A) -> Floats:
    """Note number (not rounded) of a frequency in Hz; the inverse of `frequency_of_note`; broadcasts."""
    ratio = positive_array("frequency", frequency) / positive("reference_a", reference_a)
    return np.asarray(NOTE_OF_A4 + 12.0 * np.log2(ratio))


def cents(frequency: ArrayLike, reference: ArrayLike) -> Floats:
    """Interval from `reference` up to `frequency` (Hz both) in cents, 1200 to the octave; broadcasts."""
    return np.asarray(1200.0 * np.log2(positive_array("frequency", frequency) / positive_array("reference", reference)))


def from_line(pitches: ArrayLike, places: ArrayLike | None = None, weights: Floats | None = None) -> Floats:
    """By how much pitches leave their least-squares straight line against `places`, along the last axis (m,).

    None: evenly spaced places, all counting alike. The unit is that of the pitches; ValueError where one is not finite.
    """
    values = finite_array("pitches", pitches)
    if places is None:
        steps = np.arange(values.shape[-1]) - 0.5 * (values.shape[-1] - 1)
    else:
        steps = np.asarray(places, dtype=np.float64)
        steps = steps - np.average(steps, weights=weights)
    pull = steps if weights is None else weights * steps
    centred = values - np.average(values, axis=-1, weights=weights)[..., None]
    slope = (centred @ pull / (steps @ pull))[..., None]
    return np.asarray(centred - slope * steps)


def rms_from_line(pitches: ArrayLike, places: ArrayLike | None = None, weights: Floats | None = None) -> Floats:
    """RMS of `from_line` along the last axis."""
    return np.asarray(np.sqrt(np.average(from_line(pitches, places, weights) ** 2, axis=-1, weights=weights)))


def note_name(number: float) -> str:
    """Name of the nearest note to a note number, with sharps and the octave: 69 is "A4", 61 is "C#4"."""
    nearest = math.floor(finite("number", number) + 0.5)
    octave, step = divmod(nearest, 12)
    return f"{NAMES[step]}{octave - 1}"


def parse_note(name: str) -> int:
    """Note number of a name such as "C#4", "Db4" or "a-1" (# or b or the musical signs); else ValueError."""
    found = _NOTE.fullmatch(name.strip()) if isinstance(name, str) else None
    if found is None:
        raise ValueError(f"note must be a letter A to G, an optional # or b, an octave (C#4); got {name!r}")
    letter, sign, octave = found.groups()
    return NAMES.index(letter.upper()) + _SHIFTS[sign] + 12 * (int(octave) + 1)


def nearest_note(frequency: float, reference_a: float = REFERENCE_A) -> tuple[str, float]:
    """Name of the note nearest to a frequency (Hz), and the cents the frequency lies above it (-50 to 50)."""
    number = float(note_number(positive("frequency", frequency), reference_a))
    nearest = math.floor(number + 0.5)
    return note_name(nearest), 100.0 * (number - nearest)


MEASURED_FROM, MEASURED_TO = 200.0, 8000.0  # Hz
_SLOPE, _START = 0.026, -0.533


def frequency_limen(frequency: ArrayLike) -> Floats:
    """Smallest difference heard at a frequency, both Hz; broadcasts. ValueError unless the frequency is > 0."""
    return np.asarray(10.0 ** (_SLOPE * np.sqrt(positive_array("frequency", frequency)) + _START))


def limen_cents(frequency: ArrayLike) -> Floats:
    """The same as an interval upwards, cents."""
    return np.asarray(1200.0 / math.log(2.0) * np.log1p(frequency_limen(frequency) / np.asarray(frequency)))
