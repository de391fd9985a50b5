"""Whether a periodic solution is stable: its characteristic (Floquet) multipliers, by one cycle of what is linearised.

A disturbance y obeys d/dt(C(t) y) + G(t) y = 0 on the orbit; one cycle maps it by the monodromy matrix. One
multiplier is 1 (a shift in time). Another multiplier larger than 1 in size means that the oscillation is not steady:
it squegs (the bias swings slowly, the oscillation comes in bursts) or leaves for another mode. The trapezoidal rule
is used. Instabilities that take longer than some 1 / MARGIN cycles to grow are not seen.
"""

from __future__ import annotations

import numpy as np

from models.arrays import Complexes, Floats
from models.circuit.devices import DeviceLaw
from models.circuit.harmonic_balance import Balance, instants, waveform
from models.circuit.network import Network
from models.circuit.work import spend

BEGUN, BY_SQUARE = 1.5e4, 0.6
"""Work (models.circuit.work) of the multipliers, and of each step for each element of a matrix (measured)."""
MARGIN = 2e-5
"""A multiplier may exceed 1 by this before the orbit is called unstable (rounding and the step error)."""


def multipliers(
    linear: Network, ports: DeviceLaw, orbit: Balance, velocity: Floats, steps: int | None = None
) -> Complexes:
    """Return the characteristic multipliers of one cycle (n,): that of the shift in time first, then by falling size.

    velocity: dx/dt (n,) at t = 0, the direction of the shift, by which its multiplier is told from the others (how
    far it is from 1 shows the error of the orbit and of the steps). steps: of the cycle, a power of two; None takes
    512, or twice the instants of the balance when that is more.
    """
    if steps is None:
        steps = max(512, 2 * instants(orbit.coefficients.shape[1] - 1))
    spend(BEGUN + BY_SQUARE * steps * linear.capacitance.size)
    device, incidence = ports.evaluate(waveform(orbit.coefficients, steps)), linear.ports
    half = np.pi / (orbit.angular_frequency * steps)
    # only the device changes along the cycle: with M, N = C +- h G without it and D, E its share in them, one step is
    # (M + A D A^T)^-1 (N + A E A^T) = M^-1 N + M^-1 A (1 + D A^T M^-1 A)^-1 (E A^T - D A^T M^-1 N)
    inverse = np.linalg.inv(linear.capacitance + half * linear.conductance)
    into, alone = inverse @ incidence, inverse @ (linear.capacitance - half * linear.conductance)
    held, moved = device.capacitances.transpose(2, 0, 1), half * device.conductances.transpose(2, 0, 1)
    after, before = np.roll(held + moved, -1, axis=0), held - moved
    change = before @ incidence.T - after @ (incidence.T @ alone)
    stages = alone + into @ np.linalg.solve(np.eye(len(into.T)) + after @ (incidence.T @ into), change)
    while stages.shape[0] > 1:
        stages = stages[1::2] @ stages[0::2]
    # in the coordinates of the stored energy, sqrt(C_ii) x_i, so that volts and amperes compare
    stored = linear.capacitance + incidence @ held[0] @ incidence.T
    scale = np.sqrt(np.diag(stored))
    values, vectors = np.linalg.eig(scale[:, None] * stages[0] / scale)
    along_orbit = np.abs((scale * velocity) @ vectors.conj())
    shift = int(np.argmax(along_orbit))
    others = np.delete(values, shift)
    return np.concatenate([values[shift : shift + 1], others[np.argsort(-np.abs(others))]]).astype(np.complex128)


def settling_time(values: Complexes, period: float) -> float:
    """Return the time constant, s, of the slowest disturbance, from the multipliers of one `period`, s."""
    slowest = float(np.max(np.abs(values[1:])))
    return float("inf") if slowest >= 1.0 else -period / float(np.log(slowest))
