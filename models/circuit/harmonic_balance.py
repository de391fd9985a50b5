"""Harmonic balance of an autonomous circuit, written at the ports of its nonlinear device.

The network (n states) is linear; the device has p ports with currents i(v) and charges q(v). With V_k, I_k, Q_k the
complex Fourier coefficients of v, i, q (v(t) = sum over k from -K to K of V_k exp(j k w t)), the equations are
    F_k = V_k - E_k + Z_k (I_k + j k w Q_k) = 0,   Z_k = A^T (G + j k w C)^-1 A,   E_0 = A^T G^-1 s, E_k = 0 beyond.
Unknown are V_0..V_K and w; the phase is fixed by Im V_1 = 0 at one port. Newton uses the analytic Jacobian: the
spectra of the derivatives g(t), c(t) fill Toeplitz blocks. i and q are evaluated on more than four times K instants,
so that their harmonics up to K carry little alias.
Method: K. S. Kundert and A. Sangiovanni-Vincentelli, IEEE Trans. CAD 5 (1986) 521 (from memory), in port form.
"""

from __future__ import annotations

import math
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from models.arrays import Complexes, Floats
from models.circuit.network import Network
from models.circuit.transistor import PortState
from models.circuit.work import elimination, spend
from models.quick_dataclass import dataclass

STILL_GOOD = 0.2
"""A Jacobian is used again while each step with it is shorter than the one before by at least this factor."""

LONGER = 2.0
"""How many times the share of the Newton step before is tried at most: of circuits driven hard, half as many again are
then found from the describing function, and with half the evaluations in all (measured on 126)."""

LARGE = 150
"""Unknowns from which factors, which take a third of an inverse's time, are worth the loading of a library."""

CACHED = 1 << 14
"""Elements of a Jacobian made at a time."""

EVALUATION, PORT_EVALUATION = 3.0, 3.5
"""Work of evaluating one instant, and for each port more (measured)."""

EVALUATION_BEGUN = 2000.0


class Device(Protocol):
    """A memoryless device of p ports: currents, charges and their derivatives on port voltages (p, m)."""

    def evaluate(self, voltages: Floats, /) -> PortState: ...


class NotConvergedError(ValueError):
    """Newton did not reach the tolerance; the message says how far it came."""


@dataclass(frozen=True, slots=True, eq=False)
class Balance:
    """One solution: port coefficients (p, K + 1), V; rad/s; probe conductance, S; largest |F|, V; Newton steps."""

    coefficients: Complexes
    angular_frequency: float
    probe: float
    residual: float
    iterations: int


@dataclass(frozen=True, slots=True, eq=False)
class PartProbe:
    """Hold one part of a fundamental and solve for a part between `nodes` (a row of the network) in exchange.

    Held is Re(conj(direction) V_1) = `fundamental`, V, at `port` (None: the phase port). The part is a conductance, S,
    or, if `reactive`, a capacitance, F. With the swing held and a conductance this is the path from a vanishing
    oscillation to the free one, where the conductance is zero; with the phase of one oscillator against another held
    and a capacitance it is the way round all phases at which the two can lock.
    """

    nodes: Floats
    fundamental: float
    port: int | None = None
    direction: complex = 1.0
    reactive: bool = False

    @property
    def smallest(self) -> float:
        """A strength below which a change of the part no longer counts, S or F."""
        return 1e-15 if self.reactive else 1e-9


def instants(harmonics: int) -> int:
    """Return the number of instants per cycle used for `harmonics`: a power of two above four times."""
    return 1 << (4 * harmonics + 4).bit_length()


def waveform(coefficients: Complexes, count: int) -> Floats:
    """Return `count` instants of one cycle from one-sided coefficients (..., K + 1)."""
    return np.fft.irfft(coefficients * count, n=count, axis=-1)


def resized(coefficients: Complexes, harmonics: int) -> Complexes:
    """Return coefficients (p, K' + 1) cut off or filled with zeros to `harmonics`."""
    result = np.zeros((coefficients.shape[0], harmonics + 1), dtype=np.complex128)
    kept = min(coefficients.shape[1], harmonics + 1)
    result[:, :kept] = coefficients[:, :kept]
    return result


@dataclass(frozen=True, slots=True, eq=False)
class _Response:
    """The network seen from its ports: Z (K+1, p, p) and E_0 (p,); its matrices G + j k w C (K+1, n, n) and C (n, n)
    with the probe, what the states become by a current into each port (K+1, n, p), and by the source at rest (n,).
    """

    impedance: Complexes
    rest: Floats
    matrices: Complexes
    capacitance: Floats
    states: Complexes
    resting: Complexes


@dataclass(frozen=True, slots=True, eq=False)
class _Changes:
    """How the network seen from its ports changes: dZ/dw (K+1, p, p), dZ/dg of the probe, dE_0/dg (p,)."""

    by_frequency: Complexes
    by_probe: Complexes
    rest_by_probe: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Evaluation:
    """Everything known at one trial: the equations, the network, the device, spectra of i + dq/dt and of q."""

    error: Floats
    response: _Response
    device: PortState
    total: Complexes
    charge: Complexes


class Problem:
    """The equations for one network, one device and one number of harmonics."""

    def __init__(self, linear: Network, device: Device, harmonics: int, port: int, probe: PartProbe | None) -> None:
        self.linear, self.device, self.port, self.probe = linear, device, port, probe
        self.order = np.arange(harmonics + 1)
        self.count = instants(harmonics)
        self.ports = linear.ports.shape[1]
        self.width = 2 * harmonics + 1
        self.frequency_column = port * self.width + harmonics + 1  # the place of Im V_1, which stays zero
        self.held_port = port if probe is None or probe.port is None else probe.port
        self.entered = np.column_stack([linear.ports, linear.source]).astype(np.complex128)

    def respond(self, omega: float, strength: float) -> _Response:
        linear, conductance, capacitance = self.linear, self.linear.conductance, self.linear.capacitance
        turn = 1j * self.order[:, None, None]
        if self.probe is not None:
            across = strength * np.outer(self.probe.nodes, self.probe.nodes)
            if self.probe.reactive:
                capacitance = capacitance + across
            else:
                conductance = conductance + across
        matrices = np.asarray(conductance + omega * turn * capacitance, dtype=np.complex128)
        try:
            states = np.asarray(np.linalg.solve(matrices, self.entered), dtype=np.complex128)
        except np.linalg.LinAlgError:
            raise NotConvergedError("harmonic balance: the network without its device is singular") from None
        seen = linear.ports.T @ states
        resting = states[0, :, self.ports]
        return _Response(seen[..., :-1], seen[0, :, -1].real, matrices, capacitance, states[..., :-1], resting)

    def changes(self, response: _Response, omega: float) -> _Changes:
        """Return how a response changes with the frequency and with the probe."""
        turn = 1j * self.order[:, None, None]
        backward = np.linalg.solve(response.matrices.transpose(0, 2, 1), self.entered[:, :-1]).transpose(0, 2, 1)
        by_frequency: Complexes = -turn * (backward @ response.capacitance @ response.states)
        if self.probe is None:
            return _Changes(by_frequency, np.zeros_like(by_frequency), np.zeros(self.ports))
        seen = backward @ self.probe.nodes  # (K+1, p)
        by_probe: Complexes = -seen[:, :, None] * (self.probe.nodes @ response.states)[:, None, :]
        if self.probe.reactive:
            return _Changes(by_frequency, omega * turn * by_probe, np.zeros(self.ports))
        return _Changes(by_frequency, by_probe, (-seen[0] * (self.probe.nodes @ response.resting)).real)

    def evaluate(self, coefficients: Complexes, omega: float, strength: float) -> _Evaluation:
        spend(EVALUATION_BEGUN + self.count * (EVALUATION + PORT_EVALUATION * self.ports))
        device = self.device.evaluate(waveform(coefficients, self.count))
        keep = self.order.size
        current, charge = np.fft.rfft(np.stack((device.currents, device.charges)))[..., :keep] / self.count
        total = current + 1j * omega * self.order * charge
        response = self.respond(omega, strength)
        values = coefficients + np.einsum("kpq,qk->pk", response.impedance, total)
        values[:, 0] -= response.rest
        error = stacked(values)
        if self.probe is not None:
            held = (np.conj(self.probe.direction) * coefficients[self.held_port, 1]).real
            error = np.append(error, held - self.probe.fundamental)
        return _Evaluation(error, response, device, total, charge)

    def jacobian(self, at: _Evaluation, omega: float) -> Floats:
        """Return the derivative of the equations; the column of the frequency is by its relative change."""
        size = self.ports * self.width
        result = np.zeros((at.error.size, at.error.size))
        port_jacobian(at.response.impedance, at.device, 1j * omega * self.order, into=result)
        changes = self.changes(at.response, omega)
        frequency = np.einsum("kpq,qk->pk", changes.by_frequency, at.total)
        frequency += np.einsum("kpq,qk->pk", at.response.impedance, 1j * self.order * at.charge)
        result[:size, self.frequency_column] = omega * stacked(frequency)
        if self.probe is not None:
            column = np.einsum("kpq,qk->pk", changes.by_probe, at.total)
            column[:, 0] -= changes.rest_by_probe
            result[:size, size] = stacked(column)
            place, direction = self.held_port * self.width + 1, complex(self.probe.direction)
            result[size, place] = direction.real
            if self.held_port != self.port:  # at the phase port Im V_1 is zero and no unknown
                result[size, place + self.order.size - 1] = direction.imag
        return result


def port_jacobian(
    impedance: Complexes, device: PortState, rates: NDArray[np.complexfloating], into: Floats | None = None
) -> Floats:
    """Return the derivative of V_k + Z_k (I_k + rates_k Q_k) by the V_k, both as `stacked`.

    impedance Z (K + 1, p, p), ohm; rates (K + 1,), 1/s: j k w in a periodic solution, more where it grows. into: a
    matrix at least as large, whose upper left corner is filled; None: a new one. Some harmonics are done at a time, so
    that what is between stays in the processor's cache.
    """
    count, ports = impedance.shape[:2]
    width, size = 2 * count - 1, ports * (2 * count - 1)
    rows = np.empty((size, size)) if into is None else into
    spectra = _windows(np.stack((device.conductances, device.capacitances)), count)
    below, above = spectra[..., :count, ::-1], spectra[..., count - 1 :, :]  # of the orders k - l and k + l
    some = max(1, CACHED // (ports * size))
    for first in range(0, count, some):
        now = slice(first, min(first + some, count))
        turn = rates[now, None]
        less, more = (part[0][..., now, :] + turn * part[1][..., now, :] for part in (below, above))
        joined = np.empty((*less.shape[:-1], width), dtype=np.complex128)  # (p, p, k, 2K + 1)
        np.add(less, more, out=joined[..., :count])
        joined[..., 0] = less[..., 0]
        np.multiply(1j, less[..., 1:] - more[..., 1:], out=joined[..., count:])
        block = np.matmul(impedance[now], joined.transpose(2, 0, 1, 3).reshape(turn.size, ports, -1))
        for port in range(ports):
            real, imaginary = port * width, port * width + count - 1  # the latter begins with the first harmonic
            rows[real + now.start : real + now.stop, :size] = block[:, port].real
            skipped = 1 if first == 0 else 0
            rows[imaginary + now.start + skipped : imaginary + now.stop, :size] = block[skipped:, port].imag
    rows[np.arange(size), np.arange(size)] += 1.0
    return rows


def _windows(derivative: Floats, count: int) -> Complexes:
    """Return the spectrum of (..., m) instants as a view (..., 2K + 1, K + 1): at (i, j) stands the order i + j - K."""
    top = count - 1
    spectrum = np.fft.rfft(derivative, axis=-1)[..., : 2 * top + 1] / derivative.shape[-1]
    ordered = np.concatenate([spectrum[..., top:0:-1].conj(), spectrum], axis=-1)  # from -K to 2 K
    shape = (*ordered.shape[:-1], ordered.shape[-1] - top, count)
    return np.lib.stride_tricks.as_strided(ordered, shape, (*ordered.strides, ordered.strides[-1]), writeable=False)


def stacked(values: Complexes) -> Floats:
    """Return (p, K + 1) coefficients as one real vector: Re V_0..V_K, Im V_1..V_K of each port."""
    return np.concatenate([values.real, values[:, 1:].imag], axis=1).ravel()


def unstacked(row: Floats, ports: int) -> Complexes:
    """Return the (p, K + 1) coefficients of a row of `stacked`."""
    table = row.reshape(ports, -1)
    keep = table.shape[1] // 2 + 1
    values = table[:, :keep].astype(np.complex128)
    values[:, 1:] += 1j * table[:, keep:]
    return values


class Factored:
    """A square matrix made ready to be solved with, once and again: its inverse, or its factors where it is LARGE.

    The matrix is used up; its making is counted as work with it. Raises numpy.linalg.LinAlgError where it is singular.
    """

    def __init__(self, matrix: Floats) -> None:
        self.size = len(matrix)
        spend(elimination(self.size))
        self._inverse: Floats | None = None
        if self.size <= LARGE:
            self._matrix = matrix
            self._inverse = np.asarray(np.linalg.inv(matrix), dtype=np.float64)
            return
        from scipy.linalg.lapack import dgetrf  # heavy to load

        *self._factors, fault = dgetrf(matrix.T, overwrite_a=True)  # of the transpose: it lies in columns
        if fault:
            raise np.linalg.LinAlgError("singular matrix")

    def solve(self, right: Floats, *, transposed: bool = False, refined: bool = False) -> Floats:
        """Return u of M u = right, or of M^T u = right; u and right (size,) or (size, m). refined: as exact by the
        inverse as by factors, which Newton's steps need not be."""
        if self._inverse is not None:
            inverse, matrix = (one.T if transposed else one for one in (self._inverse, self._matrix))
            found = inverse @ right
            return np.asarray(found + inverse @ (right - matrix @ found) if refined else found)
        from scipy.linalg.lapack import dgetrs

        return np.asarray(dgetrs(*self._factors, right, trans=0 if transposed else 1)[0])


@dataclass(frozen=True, slots=True, eq=False)
class Tangent:
    """The equations of a solution to first order: their Jacobian J, and the place of the frequency in it."""

    jacobian: Factored
    frequency_place: int


def tangent(
    linear: Network, device: Device, coefficients: Complexes, angular_frequency: float, *, phase_port: int = 0
) -> Tangent:
    """Return the Jacobian at a solution; the unknown at `frequency_place` is the relative change of the frequency.

    Raises NotConvergedError where it is singular.
    """
    problem = Problem(linear, device, coefficients.shape[1] - 1, phase_port, None)
    at = problem.evaluate(coefficients, angular_frequency, 0.0)
    return Tangent(_factored(problem.jacobian(at, angular_frequency)), problem.frequency_column)


def balance(
    linear: Network,
    device: Device,
    coefficients: Complexes,
    angular_frequency: float,
    *,
    phase_port: int = 0,
    probe: PartProbe | None = None,
    probe_start: float = 0.0,
    tolerance: float = 1e-10,
    iterations: int = 60,
    farthest: float = math.inf,
) -> Balance:
    """Return the periodic solution nearest to a first guess.

    coefficients (p, K + 1), V, with Im V_1 = 0 at `phase_port`; angular_frequency rad/s; tolerance on the largest |F|,
    V, per volt of the largest coefficient. A step is halved until the one that the same Jacobian gives after it is
    shorter: the residual itself may rise on the way, for a junction's current does with the exponential of what is
    still missing (natural monotonicity: P. Deuflhard, Newton Methods for Nonlinear Problems, 2004, from memory).
    What share of a step is tried grows at most LONGER-fold from one to the next.
    farthest: the longest that the first step may be, in units of the unknowns' size: a guess farther off is given up.
    Raises NotConvergedError.
    """
    problem = Problem(linear, device, coefficients.shape[1] - 1, phase_port, probe)
    values, omega, strength = coefficients.copy(), angular_frequency, probe_start
    values[phase_port, 1] = values[phase_port, 1].real
    at = problem.evaluate(values, omega, strength)
    before = 1.0  # the share of the last full step that was taken
    kept = None  # factors of a Jacobian that served so well that it is used once more, and the step from them
    for step in range(iterations):
        size = float(np.max(np.abs(at.error)))
        goal = tolerance * max(1.0, float(np.max(np.abs(values))))
        if size <= goal:
            return Balance(values, omega, strength, size, step)
        if kept is not None:
            trial = moved_by(problem, values, omega, strength, kept.change)
            there = problem.evaluate(*trial)
            after = kept.again(there.error)
            if after.length < STILL_GOOD * kept.length:
                at, (values, omega, strength), kept = there, trial, after
                continue
        here = _step(problem, at, values, omega, strength)
        if step == 0 and here.length > farthest:
            raise NotConvergedError("harmonic balance: the guess is far from a solution")
        factor = min(1.0, LONGER * before, 0.2 / max(abs(float(here.change[problem.frequency_column])), 1e-300))
        for _ in range(12):
            trial = moved_by(problem, values, omega, strength, factor * here.change)
            at = problem.evaluate(*trial)
            after = here.again(at.error)
            if after.length < (1.0 - 0.5 * factor) * here.length:
                break
            factor *= 0.5
        else:
            if size <= 100.0 * goal:
                return Balance(values, omega, strength, size, step)  # rounding is reached
            raise NotConvergedError(f"harmonic balance: no step lowers the residual of {size:.3g} V")
        kept = after if after.length < STILL_GOOD * here.length else None
        (values, omega, strength), before = trial, factor
    raise NotConvergedError(f"harmonic balance: residual {size:.3g} V after {iterations} steps")


@dataclass(frozen=True, slots=True, eq=False)
class _Step:
    """A Newton step: the change of the unknowns, the Jacobian it came from, the size of each unknown."""

    change: Floats
    jacobian: Factored
    scale: Floats

    @property
    def length(self) -> float:
        """Length of the step with every unknown in units of its size."""
        return float(np.linalg.norm(self.change / self.scale))

    def again(self, error: Floats) -> _Step:
        """Return the step from another error with the same Jacobian."""
        return _Step(-self.jacobian.solve(error), self.jacobian, self.scale)


def _step(problem: Problem, at: _Evaluation, values: Complexes, omega: float, strength: float) -> _Step:
    """Return the Newton step at one trial."""
    jacobian = problem.jacobian(at, omega)
    if not np.isfinite(jacobian).all():
        raise NotConvergedError("harmonic balance: the equations are out of range")
    factored = _factored(jacobian)
    scale = np.full(at.error.size, max(float(np.linalg.norm(values)), 1e-300))
    scale[problem.frequency_column] = 1.0
    if problem.probe is not None:
        scale[-1] = max(abs(strength), problem.probe.smallest)
    return _Step(-factored.solve(at.error), factored, scale)


def _factored(jacobian: Floats) -> Factored:
    try:
        return Factored(jacobian)
    except np.linalg.LinAlgError:
        raise NotConvergedError("harmonic balance: the equations are singular") from None


def moved_by(
    problem: Problem, values: Complexes, omega: float, strength: float, change: Floats
) -> tuple[Complexes, float, float]:
    """Return the unknowns after a step."""
    width, harmonics = problem.width, problem.order.size - 1
    change = change.copy()
    relative = float(change[problem.frequency_column])
    change[problem.frequency_column] = 0.0
    if problem.probe is not None:
        strength += float(change[-1])
        change = change[:-1]
    table = change.reshape(problem.ports, width)
    moved = values.copy()
    moved += table[:, : harmonics + 1]
    moved[:, 1:] += 1j * table[:, harmonics + 1 :]
    return moved, omega * (1.0 + relative), strength
