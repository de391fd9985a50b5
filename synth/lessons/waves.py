"""The waves behind a sound, to be drawn one under the other: two that are added, their sum, bent, and the tone left.

Symbols: t1, t2 the phases of the two waves, rad; m the second's amplitude over the first's; c curvature; x the first
wave's drive, over kT/q; phi = t1 - t2.

| bend | the bent wave of the sum s = cos t1 + m cos t2 | the tone behind the filter |
|---|---|---|
| none | - | - |
| square | s + c s^2 | c m cos(phi) |
| rectified | max(s, 0) | E / pi, E = sqrt(1 + m^2 + 2 m cos(phi)) |
| product | 2 m cos t1 cos t2 | m cos(phi) |
| squared | s^2 | m cos(phi) |
| exponential | exp(x s), over its highest | I0(x E), over the same |

The last column is the bent wave's mean over a cycle of the first wave; of the square law without its steady part, of
the rectifier with it (max(cos, 0) is 1 / pi in the mean). The page draws them by the same table; a test compares what
it draws with `models.detector`.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from models.arrays import Floats
from models.checks import fraction, non_negative, one_of, positive
from models.detector.memoryless import envelope_waveform
from models.pulling import pulled_beat
from models.quick_dataclass import dataclass

BENDS = ("none", "square", "rectified", "product", "squared", "exponential")
HEARD = ("sum", "bent", "filtered")


@dataclass(frozen=True, slots=True)
class Tone:
    """A frequency that follows the value v: `steady` + `share` v, Hz."""

    steady: float
    share: float

    def at(self, value: Floats) -> Floats:
        """The frequency, Hz; broadcasts."""
        return np.asarray(self.steady + self.share * value)


@dataclass(frozen=True, slots=True)
class Waves:
    """The two waves, `ratio` m of their amplitudes, how their sum is bent, and which of the drawn waves is heard.

    `lock_range`: Hz within which they pull into step. `slowed`: how many times slower than these waves the sound is.
    """

    first: Tone
    second: Tone
    ratio: float = 1.0
    bend: str = "none"
    heard: str = "sum"
    curvature: float = 0.0
    lock_range: float = 0.0
    slowed: float = 1.0
    drive: float = 1.0

    def __post_init__(self) -> None:
        fraction("ratio", self.ratio)
        one_of("bend", self.bend, BENDS)
        one_of("heard", self.heard, HEARD)
        non_negative("curvature", self.curvature)
        non_negative("lock_range", self.lock_range)
        positive("slowed", self.slowed)
        positive("drive", self.drive)

    def frequencies(self, value: float) -> tuple[float, float]:
        """Both waves, Hz, at a value."""
        at = np.asarray(value)
        return float(self.first.at(at)), float(self.second.at(at))

    def beat(self, value: float) -> float:
        """How often they beat, Hz, pulled, signed; 0 where one of them is missing."""
        one, two = self.frequencies(value)
        return float(pulled_beat(one - two, self.lock_range)) if self.ratio else 0.0

    def envelope(self, phase: Floats) -> Floats:
        """E: the size of the sum at a phase between the waves, rad."""
        return envelope_waveform(phase, self.ratio)

    def bent(self, one: Floats, two: Floats) -> Floats:
        """The bent wave at the phases of both waves, rad; the sum itself where nothing bends it."""
        if self.bend == "product":
            return np.asarray(2.0 * self.ratio * np.cos(one) * np.cos(two))
        return self._bent(np.cos(one) + self.ratio * np.cos(two))

    def bent_band(self, phase: Floats) -> tuple[Floats, Floats]:
        """What the bent wave fills, from lowest to highest, where the waves turn too fast to be drawn."""
        if self.bend == "product":
            middle = self.ratio * np.cos(phase)
            return middle - self.ratio, middle + self.ratio
        size = self.envelope(phase)
        lowest = -size
        if self.bend in ("rectified", "squared"):
            lowest = np.zeros_like(size)
        elif self.bend == "square" and self.curvature > 0.0:
            lowest = np.maximum(lowest, -0.5 / self.curvature)
        return self._bent(lowest), self._bent(size)

    def _bent(self, total: Floats) -> Floats:
        if self.bend == "square":
            return np.asarray(total + self.curvature * total**2)
        if self.bend == "rectified":
            return np.maximum(total, 0.0)
        if self.bend == "squared":
            return np.asarray(total**2)
        if self.bend == "exponential":
            return np.exp(self.drive * (total - 1.0 - self.ratio))
        return total

    def tone(self, phase: Floats) -> Floats:
        """The tone behind the filter at a phase between the waves, rad."""
        if self.bend == "rectified":
            return np.asarray(self.envelope(phase) / math.pi)
        if self.bend == "exponential":
            from scipy.special import i0e  # heavy, and only for this wave

            reach = self.drive * self.envelope(phase)
            return np.asarray(i0e(reach) * np.exp(reach - self.drive * (1.0 + self.ratio)))
        strength = self.curvature if self.bend == "square" else 1.0
        return np.asarray(strength * self.ratio * np.cos(phase))

    def driven(self, drive: float) -> Waves:
        """The same at an exponential junction with that drive."""
        return replace(self, drive=drive)


def oscillators(reference: float, lock_range: float, bend: str = "product", ratio: float = 1.0) -> Waves:
    """A reference (Hz) and a variable oscillator below it by the value, behind a detector, as in an instrument."""
    return Waves(Tone(reference, 0.0), Tone(reference, -1.0), ratio, bend, "filtered", lock_range=lock_range)
