"""A junction diode as a device of one port, from anode to cathode.

Neglected: series resistance (draw it), breakdown, recombination at low current.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import positive
from models.circuit.transistor import ACTIVE, CUT_OFF, KNEE, DepletionJunction, NoiseSource, PortState, shot_noise
from models.junction import (
    depletion,
    depletion_capacitance_at,
    exponential_junction,
    exponential_junction_at,
    thermal_voltage,
)
from models.quick_dataclass import dataclass

JUNCTION = DepletionJunction(2e-12, transit_time=6e-9)
"""Of small silicon diodes, from memory."""


@dataclass(frozen=True, slots=True)
class Diode:
    """A small silicon diode; the defaults are typical of small-signal switching diodes, from memory.

    saturation_current A; emission_factor; temperature K; junction holds the charges.
    """

    saturation_current: float = 2.5e-9
    emission_factor: float = 1.8
    temperature: float = 300.0
    junction: DepletionJunction = JUNCTION

    def __post_init__(self) -> None:
        for name in ("saturation_current", "emission_factor", "temperature"):
            positive(name, getattr(self, name))


class DiodePorts:
    """The equations of a `Diode` on arrays of port voltages (1, m), V.

    Symbols: I_s saturation current, n emission factor, V_T thermal voltage (Shockley, Bell Syst. Tech. J. 28 (1949)
    435; from memory).  I = I_s (exp(V / n V_T) - 1)
    """

    exponential = False
    control = 0

    def __init__(self, diode: Diode) -> None:
        junction = diode.junction
        self.thermal = diode.emission_factor * thermal_voltage(diode.temperature)
        self.knees = np.array([KNEE])
        self._diode = diode
        self._depletion = junction.zero_bias_capacitance, junction.potential, junction.grading, junction.knee

    def currents_and_capacitances(self, voltages: ArrayLike) -> tuple[Floats, Floats]:
        """Return the current (1, m), A, and the capacitance (1, m), F, of the port."""
        state = self.evaluate(voltages)
        return state.currents, state.capacitances[0]

    def at_instant(self, voltages: Sequence[float]) -> tuple[Sequence[float], Sequence[float]]:
        """Return the same of one plain number, in a fraction of the time: for integration in time."""
        current, slope = exponential_junction_at(voltages[0], self._diode.saturation_current, self.thermal)
        held = depletion_capacitance_at(voltages[0], *self._depletion) + self._diode.junction.transit_time * slope
        return (current,), (held,)

    def evaluate(self, voltages: ArrayLike) -> PortState:
        """Return current, charge and both derivatives for port voltages (1, m), V."""
        ports = np.asarray(voltages, dtype=np.float64).reshape(1, -1)
        current, slope = exponential_junction(ports, self._diode.saturation_current, self.thermal)
        transit = self._diode.junction.transit_time
        capacitance, charge = depletion(ports, *self._depletion)
        return PortState(current, charge + transit * current, slope[None], (capacitance + transit * slope)[None])

    def transfer(self, voltages: ArrayLike) -> tuple[float, Floats]:
        """Return the slope of the current, S, and the port it flows in: a diode does not amplify."""
        return float(self.evaluate(voltages).conductances[0, 0, 0]), np.ones(1)

    def region(self, voltages: Floats, currents: Floats) -> str:
        """Return "active" where it conducts, else "cut off"."""
        return ACTIVE if currents[0] > 1e-9 else CUT_OFF

    def noise(self, voltages: Floats, currents: Floats) -> tuple[NoiseSource, ...]:
        """Return its shot noise."""
        return (shot_noise("diode current", [1.0], currents[0]),)
