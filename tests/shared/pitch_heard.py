"""The pitch of recorded sound, for tests that listen."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def pitch_of(samples: NDArray[np.float64], rate: float = 48000.0) -> float:
    """Frequency of the strongest partial, Hz, by a parabola through the logarithms around the spectrum's peak."""
    levels = np.log(np.abs(np.fft.rfft(samples * np.hanning(samples.size))) + 1e-12)
    peak = int(np.argmax(levels[:-1]))
    left, middle, right = levels[peak - 1 : peak + 2]
    return float((peak + 0.5 * (left - right) / (left - 2.0 * middle + right)) * rate / samples.size)
