"""The two frequencies of a tank with an antenna on it, straight or behind a series inductor, without loss.

Circuit: tank L0 || C0 from node 1 to earth; coil La (its self-capacitance Cs across it) from node 1 to node
2; antenna Ca from node 2 to earth. With X = omega^2 the nodal determinant, lossless, is

    (1 - X L0 C0) (1 - X La (Ca + Cs)) - X L0 Ca (1 - X La Cs) = 0
    a X^2 - b X + 1 = 0,  a = L0 La (C0 (Ca + Cs) + Ca Cs),  b = L0 (C0 + Ca) + La (Ca + Cs)
    b^2 - 4 a = (L0 (C0 + Ca) - La (Ca + Cs))^2 + 4 L0 La Ca^2        (a sum of squares: both roots are real)

derived here by nodal analysis. Neglected: loss (see `models.branch.loss`: it lowers the frequency an
oscillator starts at by a fraction of the order of 1 / (2 Q^2), more where the two modes are close), the
coil's own radiation, and its behaviour as a line above its self-resonance.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.checks import non_negative_array, positive_array

Floats = NDArray[np.float64]
MODES = ("low", "high")


def checked_circuit(
    tank_inductance: ArrayLike,
    tank_capacitance: ArrayLike,
    branch_inductance: ArrayLike,
    antenna_capacitance: ArrayLike,
    self_capacitance: ArrayLike,
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """The five values of the circuit as arrays; ValueError for one out of its domain."""
    return (
        positive_array("tank_inductance", tank_inductance),
        positive_array("tank_capacitance", tank_capacitance),
        non_negative_array("branch_inductance", branch_inductance),
        positive_array("antenna_capacitance", antenna_capacitance),
        non_negative_array("self_capacitance", self_capacitance),
    )


def squared_frequencies(l0: Floats, c0: Floats, la: Floats, ca: Floats, cs: Floats) -> tuple[Floats, Floats]:
    """Both roots X = omega^2 of a X^2 - b X + 1 = 0 without cancellation; the upper infinite where La = 0."""
    coefficient_a = l0 * la * (c0 * (ca + cs) + ca * cs)
    coefficient_b = l0 * (c0 + ca) + la * (ca + cs)
    root = np.hypot(l0 * (c0 + ca) - la * (ca + cs), 2.0 * ca * np.sqrt(l0 * la))
    direct = coefficient_a == 0.0
    low = 2.0 / (coefficient_b + root)
    high = np.where(direct, np.inf, 0.5 * (coefficient_b + root) / np.where(direct, 1.0, coefficient_a))
    return np.asarray(low), np.asarray(high)


def mode_frequencies(
    tank_inductance: ArrayLike,
    tank_capacitance: ArrayLike,
    branch_inductance: ArrayLike,
    antenna_capacitance: ArrayLike,
    self_capacitance: ArrayLike = 0.0,
) -> tuple[Floats, Floats]:
    """Lower and upper frequency, Hz, of a tank with an antenna behind a series inductor (H, F; broadcasts).

    Exact and lossless (module text). A branch inductance of 0 is an antenna straight across the tank: the
    lower frequency is then 1 / (2 pi sqrt(L0 (C0 + Ca))) and the upper infinite. Raises ValueError unless the
    tank's values and the antenna's capacitance are > 0 and the branch's are >= 0.
    """
    low, high = squared_frequencies(
        *checked_circuit(tank_inductance, tank_capacitance, branch_inductance, antenna_capacitance, self_capacitance)
    )
    return np.asarray(np.sqrt(low) / (2.0 * math.pi)), np.asarray(np.sqrt(high) / (2.0 * math.pi))


def mode_slope(
    tank_inductance: ArrayLike,
    tank_capacitance: ArrayLike,
    branch_inductance: ArrayLike,
    antenna_capacitance: ArrayLike,
    self_capacitance: ArrayLike = 0.0,
) -> tuple[Floats, Floats]:
    """Change of the lower and the upper frequency with the antenna's capacitance, Hz per F (never positive).

    From the stored energy: df/dCa = -(f / 2) V2^2 / (C0 V1^2 + Ca V2^2 + Cs (V1 - V2)^2), with the node
    voltages of the mode V2 / V1 = (1 - X La Cs) / (1 - X La (Ca + Cs)). Minus infinity for the upper mode
    where the branch inductance is 0.
    """
    l0, c0, la, ca, cs = checked_circuit(
        tank_inductance, tank_capacitance, branch_inductance, antenna_capacitance, self_capacitance
    )
    slopes = []
    for squared in squared_frequencies(l0, c0, la, ca, cs):
        bounded = np.where(np.isinf(squared), 1.0, squared)
        antenna_voltage = 1.0 - bounded * la * cs
        tank_voltage = 1.0 - bounded * la * (ca + cs)
        energy = c0 * tank_voltage**2 + ca * antenna_voltage**2 + cs * (tank_voltage - antenna_voltage) ** 2
        slope = -0.5 * np.sqrt(bounded) / (2.0 * math.pi) * antenna_voltage**2 / energy
        slopes.append(np.asarray(np.where(np.isinf(squared), -np.inf, slope)))
    return slopes[0], slopes[1]
