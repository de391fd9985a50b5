"""From an oscillator's detuning to the loudness: resonance curve, peak rectifier, gain element steered by a current.

Resonator. How much of a signal passes one that is not quite in tune with it, the universal resonance curve.
Symbols: f frequency of the signal, f0 of the resonator, Hz; Q = 2 pi f0 L / r of inductance L, capacitance and loss r
in series; y = f/f0 - f0/f (the detuning, near resonance twice the relative offset); H current over that at resonance.
    H = 1 / sqrt(1 + Q^2 y^2)
Exact for the current of a series circuit at a constant voltage, or the voltage of a parallel one (loss in parallel) at
a constant current. Source: F. E. Terman, Radio Engineers' Handbook, 1943, sect. 3 (from memory).

Rectifier and gain element.
Symbols: A peak of the radio signal, V_d drop of the diode, V_c control voltage, V_t threshold, V_f full, all V; g gain.
    V_c = max(A - V_d, 0),   g = (V_c - V_t) / (V_f - V_t), held within 0..1
The gain element is one whose gain is proportional to its current (a transconductance stage: gm = I / V_T for a bipolar
pair, any textbook), fed through a resistor from V_c less the threshold, and which has all its current at V_f. In dB the
law is steep near silence and flat near full: 20 log10 g.

Neglected: the lag of the rectifier (its `time_constant` is of the order of the voice's 5 ms, which stands in its
place), the ripple and the loss of peak that its load makes between two peaks, the bend of the diode's curve (below
some tenths of a volt), and the round corners of a real stage at silence and full.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import finite_array, fraction, non_negative, non_negative_array, positive, positive_array
from models.quick_dataclass import dataclass


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


@dataclass(frozen=True, slots=True)
class PeakRectifier:
    """A diode into a capacitor with its load.

    amplitude: V, peak of the signal with the resonator exactly in tune. diode_drop: V. resistance: ohm, the load.
    capacitance: F.
    """

    amplitude: float = 8.0
    diode_drop: float = 0.3
    resistance: float = 100e3
    capacitance: float = 22e-9

    def __post_init__(self) -> None:
        for name in ("amplitude", "resistance", "capacitance"):
            object.__setattr__(self, name, positive(name, getattr(self, name)))
        object.__setattr__(self, "diode_drop", non_negative("diode_drop", self.diode_drop))

    @property
    def time_constant(self) -> float:
        """R C, s: the time in which the control voltage falls to 37 % once the signal is gone."""
        return self.resistance * self.capacitance

    @property
    def highest(self) -> float:
        """Control voltage with the resonator in tune, V."""
        return max(self.amplitude - self.diode_drop, 0.0)

    def voltage(self, response: ArrayLike) -> Floats:
        """Control voltage, V, at this share of the amplitude (0 to 1, any shape)."""
        share = non_negative_array("response", response)
        return np.asarray(np.maximum(self.amplitude * share - self.diode_drop, 0.0))

    def response_for(self, voltage: ArrayLike) -> Floats:
        """The share of the amplitude that gives this control voltage, V > 0 (may be above 1: out of reach)."""
        return np.asarray((non_negative_array("voltage", voltage) + self.diode_drop) / self.amplitude)


@dataclass(frozen=True, slots=True)
class GainStage:
    """Silent up to the control voltage `threshold`, at full gain 1 from `full` upwards, V; linear between."""

    threshold: float = 2.5
    full: float = 6.8

    def __post_init__(self) -> None:
        object.__setattr__(self, "threshold", non_negative("threshold", self.threshold))
        object.__setattr__(self, "full", positive("full", self.full))
        if not self.full > self.threshold:
            raise ValueError(f"full must be > threshold = {self.threshold:g} V; got {self.full:g}")

    def gain(self, voltage: ArrayLike) -> Floats:
        """Gain, 0 to 1, at a control voltage, V (any shape)."""
        share = (finite_array("voltage", voltage) - self.threshold) / (self.full - self.threshold)
        return np.asarray(np.clip(share, 0.0, 1.0))

    def voltage_for(self, gain: float) -> float:
        """Control voltage, V, at which the gain (0 to 1) is just reached: the threshold for 0."""
        return self.threshold + fraction("gain", gain) * (self.full - self.threshold)
