"""Lock range of two oscillators that meet through their output resistors: the origin of injection pulling.

Each oscillator swings at V_1, V_2 (reference, variable; peak volts at its output) and drives the mixing node through
its output resistor R_1, R_2; the node carries R_n parallel to C_n. What the other sends into an oscillator's tank:

    Z = 1 / (1/R_1 + 1/R_2 + 1/R_n + j w C_n),   Y = Z / (R_1 R_2),   I_1 = Y V_2,  I_2 = Y V_1

Adler's wL = (w0 / 2Q) (I_inj / I_osc) with I_osc = V w0 C / Q, the current in the tank's loss, needs neither Q nor w0:

    k_1 = |Y| V_2 / (2 C_1 V_1),   k_2 = |Y| V_1 / (2 C_2 V_2)                            rad/s
    d(delta)/dt = dw + (k_1 - k_2) sin(psi) cos(delta) - (k_1 + k_2) cos(psi) sin(delta),   psi = arg Y
    wL = sqrt(((k_1 + k_2) cos(psi))^2 + ((k_1 - k_2) sin(psi))^2)

with C_1, C_2 each tank's capacitance as its output sees it (half the slope of its susceptance with w). R. Adler,
Proc. IRE 34 (1946) 351; B. Razavi, IEEE JSSC 39 (2004) 1415; the two-sided form is derived here and checked by
integrating two oscillators in time. Valid for weak coupling: wL small against w0 / 2Q of both. Neglected: that the
injected current also changes the amplitudes (with a node that is mostly capacitive, psi near -90 degrees, and equal
oscillators, wL falls to 0 in this model and what is left comes from there), other leaks between the two (supply,
stray field), harmonics, and the coupling capacitors, which are taken as large. Against whole transistor circuits
(`models.circuit.coupled`) this is an order of magnitude: 1.05 times theirs with a node of mostly resistance, 0.6 with
one of mostly capacitance, 1.9 at the demo design Willow, 5.7 with twice its current; so it serves designs without
circuits alone.
"""

from __future__ import annotations

import math

from models.branch.antenna_branch import SeriesInductor
from models.branch.modes import MODES, mode_frequencies
from models.checks import non_negative, one_of, positive
from models.quick_dataclass import dataclass
from models.tank import Tank


@dataclass(frozen=True, slots=True)
class OutputCoupling:
    """The parts between the oscillators, ohm and F; `node_resistance` None: only the capacitance loads the node."""

    reference_resistor: float = 47e3
    variable_resistor: float = 47e3
    node_resistance: float | None = 100e3
    node_capacitance: float = 20e-12

    def __post_init__(self) -> None:
        positive("reference resistor", self.reference_resistor)
        positive("variable resistor", self.variable_resistor)
        non_negative("node capacitance", self.node_capacitance)
        if self.node_resistance is not None:
            positive("node resistance", self.node_resistance)

    def node_impedance(self, frequency: float) -> complex:
        """Z, ohm, at `frequency`, Hz."""
        omega = 2.0 * math.pi * positive("frequency", frequency)
        load = 0.0 if self.node_resistance is None else 1.0 / self.node_resistance
        conductance = 1.0 / self.reference_resistor + 1.0 / self.variable_resistor + load
        return 1.0 / (conductance + 1j * omega * self.node_capacitance)

    def transfer_admittance(self, frequency: float) -> complex:
        """Y, S: current into one tank per volt of the other, at `frequency`, Hz."""
        return self.node_impedance(frequency) / (self.reference_resistor * self.variable_resistor)


def lock_range(
    coupling: OutputCoupling,
    frequency: float,
    reference_capacitance: float,
    variable_capacitance: float,
    amplitude_ratio: float = 1.0,
) -> float:
    """Hz within which the two fall into step. Capacitances F as the outputs see them; `frequency` Hz, of both.

    `amplitude_ratio`: V_2 / V_1, variable over reference, at the oscillators' own outputs.
    """
    ratio = positive("amplitude ratio", amplitude_ratio)
    admittance = coupling.transfer_admittance(frequency)
    first = ratio / (2.0 * positive("reference capacitance", reference_capacitance))
    second = 1.0 / (2.0 * positive("variable capacitance", variable_capacitance) * ratio)
    return math.hypot((first + second) * admittance.real, (first - second) * admittance.imag) / (2.0 * math.pi)


def effective_capacitance(tank: Tank, branch: SeriesInductor, antenna_capacitance: float, mode: str) -> float:
    """Capacitance of a tank with its antenna branch as its output sees it, F: -f / (2 df/dC) where it swings.

    Half the slope of the susceptance: the tank's own capacitance and the antenna's straight across, more with a branch,
    which stores energy of its own. `mode` "low" or "high"; lossless, by a central difference of 1e-4 of C.
    """
    place = MODES.index(one_of("mode", mode, MODES))
    inductance, own = branch.inductance, branch.self_capacitance
    total = tank.total_capacitance
    step = 1e-4 * total
    low, middle, high = (
        float(mode_frequencies(tank.inductance, total + change, inductance, antenna_capacitance, own)[place])
        for change in (-step, 0.0, step)
    )
    return -middle * 2.0 * step / (2.0 * (high - low))
