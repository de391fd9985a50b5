"""What a fit of bench readings starts from: the readings, what is known of them, and how far they may be off."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from scipy.special import ndtri

from models.checks import finite, non_negative, one_of, positive
from models.readings.tank_model import UNKNOWNS, FrequencyReading, Surroundings, unknowns_in

NORMAL_95: Final = float(ndtri(0.975))
"""Two-sided 95 % quantile of the normal distribution."""


@dataclass(frozen=True, slots=True)
class Errors:
    """95 % limits: of the counter, as a ratio and in Hz (added in squares), and of capacitors, as a ratio."""

    counter_ratio: float = 1e-4
    counter_frequency: float = 0.0
    capacitor_ratio: float = 0.01

    def __post_init__(self) -> None:
        for name in ("counter_ratio", "counter_frequency", "capacitor_ratio"):
            if non_negative(name, getattr(self, name)) >= 1.0 and name != "counter_frequency":
                raise ValueError(f"{name} must be below 1; got {getattr(self, name):g}")
        positive("counter error", self.counter_ratio + self.counter_frequency)

    def counter_deviation(self, frequency: float) -> float:
        """Standard deviation of ln(frequency)."""
        return math.hypot(self.counter_ratio, self.counter_frequency / frequency) / NORMAL_95

    @property
    def capacitor_deviation(self) -> float:
        """Standard deviation of a capacitor's relative error."""
        return self.capacitor_ratio / NORMAL_95


@dataclass(frozen=True, slots=True)
class Known:
    """A value known beforehand, SI units, with its 95 % limit (0: exactly)."""

    value: float
    limit: float = 0.0

    def __post_init__(self) -> None:
        finite("known value", self.value)
        non_negative("limit", self.limit)


@dataclass(frozen=True, slots=True)
class ReadingSet:
    """All that a fit starts from."""

    readings: tuple[FrequencyReading, ...]
    surroundings: Surroundings = field(default_factory=Surroundings)
    errors: Errors = field(default_factory=Errors)
    known: Mapping[str, Known] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if len(self.readings) < 2:
            raise ValueError(f"readings must be two or more; got {len(self.readings)}")
        if any(reading.frequency is None for reading in self.readings):
            raise ValueError("every reading must have a frequency")
        for name, known in self.known.items():
            if one_of("known", name, UNKNOWNS) not in unknowns_in(self.readings):
                raise ValueError(f"{name} is known but no reading depends on it; it must be left out")
            if name == "inductance" or known.value < 0.0:
                positive(name, known.value) if name == "inductance" else non_negative(name, known.value)
