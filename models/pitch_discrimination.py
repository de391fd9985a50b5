"""The smallest change of pitch a listener hears.

Source: C. C. Wier, W. Jesteadt and D. M. Green, J. Acoust. Soc. Am. 61 (1977) 178, their straight line for tones 40 dB
above threshold (from memory):

    log10(limen / Hz) = 0.026 sqrt(frequency / Hz) - 0.533

for pure tones heard one after the other by practised listeners, measured from 200 Hz to 8 kHz. Beyond these ends the
line is only carried on. Neglected: level, and that tones with overtones are told apart better at low frequencies
(B. C. J. Moore, An Introduction to the Psychology of Hearing, from memory), so that below 200 Hz the line gives more
than the ear needs; and that a pitch which trembles is judged otherwise than two steady ones.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.checks import positive_array

Floats = NDArray[np.float64]
MEASURED_FROM, MEASURED_TO = 200.0, 8000.0  # Hz
_SLOPE, _START = 0.026, -0.533


def frequency_limen(frequency: ArrayLike) -> Floats:
    """Smallest difference heard at a frequency, both Hz; broadcasts. ValueError unless the frequency is > 0."""
    return np.asarray(10.0 ** (_SLOPE * np.sqrt(positive_array("frequency", frequency)) + _START))


def limen_cents(frequency: ArrayLike) -> Floats:
    """The same as an interval upwards, cents."""
    return np.asarray(1200.0 / math.log(2.0) * np.log1p(frequency_limen(frequency) / np.asarray(frequency)))
