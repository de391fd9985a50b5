"""What a tank on the bench reads: frequency from what is fitted and what is not known, with its derivatives.

Unknowns, in this order: the logarithm of the inductance (H), then in pF: stray (everything that is always there),
trimmer at its two ends, junction at zero bias, and what is in parallel with the antenna. A reading names what was
fitted; a part that was not is None.

Tank L0 || C0 with the antenna Ca behind a branch La, Cs (none: straight across), X = omega^2, from
`models.branch.modes`:
    a X^2 - b X + 1 = 0,  a = L0 La (C0 (Ca + Cs) + Ca Cs),  b = L0 (C0 + Ca) + La (Ca + Cs)
    dX/dp = (X b_p - X^2 a_p) / (2 a X - b) for any value p in them (implicit differentiation)
    C0 = fitted + stray + T0 + s (T1 - T0) + J (1 + V/V_j)^-m,  Ca = antenna + its stray
Trimmer linear in its position s. Neglected: loss, the transistor's own pull of the frequency, and every drift between
the readings.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from scipy.special import ndtri

from models.arrays import Floats
from models.branch.modes import MODES, squared_frequencies
from models.checks import finite, fraction, non_negative, one_of, positive
from models.junction import depletion_capacitance

PICO: Final = 1e-12
UNKNOWNS: Final = ("inductance", "stray", "trimmer_minimum", "trimmer_maximum", "junction", "antenna_stray")
LEAST_TOTAL: Final = 1e-3
"""pF below which a tank's capacitance is not followed while a fit is under way."""


@dataclass(frozen=True, slots=True)
class FrequencyReading:
    """One setting of the bench, and the `frequency` read, Hz (None: not read yet).

    fitted_capacitor: F as marked (0: none fitted). trimmer: position 0 to 1, None: no trimmer, or one that always
    stands the same and counts as stray. antenna: F of the antenna at the hand's distance, None: antenna unplugged.
    reverse_voltage: V across the junction, None: no junction, or one that always counts as stray.
    """

    fitted_capacitor: float
    frequency: float | None = None
    trimmer: float | None = None
    antenna: float | None = None
    reverse_voltage: float | None = None

    def __post_init__(self) -> None:
        non_negative("fitted_capacitor", self.fitted_capacitor)
        if self.frequency is not None:
            positive("frequency", self.frequency)
        if self.trimmer is not None:
            fraction("trimmer", self.trimmer)
        if self.antenna is not None:
            positive("antenna", self.antenna)
        if self.reverse_voltage is not None:
            non_negative("reverse_voltage", self.reverse_voltage)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What is known of the bench: the branch to the antenna, H and F, the mode, and the junction's law.

    end_stray: F that the branch adds at either end, at tank and antenna, while the antenna is plugged in (that of a
    chain of chokes, `models.branch.choke_chain`).
    """

    branch_inductance: float = 0.0
    branch_self_capacitance: float = 0.0
    mode: str = "low"
    junction_potential: float = 0.75
    junction_grading: float = 1.0 / 3.0
    end_stray: float = 0.0

    def __post_init__(self) -> None:
        non_negative("end_stray", self.end_stray)
        non_negative("branch_inductance", self.branch_inductance)
        non_negative("branch_self_capacitance", self.branch_self_capacitance)
        if one_of("mode", self.mode, MODES) == "high" and self.branch_inductance == 0.0:
            raise ValueError("mode must be low without a branch; got 'high'")
        positive("junction_potential", self.junction_potential)
        positive("junction_grading", self.junction_grading)


def unknowns_in(readings: Sequence[FrequencyReading]) -> tuple[str, ...]:
    """The unknowns that these readings depend on, in the order of UNKNOWNS."""
    present = {"inductance", "stray"}
    if any(reading.trimmer is not None for reading in readings):
        present |= {"trimmer_minimum", "trimmer_maximum"}
    if any(reading.reverse_voltage is not None for reading in readings):
        present.add("junction")
    if any(reading.antenna is not None for reading in readings):
        present.add("antenna_stray")
    return tuple(name for name in UNKNOWNS if name in present)


@dataclass(frozen=True, slots=True)
class ReadingModel:
    """The readings as arrays, ready to be evaluated for any values of the unknowns.

    shares: (n, 4) what a pF of stray, trimmer at each end and junction adds to the tank, in pF.
    """

    surroundings: Surroundings
    fitted: Floats
    shares: Floats
    antenna: Floats
    plugged: Floats

    def log_frequency(self, values: Floats, fitted: Floats) -> tuple[Floats, Floats, Floats]:
        """Natural logarithm of the frequencies (n,), its derivatives by all UNKNOWNS (n, 6), and by fitted (n,), 1/pF.

        values: (6,) the unknowns; fitted: (n,) the fitted capacitors as they are, pF.
        """
        ends = self.surroundings.end_stray / PICO * self.plugged
        total = np.maximum(fitted + ends + self.shares @ values[1:5], LEAST_TOTAL)
        antenna = np.where(self.plugged > 0.0, np.maximum(self.antenna + ends + values[5], LEAST_TOTAL), 0.0)
        squared, by_inductance, by_total, by_antenna = _squared_and_slopes(
            math.exp(min(max(float(values[0]), -40.0), 10.0)),
            total * PICO,
            antenna * PICO,
            self.plugged,
            self.surroundings,
        )
        half = 0.5 / squared
        by_total = half * by_total * PICO
        slopes = np.column_stack(
            [half * by_inductance, by_total[:, None] * self.shares, half * by_antenna * PICO * self.plugged]
        )
        return 0.5 * np.log(squared) - math.log(2.0 * math.pi), slopes, by_total

    def total(self, values: Floats, fitted: Floats) -> Floats:
        """Capacitance across the tank's coil, pF, without the antenna's."""
        return np.asarray(fitted + self.shares @ values[1:5])


def reading_model(readings: Sequence[FrequencyReading], surroundings: Surroundings) -> ReadingModel:
    """The arrays of `readings`."""
    shares = np.zeros((len(readings), 4))
    shares[:, 0] = 1.0
    for row, reading in zip(shares, readings, strict=True):
        if reading.trimmer is not None:
            row[1:3] = 1.0 - reading.trimmer, reading.trimmer
        if reading.reverse_voltage is not None:
            row[3] = depletion_capacitance(
                -reading.reverse_voltage, 1.0, surroundings.junction_potential, surroundings.junction_grading
            )
    return ReadingModel(
        surroundings,
        np.array([reading.fitted_capacitor / PICO for reading in readings]),
        shares,
        np.array([0.0 if reading.antenna is None else reading.antenna / PICO for reading in readings]),
        np.array([0.0 if reading.antenna is None else 1.0 for reading in readings]),
    )


def _squared_and_slopes(
    l0: float, c0: Floats, ca: Floats, plugged: Floats, around: Surroundings
) -> tuple[Floats, Floats, Floats, Floats]:
    """X = omega^2 of the mode, and its derivatives by ln L0, C0 and Ca; all (n,)."""
    la = around.branch_inductance * plugged
    cs = around.branch_self_capacitance * plugged
    low, high = squared_frequencies(np.full(c0.shape, l0), c0, la, ca, cs)
    x = np.where(plugged > 0.0, high, low) if around.mode == "high" else low
    a, b = l0 * la * (c0 * (ca + cs) + ca * cs), l0 * (c0 + ca) + la * (ca + cs)
    down = 2.0 * a * x - b
    by_inductance = x * (l0 * (c0 + ca) - x * a) / down
    by_tank = x * (l0 - x * l0 * la * (ca + cs)) / down
    by_antenna = x * (l0 + la - x * l0 * la * (c0 + cs)) / down
    return x, by_inductance, by_tank, by_antenna


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
