"""From the resonator's signal to the loudness: a peak rectifier and a gain element steered by a current.

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

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.checks import finite_array, fraction, non_negative, non_negative_array, positive

Floats = NDArray[np.float64]


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
