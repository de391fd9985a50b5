"""PN junctions: exponential current, depletion capacitance and charge.

Neglected: reverse breakdown (a small NPN's emitter junction breaks down near 5-7 V reverse, from memory), series
resistance, recombination at low current, and temperature other than through the thermal voltage.
"""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np

from models.arrays import Floats
from models.checks import positive
from models.constants import BOLTZMANN, ELEMENTARY_CHARGE

Value = float | Floats
ARRAYS: Final[tuple[Any, ...]] = (np.minimum, np.log1p, np.exp)
NUMBERS: Final[tuple[Any, ...]] = (min, math.log1p, math.exp)
"""The functions of the formulas below for arrays, and for plain numbers, of which one costs a tenth."""

SAFE_EXPONENT = 45.0
"""Largest exponent; beyond it the current goes on along its tangent (3.5e19 times the saturation current)."""


def thermal_voltage(temperature: float = 300.0) -> float:
    """Return the thermal voltage, V, at `temperature`, K.

    Symbols: V_T thermal voltage, k Boltzmann constant, T temperature, q elementary charge.
    V_T = k T / q
    """
    return float(BOLTZMANN * positive("temperature", temperature) / ELEMENTARY_CHARGE)


THERMAL_VOLTAGE: Final = thermal_voltage(300.0)
"""kT/q at 300 K, V: 25.85 mV."""


def exponential_junction(voltage: Value, saturation_current: Value, thermal: float) -> tuple[Floats, Floats]:
    """Return the current, A, and the conductance, S, of an exponential junction at `voltage`, V; broadcasts.

    Symbols: I current, I_s saturation current, V voltage, V_T thermal voltage (Shockley, Bell Syst. Tech. J. 28 (1949)
    435; from memory).
    I = I_s (exp(V / V_T) - 1), dI/dV = I_s exp(V / V_T) / V_T
    Beyond V / V_T = SAFE_EXPONENT the current continues along the tangent, so that no iteration can overflow.
    """
    exponent = np.asarray(voltage, dtype=np.float64) / thermal
    found: tuple[Floats, Floats] = _exponential(exponent, saturation_current, thermal, ARRAYS)
    return found


def exponential_junction_at(voltage: float, saturation_current: float, thermal: float) -> tuple[float, float]:
    """Return the same of one plain number."""
    found: tuple[float, float] = _exponential(voltage / thermal, saturation_current, thermal, NUMBERS)
    return found


def smooth_positive_at(ratio: float) -> float:
    """Return ln(1 + exp(x)) of one plain number x: a smooth max(x, 0), as `numpy.logaddexp(0, x)` has it of arrays."""
    return max(ratio, 0.0) + math.log1p(math.exp(-abs(ratio)))


def _exponential(exponent: Any, saturation_current: Any, thermal: float, functions: tuple[Any, ...]) -> Any:
    """The formula of `exponential_junction`; exponent V / V_T."""
    least, _, exp = functions
    limited = least(exponent, SAFE_EXPONENT)
    scaled = saturation_current * exp(limited)
    return scaled * (1.0 + (exponent - limited)) - saturation_current, scaled / thermal


def _at_knee(
    voltage: Any, zero_bias: Any, potential: Any, grading: Any, knee: Any, functions: tuple[Any, ...]
) -> tuple[Any, Any, Any, Any]:
    """Return the voltage beyond the knee and what is missing to V_j below it, both over V_j, the logarithm of the
    latter, and the capacitance, F, at the voltage or at the knee."""
    least, log1p, exp = functions
    ratio = voltage / potential
    below = least(ratio, knee)
    logarithm = log1p(-below)
    return ratio - below, 1.0 - below, logarithm, zero_bias * exp(-(grading * logarithm))


def depletion_capacitance(
    voltage: Value, zero_bias: Value, potential: Value, grading: Value, knee: Value = 0.5
) -> Floats:
    """Return the depletion capacitance, F, at the forward `voltage`, V (reverse is negative); broadcasts.

    Symbols: C capacitance, C_0 at zero bias, V_j built-in potential, m grading coefficient (1/2 abrupt, 1/3 graded),
    F knee as a fraction of V_j.
    C = C_0 (1 - V / V_j)^-m for V < F V_j; its tangent in V beyond the knee (textbook continuation; from memory).
    """
    voltages = np.asarray(voltage, dtype=np.float64)
    return np.asarray(_capacitance(voltages, zero_bias, potential, grading, knee, ARRAYS))


def depletion_capacitance_at(voltage: float, zero_bias: float, potential: float, grading: float, knee: float) -> float:
    """Return the same of plain numbers."""
    return float(_capacitance(voltage, zero_bias, potential, grading, knee, NUMBERS))


def _capacitance(
    voltage: Any, zero_bias: Any, potential: Any, grading: Any, knee: Any, functions: tuple[Any, ...]
) -> Any:
    """The formula of `depletion_capacitance`."""
    beyond, left, _, at_knee = _at_knee(voltage, zero_bias, potential, grading, knee, functions)
    return at_knee * (1.0 + grading * beyond / left)


def depletion(
    voltage: Value, zero_bias: Value, potential: Value, grading: Value, knee: Value = 0.5
) -> tuple[Floats, Floats]:
    """Return the depletion capacitance, F, as above, and the charge, C: its integral from 0 V; broadcasts.

    Symbols as there; Q charge; C_F capacitance at the knee; d voltage beyond the knee. Grading must be below 1.
    Q = C_0 V_j (1 - (1 - V / V_j)^(1 - m)) / (1 - m) below the knee; then + C_F d + C_F m d^2 / (2 (1 - F) V_j).
    """
    voltages = np.asarray(voltage, dtype=np.float64)
    beyond, left, logarithm, at_knee = _at_knee(voltages, zero_bias, potential, grading, knee, ARRAYS)
    growth, remaining = np.multiply(grading, beyond) / left, 1.0 - np.asarray(grading, dtype=np.float64)
    charge = np.multiply(beyond, potential) * at_knee * (1.0 + 0.5 * growth)
    charge -= np.multiply(zero_bias, potential) / remaining * np.expm1(remaining * logarithm)
    return at_knee * (1.0 + growth), charge
