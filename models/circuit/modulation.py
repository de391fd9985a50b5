"""What a slow ripple does to a steady oscillation: vibrato and its sidebands, the decoupling's own time counted.

A ripple Re(B(t) exp(j W t)), B periodic with the oscillation, moves the states by Re(X(t) exp(j W t)). In the spectra
on the orders k = -K..K the linearised circuit reads (symbols: w = 2 pi f, Y_k = G + j (k w + W) C, A ports, g and c the
device's conductances and capacitances along the orbit)

    V_k + A^T Y_k^-1 A (sum over l of (g_(k-l) + j (k w + W) c_(k-l)) V_l) = A^T Y_k^-1 B_k,   V = A^T X

(harmonic balance with a conversion matrix: S. A. Maas, Nonlinear Microwave and RF Circuits, 2003, chapter 3, from
memory; derived here). The fundamental of the tank's voltage, 2 X_1 at rest, then gets a relative modulation
m(t) + j phi(t); the frequency deviates by d(phi)/dt / 2 pi. For W -> 0 this is `Adjoint.frequency_shift` (the tests);
above the settling rate of the bias it falls.
Valid while the deviation is small against the ripple's frequency or slow against the settling time.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Complexes, Floats
from models.checks import non_negative_array, positive, positive_array
from models.circuit.adjoint import Adjoint
from models.circuit.work import elimination, spend
from models.quick_dataclass import dataclass

FAINT = 1e-7
"""Of the fundamental: a harmonic below it takes no part in a slow modulation."""
HUM_FREQUENCIES = (50.0, 60.0, 100.0, 120.0)
"""Mains and twice the mains (after a rectifier of both half waves), Hz."""


@dataclass(frozen=True, slots=True)
class Modulation:
    """What one unit of ripple at `ripple_frequency`, Hz, does: deviation of the frequency, Hz, and relative change of
    the amplitude, both complex (peak and phase against the ripple's), and the peak at the base, V."""

    ripple_frequency: float
    deviation: complex
    amplitude: complex
    base: complex

    @property
    def sideband(self) -> float:
        """Peak of the stronger of the two lines beside the carrier, over the carrier's."""
        return float(stronger_sideband(self.amplitude, self.deviation, self.ripple_frequency))


def supply_ripple(adjoint: Adjoint, ripple_frequency: float) -> Modulation:
    """Return what 1 V (peak) of ripple on the supply does, before the supply resistor and its capacitor."""
    return both_ripples(adjoint, ripple_frequency)[0]


def base_ripple(adjoint: Adjoint, ripple_frequency: float) -> Modulation:
    """Return what 1 V (peak) of ripple at the base itself does, however it comes there."""
    return both_ripples(adjoint, ripple_frequency)[1]


def both_ripples(adjoint: Adjoint, ripple_frequency: float) -> tuple[Modulation, Modulation]:
    """Return `supply_ripple` and `base_ripple`, from one solve."""
    supply = np.zeros(len(adjoint.linear.names))
    for part in adjoint.linear.resistors:
        if part.offset != 0.0:  # it ends at the source
            supply -= part.weight * part.coefficients * (part.offset / adjoint.state.circuit.supply_voltage)
    drives = np.column_stack([supply, _base(adjoint)])
    by_supply, per_ampere = slow_modulations(adjoint, drives, ripple_frequency)
    volt = per_ampere.base
    if volt == 0.0:  # a control end on ground
        return by_supply, Modulation(ripple_frequency, 0.0j, 0.0j, 0.0j)
    by_base = Modulation(ripple_frequency, per_ampere.deviation / volt, per_ampere.amplitude / volt, 1.0 + 0.0j)
    return by_supply, by_base


def slow_modulations(adjoint: Adjoint, drives: Floats, ripple_frequency: float) -> tuple[Modulation, ...]:
    """Return what each sine of currents, a column of `drives` (n, m), A (V for inductors), does at `ripple_frequency`,
    Hz.
    """
    slow = 2.0 * math.pi * positive("ripple frequency", ripple_frequency)
    top, incidence = _heard_orders(adjoint), adjoint.linear.ports
    orders = np.arange(-top, top + 1)
    spend(4.0 * elimination(orders.size * incidence.shape[1]))  # of complex numbers
    turn = 1j * (orders * adjoint.angular_frequency + slow)
    linear = adjoint.linear
    inverse = np.linalg.inv(linear.conductance + turn[:, None, None] * linear.capacitance)
    seen = incidence.T @ inverse  # (2K+1, p, n)
    impedance = seen @ incidence
    ports, size = incidence.shape[1], orders.size

    def shifted(derivative: Floats) -> Complexes:
        """Return the spectrum of (p, p, m) instants at the orders k - l, (k, p, p, l)."""
        spectrum = np.fft.fft(derivative, axis=-1) / derivative.shape[-1]
        return np.asarray(spectrum[..., orders[:, None] - orders[None, :]].transpose(2, 0, 1, 3))

    mixed = shifted(adjoint.device.conductances)
    mixed = mixed + turn[:, None, None, None] * shifted(adjoint.device.capacitances)
    matrix = np.einsum("kpq,kqrl->kprl", impedance, mixed)
    matrix[np.arange(size), :, :, np.arange(size)] += np.eye(ports)
    right = np.zeros((size, ports, drives.shape[1]), dtype=np.complex128)
    right[top] = seen[top] @ drives
    moved = np.linalg.solve(matrix.reshape(size * ports, ports * size), right.reshape(size * ports, -1))
    drawn = np.einsum("kprl,rlc->kpc", mixed, moved.reshape(ports, size, -1))
    pushed = -inverse @ (incidence @ drawn)
    pushed[top] += inverse[top] @ drives
    row, base = adjoint.tank, _base(adjoint)
    carrier = 2.0 * complex(row @ adjoint.spectra[:, 1])
    above, below = row @ pushed[top + 1] / carrier, row @ pushed[top - 1] / carrier.conjugate()
    return tuple(
        Modulation(
            ripple_frequency=ripple_frequency,
            deviation=ripple_frequency * complex(above[one] - below[one]),
            amplitude=complex(above[one] + below[one]),
            base=complex(base @ pushed[top, :, one]),
        )
        for one in range(drives.shape[1])
    )


def _base(adjoint: Adjoint) -> Floats:
    """Return the row (n,) of the base: the control end of the amplifying device, whatever its kind."""
    return adjoint.linear.unit(adjoint.state.circuit.drawing().control)


def _heard_orders(adjoint: Adjoint) -> int:
    """Return the order of the last harmonic of the ports that is not FAINT: those beyond it count for nothing here.

    Against all of them the result moves by some 1e-8 where the harmonics fall fast, by 1e-5 in a circuit driven hard.
    """
    sizes = np.abs(adjoint.state.port_coefficients).max(axis=0)
    return int(np.flatnonzero(sizes > FAINT * sizes[1])[-1])


def stronger_sideband(amplitude: ArrayLike, deviation: ArrayLike, ripple_frequency: ArrayLike) -> Floats:
    """Return the peak of the stronger of the two lines beside a wave, over the wave's own; broadcasts.

    amplitude m: relative change; deviation d: of the frequency, Hz; both complex peaks at the ripple's frequency F.
    With phi = d / (j F) the wave is cos(w t) turned by Re((1 + m(t) + j phi(t)) exp(j w t)), and its lines are
    |m + j phi| / 2 above and |m - j phi| / 2 below (for small m and phi; derived here).
    """
    turning = np.asarray(deviation) / positive_array("ripple frequency", ripple_frequency)
    swelling = np.asarray(amplitude)
    return np.asarray(0.5 * np.maximum(np.abs(swelling + turning), np.abs(swelling - turning)))


def vibrato_cents(note: ArrayLike, deviation: ArrayLike) -> Floats:
    """Return the peak vibrato, cents, of a note, Hz, whose beat deviates by a peak of `deviation`, Hz; broadcasts.

    1200 log2(1 + d / f), upwards.
    """
    ratio = non_negative_array("deviation", deviation) / positive_array("note", note)
    return np.asarray(1200.0 * np.log2(1.0 + ratio))
