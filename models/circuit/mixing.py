"""What a drawn mixer makes of two oscillators: every voltage as a function of the beat phase.

With theta the reference's phase and phi the beat phase (the variable oscillator at theta - phi) every voltage is
    v = V_0(phi) + 2 Re sum over k of V_k(phi) exp(j k theta),   V_k(phi) = sum over m of V_km exp(j m phi)
and each V_km turns at k w + m b, with w the reference's and b the beat's angular frequency (signed: reference less
variable). In the ports' form of models.circuit.harmonic_balance
    V_km - E_km + Z(k w + m b) (I_km + j (k w + m b) Q_km) = 0,   Z(s) = A^T (G + s C)^-1 A,
E the ports' voltages with the devices taken away: the supply's at k = m = 0, the reference's at m = 0, the variable
oscillator's at m = -k. Nothing is neglected but what lies beyond the harmonics and beat phases taken: coupling
capacitors, bias and filters that do not follow the beat are in Z(j m b), the mixer's answer to the two frequencies
being different ones in Z(j (k w + m b)). At b = 0 every beat phase stands still, a radio cycle of its own: the
quasi-static law. The tone is the mean over a radio cycle, the lines k = 0.

Newton's steps are found by GMRES (Y. Saad, M. H. Schultz, SIAM J. Sci. Stat. Comput. 7 (1986) 856), conditioned by the
quasi-static Jacobian: V_0 at every beat phase as one system, the radio harmonics of each beat phase, with Z(j k w),
eliminated from it. From rest the drives are raised in steps. Method: multi-rate form of harmonic balance
(H. G. Brachtendorf, G. Welsch, R. Laur, A. Bunse-Gerstner, Electrical Engineering 79 (1996) 103, from memory).
Checked against integration in time at the radio rate (tests). Not for a mixer that oscillates by itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from models.arrays import Complexes, Floats
from models.circuit.drawing import Load
from models.circuit.harmonic_balance import (
    Factored,
    NotConvergedError,
    instants,
    port_jacobian,
    waveform,
)
from models.circuit.mixer import REFERENCE, SOURCES, Drive, Mixer, entry
from models.circuit.network import GROUND
from models.circuit.operating_point import solve as solve_rest
from models.circuit.transistor import PortState
from models.circuit.work import spend

PHASES = (27, 45, 75, 135, 225)
"""Numbers of beat phases taken, odd, so that there is no line at half of them."""
FEWEST_HARMONICS, MOST_HARMONICS = 8, 32
CUT_OFF, RADIO_CUT_OFF = 1e-4, 1e-2
"""Beat phases are added while the last lines of the tone hold more than this share of the largest, harmonics of the
radio frequency while the last two hold more than that of the fundamental at a port."""
TOLERANCE = 3e-7
"""Largest error of the equations, V per volt."""
ITERATIONS = 60
FORCING = 2e-2
"""Relative error of a Newton step."""
MOST_PRODUCTS, REFRESH = 60, 15
"""Products with the whole Jacobian in one step: at most, and above how many the eliminated one is made anew."""
INDUCTIVE, LEAST_CAPACITANCE = 0.5, 1e-15
"""Largest inductive susceptance that is left out of a load, over its conductance; and the least capacitance of one, F.
"""
INSTANT_WORK = 2.0
"""Work of an evaluation, and of a product, for each instant of every beat phase (measured)."""
SMALLEST_STEP = 1e-3
"""Share of the drives by which they are raised from rest, at least."""


@dataclass(frozen=True, slots=True, eq=False)
class Mixed:
    """A solved mixer. beat: Hz, signed; ports (p, K + 1, M) and states (n, K + 1, M): coefficients at M beat phases;
    scales: of the reference's and the variable oscillator's drive; residual: largest error of the equations, V.
    """

    mixer: Mixer
    drive: Drive
    beat: float
    scales: tuple[float, float]
    names: tuple[str, ...]
    ports: Complexes
    states: Complexes
    residual: float

    @property
    def harmonics(self) -> int:
        """Number of harmonics of the radio frequency."""
        return int(self.ports.shape[1]) - 1

    @property
    def phases(self) -> int:
        """Number of beat phases."""
        return int(self.ports.shape[2])

    def coefficients(self, node: str) -> Complexes:
        """Return V_k (K + 1, M) of a node at the beat phases 2 pi j / M."""
        if node == GROUND:
            return np.zeros_like(self.states[0])
        return np.asarray(self.states[self.names.index(node)])

    def tone(self) -> Complexes:
        """Return C_0..C_N of the tone, V: y(phi) = C_0 + sum over n >= 1 of Re(C_n exp(j n phi)), N = (M - 1) / 2."""
        wave = self.coefficients(self.mixer.tone_node)[0].real
        lines = np.fft.rfft(wave) * (2.0 / wave.size)
        lines[0] *= 0.5
        return np.asarray(lines)

    def admittance(self, which: str) -> complex:
        """Return the admittance, S, that the mixer's node presents to a source at the source's own frequency."""
        turn = 0 if which == REFERENCE else -1
        source, scale = self.mixer.source(which), self.scales[0 if which == REFERENCE else 1]
        at_node = complex(np.fft.fft(self.coefficients(source.node)[1])[turn]) / self.phases
        omega = 2.0 * math.pi * (self.drive.frequency + turn * self.beat)
        behind = scale * complex(self.drive.swing(which, 1)[1])
        return complex(source.admittance(omega)) * (behind - at_node) / at_node

    def sent(self, which: str) -> Complexes:
        """Return the current (K + 1, M), A, into an oscillator's load by which the mixer's node differs, at each beat
        phase, from that load: what the other oscillator sends into it. Coefficients in its own phase, 0 for k = 0.

        The current into the load and the output resistor before it, b = (y + y_load) (V - mean of V).
        """
        source, load = self.mixer.source(which), self.load(which)
        order = np.arange(self.harmonics + 1)
        angles = 2.0 * math.pi * np.arange(self.phases) / self.phases
        waves = self.coefficients(source.node)
        if which != REFERENCE:
            waves = waves * np.exp(1j * np.outer(order, angles))
        turning = 2.0 * math.pi * self.drive.frequency * order[1:]
        across = source.admittance(turning) + 1.0 / load.resistance + 1j * turning * load.capacitance
        found = np.zeros_like(waves)
        found[1:] = across[:, None] * (waves[1:] - waves[1:].mean(axis=1, keepdims=True))
        return np.asarray(found)

    def load(self, which: str) -> Load:
        """Return that admittance as a resistance with a capacitance across it; a susceptance that is a little inductive
        (up to INDUCTIVE of the conductance, as of a source or an emitter) is left out.

        Raises ValueError where it gives power or is more inductive than that.
        """
        seen = self.admittance(which)
        omega = 2.0 * math.pi * self.drive.frequency
        if seen.real <= 0.0 or seen.imag < -INDUCTIVE * seen.real:
            kind = "gives the radio frequency back" if seen.real <= 0.0 else "is inductive"
            raise ValueError(
                f"the mixer at the {which} oscillator's node {kind} ({seen.real:.3g} {seen.imag:+.3g}j S): "
                "draw its wiring's capacitance and a resistor there"
            )
        return Load(1.0 / seen.real, max(seen.imag / omega, LEAST_CAPACITANCE))


@dataclass(slots=True, eq=False)
class _At:
    """A trial: the ports' coefficients (p, K + 1, M), the error of the equations, the devices, I + dQ/dt by line."""

    ports: Complexes
    error: Complexes
    device: PortState
    total: Complexes

    @property
    def size(self) -> float:
        return float(np.abs(self.error).max())


@dataclass(slots=True, eq=False)
class _Eliminated:
    """The quasi-static Jacobian of every beat phase, its radio harmonics eliminated, and the slow system left.

    inverse (M, s, s) solves for the s harmonics' unknowns, coupling (M, s, p) is how they give way by V_0, currents and
    charges (M, p, unknowns) what all do to I_0 and Q_0.
    """

    inverse: Floats
    coupling: Floats
    currents: Floats
    charges: Floats
    slow: Factored | None = None  # of the beat that is taken up


class MixerSolver:
    """The equations of one mixer and its drive, for a number of harmonics and of beat phases, at any beat."""

    def __init__(self, mixer: Mixer, drive: Drive, harmonics: int, phases: int) -> None:
        drawing = mixer.drawing()
        self.mixer, self.drive = mixer, drive
        self.linear, self.device = drawing.network(), drawing.laws()
        self.order, self.phases, self.count = np.arange(harmonics + 1), phases, instants(harmonics)
        self.width = 2 * harmonics + 1
        self.size = self.linear.ports.shape[1]
        if self.size == 0:
            raise ValueError("a mixer without a device makes no tone; draw a diode or a transistor")
        rows = np.arange(self.size * self.width)
        self._steady = rows[:: self.width]
        self._swinging = np.setdiff1d(rows, self._steady)
        self.omega = 2.0 * math.pi * drive.frequency
        self._fed = [self.linear.index(entry(which)) for which in SOURCES]
        at_rest = solve_rest(self.linear, self.device, mixer.supply_voltage)
        self.rest = np.zeros((self.size, harmonics + 1, phases), dtype=np.complex128)
        self.rest[:, 0, :] = (self.linear.ports.T @ at_rest)[:, None]
        self._still = self._impedance(np.asarray(self.omega * self.order, dtype=np.float64))  # Z (K + 1, p, p)
        self._kept: _Eliminated | None = None
        self._beat = math.nan

    def _impedance(self, speeds: Floats) -> Complexes:
        """Return A^T (G + j s C)^-1 A at rad/s (...,) as (..., p, p)."""
        return np.asarray(self.linear.ports.T @ self._inverse(speeds) @ self.linear.ports)

    def _inverse(self, speeds: Floats) -> Complexes:
        matrices = self.linear.conductance + 1j * speeds[..., None, None] * self.linear.capacitance
        try:
            return np.asarray(np.linalg.inv(matrices), dtype=np.complex128)
        except np.linalg.LinAlgError:
            raise NotConvergedError("the mixer without its devices is singular") from None

    def _set_beat(self, beat: float) -> None:
        """Take up a beat, Hz: Z and E at every line."""
        if beat == self._beat:
            return
        lines = np.fft.fftfreq(self.phases, 1.0 / self.phases)
        self._beat = beat
        self._speeds = self.omega * self.order[:, None] + 2.0 * math.pi * beat * lines  # (K + 1, M)
        self._whole = self._inverse(self._speeds)  # (K + 1, M, n, n)
        shown = self.linear.ports.T @ self._whole
        self._impedances = shown @ self.linear.ports  # Z (K + 1, M, p, p)
        self._open = np.zeros((2, len(self.linear.names), *self._speeds.shape), dtype=np.complex128)
        for place, which in enumerate(SOURCES):
            swing = self.drive.swing(which, self.order.size - 1)
            for k in self.order[1:].tolist():
                m = -k * place
                if 2 * abs(m) < self.phases:
                    speed = float(self._speeds[k, m])
                    pushed = 1j * speed * self.mixer.source(which).coupling_capacitor * complex(swing[k])
                    self._open[place, :, k, m] = self._whole[k, m][:, self._fed[place]] * pushed
        self._open_rest = (self._whole[0, 0] @ self.linear.source).real
        if self._kept is not None:
            self._kept.slow = None

    def _opened(self, scales: tuple[float, float]) -> Complexes:
        """Return the states (n, K + 1, M) by line with the devices taken away."""
        states = scales[0] * self._open[0] + scales[1] * self._open[1]
        states[:, 0, 0] += self._open_rest
        return np.asarray(states)

    def _lines_of(self, values: Floats) -> Complexes:
        """Return the coefficients (p, K + 1, M) by line of instants (p, M T)."""
        table = values.reshape(self.size, self.phases, self.count)
        spectrum = np.fft.rfft(table, axis=-1)[..., : self.order.size] / self.count
        return np.asarray(np.fft.fft(spectrum, axis=1).transpose(0, 2, 1) / self.phases)

    def _instants(self, ports: Complexes) -> Floats:
        """Return the instants (p, M T) of coefficients (p, K + 1, M) at the beat phases."""
        return waveform(ports.transpose(0, 2, 1), self.count).reshape(self.size, -1)

    def _seen(self, total: Complexes) -> Complexes:
        """Return the ports' voltages (p, K + 1, M) at the beat phases that currents by line cause."""
        found = np.fft.ifft(np.einsum("kmpq,qkm->pkm", self._impedances, total), axis=2) * self.phases
        found[:, 0] = found[:, 0].real
        return np.asarray(found)

    def _evaluate(self, ports: Complexes, opened: Complexes) -> _At:
        spend(INSTANT_WORK * self.count * self.phases)
        device = self.device.evaluate(self._instants(ports))
        total = self._lines_of(device.currents) + 1j * self._speeds * self._lines_of(device.charges)
        return _At(ports, ports - opened + self._seen(total), device, total)

    def _product(self, at: _At, change: Complexes) -> Complexes:
        """Return the derivative of the error along a change of the ports' coefficients."""
        moved = self._instants(change)
        current = np.einsum("pqt,qt->pt", at.device.conductances, moved)
        charge = np.einsum("pqt,qt->pt", at.device.capacitances, moved)
        return change + self._seen(self._lines_of(current) + 1j * self._speeds * self._lines_of(charge))

    def _eliminated(self, at: _At) -> _Eliminated:
        count, size = self.count, self.size
        spend(self.phases * (size * self.width) ** 2)
        conductances = at.device.conductances.reshape(size, size, self.phases, count)
        capacitances = at.device.capacitances.reshape(size, size, self.phases, count)
        currents, charges = self._means(conductances), self._means(capacitances)
        whole, none = np.empty((self.phases, size * self.width, size * self.width)), np.empty(0)
        for place in range(self.phases):
            state = PortState(none, none, conductances[:, :, place], capacitances[:, :, place])
            whole[place] = port_jacobian(self._still, state, 1j * self.omega * self.order)
        if not np.isfinite(whole).all():
            raise NotConvergedError("the mixer's equations are out of range")
        rows = whole[:, self._swinging]
        try:
            inverse = np.linalg.inv(rows[:, :, self._swinging])
        except np.linalg.LinAlgError:
            raise NotConvergedError("the mixer's equations are singular") from None
        coupling = inverse @ rows[:, :, self._steady]
        return _Eliminated(inverse, coupling, currents, charges)

    def _slow_system(self, parts: _Eliminated) -> Factored:
        """Return the matrix of what is left for V_0 at every beat phase, at the beat that is taken up."""
        if parts.slow is None:
            slow = np.zeros((self.size, self.phases, self.size, self.phases))
            lag = (np.arange(self.phases)[:, None] - np.arange(self.phases)) % self.phases
            for kernel, table in self._slow_kernels(parts.currents, parts.charges):
                left = np.fft.ifft(kernel, axis=0).real[lag]  # (M, M, p, p)
                kept = table[:, :, self._steady] - table[:, :, self._swinging] @ parts.coupling  # (M, p, p)
                slow += np.einsum("ijac,jcb->aibj", left, kept)
            flat = slow.reshape(self.size * self.phases, -1)
            flat[np.arange(len(flat)), np.arange(len(flat))] += 1.0
            try:
                parts.slow = Factored(flat)
            except np.linalg.LinAlgError:
                raise NotConvergedError("the mixer's equations are singular") from None
        return parts.slow

    def _slow_kernels(self, currents: Floats, charges: Floats) -> tuple[tuple[Complexes, Floats], ...]:
        """Return Z at k = 0 by line (M, p, p) with what it takes from I_0, and its derivative in time with Q_0."""
        return (
            (self._impedances[0], currents),
            (self._impedances[0] * (1j * self._speeds[0])[:, None, None], charges),
        )

    def _means(self, derivatives: Floats) -> Floats:
        """Return the derivative (M, p, unknowns) of the mean current by the unknowns: g_0, then 2 conj(g_l)."""
        spectrum = np.fft.rfft(derivatives, axis=-1)[..., : self.order.size] / self.count  # (p, q, M, K + 1)
        joined = np.concatenate([spectrum.real, spectrum[..., 1:].imag], axis=-1)
        joined[..., 1:] *= 2.0
        return np.asarray(joined.transpose(2, 0, 1, 3).reshape(self.phases, self.size, -1))

    def _solved(self, error: Complexes, parts: _Eliminated) -> Complexes:
        """Return the change whose derivative of the error, with Z(j k w) for its harmonics, is `error`."""
        rows = self._rows(error)
        swung = (parts.inverse @ rows[:, self._swinging, None])[..., 0]
        right = rows[:, self._steady].T
        for kernel, table in self._slow_kernels(parts.currents, parts.charges):
            sent = np.fft.fft((table[:, :, self._swinging] @ swung[..., None])[..., 0], axis=0)
            right = right - np.fft.ifft(kernel @ sent[..., None], axis=0)[..., 0].real.T
        steady = self._slow_system(parts).solve(right.ravel()).reshape(self.size, self.phases).T
        change = np.empty_like(rows)
        change[:, self._steady] = steady
        change[:, self._swinging] = swung - (parts.coupling @ steady[..., None])[..., 0]
        return self._unrowed(change)

    def _rows(self, values: Complexes) -> Floats:
        """Return coefficients (p, K + 1, M) as real rows (M, unknowns), each as harmonic balance stacks them."""
        joined = np.concatenate([values.real, values[:, 1:].imag], axis=1)
        return np.ascontiguousarray(joined.transpose(2, 0, 1)).reshape(self.phases, -1)

    def _unrowed(self, rows: Floats) -> Complexes:
        """Return the coefficients of such rows."""
        table = rows.reshape(self.phases, self.size, self.width).transpose(1, 2, 0)
        values = table[:, : self.order.size].astype(np.complex128)
        values[:, 1:] += 1j * table[:, self.order.size :]
        return values

    def _step(self, at: _At, parts: _Eliminated) -> tuple[Complexes, int]:
        """Return Newton's step, and how many products with the whole Jacobian it took."""
        from scipy.sparse.linalg import LinearOperator, gmres  # heavy, and only for drawn mixers

        products = 0

        def product(row: Floats) -> Floats:
            nonlocal products
            products += 1
            spend(INSTANT_WORK * self.count * self.phases)
            change = self._unrowed(row.reshape(self.phases, -1))
            return self._rows(self._solved(self._product(at, change), parts)).ravel()

        right = -self._rows(self._solved(at.error, parts)).ravel()
        operator = LinearOperator((right.size, right.size), matvec=product, dtype=np.float64)
        row, _ = gmres(operator, right, rtol=FORCING, restart=MOST_PRODUCTS, maxiter=1)
        return self._unrowed(row.reshape(self.phases, -1)), products

    def solve(self, beat: float, scales: tuple[float, float] = (1.0, 1.0), near: Complexes | None = None) -> Mixed:
        """Return the mixer at a beat, Hz, with both drives times a scale each.

        near: the ports' coefficients (p, K + 1, M) to begin with; None, and where that fails: from rest, the drives
        raised in steps. Raises NotConvergedError where none is found.
        """
        self._set_beat(beat)
        try:
            return self._newton(self.rest if near is None else near, scales)
        except NotConvergedError:
            pass
        ports, share, step = self.rest, 0.0, 0.25
        while share < 1.0:
            target = min(1.0, share + step)
            try:
                found = self._newton(ports, (target * scales[0], target * scales[1]))
            except NotConvergedError:
                step *= 0.5
                if step < SMALLEST_STEP:
                    raise NotConvergedError(
                        f"the mixer: no oscillation is found above {share:.1%} of the drives; lower them by larger "
                        "output resistors, or look for a mixer that oscillates by itself"
                    ) from None
                continue
            ports, share, step = found.ports, target, min(0.5, 1.7 * step)
        return found

    def _newton(self, begin: Complexes, scales: tuple[float, float]) -> Mixed:
        opened_lines = self._opened(scales)
        opened = np.fft.ifft(np.einsum("pn,nkm->pkm", self.linear.ports.T, opened_lines), axis=2) * self.phases
        opened[:, 0] = opened[:, 0].real
        at = self._evaluate(begin, opened)
        for _ in range(ITERATIONS):
            goal = TOLERANCE * max(1.0, float(np.abs(at.ports).max()))
            if at.size <= goal:
                return self._finished(at, opened_lines, scales)
            fresh = self._kept is None
            parts = self._kept = self._eliminated(at) if self._kept is None else self._kept
            change, products = self._step(at, parts)
            if products > REFRESH and not fresh:
                self._kept = None  # the eliminated Jacobian is of too different a place
                continue
            length, factor = float(np.linalg.norm(change)), 1.0
            while True:
                there = self._evaluate(at.ports + factor * change, opened)
                after = math.inf
                if math.isfinite(there.size):
                    after = float(np.linalg.norm(self._solved(there.error, parts)))
                if after < (1.0 - 0.5 * factor) * length or (factor == 1.0 and there.size < 0.1 * at.size):
                    break
                if there.size <= 10.0 * goal and factor == 1.0:
                    return self._finished(there, opened_lines, scales)  # rounding is reached
                factor *= 0.5
                if factor < 2e-2:
                    if fresh:
                        self._kept = None
                        raise NotConvergedError(f"the mixer: an error of {at.size:.3g} V is left")
                    break
            if factor < 2e-2:
                self._kept = None
                continue
            at = there
            if factor < 1.0:
                self._kept = None
        self._kept = None
        raise NotConvergedError(f"the mixer: an error of {at.size:.3g} V is left")

    def _finished(self, at: _At, opened: Complexes, scales: tuple[float, float]) -> Mixed:
        drawn = np.einsum("np,pkm->nkm", self.linear.ports, at.total)
        lines = opened - np.einsum("kmni,ikm->nkm", self._whole, drawn)
        states = np.fft.ifft(lines, axis=2) * self.phases
        return Mixed(
            self.mixer, self.drive, self._beat, scales, self.linear.names, at.ports, np.asarray(states), at.size
        )


def solver_for(mixer: Mixer, drive: Drive) -> tuple[MixerSolver, Mixed]:
    """Return a solver with enough harmonics and beat phases for the quasi-static law, and that law solved.

    Raises NotConvergedError where there is none.
    """
    harmonics, level = FEWEST_HARMONICS, 0
    while True:
        solver = MixerSolver(mixer, drive, harmonics, PHASES[level])
        found = solver.solve(0.0)
        swings = np.abs(found.ports[:, 1:]).max(axis=(0, 2))
        lines = np.abs(found.tone())[1:]
        more = False
        if swings[-2:].max() > RADIO_CUT_OFF * swings.max() and harmonics < MOST_HARMONICS:
            harmonics, more = min(MOST_HARMONICS, 2 * harmonics), True
        if lines[-3:].max() > CUT_OFF * max(lines.max(), 1e-300) and level + 1 < len(PHASES):
            level, more = level + 1, True
        if not more:
            return solver, found
