"""The resonance of a drawn circuit without its losses: which frequency its tank rings at, and what an antenna sees.

Left are capacitances C (with those of the devices' junctions) and coils L between nodes, incidence A (coil to node):
    A^T L^-1 A x = omega^2 C x
and of its modes, that which swings the tank most for its energy, a good part of it in the tank's coil. Seen from a pair
of nodes with the voltage v of that mode the circuit is a tank of
    C_eq = x^T C x / v^2,   L_eq = 1 / (omega^2 C_eq)
(stored energy; exact for what a small capacitance there does to the frequency: df = -(f / 2) dC / C_eq). Resistors are
taken as open, so a part behind a small resistor is left out; only the resistance within a base counts as none, as it is
far below what the junctions behind it have to a radio frequency.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from models.arrays import Floats
from models.circuit.common_base import OscillatorCircuit
from models.circuit.drawing import Drawable, Drawing, drawn, windings
from models.circuit.transistor import Transistor
from models.quick_dataclass import dataclass

LEAST_SHARE = 0.1
"""Of the magnetic energy of the tank's mode that its coil holds."""


@dataclass(frozen=True, slots=True)
class Resonance:
    """frequency Hz; capacitance F and inductance H of the equal tank, as seen from a pair of nodes."""

    frequency: float
    capacitance: float
    inductance: float


def resonance(
    circuit: Drawable,
    nodes: tuple[str, str] | None = None,
    port_voltages: Floats | None = None,
    *,
    junctions: bool = True,
) -> Resonance:
    """Return the resonance of a circuit as seen from `nodes` (None: across its tank).

    port_voltages (p,): V at which the junctions' capacitances are taken; None: without voltage; not counted where
    `junctions` is false. Raises ValueError where the coil of the tank resonates with nothing.
    """
    drawing, linear, ports = drawn(_with_bare_bases(circuit.drawing()))
    voltages = np.zeros(linear.ports.shape[1]) if port_voltages is None else port_voltages
    held = ports.currents_and_capacitances(voltages)[1][:, 0] * (1.0 if junctions else 1e-6)
    whole = linear.capacitance + linear.ports @ np.diag(held) @ linear.ports.T
    count = len(linear.names) - len(linear.coils)
    capacitance, inductance = whole[:count, :count], whole[count:, count:]
    incidence = -linear.conductance[count:, :count]
    by_voltage = np.linalg.solve(inductance, incidence)
    held_by = np.linalg.inv(np.linalg.cholesky(capacitance))
    squared, turned = np.linalg.eigh(held_by @ incidence.T @ by_voltage @ held_by.T)
    shapes = held_by.T @ turned
    own = [linear.coils.index(name) for name, *_ in windings(drawing.part(drawing.coil))]
    flux, current = incidence @ shapes, by_voltage @ shapes
    share = np.sum(flux[own] * current[own], axis=0) / np.maximum(np.sum(flux * current, axis=0), 1e-300)
    tank = linear.unit(*drawing.tank)[:count]
    swing = np.where((squared > 1e-13 * squared[-1]) & (share > LEAST_SHARE), np.abs(tank @ shapes), 0.0)
    best = int(np.argmax(swing))
    seen = float((tank if nodes is None else linear.unit(*nodes)[:count]) @ shapes[:, best])
    if swing[best] == 0.0 or seen == 0.0:
        raise ValueError("the tank's coil resonates with no capacitor of the drawing")
    equal = 1.0 / seen**2  # shapes have x^T C x = 1
    return Resonance(math.sqrt(squared[best]) / (2.0 * math.pi), equal, 1.0 / (squared[best] * equal))


def _with_bare_bases(drawing: Drawing) -> Drawing:
    """Return the drawing with no resistance within the bases of its transistors."""
    for part in drawing.devices:
        if isinstance(part.what, Transistor) and part.what.base_resistance > 0.0:
            drawing = drawing.with_part(part.name, replace(part.what, base_resistance=0.0))
    return drawing


def beside_tank(circuit: Drawable) -> float:
    """Return what the drawn parts around the tank add across it without their devices, F; not below 0."""
    if isinstance(circuit, OscillatorCircuit):
        return circuit.divider_capacitance
    drawing = circuit.drawing()
    return max(0.0, resonance(drawing, junctions=False).capacitance - drawing.across_tank)


def natural_frequency(circuit: Drawable) -> float:
    """Return the frequency, Hz, of the tank's linear parts alone.  f = 1 / (2 pi sqrt(L C))"""
    if isinstance(circuit, OscillatorCircuit):
        return 1.0 / (2.0 * math.pi * math.sqrt(circuit.inductance * circuit.tank_capacitance))
    return resonance(circuit).frequency


def ringing_capacitance(circuit: Drawable) -> float:
    """Return the capacitance, F, that stores the energy of the tank's swing, of the linear parts alone."""
    return circuit.tank_capacitance if isinstance(circuit, OscillatorCircuit) else resonance(circuit).capacitance
