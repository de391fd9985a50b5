"""The oscillator's own noise: lines about the carrier, and the jitter of a note, from the perturbation projection.

Every resistor is a current of thermal noise 4 k T / R (a coil's series resistance a voltage 4 k T R), the collector
and the base current carry shot noise 2 q |i(t)| as they flow, and the base current flicker noise with a corner: all
one-sided densities; other devices have the sources that their modules name. White sources let the time of the
oscillation wander (symbols: g projection, e_i where source i acts, S_i its two-sided density, alpha the time by which
the oscillation is ahead):

    variance of alpha after t = c t,    c = mean over a cycle of sum_i (g^T e_i)^2 S_i(t)
    L(f_m) = f^2 c / (pi^2 f^4 c^2 + f_m^2)                                             per hertz, single sideband

A. Demir, A. Mehrotra, J. Roychowdhury, IEEE Trans. CAS I 47 (2000) 655. A flicker source m(t) n(t), n slow, moves the
frequency by f mean(g^T e m) n(t). The frequency averaged over tau then deviates by (rms)
    white: f sqrt(c / tau);   flicker: sqrt of the integral from the lowest frequency on of S_f sinc^2(pi f' tau).
Both together are `jitter`. Neglected: noise of the pot's wiper, of the capacitors, amplitude noise (it adds to L far
from the carrier only), shot noise beyond |i_c| in saturation, and the low-pass of the bias on flicker (counted as
none: for lines nearer to the carrier than the settling rate of the bias).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import positive, positive_array
from models.circuit.adjoint import Adjoint
from models.circuit.harmonic_balance import waveform
from models.circuit.transistor import Transistor
from models.constants import BOLTZMANN, ELEMENTARY_CHARGE
from models.quick_dataclass import dataclass

LOWEST_FREQUENCY = 0.1
"""Hz: slower wandering of the pitch is retuned and not heard as unsteadiness (our own choice)."""


@dataclass(frozen=True, slots=True)
class Noise:
    """The noise of one oscillator. frequency Hz; diffusion: c of each white source, s (s^2 per s), by name;
    flicker: f^2 (mean g^T e m)^2 S at 1 Hz, Hz^2: the density of the frequency is flicker / f_m, one-sided."""

    frequency: float
    diffusion: dict[str, float]
    flicker: float

    @property
    def total_diffusion(self) -> float:
        """c of all white sources, s."""
        return sum(self.diffusion.values())

    def phase_noise(self, offset: ArrayLike) -> Floats:
        """Return L at `offset`, Hz, in dBc/Hz (single sideband; half the one-sided density of the phase)."""
        away, white = positive_array("offset", offset), self.total_diffusion
        line = self.frequency**2 * white / ((math.pi * self.frequency**2 * white) ** 2 + away**2)
        return np.asarray(10.0 * np.log10(line + 0.5 * self.flicker / away**3))

    def frequency_variance(self, duration: float, lowest: float = LOWEST_FREQUENCY) -> float:
        """Return the variance, Hz^2, of the frequency averaged over `duration`, s, flicker from `lowest`, Hz, on."""
        white = self.frequency**2 * self.total_diffusion / positive("duration", duration)
        return white + self.flicker * flicker_integral(math.pi * duration * positive("lowest frequency", lowest))


def flicker_integral(start: float) -> float:
    """Return the integral of sin^2(x) / x^3 from `start` > 0 to infinity: (1 - cos y) / y^2 + sin(y) / y - Ci(y).

    y = 2 start; by parts, Ci the cosine integral.
    """
    twice = 2.0 * positive("start", start)
    return (1.0 - math.cos(twice)) / twice**2 + math.sin(twice) / twice - _cosine_integral(twice)


def _cosine_integral(y: float) -> float:
    """Return Ci(y), y > 0: gamma + ln y + sum over n of (-1)^n y^(2n) / (2n (2n)!) while that keeps its digits."""
    if y > 4.0:
        from scipy.special import sici  # heavy, and seldom needed

        return float(sici(y)[1])
    total, term = float(np.euler_gamma) + math.log(y), 1.0
    for even in range(2, 40, 2):
        term *= -y * y / (even * (even - 1))
        total += term / even
    return total


def oscillator_noise(adjoint: Adjoint) -> Noise:
    """Return the noise of a solved oscillator, the flicker noise by its transistor's corner.

    All resistors are at the transistor's temperature.
    """
    linear, frequency = adjoint.linear, adjoint.state.frequency
    count = adjoint.device.currents.shape[-1]
    projection = waveform(adjoint.projection, count)  # (n, m)
    thermal = 2.0 * BOLTZMANN * adjoint.state.circuit.drawing().temperature
    diffusion = {
        part.name: thermal * part.weight * float(np.mean((part.coefficients @ projection) ** 2))
        for part in linear.resistors
    }
    drawing = adjoint.state.circuit.drawing()
    voltages = waveform(adjoint.state.port_coefficients, count)
    currents = drawing.whole_currents(voltages, adjoint.device.currents)
    flicker, several = 0.0, len(drawing.devices) > 1
    devices = drawing.laws()
    for part, law, place in zip(drawing.devices, devices.laws, devices.places, strict=True):
        into = linear.ports[:, place].T @ projection
        for source in law.noise(voltages[place], currents[place]):
            name = f"{source.name} of {part.name}" if several else source.name
            diffusion[name] = float(np.mean((source.flows @ into) ** 2 * source.density))
        if isinstance(part.what, Transistor):
            base = np.abs(currents[place].sum(axis=0))
            slow = float(np.mean(into[0] * np.sqrt(2.0 * ELEMENTARY_CHARGE * base)))
            flicker += (frequency * slow) ** 2 * part.what.flicker_corner
    return Noise(frequency, diffusion, flicker)


def note_jitter(
    note: ArrayLike, first: Noise, second: Noise, duration: float = 0.1, lowest: float = LOWEST_FREQUENCY
) -> Floats:
    """Return the rms unsteadiness, cents, of a note, Hz, that two independent oscillators beat, each time read over
    `duration`, s: 1200 log2(1 + s / f)."""
    spread = math.sqrt(first.frequency_variance(duration, lowest) + second.frequency_variance(duration, lowest))
    return np.asarray(1200.0 * np.log2(1.0 + spread / positive_array("note", note)))
