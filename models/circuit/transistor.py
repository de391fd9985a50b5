"""One NPN transistor: Ebers-Moll transport currents, depletion and diffusion charges, as a two-port of junctions.

The ports are base-emitter and base-collector: voltage v = (v_be, v_bc), current i = (base to emitter, base to
collector). Terminal currents into the transistor: base = i_be + i_bc, collector = -i_bc, emitter = -i_be.
The resistance of the base region lies outside, between the base terminal and the junctions (see
`models.circuit.drawing`).
Neglected: emitter and collector series resistance, current dependence of the base resistance, high-level injection,
breakdown, self-heating; noise is in models.circuit.oscillator_noise.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import finite, non_negative, positive
from models.constants import ELEMENTARY_CHARGE
from models.junction import (
    depletion,
    depletion_capacitance,
    depletion_capacitance_at,
    exponential_junction,
    exponential_junction_at,
    thermal_voltage,
)
from models.quick_dataclass import dataclass

EMITTER_PORT, COLLECTOR_PORT = 0, 1
"""Order of the ports."""
ACTIVE, SATURATED, CUT_OFF, OHMIC, STUCK = "active", "saturated", "cut off", "ohmic", "stuck"
"""Where a device rests. Saturated: a bipolar transistor, both junctions conducting; ohmic: a field-effect transistor
with too little voltage along its channel; stuck: an inverter whose input lies outside the range in which it switches.
"""
KNEE = 0.4
"""V at which a junction begins to conduct: beyond, Newton's steps are limited."""


@dataclass(frozen=True, slots=True)
class DepletionJunction:
    """Depletion and storage of one junction: F, V, exponent, fraction of the potential, s."""

    zero_bias_capacitance: float
    potential: float = 0.75
    grading: float = 1.0 / 3.0
    knee: float = 0.5
    transit_time: float = 0.0

    def __post_init__(self) -> None:
        positive("zero_bias_capacitance", self.zero_bias_capacitance)
        positive("potential", self.potential)
        for name in ("grading", "knee"):
            if not 0.0 < finite(name, getattr(self, name)) < 1.0:
                raise ValueError(f"{name} must be between 0 and 1 (both excluded); got {getattr(self, name):g}")
        non_negative("transit_time", self.transit_time)


@dataclass(frozen=True, slots=True)
class Transistor:
    """A small-signal NPN. The defaults are typical of general-purpose parts, from memory; no particular part is meant.

    saturation_current A; forward_gain, reverse_gain (beta); base_resistance ohm (0: none); early_voltage V or None
    (no Early effect); temperature K; emitter_junction and collector_junction hold the charges; flicker_corner Hz:
    below it the base current's flicker noise exceeds its shot noise (0: none).
    """

    saturation_current: float = 1e-14
    forward_gain: float = 200.0
    reverse_gain: float = 4.0
    base_resistance: float = 0.0
    early_voltage: float | None = None
    temperature: float = 300.0
    emitter_junction: DepletionJunction = DepletionJunction(9e-12, transit_time=0.4e-9)
    collector_junction: DepletionJunction = DepletionJunction(8e-12, transit_time=50e-9)
    flicker_corner: float = 1000.0

    def __post_init__(self) -> None:
        for name in ("saturation_current", "forward_gain", "reverse_gain", "temperature"):
            positive(name, getattr(self, name))
        non_negative("base_resistance", self.base_resistance)
        non_negative("flicker_corner", self.flicker_corner)
        if self.early_voltage is not None:
            positive("early_voltage", self.early_voltage)


@dataclass(frozen=True, slots=True, eq=False)
class PortState:
    """Currents (p, ...), A, charges (p, ...), C, and their derivatives (p, p, ...), S and F, by the port voltages."""

    currents: Floats
    charges: Floats
    conductances: Floats
    capacitances: Floats


@dataclass(frozen=True, slots=True, eq=False)
class NoiseSource:
    """White noise of a device: in which of its ports the current flows (p,), and its two-sided density (m,), A^2/Hz."""

    name: str
    flows: Floats
    density: Floats


def shot_noise(name: str, flows: ArrayLike, current: Floats) -> NoiseSource:
    """Return the shot noise of a current (m,), A: two-sided q |i|."""
    return NoiseSource(name, np.asarray(flows, dtype=np.float64), ELEMENTARY_CHARGE * np.abs(current))


class TransistorPorts:
    """The equations of a `Transistor`, ready to be evaluated on arrays of port voltages (2, ...)."""

    exponential = True
    control = 0

    def __init__(self, transistor: Transistor) -> None:
        pair = (transistor.emitter_junction, transistor.collector_junction)

        def column(name: str) -> Floats:
            return np.array([[getattr(junction, name)] for junction in pair])

        self.transistor = transistor
        self.thermal = thermal_voltage(transistor.temperature)
        self.knees = np.array([KNEE, KNEE])
        self._depletion = tuple(column(name) for name in ("zero_bias_capacitance", "potential", "grading", "knee"))
        self._transit = column("transit_time")
        self._loss = np.array([[1.0 / transistor.forward_gain], [1.0 / transistor.reverse_gain]])
        self._early = 0.0 if transistor.early_voltage is None else 1.0 / transistor.early_voltage
        # the same as plain numbers, junction by junction
        self._each = tuple(
            (
                float(self._loss[place, 0]),
                junction.transit_time,
                tuple(float(part[place, 0]) for part in self._depletion),
            )
            for place, junction in enumerate(pair)
        )

    def _junctions(self, voltages: ArrayLike) -> tuple[Floats, Floats, Floats]:
        ports = np.asarray(voltages, dtype=np.float64).reshape(2, -1)
        return (ports, *exponential_junction(ports, self.transistor.saturation_current, self.thermal))

    def _port_currents(self, ports: Any, diode: Any, lost: Any) -> tuple[Any, Any]:
        """Return the port currents, in the place of `lost`: I / beta of both junctions; and what the Early effect does.

        Symbols: I_F, I_R junction currents; I_T transport current; V_A Early voltage (Ebers & Moll, Proc. IRE 42
        (1954) 1761, in the transport form; from memory).
        I_T = (I_F - I_R)(1 - v_bc / V_A); i_be = I_T + I_F / beta_F; i_bc = -I_T + I_R / beta_R
        """
        modulation = 1.0 - self._early * ports[1] if self._early else 1.0
        transport = (diode[0] - diode[1]) * modulation
        lost[0] += transport
        lost[1] -= transport
        return lost, modulation

    def currents_and_capacitances(self, voltages: ArrayLike) -> tuple[Floats, Floats]:
        """Return port currents (2, n), A, and the port capacitances (2, n), F, of port voltages (2, n) or (2,)."""
        ports, diode, slope = self._junctions(voltages)
        currents, _ = self._port_currents(ports, diode, diode * self._loss)
        return currents, depletion_capacitance(ports, *self._depletion) + self._transit * slope

    def at_instant(self, voltages: Sequence[float]) -> tuple[Sequence[float], Sequence[float]]:
        """Return the same of two plain numbers, in a fifth of the time: for integration in time."""
        saturation, diode, lost, capacitances = self.transistor.saturation_current, [], [], []
        for voltage, (loss, transit, depletion_values) in zip(voltages, self._each, strict=True):
            current, slope = exponential_junction_at(voltage, saturation, self.thermal)
            diode.append(current)
            lost.append(current * loss)
            capacitances.append(depletion_capacitance_at(voltage, *depletion_values) + transit * slope)
        return self._port_currents(voltages, diode, lost)[0], capacitances

    def evaluate(self, voltages: ArrayLike) -> PortState:
        """Return currents, charges and both Jacobians for port voltages (2, n), V."""
        ports, diode, slope = self._junctions(voltages)
        currents, modulation = self._port_currents(ports, diode, diode * self._loss)
        by_port = slope * modulation  # of the transport current
        if self._early:
            by_port[1] += self._early * (diode[0] - diode[1])
        own = slope * self._loss
        own += by_port
        conductances, capacitances = np.empty((2, *slope.shape)), np.zeros((2, *slope.shape))
        conductances[0, 0], conductances[1, 1] = own
        np.negative(by_port[1], out=conductances[0, 1])
        np.negative(by_port[0], out=conductances[1, 0])
        depleted, charges = depletion(ports, *self._depletion)
        capacitances[0, 0], capacitances[1, 1] = depleted + self._transit * slope
        return PortState(currents, charges + self._transit * diode, conductances, capacitances)

    def transconductance(self, voltages: ArrayLike) -> float:
        """Return the transport transconductance dI_T/dv_be, S, at one pair of port voltages (2,)."""
        ports, _, slope = self._junctions(voltages)
        return float(slope[0, 0] * (1.0 - self._early * ports[1, 0]))

    def transfer(self, voltages: ArrayLike) -> tuple[float, Floats]:
        """Return the transport transconductance, S, at one pair of port voltages (2,), and the ports it flows in."""
        return self.transconductance(voltages), np.array([1.0, -1.0])

    def region(self, voltages: Floats, currents: Floats) -> str:
        """Return "active", "saturated" or "cut off" from port voltages and currents (2,)."""
        if voltages[1] > KNEE:
            return SATURATED
        return CUT_OFF if -float(currents[1]) < 1e-9 else ACTIVE

    def noise(self, voltages: Floats, currents: Floats) -> tuple[NoiseSource, ...]:
        """Return the shot noise of collector and base current for port voltages and currents (2, m)."""
        collector = shot_noise("collector current", [1.0, -1.0], currents[1])
        return collector, shot_noise("base current", [1.0, 0.0], currents[0] + currents[1])
