"""The two frequencies of a tank with an antenna on it, straight or behind a series inductor, without loss.

Circuit: tank L0 || C0 from node 1 to earth; coil La (its self-capacitance Cs across it) from node 1 to node
2; antenna Ca from node 2 to earth. With X = omega^2 the nodal determinant, lossless, is

    (1 - X L0 C0) (1 - X La (Ca + Cs)) - X L0 Ca (1 - X La Cs) = 0
    a X^2 - b X + 1 = 0,  a = L0 La (C0 (Ca + Cs) + Ca Cs),  b = L0 (C0 + Ca) + La (Ca + Cs)
    b^2 - 4 a = (L0 (C0 + Ca) - La (Ca + Cs))^2 + 4 L0 La Ca^2        (a sum of squares: both roots are real)

    V2 / V1 = (1 - X La Cs) / (1 - X La (Ca + Cs))                             antenna over tank
    A = Ca V2 / V1                                                             what the branch puts across the tank
    Ca = u v / (X (La u + L0 v)),  u = 1 - X L0 C0,  v = 1 - X La Cs           the determinant solved for Ca

derived here by nodal analysis; a branch of nothing (La = 0) is an antenna straight across the tank. Neglected:
loss (see `models.branch.loss`: it lowers the frequency an oscillator starts at by a fraction of the order of
1 / (2 Q^2), more where the two modes are close), the coil's own radiation, and its behaviour as a line above its
self-resonance.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.arrays import Floats
from models.checks import non_negative_array, positive_array

Number = Floats | float
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
    return squared_frequency("low", l0, c0, la, ca, cs), squared_frequency("high", l0, c0, la, ca, cs)


def squared_frequency(mode: str, l0: Number, c0: Number, la: Number, ca: Number, cs: Number) -> Floats:
    """That of the "low" or of the "high" mode alone."""
    tank, branch = l0 * (c0 + ca), la * (ca + cs)
    apart = tank - branch
    twice = np.asarray(tank + branch + np.sqrt(apart * apart + 4.0 * (l0 * la) * (ca * ca)))
    if mode == "low":
        return np.asarray(2.0 / twice)
    product = np.asarray(l0 * la * (c0 * (ca + cs) + ca * cs))
    direct = product == 0.0
    return np.where(direct, np.inf, 0.5 * twice / np.where(direct, 1.0, product))


def voltage_ratio(squared: Number, la: Number, ca: Number, cs: Number) -> Floats:
    """V2 / V1, the antenna's voltage over the tank's, at X = omega^2 = `squared` (1/s^2; H, F; broadcasts, unchecked).

    Exact without loss. Negative above the branch's resonance with the antenna, infinite at it; 1 where La = 0.
    """
    return np.asarray((1.0 - squared * la * cs) / (1.0 - squared * la * (ca + cs)))


def branch_load(squared: Number, la: Number, ca: Number, cs: Number) -> Floats:
    """Capacitance A, F, that the antenna behind its branch puts across the tank (arguments of `voltage_ratio`).

    dA/dCa = (V2 / V1)^2 and dA/dLa = X (Ca / (1 - X La (Ca + Cs)))^2: it rises with both on either side of its pole.
    """
    return np.asarray(ca * voltage_ratio(squared, la, ca, cs))


def above_branch(squared: Number, la: Number, ca: Number, cs: Number) -> NDArray[np.bool_]:
    """Whether X = `squared` lies above the branch's resonance with the antenna, where the upper mode is."""
    return np.asarray(squared * la * (ca + cs) > 1.0)


def antenna_capacitance(squared: Floats, l0: Floats, c0: Floats, la: Floats, cs: Floats) -> Floats:
    """The antenna's capacitance Ca, F, with which the circuit swings at X = omega^2 = `squared` (broadcasts).

    The inverse of `squared_frequencies`, both modes alike. NaN where no positive capacitance does it.
    """
    u, v = 1.0 - squared * l0 * c0, 1.0 - squared * la * cs
    with np.errstate(divide="ignore", invalid="ignore"):
        found = u * v / (squared * (la * u + l0 * v))
    return np.asarray(np.where(np.isfinite(found) & (found > 0.0), found, np.nan))


def tank_capacitance(squared: Floats, l0: Floats, la: Floats, ca: Floats, cs: Floats) -> Floats:
    """The tank's capacitance C0, F, with which the circuit swings at X = omega^2 = `squared` (broadcasts, unchecked).

    X L0 (C0 + A) = 1, the determinant of the module text solved for C0; both modes alike. May come out negative.
    """
    return np.asarray(1.0 / (squared * l0) - branch_load(squared, la, ca, cs))


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

    From the stored energy: df/dCa = -(f / 2) V2^2 / (C0 V1^2 + Ca V2^2 + Cs (V1 - V2)^2). Minus infinity for the
    upper mode where the branch inductance is 0.
    """
    l0, c0, la, ca, cs = checked_circuit(
        tank_inductance, tank_capacitance, branch_inductance, antenna_capacitance, self_capacitance
    )
    slopes = []
    for squared in squared_frequencies(l0, c0, la, ca, cs):
        bounded = np.where(np.isinf(squared), 1.0, squared)
        ratio = voltage_ratio(bounded, la, ca, cs)
        energy = c0 + ca * ratio**2 + cs * (1.0 - ratio) ** 2
        slope = -0.5 * np.sqrt(bounded) / (2.0 * math.pi) * ratio**2 / energy
        slopes.append(np.asarray(np.where(np.isinf(squared), -np.inf, slope)))
    return slopes[0], slopes[1]
