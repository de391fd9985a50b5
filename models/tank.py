"""The tuned circuit of an oscillator: an inductor with its fixed, stray and trimmer capacitance in parallel.

Symbols: L inductance, C total capacitance, f resonant frequency, Q quality factor.

Neglected: the load of the transistor and its harmonics (the oscillator's affair), and the loss of the coil: a
tank left to ring does so about f / (8 Q^2) below f, one whose loss is made good by a negative conductance
across it swings about f / (2 Q^2) below f (both exactly in `models.branch.loss`).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import fraction, non_negative, non_negative_array, positive, positive_array
from models.inductor import series_resistance
from models.quick_dataclass import dataclass


def resonant_frequency(inductance: ArrayLike, capacitance: ArrayLike) -> Floats:
    """Frequency in Hz at which an inductance (H) resonates with a capacitance (F); broadcasts.

    f = 1 / (2 pi sqrt(L C)), W. Thomson 1853 (from memory); lossless.
    """
    # the two roots apart: the product of a small L and a small C may underflow
    root = np.sqrt(positive_array("inductance", inductance))
    root = root * np.sqrt(positive_array("capacitance", capacitance))
    return np.asarray(1.0 / (2.0 * math.pi * root))


def frequency_slope(inductance: ArrayLike, capacitance: ArrayLike) -> Floats:
    """Change of the resonant frequency with capacitance, Hz per F (always negative); broadcasts.

    df/dC = -f / (2 C), the derivative of `resonant_frequency`.
    """
    total = positive_array("capacitance", capacitance)
    return np.asarray(-resonant_frequency(inductance, total) / (2.0 * total))


def required_capacitance(inductance: ArrayLike, frequency: ArrayLike) -> Floats:
    """Capacitance in F that tunes an inductance (H) to a frequency (Hz); broadcasts.

    C = 1 / ((2 pi f)^2 L), the inverse of `resonant_frequency`.
    """
    angular_frequency = 2.0 * math.pi * positive_array("frequency", frequency)
    return np.asarray(1.0 / angular_frequency / angular_frequency / positive_array("inductance", inductance))


def capacitance_shift(capacitance: ArrayLike, before: ArrayLike, after: ArrayLike) -> Floats:
    """Capacitance in F added to a tank of `capacitance` (F, all of it) that moved its frequency, Hz; broadcasts.

    C ((f_before / f_after)^2 - 1), from `resonant_frequency` with the inductance as it was; for small shifts
    -2 C df / f. Neglected: what loss and transistor add to the frequency before and after, as
    in all of this module.
    """
    ratio = positive_array("before", before) / positive_array("after", after)
    return np.asarray(positive_array("capacitance", capacitance) * (ratio - 1.0) * (ratio + 1.0))


@dataclass(frozen=True, slots=True)
class Tank:
    """One oscillator's tank. Inductance in H, all capacitances in F and in parallel.

    `capacitance` is the fixed capacitor, `board_stray` whatever the layout, the coil and the transistor's junctions
    add, and the trimmer runs linearly from `trimmer_minimum` to `trimmer_maximum` as `trimmer_setting` goes
    from 0 to 1. `quality_factor` is that of the coil at the tank's own frequency. Raises ValueError for a
    value out of its domain, for an upside-down trimmer and for a tank with no capacitance.
    """

    inductance: float
    capacitance: float
    board_stray: float = 0.0
    trimmer_minimum: float = 0.0
    trimmer_maximum: float = 0.0
    trimmer_setting: float = 0.5
    quality_factor: float = 100.0

    def __post_init__(self) -> None:
        positive("inductance", self.inductance)
        for name in ("capacitance", "board_stray", "trimmer_minimum", "trimmer_maximum"):
            non_negative(name, getattr(self, name))
        fraction("trimmer_setting", self.trimmer_setting)
        if not positive("quality_factor", self.quality_factor) > 1.0:
            raise ValueError(f"quality_factor must be > 1; got {self.quality_factor:g}")
        if self.trimmer_maximum < self.trimmer_minimum:
            raise ValueError(
                f"trimmer_maximum must be >= trimmer_minimum ({self.trimmer_minimum:g}); got {self.trimmer_maximum:g}"
            )
        positive("total capacitance", self.total_capacitance)

    @property
    def trimmer_capacitance(self) -> float:
        """Capacitance of the trimmer as set, F."""
        return self.trimmer_minimum + self.trimmer_setting * (self.trimmer_maximum - self.trimmer_minimum)

    @property
    def total_capacitance(self) -> float:
        """Everything in parallel with the inductor, F."""
        return self.capacitance + self.board_stray + self.trimmer_capacitance

    @property
    def frequency(self) -> float:
        """Resonant frequency as set, Hz (lossless)."""
        return float(resonant_frequency(self.inductance, self.total_capacitance))

    @property
    def series_resistance(self) -> float:
        """Loss of the coil as a resistance in series with it, ohm, at the tank's own frequency."""
        return float(series_resistance(self.inductance, self.quality_factor, self.frequency))

    def with_trimmer(self, setting: float) -> Tank:
        """The same tank with its trimmer at `setting` (0 to 1)."""
        return replace(self, trimmer_setting=fraction("trimmer setting", setting))

    def trimmer_range(self) -> tuple[float, float]:
        """Lowest and highest frequency the trimmer reaches, Hz."""
        return self.with_trimmer(1.0).frequency, self.with_trimmer(0.0).frequency

    def setting_for(self, frequency: float) -> float:
        """Trimmer setting (0 to 1) that gives `frequency` (Hz).

        Raises ValueError naming both ends of the range if the trimmer does not reach it. A trimmer of no span
        reaches its one frequency only (to 1 part in 1e12), and then stays as set.
        """
        wanted = positive("frequency", frequency)
        lowest, highest = self.trimmer_range()
        span = self.trimmer_maximum - self.trimmer_minimum
        slack = 1e-12 * wanted
        if not lowest - slack <= wanted <= highest + slack:
            raise ValueError(
                f"frequency must be within the trimmer's range {lowest:.2f} to {highest:.2f} Hz; got {wanted:.2f}"
            )
        if span == 0.0:
            return self.trimmer_setting
        base = self.capacitance + self.board_stray + self.trimmer_minimum
        setting = (float(required_capacitance(self.inductance, wanted)) - base) / span
        return min(max(setting, 0.0), 1.0)  # rounding at the two ends only: the range was checked above

    def with_antenna(self, antenna_capacitance: ArrayLike) -> Floats:
        """Frequency in Hz with an antenna's capacitance (F, shape kept) straight across the tank."""
        added = non_negative_array("antenna_capacitance", antenna_capacitance)
        return resonant_frequency(self.inductance, self.total_capacitance + added)
