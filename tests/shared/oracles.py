"""Second ways to what the program computes: whole networks solved node by node, which it does without."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import eigh

from models.arrays import Floats
from models.branch.tapped_coil import Tap


def chain_modes(
    tank_inductance: float,
    tank_capacitance: float,
    choke_inductance: float,
    antenna_capacitance: ArrayLike,
    choke_self_capacitance: float = 0.0,
    joint_stray: float = 0.0,
    chokes: int = 1,
) -> Floats:
    """All modes of tank, chain and antenna, Hz, lowest first: shape of `antenna_capacitance` (F) plus (modes,).

    Nodal analysis of the ladder: det(K - w^2 C) = 0 with K the inverse inductances and C the capacitances between
    the nodes tank, taps, antenna. One mode per node (without tap stray and self-capacitance a tap adds none).
    """
    antenna = np.asarray(antenna_capacitance, dtype=np.float64)
    steps = np.diff(np.eye(chokes + 1), axis=0)  # (chokes, nodes): voltage across each choke
    stiffness = steps.T @ steps / choke_inductance
    stiffness[0, 0] += 1.0 / tank_inductance
    storage = choke_self_capacitance * (steps.T @ steps) + np.diag(
        [tank_capacitance, *[joint_stray] * (chokes - 1), 0.0]
    )
    unit = 1e-12
    rows = []
    for value in antenna.ravel():
        store = storage.copy()
        store[-1, -1] += value
        squared = eigh(stiffness * tank_inductance, store / unit, eigvals_only=True) / (tank_inductance * unit)
        rows.append(np.sqrt(squared) / (2.0 * math.pi))
    return np.array(rows).reshape(*antenna.shape, chokes + 1)


def _network(
    tank_inductance: float, tank_capacitance: float, tap: Tap, branch_inductance: float, self_capacitance: float
) -> tuple[Floats, Floats, Floats]:
    """Stiffness K and capacitance C between the nodes hot end, tap, antenna (without the antenna itself), and the
    matrix that turns node voltages into the currents (times j w) of both parts of the coil and of the branch.
    """
    below, above, mutual = tap.parts(tank_inductance)
    voltages = np.array([[0.0, 1.0, 0.0], [1.0, -1.0, 0.0], [0.0, 1.0, -1.0]])  # across part below, above, branch
    inductances = np.array([[below, mutual, 0.0], [mutual, above, 0.0], [0.0, 0.0, 1.0]])
    inductances[2, 2] = branch_inductance
    currents = np.linalg.solve(inductances, voltages)
    step = voltages[2]
    capacitance = np.diag([tank_capacitance, 0.0, 0.0]) + self_capacitance * np.outer(step, step)
    return voltages.T @ currents, capacitance, currents


def tapped_modes(
    tank_inductance: float,
    tank_capacitance: float,
    tap: Tap,
    branch_inductance: float,
    antenna_capacitance: ArrayLike,
    self_capacitance: float = 0.0,
) -> Floats:
    """The two frequencies, Hz, of the whole network, lossless: shape of `antenna_capacitance` (F) plus (2,).

    det(K - w^2 C) = 0 by generalised eigenvalues of C against K (the tap carries no capacitance, so C is singular;
    with a self-capacitance the leakage has a third mode, far above, which is left out). Units H, F.
    """
    return _solve(tank_inductance, tank_capacitance, tap, branch_inductance, antenna_capacitance, self_capacitance)[0]


def tapped_conductances(
    tank_inductance: float,
    tank_capacitance: float,
    tap: Tap,
    branch_inductance: float,
    antenna_capacitance: ArrayLike,
    self_capacitance: float,
    tank_resistance: float,
    branch_resistance: float,
) -> Floats:
    """Negative conductance across the whole coil, S, at which each mode starts, to first order in the loss: (..., 2).

    G = (r0 t I1^2 + r0 (1 - t) I2^2 + ra Ia^2) / V1^2 with the lossless mode's currents: the loss of the wires over
    the power that the conductance gives. Resistances in ohm, the tank coil's shared out by the turns.
    """
    frequencies, shapes, currents = _solve(
        tank_inductance, tank_capacitance, tap, branch_inductance, antenna_capacitance, self_capacitance
    )
    share = tap.turns
    wires = np.array([share, 1.0 - share, 0.0]) * tank_resistance
    wires[2] = branch_resistance
    angular = 2.0 * math.pi * frequencies[..., None, :]
    flow = np.einsum("ij,...jm->...im", currents, shapes) / angular
    return np.asarray(np.einsum("i,...im->...m", wires, flow**2) / shapes[..., 0, :] ** 2)


def _solve(
    tank_inductance: float, tank_capacitance: float, tap: Tap, branch_inductance: float, antenna: ArrayLike, own: float
) -> tuple[Floats, Floats, Floats]:
    """Frequencies (..., 2), node voltages (..., 3, 2) and the matrix of currents."""
    stiffness, storage, currents = _network(tank_inductance, tank_capacitance, tap, branch_inductance, own)
    values = np.asarray(antenna, dtype=np.float64)
    unit = 1e-12
    frequencies, shapes = [], []
    for value in values.ravel():
        loaded = storage.copy()
        loaded[2, 2] += value
        inverse, vectors = eigh(loaded / unit, stiffness * tank_inductance)  # of 1 / w^2, rising
        inverse, vectors = inverse[:0:-1], vectors[:, :0:-1]
        frequencies.append(1.0 / (2.0 * math.pi * np.sqrt(inverse * tank_inductance * unit)))
        shapes.append(vectors)
    return (np.array(frequencies).reshape(*values.shape, 2), np.array(shapes).reshape(*values.shape, 3, 2), currents)


def natural_modes(
    tank_inductance: ArrayLike,
    tank_capacitance: ArrayLike,
    branch_inductance: ArrayLike,
    antenna_capacitance: ArrayLike,
    self_capacitance: ArrayLike,
    tank_resistance: ArrayLike = 0.0,
    branch_resistance: ArrayLike = 0.0,
    conductance: ArrayLike = 0.0,
) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Natural modes exp(s t) of tank, branch and antenna, s in 1/s, lower and upper; `conductance`, S, across the tank.

    Eigenvalues of the state matrix: both node voltages and both coils' currents (times sqrt(L0 / C0), in times of
    sqrt(L0 C0), so that all are of one size).
    """
    given = tank_inductance, tank_capacitance, branch_inductance, antenna_capacitance, self_capacitance
    l0, c0, la, ca, cs, r0, ra, across = np.broadcast_arrays(*given, tank_resistance, branch_resistance, conductance)
    impedance, time = np.sqrt(l0 / c0), np.sqrt(l0 * c0)
    la, ca, cs, r0, ra, across = la / l0, ca / c0, cs / c0, r0 / impedance, ra / impedance, across * impedance
    whole = (1.0 + cs) * (ca + cs) - cs**2
    inverse = np.moveaxis(np.array([[ca + cs, cs], [cs, 1.0 + cs]]) / whole, (0, 1), (-2, -1))
    zero, one = np.zeros_like(la), np.ones_like(la)
    leaving = np.moveaxis(np.array([[across, zero, one, one], [zero, zero, zero, -one]]), (0, 1), (-2, -1))
    coils = np.moveaxis(np.array([[one, zero, -r0, zero], [1.0 / la, -1.0 / la, zero, -ra / la]]), (0, 1), (-2, -1))
    states = np.linalg.eigvals(np.concatenate([-inverse @ leaving, coils], axis=-2)).astype(np.complex128)
    order = np.argsort(states.imag, axis=-1)
    ringing = np.take_along_axis(states, order, axis=-1)[..., -2:] / time[..., None]
    return ringing[..., 0], ringing[..., 1]
