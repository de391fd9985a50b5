"""PN junctions: exponential current, depletion capacitance and charge.

Neglected: reverse breakdown (a small NPN's emitter junction breaks down near 5-7 V reverse, from memory), series
resistance, recombination at low current, and temperature other than through the thermal voltage.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from models.arrays import Floats
from models.checks import positive
from models.constants import BOLTZMANN, ELEMENTARY_CHARGE

Value = float | Floats

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
    limited = np.minimum(exponent, SAFE_EXPONENT)
    scaled = saturation_current * np.exp(limited)
    return scaled * (1.0 + (exponent - limited)) - saturation_current, scaled / thermal


def _at_knee(
    voltage: Value, zero_bias: Value, potential: Value, grading: Value, knee: Value
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return the voltage beyond the knee and what is missing to V_j below it, both over V_j, the logarithm of the
    latter, and the capacitance, F, at the voltage or at the knee."""
    ratio = np.asarray(voltage, dtype=np.float64) / potential
    below = np.minimum(ratio, knee)
    logarithm = np.log1p(-below)
    return ratio - below, 1.0 - below, logarithm, zero_bias * np.exp(-np.multiply(grading, logarithm))


def depletion_capacitance(
    voltage: Value, zero_bias: Value, potential: Value, grading: Value, knee: Value = 0.5
) -> Floats:
    """Return the depletion capacitance, F, at the forward `voltage`, V (reverse is negative); broadcasts.

    Symbols: C capacitance, C_0 at zero bias, V_j built-in potential, m grading coefficient (1/2 abrupt, 1/3 graded),
    F knee as a fraction of V_j.
    C = C_0 (1 - V / V_j)^-m for V < F V_j; its tangent in V beyond the knee (textbook continuation; from memory).
    """
    beyond, left, _, at_knee = _at_knee(voltage, zero_bias, potential, grading, knee)
    return at_knee * (1.0 + np.multiply(grading, beyond) / left)


def depletion(
    voltage: Value, zero_bias: Value, potential: Value, grading: Value, knee: Value = 0.5
) -> tuple[Floats, Floats]:
    """Return the depletion capacitance, F, as above, and the charge, C: its integral from 0 V; broadcasts.

    Symbols as there; Q charge; C_F capacitance at the knee; d voltage beyond the knee. Grading must be below 1.
    Q = C_0 V_j (1 - (1 - V / V_j)^(1 - m)) / (1 - m) below the knee; then + C_F d + C_F m d^2 / (2 (1 - F) V_j).
    """
    beyond, left, logarithm, at_knee = _at_knee(voltage, zero_bias, potential, grading, knee)
    growth, remaining = np.multiply(grading, beyond) / left, 1.0 - np.asarray(grading, dtype=np.float64)
    charge = np.multiply(beyond, potential) * at_knee * (1.0 + 0.5 * growth)
    charge -= np.multiply(zero_bias, potential) / remaining * np.expm1(remaining * logarithm)
    return at_knee * (1.0 + growth), charge
