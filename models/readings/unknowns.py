"""The unknowns of a built instrument, each with what is known of it before anything is read.

Before the readings every unknown is normal about a middle value; one that counts by ratio has a normal logarithm.
Its coordinate u is counted in those standard deviations, so that before the readings every u is 0 +- 1:

    value = middle + deviation u,   by ratio: value = middle exp(deviation u)

`least` cuts the values off below (a capacitance is never negative).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist
from typing import Final

import numpy as np

from models.arrays import Floats
from models.checks import finite, non_negative, positive
from models.quick_dataclass import dataclass

NORMAL_95: Final = NormalDist().inv_cdf(0.975)
"""Two-sided 95 % quantile of the normal distribution."""
LARGEST_STEP: Final = 30.0
"""Coordinate beyond which an exponential is not followed while a fit is under way."""


@dataclass(frozen=True, slots=True)
class Unknown:
    """One unknown, SI units. deviation: standard deviation beforehand (of the logarithm: `by_ratio`); 0: known exactly.

    nuisance: it is fitted, but nobody asks for it (the error of one capacitor). considered: it is not fitted, but what
    it may be widens the intervals of the others (what a model leaves out).
    """

    name: str
    unit: str
    middle: float
    deviation: float
    by_ratio: bool = False
    least: float = -math.inf
    nuisance: bool = False
    considered: bool = False

    def __post_init__(self) -> None:
        finite(self.name, self.middle)
        non_negative(f"deviation of {self.name}", self.deviation)
        if self.by_ratio:
            positive(self.name, self.middle)
        if self.middle < self.least:
            raise ValueError(f"{self.name} must be at least {self.least:g}; got {self.middle:g}")

    @property
    def free(self) -> bool:
        """Whether there is anything to fit."""
        return self.deviation > 0.0 and not self.considered

    def value(self, coordinate: float) -> float:
        """Value, SI, at a coordinate."""
        step = self.deviation * coordinate
        return (
            self.middle * math.exp(max(min(step, LARGEST_STEP), -LARGEST_STEP))
            if self.by_ratio
            else (self.middle + step)
        )

    def slope(self, coordinate: float) -> float:
        """Change of the value with the coordinate."""
        return self.deviation * (self.value(coordinate) if self.by_ratio else 1.0)

    @property
    def lowest(self) -> float:
        """Coordinate at which the values are cut off."""
        if self.by_ratio or self.least == -math.inf or not self.free:
            return -math.inf
        return (self.least - self.middle) / self.deviation


def values_of(unknowns: Sequence[Unknown], coordinates: Floats) -> Floats:
    """Values, SI, of all unknowns at their coordinates."""
    return np.array([one.value(float(at)) for one, at in zip(unknowns, coordinates, strict=True)])


def slopes_of(unknowns: Sequence[Unknown], coordinates: Floats) -> Floats:
    """Changes of the values with the coordinates."""
    return np.array([one.slope(float(at)) for one, at in zip(unknowns, coordinates, strict=True)])
