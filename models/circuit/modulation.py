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
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import j0, j1

from models.arrays import Complexes, Floats
from models.checks import finite_array, non_negative_array, positive, positive_array
from models.circuit.adjoint import Adjoint
from models.circuit.common_base import BASE, COLD, COLLECTOR

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
    def sideband(self) -> complex:
        """Ratio of the upper sideband to the carrier: (m + j phi) / 2 with phi = deviation / (j ripple frequency)."""
        return 0.5 * (self.amplitude + self.deviation / self.ripple_frequency)


def supply_ripple(adjoint: Adjoint, ripple_frequency: float) -> Modulation:
    """Return what 1 V (peak) of ripple on the supply does, before the supply resistor and its capacitor."""
    drive = np.zeros(len(adjoint.linear.names))
    for part in adjoint.linear.resistors:
        if part.offset != 0.0:  # it ends at the source
            drive -= part.weight * part.coefficients * (part.offset / adjoint.state.circuit.supply_voltage)
    return slow_modulation(adjoint, drive, ripple_frequency)


def base_ripple(adjoint: Adjoint, ripple_frequency: float) -> Modulation:
    """Return what 1 V (peak) of ripple at the base itself does, however it comes there."""
    per_ampere = slow_modulation(adjoint, adjoint.linear.unit(BASE), ripple_frequency)
    volt = per_ampere.base
    return Modulation(ripple_frequency, per_ampere.deviation / volt, per_ampere.amplitude / volt, 1.0 + 0.0j)


def slow_modulation(adjoint: Adjoint, drive: Floats, ripple_frequency: float) -> Modulation:
    """Return what a sine of currents `drive` (n,), A (V for inductors), does at `ripple_frequency`, Hz."""
    slow = 2.0 * math.pi * positive("ripple frequency", ripple_frequency)
    top, incidence = adjoint.order.size - 1, adjoint.linear.ports
    orders = np.arange(-top, top + 1)
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
    right = np.zeros((size, ports), dtype=np.complex128)
    right[top] = seen[top] @ drive
    moved = np.linalg.solve(matrix.reshape(size * ports, ports * size), right.ravel()).reshape(ports, size)
    drawn = np.einsum("kprl,rl->kp", mixed, moved)
    pushed = -np.einsum("kmn,kn->km", inverse, drawn @ incidence.T)
    pushed[top] += inverse[top] @ drive
    row = linear.unit(COLLECTOR, COLD)
    carrier = 2.0 * complex(row @ adjoint.spectra[:, 1])
    above, below = complex(row @ pushed[top + 1]) / carrier, complex(row @ pushed[top - 1]) / carrier.conjugate()
    return Modulation(
        ripple_frequency=ripple_frequency,
        deviation=ripple_frequency * (above - below),
        amplitude=above + below,
        base=complex(pushed[top, linear.index(BASE)]),
    )


def vibrato_cents(note: ArrayLike, deviation: ArrayLike) -> Floats:
    """Return the peak vibrato, cents, of a note, Hz, whose beat deviates by a peak of `deviation`, Hz; broadcasts.

    1200 log2(1 + d / f), upwards.
    """
    ratio = non_negative_array("deviation", deviation) / positive_array("note", note)
    return np.asarray(1200.0 * np.log2(1.0 + ratio))


def sideband_decibels(deviation: ArrayLike, ripple_frequency: ArrayLike) -> Floats:
    """Return the level, dB below the note, of each of the two lines beside it that a slow vibrato makes.

    20 log10(J_1(b) / J_0(b)), about 20 log10(b / 2), with b = deviation / ripple frequency (peak deviation, Hz); for
    b < 2, where the note's own line is still there. Frequency modulation by Bessel functions: textbook, from memory.
    ValueError for b >= 2.
    """
    index = finite_array("deviation", deviation) / positive_array("ripple frequency", ripple_frequency)
    if np.any(index >= 2.0):
        raise ValueError("the deviation must be below twice the ripple's frequency")
    return np.asarray(20.0 * np.log10(j1(index) / j0(index)))
