"""The antenna branch with loss: what an oscillator must give to start each of its two modes, and at which frequency.

Circuit as in `models.branch.modes`, with a resistance r0 in series with the tank's coil and ra in series with the
branch coil (inside its self-capacitance Cs). In s, with z0 = r0 + s L0, za = ra + s La, the admittance across the tank:

    P = 1 + s za (Ca + Cs),   Y(s) = s C0 + 1 / z0 + s Ca (1 + s za Cs) / P

(derived here by nodal analysis). An oscillator is modelled as a negative conductance across the tank, of the same value
at both modes. Neglected: that a coil's resistance grows with frequency (it is held at its value at the working
frequency), dielectric loss, and everything after the start: as the amplitude grows the device saturates, and a mode
once running may hold on (hysteresis).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Complexes, Floats
from models.branch.modes import checked_circuit, squared_frequencies
from models.checks import non_negative_array


class Starts(NamedTuple):
    """Where the lower and the upper mode start; infinite for a mode that is not there."""

    frequencies: tuple[Floats, Floats]
    """Hz."""
    conductances: tuple[Floats, Floats]
    """S: size of the negative conductance across the tank."""


def mode_starts(
    tank_inductance: ArrayLike,
    tank_capacitance: ArrayLike,
    branch_inductance: ArrayLike,
    antenna_capacitance: ArrayLike,
    self_capacitance: ArrayLike = 0.0,
    tank_resistance: ArrayLike = 0.0,
    branch_resistance: ArrayLike = 0.0,
) -> Starts:
    """Where the two modes just start under a negative conductance across the tank (H, F, ohm; broadcasts).

    The frequency at which the imaginary part of the admittance is 0, and its real part there: exact, from the roots of
    a cubic in omega^2. The lowest root belongs to the lower mode, the highest to the upper, the one between to the
    branch's series resonance, which never starts first. With a branch so lossy that one root is left, the two modes
    have merged into one; it counts as the mode whose lossless frequency is nearer, and the other comes back as
    infinity. Of a tank alone the frequency is f sqrt(1 - 1 / Q^2), about f / (2 Q^2) below the lossless f.
    With a branch inductance of 0 the antenna is straight across the tank: omega^2 = 1 / (L C) - (r / L)^2 and the
    conductance r C / L, both exact, in the lower mode, and infinity for the upper one. Raises ValueError for a value
    out of its domain.
    """
    checked = checked_circuit(
        tank_inductance, tank_capacitance, branch_inductance, antenna_capacitance, self_capacitance
    )
    tank_loss = non_negative_array("tank_resistance", tank_resistance)
    branch_loss = non_negative_array("branch_resistance", branch_resistance)
    circuit = list(np.broadcast_arrays(*checked, tank_loss, branch_loss))
    l0, c0, la, ca, _, r0, _ = circuit
    direct = la == 0.0
    if direct.any():
        circuit[2] = np.where(direct, l0, la)  # any coil: what comes of it is put right below
    low, high = squared_frequencies(*circuit[:5])
    scale = (low * high) ** 0.25  # geometric mean of the lossless angular frequencies: polynomials of order 1
    top, bottom = _admittance(circuit, scale)
    # with s = j w and v = -w^2, every polynomial is even(v) + s odd(v)
    top_even, top_odd = top[..., ::2], top[..., 1::2]
    bottom_even, bottom_odd = bottom[..., ::2], bottom[..., 1::2]
    imaginary = -_times(top_even, bottom_odd)
    imaginary[..., :-1] += _times(top_odd, bottom_even)
    roots = _roots(imaginary)
    real = (np.abs(roots.imag) <= 1e-7 * np.abs(roots)) & (roots.real < 0.0)
    squared = np.where(real, -roots.real, np.nan)
    lossless = [value / scale**2 for value in (low, high)]
    lone = np.sum(real, axis=-1) < 2
    frequencies, conductances = [], []
    extremes = np.fmin.reduce(squared, axis=-1), np.fmax.reduce(squared, axis=-1)
    for mode, own, other in zip(extremes, lossless, lossless[::-1], strict=True):
        present = ~np.isnan(mode)
        mode = np.where(present, mode, 1.0)
        present &= ~lone | (np.abs(np.log(mode / own)) <= np.abs(np.log(mode / other)))
        te, to, be, bo = (_value(part, -mode) for part in (top_even, top_odd, bottom_even, bottom_odd))
        conductance = (te * be + mode * to * bo) / (be**2 + mode * bo**2)
        frequencies.append(np.asarray(np.where(present, scale * np.sqrt(mode) / (2.0 * np.pi), np.inf)))
        conductances.append(np.asarray(np.where(present, conductance, np.inf)))
    if direct.any():
        with np.errstate(invalid="ignore"):
            alone = np.sqrt(1.0 / (l0 * (c0 + ca)) - (r0 / l0) ** 2) / (2.0 * np.pi)
        nothing = np.full_like(alone, np.inf)
        for rows, low in ((frequencies, alone), (conductances, r0 * (c0 + ca) / l0)):
            rows[:] = np.where(direct, low, rows[0]), np.where(direct, nothing, rows[1])
    return Starts((frequencies[0], frequencies[1]), (conductances[0], conductances[1]))


def _admittance(circuit: list[Floats], scale: Floats) -> tuple[Floats, Floats]:
    """Y(s) = top / bottom: polynomials in s / scale, lowest power first in the last axis (5 and 4 terms)."""
    l0, c0, la, ca, cs = (value * scale for value in circuit[:5])
    r0, ra = circuit[5:]
    zero, one = np.zeros_like(l0), np.ones_like(l0)
    tank_coil = np.stack([r0, l0], axis=-1)
    tank = np.stack([one, r0 * c0, l0 * c0], axis=-1)
    branch = np.stack([one, ra * (ca + cs), la * (ca + cs)], axis=-1)
    antenna = np.stack([zero, ca, ca * ra * cs, ca * la * cs], axis=-1)
    return _times(tank, branch) + _times(tank_coil, antenna), _times(tank_coil, branch)


def _times(first: Floats, second: Floats) -> Floats:
    """Product of polynomials along the last axis."""
    terms = second.shape[-1]
    product = np.zeros((*first.shape[:-1], first.shape[-1] + terms - 1))
    for power in range(first.shape[-1]):
        product[..., power : power + terms] += first[..., power, None] * second
    return product


def _value(polynomial: Floats, at: Floats) -> Floats:
    """Value of a polynomial (lowest power first along the last axis) at one point each."""
    total = np.zeros_like(at)
    for power in reversed(range(polynomial.shape[-1])):
        total = total * at + polynomial[..., power]
    return total


def _roots(polynomial: Floats) -> Complexes:
    """Roots along the last axis: eigenvalues of the companion matrix; the highest coefficient not 0."""
    degree = polynomial.shape[-1] - 1
    companion = np.zeros((*polynomial.shape[:-1], degree, degree))
    companion[..., np.arange(1, degree), np.arange(degree - 1)] = 1.0
    companion[..., :, -1] = -polynomial[..., :-1] / polynomial[..., -1:]
    return np.asarray(np.linalg.eigvals(companion), dtype=np.complex128)
