"""The universal resonance curve: how much of a signal passes a resonator that is not quite in tune with it.

Symbols: f frequency of the signal, f0 of the resonator, Hz; Q = 2 pi f0 L / r of inductance L, capacitance and loss r
in series; y = f/f0 - f0/f (the detuning, near resonance twice the relative offset); H current over that at resonance.
    H = 1 / sqrt(1 + Q^2 y^2)
Exact for the current of a series circuit at a constant voltage, or the voltage of a parallel one (loss in parallel) at
a constant current. Source: F. E. Terman, Radio Engineers' Handbook, 1943, sect. 3 (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.checks import positive_array

Floats = NDArray[np.float64]


def detuning(frequency: ArrayLike, resonant_frequency: ArrayLike) -> Floats:
    """y = f/f0 - f0/f, negative below resonance; broadcasts."""
    ratio = positive_array("frequency", frequency) / positive_array("resonant_frequency", resonant_frequency)
    return np.asarray(ratio - 1.0 / ratio)


def resonance_response(frequency: ArrayLike, resonant_frequency: ArrayLike, quality_factor: ArrayLike) -> Floats:
    """H at a frequency (Hz), 0 to 1; broadcasts."""
    quality = positive_array("quality_factor", quality_factor)
    return np.asarray(1.0 / np.hypot(1.0, quality * detuning(frequency, resonant_frequency)))


def response_slope(frequency: ArrayLike, resonant_frequency: ArrayLike, quality_factor: ArrayLike) -> Floats:
    """dH/df = -H^3 Q^2 y (1/f0 + f0/f^2), 1/Hz: positive below resonance; broadcasts."""
    f, f0 = positive_array("frequency", frequency), positive_array("resonant_frequency", resonant_frequency)
    quality = positive_array("quality_factor", quality_factor)
    response = resonance_response(f, f0, quality)
    return np.asarray(-(response**3) * quality**2 * detuning(f, f0) * (1.0 / f0 + f0 / f**2))


def lower_flank_frequency(response: ArrayLike, resonant_frequency: ArrayLike, quality_factor: ArrayLike) -> Floats:
    """The frequency below resonance (or at it) with this H, Hz; broadcasts. H must be above 0 and at most 1.

    y = -sqrt(1/H^2 - 1) / Q,  f = f0 (y/2 + sqrt(1 + y^2/4)), the inverse of `resonance_response`.
    """
    wanted = positive_array("response", response)
    if (wanted > 1.0).any():
        raise ValueError(f"response must be at most 1; got {wanted.max():g}")
    half = -0.5 * np.sqrt((1.0 - wanted) * (1.0 + wanted)) / (wanted * positive_array("quality_factor", quality_factor))
    root = np.sqrt(1.0 + half**2)
    # half is negative: 1 / (root - half) is root + half without its cancellation
    return np.asarray(positive_array("resonant_frequency", resonant_frequency) / (root - half))
