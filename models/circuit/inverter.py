"""An unbuffered CMOS inverter: its smooth transfer curve behind its output resistance, as a device of three ports.

The ports are supply-output, input-ground and output-ground. The output is joined to the supply and to ground by two
conductances that the input shares out, so that its current comes from the supply as it does in the part, and it is
passive. Capacitances of input and output are constant and belong to the network (`models.circuit.drawing`).
What flows straight from supply to ground while it switches follows: V / (4 R) in the middle (of unbuffered parts some
mA at 9 V, from memory). Neglected: delay, the change of the gain with the supply, the protective diodes of the input
(draw them where the input swings beyond the supply).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import fraction, non_negative, positive
from models.circuit.transistor import ACTIVE, STUCK, NoiseSource, PortState
from models.constants import BOLTZMANN
from models.junction import THERMAL_VOLTAGE
from models.quick_dataclass import dataclass

ASLEEP = 0.05
"""V of the supply below which the input no longer counts in full: the curve is taken over sqrt(V^2 + ASLEEP^2)."""
LEAST_GAIN = 0.02
"""Share of the largest slope below which the input lies outside the range in which it switches."""


@dataclass(frozen=True, slots=True)
class Inverter:
    """An inverter; the defaults are typical of unbuffered ones of the 15 V family at 9 V, from memory.

    gain: largest slope of the unloaded curve (as a ratio); threshold: of the supply, where it switches;
    output_resistance, ohm, with the supply at rated_supply, V; it is inversely proportional to the supply, as the
    channels conduct better with more (some 450 ohm at 5 V, 220 at 10 V, 170 at 15 V with little current, from memory);
    capacitances F; temperature K.
    """

    gain: float = 20.0
    threshold: float = 0.5
    output_resistance: float = 400.0
    rated_supply: float = 9.0
    input_capacitance: float = 6e-12
    output_capacitance: float = 6e-12
    temperature: float = 300.0

    def __post_init__(self) -> None:
        for name in ("gain", "output_resistance", "rated_supply", "temperature"):
            positive(name, getattr(self, name))
        fraction("threshold", self.threshold)
        for name in ("input_capacitance", "output_capacitance"):
            non_negative(name, getattr(self, name))


class InverterPorts:
    """The equations of an `Inverter` on arrays of port voltages (3, m), V.

    Symbols: v_1 from supply to output, v_2 input, v_3 output, V = v_1 + v_3 supply (kept away from 0 by ASLEEP), V_0
    the rated one, A gain, t threshold, R output resistance at V_0, u = v_2 / V, h = 1 / (1 + exp(4 A (u - t))) share of
    the upper half, g = V / (V_0 R).
    i_1 = h g v_1,   i_2 = 0,   i_3 = (1 - h) g v_3
    Without load v_3 = h V, whose slope at u = t is -A: a logistic curve, our own choice for the measured S shape.
    """

    exponential = False
    control = 1
    thermal = THERMAL_VOLTAGE

    def __init__(self, part: Inverter) -> None:
        self.part = part
        self.knees = np.full(3, np.inf)

    def _all(self, voltages: ArrayLike) -> tuple[Floats, Floats]:
        from scipy.special import expit  # heavy, and only for these devices

        ports = np.asarray(voltages, dtype=np.float64).reshape(3, -1)
        part, supply = self.part, ports[0] + ports[2]
        scale = np.hypot(supply, ASLEEP)
        conductance = scale / (part.rated_supply * part.output_resistance)
        turn = 4.0 * part.gain * (ports[1] / scale - part.threshold)
        upper = expit(-turn)
        steep = -4.0 * part.gain * upper * (1.0 - upper)
        by_input, by_supply = steep / scale, -steep * ports[1] * supply / scale**3
        currents = np.stack([upper * ports[0], np.zeros_like(upper), (1.0 - upper) * ports[2]]) * conductance
        conductances = np.zeros((3, 3, ports.shape[1]))
        for row, sign in ((0, 1.0), (2, -1.0)):
            conductances[row, 1] = sign * by_input * ports[row] * conductance
            conductances[row, 0] = conductances[row, 2] = sign * by_supply * ports[row] * conductance
        for row in (0, 2):  # the conductance goes with the supply
            for column in (0, 2):
                conductances[row, column] += currents[row] * supply / scale**2
        conductances[0, 0] += upper * conductance
        conductances[2, 2] += (1.0 - upper) * conductance
        return currents, conductances

    def currents_and_capacitances(self, voltages: ArrayLike) -> tuple[Floats, Floats]:
        """Return port currents (3, m), A, and no capacitances (3, m): they are the network's."""
        currents, _ = self._all(voltages)
        return currents, np.zeros_like(currents)

    def at_instant(self, voltages: Sequence[float]) -> tuple[Sequence[float], Sequence[float]]:
        """Return the same of three plain numbers, in a fraction of the time: for integration in time."""
        part, (above, entry, below) = self.part, voltages
        scale = math.hypot(above + below, ASLEEP)
        turn = 4.0 * part.gain * (entry / scale - part.threshold)
        small = math.exp(-abs(turn))  # h by the exponential that cannot overflow
        upper = (small if turn > 0.0 else 1.0) / (1.0 + small)
        conductance = scale / (part.rated_supply * part.output_resistance)
        return (upper * above * conductance, 0.0, (1.0 - upper) * below * conductance), (0.0, 0.0, 0.0)

    def evaluate(self, voltages: ArrayLike) -> PortState:
        """Return currents, no charges, and the Jacobians for port voltages (3, m), V."""
        currents, conductances = self._all(voltages)
        return PortState(currents, np.zeros_like(currents), conductances, np.zeros_like(conductances))

    def transfer(self, voltages: ArrayLike) -> tuple[float, Floats]:
        """Return how much current the output takes per volt of the input, S, and the ports that it flows in."""
        column = self._all(voltages)[1][:, 1, 0]
        size = float(abs(column[0]) + abs(column[2]))
        return size, column / size if size > 0.0 else np.array([-0.5, 0.0, 0.5])

    def region(self, voltages: Floats, currents: Floats) -> str:
        """Return "active" where the input lies in the range in which it switches, else "stuck"."""
        size = self.transfer(voltages)[0]
        most = self.part.gain * abs(float(voltages[0] + voltages[2])) / self.part.rated_supply
        return ACTIVE if size > LEAST_GAIN * most / self.part.output_resistance else STUCK

    def noise(self, voltages: Floats, currents: Floats) -> tuple[NoiseSource, ...]:
        """Return the thermal noise of the two halves of the output."""
        ports = np.asarray(voltages, dtype=np.float64).reshape(3, -1)
        conductances = self._all(ports)[1]
        thermal = 2.0 * BOLTZMANN * self.part.temperature
        upper = np.clip(conductances[0, 0] - conductances[0, 2], 0.0, None)
        lower = np.clip(conductances[2, 2] - conductances[2, 0], 0.0, None)
        return (
            NoiseSource("upper half", np.array([1.0, 0.0, 0.0]), thermal * upper),
            NoiseSource("lower half", np.array([0.0, 0.0, 1.0]), thermal * lower),
        )
