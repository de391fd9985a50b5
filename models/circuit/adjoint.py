"""What every small cause does to a steady oscillation: its perturbation projection, from one solve.

A small current b(t) into the nodes (and a small voltage into the inductors' equations) of

    d/dt (C x + A q) + G x + A i = s + b(t)

moves the oscillation x(t) along itself and away from itself. Along itself it runs ahead by alpha, s, with
    d(alpha)/dt = g(t)^T b(t),     so that a periodic b changes the frequency by  df = f mean(g^T b).
g(t), the periodic left null vector of the linearised equations scaled to g^T (d/dt (C x + A q)) = 1 at every instant,
is the perturbation projection: A. Demir, A. Mehrotra, J. Roychowdhury, IEEE Trans. CAS I 47 (2000) 655; from one
solve with the transposed Jacobian of harmonic balance: A. Demir, J. Roychowdhury, IEEE Trans. CAD 22 (2003) 188.

A change of a value acts as b = ds - dG x - d/dt (dC x) - A di - d/dt (A dq), with the waveforms x as they are: one
projection gives the derivative of the frequency by every value. The changes dG, dC, ds, di, dq come from central
differences of the stamped matrices and of the device's law (rational or smooth in the values; relative step 1e-5, so
good to some 1e-9). Changes of amplitude need a solve with the Jacobian for each value.

Valid to first order in the cause. The harmonics are those of the solution; what its number of harmonics leaves out
is left out here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from models.arrays import Complexes, Floats
from models.circuit.drawing import Drawable, Drawing, Part, drawn
from models.circuit.harmonic_balance import Tangent, instants, stacked, tangent, unstacked, waveform
from models.circuit.network import Network
from models.circuit.oscillator_start import PHASE_PORT
from models.circuit.part_values import TEMPERATURE, neighbours, part_values
from models.circuit.steady_state import SteadyState, reading_instants
from models.circuit.transistor import PortState
from models.circuit.warm_transistor import USUAL_GAIN
from models.quick_dataclass import dataclass


@dataclass(frozen=True, slots=True, eq=False)
class Response:
    """What a cause does: to the frequency, Hz, and to the coefficients (n, K + 1) of the states, at a phase kept."""

    frequency: float
    spectra: Complexes


@dataclass(frozen=True, slots=True, eq=False)
class FrequencySlopes:
    """What the stamped matrices of a circuit do to the frequency of its steady oscillation, to first order.

    linear: the network at the oscillation; devices: its devices, which stay as they are. The change of frequency, Hz,
    by one unit of every entry: by_conductance (n, n), by_capacitance (n, n), by_source (n,). They are the mean of
    g(t)^T b(t) of the module's text, the waveforms taken out of the sum over the entries.
    """

    linear: Network
    devices: tuple[Part, ...]
    by_conductance: Floats
    by_capacitance: Floats
    by_source: Floats

    def shift(self, conductance: Floats, capacitance: Floats, source: Floats) -> float:
        """Return the change of frequency, Hz, with other matrices of the same states."""
        return float(
            np.sum(self.by_conductance * (conductance - self.linear.conductance))
            + np.sum(self.by_capacitance * (capacitance - self.linear.capacitance))
            + self.by_source @ (source - self.linear.source)
        )


@dataclass(frozen=True, slots=True, eq=False)
class Adjoint:
    """The projection of a steady oscillation, and the linearised circuit it came from.

    projection: coefficients (n, K + 1) of g(t), one-sided as those of the state: 1/A for a node, 1/V for an
    inductor's equation. spectra: the states' coefficients as the balance has them.
    """

    state: SteadyState
    linear: Network
    projection: Complexes
    spectra: Complexes
    device: PortState
    _taken: Complexes
    _tangent: Tangent
    _inverse: Complexes
    _drawing: Drawing

    @property
    def angular_frequency(self) -> float:
        """Of the oscillation, rad/s."""
        return 2.0 * math.pi * self.state.frequency

    @property
    def tank(self) -> Floats:
        """The row (n,) that takes the voltage across the tank, hot end over cold end, out of the states."""
        return self.linear.unit(*self._drawing.tank)

    @property
    def order(self) -> Floats:
        """The orders 0..K of the harmonics."""
        return np.arange(self.spectra.shape[1], dtype=np.float64)

    def frequency_shift(self, disturbance: Complexes) -> float:
        """Return the change of frequency, Hz, by a periodic b(t) of coefficients (n, K + 1), A (V for inductors)."""
        return self.state.frequency * float(mean_product(self.projection, disturbance))

    def phase_response(self, node: str, harmonic: int = 1) -> complex:
        """Return H, Hz per ampere: a current Re(I exp(j k w t)) into `node` changes the frequency by Re(conj(H) I).

        Its phase counts from the oscillation's: the collector's fundamental peaks near t = 0. For k = 0 H is real, the
        change by a direct current. ValueError for a harmonic that the solution does not have.
        """
        if not 0 <= harmonic < self.spectra.shape[1]:
            raise ValueError(f"harmonic must be between 0 and {self.spectra.shape[1] - 1}; got {harmonic}")
        return self.state.frequency * complex(self.projection[self.linear.index(node), harmonic])

    def advance(self, node: str, count: int) -> Floats:
        """Return how far a short current into `node` sets the oscillation ahead, s per coulomb, at `count` (more than
        twice the harmonics) equally spaced instants of a cycle: g(t) itself."""
        return waveform(self.projection[self.linear.index(node)], count)

    def response(self, disturbance: Complexes) -> Response:
        """Return what a periodic b(t) of coefficients (n, K + 1), A (V for inductors), does."""
        order, omega, incidence = self.order, self.angular_frequency, self.linear.ports
        pushed = np.einsum("kmn,nk->mk", self._inverse, disturbance)
        change = self._tangent.jacobian.solve(stacked(incidence.T @ pushed), refined=True)
        relative = float(change[self._tangent.frequency_place])
        change[self._tangent.frequency_place] = 0.0
        moved = waveform(unstacked(change, incidence.shape[1]), instants(order.size - 1))
        charge = self._spectrum(np.einsum("pqt,qt->pt", self.device.capacitances, moved))
        current = self._spectrum(np.einsum("pqt,qt->pt", self.device.conductances, moved))
        current = current + 1j * omega * order * (charge + relative * self._spectrum(self.device.charges))
        drawn = incidence @ current + 1j * omega * relative * order * (self.linear.capacitance @ self.spectra)
        spectra = pushed - np.einsum("kmn,nk->mk", self._inverse, drawn)
        return Response(relative * self.state.frequency, spectra)

    def level_changes(self, response: Response, node: str) -> tuple[float, float]:
        """Return what a `response` adds to the mean and to the peak-to-peak voltage of `node`, V.

        An extreme moves in time as well, which counts to the second order only: its slope is zero there.
        """
        row = self.linear.unit(node)
        count = reading_instants(self.order.size - 1)
        wave, change = waveform(row @ self.spectra, count), waveform(row @ response.spectra, count)
        return float(change.mean()), float(change[wave.argmax()] - change[wave.argmin()])

    def disturbance_of(self, name: str, value: float | None = None) -> Complexes:
        """Return the coefficients (n, K + 1) of the b(t) that one SI unit of the value `name` is worth. value: what it
        is, where that is known.
        """
        return self._changed(neighbours(self.state.circuit, name, value))

    def disturbance_across_tank(self) -> Complexes:
        """Return the coefficients (n, K + 1) of the b(t) that a capacitance across the tank is worth, per farad."""
        swing = self.tank @ self.spectra
        return np.asarray(-np.outer(self.tank, 1j * self.angular_frequency * self.order * swing))

    def disturbance_to(self, circuit: Drawable) -> Complexes:
        """Return the b(t) of the whole change to another `circuit` with the same nodes, the waveforms kept."""
        return self._changed(((1.0, circuit),))

    def slopes(self) -> FrequencySlopes:
        """The change of the frequency by every entry of the stamped matrices."""
        order, frequency = self.order, self.state.frequency
        weighed = np.where(order == 0.0, 1.0, 2.0) * self.projection.conj()
        return FrequencySlopes(
            self.linear,
            self._drawing.devices,
            -frequency * (weighed @ self.spectra.T).real,
            -frequency * (weighed @ (1j * self.angular_frequency * order * self.spectra).T).real,
            frequency * self.projection[:, 0].real,
        )

    def frequency_sensitivities(self) -> dict[str, float]:
        """Return the change of frequency, Hz, per SI unit of every value (models.circuit.part_values)."""
        values = part_values(self.state.circuit)
        return {name: self.frequency_shift(self.disturbance_of(name, value)) for name, value in values.items()}

    def temperature_sensitivity(self, gain_per_kelvin: float = USUAL_GAIN) -> float:
        """Return the change of frequency, Hz/K, by the transistor's temperature, its gain going with it as stated."""
        values = part_values(self.state.circuit)
        gains = [name for name in values if name.endswith(("forward_gain", "reverse_gain"))]
        other = sum(values[name] * self.frequency_shift(self.disturbance_of(name, values[name])) for name in gains)
        return (
            self.frequency_shift(self.disturbance_of(TEMPERATURE, values[TEMPERATURE]))
            + (gain_per_kelvin - USUAL_GAIN) * other
        )

    def amplitude_sensitivities(self, node: str = "tank", harmonic: int = 1) -> dict[str, float]:
        """Return the change of the peak of a harmonic of a node (or "tank"), V, per SI unit of every value."""
        row = self.tank if node == "tank" else self.linear.unit(node)
        present = complex(row @ self.spectra[:, harmonic])

        def growth(name: str) -> float:
            moved = complex(row @ self.response(self.disturbance_of(name)).spectra[:, harmonic])
            return 2.0 * (moved * present.conjugate()).real / abs(present)

        return {name: growth(name) for name in part_values(self.state.circuit)}

    def _changed(self, circuits: Iterable[tuple[float, Drawable]]) -> Complexes:
        """Return the sum over weighted other circuits of what they add to s - G x - d/dt (C x) - A (i + dq/dt), with
        the waveforms of this oscillation."""
        own, turn = self.linear, 1j * self.angular_frequency * self.order
        conductance, capacitance = np.zeros_like(own.conductance), np.zeros_like(own.capacitance)
        total = np.zeros_like(self.spectra)
        for weight, circuit in circuits:
            drawing = circuit.drawing()
            linear = drawing.network()
            if linear.names != own.names:
                raise ValueError("the other circuit has other nodes")
            conductance += weight * (linear.conductance - own.conductance)
            capacitance += weight * (linear.capacitance - own.capacitance)
            total[:, 0] += weight * (linear.source - own.source)
            if drawing.devices != self._drawing.devices:
                voltages = waveform(self.state.port_coefficients, instants(self.order.size - 1))
                device = drawing.laws().evaluate(voltages)
                taken = self._spectrum(device.currents) + turn * self._spectrum(device.charges)
                total -= weight * (own.ports @ (taken - self._taken))
        total -= conductance @ self.spectra
        total -= turn * (capacitance @ self.spectra)
        return total

    def _spectrum(self, values: Floats) -> Complexes:
        return np.asarray(np.fft.rfft(values, axis=-1)[..., : self.order.size] / values.shape[-1])


def mean_product(first: Complexes, second: Complexes) -> float:
    """Return the mean over a cycle of the sum of products of two rows of real waveforms, from their coefficients."""
    products = np.sum(first.conj() * second, axis=0).real
    return float(products[0] + 2.0 * np.sum(products[1:]))


def oscillator_adjoint(state: SteadyState) -> Adjoint:
    """Return the projection of a steady oscillation: one factored Jacobian, one solve with its transpose.

    Raises NotConvergedError where the Jacobian is singular (two oscillations that merge).
    """
    drawing, linear, ports = drawn(state.circuit)
    omega, keep = 2.0 * math.pi * state.frequency, state.harmonics + 1
    order = np.arange(keep)
    solved = tangent(linear, ports, state.port_coefficients, omega, phase_port=PHASE_PORT)
    device = ports.evaluate(waveform(state.port_coefficients, instants(state.harmonics)))
    matrices = linear.conductance + 1j * omega * order[:, None, None] * linear.capacitance
    inverse = np.asarray(np.linalg.inv(matrices), dtype=np.complex128)
    count = device.currents.shape[-1]
    current, charge = (np.fft.rfft(values)[:, :keep] / count for values in (device.currents, device.charges))
    taken = current + 1j * omega * order * charge
    drive = -linear.ports @ taken
    drive[:, 0] += linear.source
    spectra = np.einsum("kmn,nk->mk", inverse, drive)
    # the row of J^-1 that gives the relative change of frequency; a cause enters the equations as A^T (G + jkwC)^-1 b
    chosen = np.zeros(solved.jacobian.size)
    chosen[solved.frequency_place] = 1.0
    row = unstacked(solved.jacobian.solve(chosen, transposed=True, refined=True), linear.ports.shape[1])
    projection = np.einsum("kmn,mk->nk", inverse.conj(), linear.ports @ row)
    projection[:, 1:] *= 0.5
    return Adjoint(state, linear, projection, spectra, device, taken, solved, inverse, drawing)
