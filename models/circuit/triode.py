"""A triode as a two-port: the three-halves law of the anode current, and the grid current.

The ports are grid-cathode and anode-cathode. The capacitances between the electrodes are constant and belong to the
network (`models.circuit.drawing`). Heater and emission are taken as ideal.
The voltages of valves kill: leave such circuits to people trained for them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import non_negative, positive
from models.circuit.transistor import ACTIVE, CUT_OFF, NoiseSource, PortState, shot_noise
from models.junction import THERMAL_VOLTAGE, smooth_positive_at
from models.quick_dataclass import dataclass

SOFTNESS = 0.2
"""V over which the current fades at cut-off: spread of the electrons' speeds and of the grid's pitch (from memory)."""
ANODE_KNEE = 5.0
"""V of the anode below which the current gives way to the grid's; none flows to a negative anode."""
SMOOTHING = 0.1
"""Shot noise of a space-charge limited current over that of a free one (typical, from memory)."""


@dataclass(frozen=True, slots=True)
class Triode:
    """A triode; the defaults are typical of small receiving triodes of medium amplification, from memory.

    amplification mu; perveance A/V^1.5 of the anode, grid_perveance A/V^1.5 of the grid; capacitances F.
    """

    amplification: float = 20.0
    perveance: float = 1.2e-3
    grid_perveance: float = 3e-4
    grid_anode_capacitance: float = 3e-12
    grid_cathode_capacitance: float = 3e-12
    anode_cathode_capacitance: float = 1e-12

    def __post_init__(self) -> None:
        for name in ("amplification", "perveance", "grid_perveance"):
            positive(name, getattr(self, name))
        for name in ("grid_anode_capacitance", "grid_cathode_capacitance", "anode_cathode_capacitance"):
            non_negative(name, getattr(self, name))


class TriodePorts:
    """The equations of a `Triode` on arrays of port voltages (2, m), V.

    Symbols: P perveance, P_g that of the grid, mu amplification, a(x) = d ln(1 + exp(x / d)) a smooth max(x, 0) with
    d = SOFTNESS, v_k = ANODE_KNEE.
    I_a = P a(v_g + v_a / mu)^(3/2) v_a^4 / (v_a^4 + v_k^4) for v_a > 0, else 0;   I_g = P_g a(v_g)^(3/2)
    Space charge (C. D. Child, Phys. Rev. 32 (1911) 492; I. Langmuir, Phys. Rev. 2 (1913) 450; in the form for triodes,
    from memory). The last factor of I_a is our own and keeps a triode without anode voltage passive. Neglected: what
    the grid takes from the anode current, the change of mu near cut-off.
    """

    exponential = False
    control = 0
    thermal = THERMAL_VOLTAGE

    def __init__(self, part: Triode) -> None:
        self.part = part
        self.knees = np.array([np.inf, np.inf])

    @staticmethod
    def _law(drive: Floats) -> tuple[Floats, Floats]:
        """Return a(x)^(3/2) and its slope."""
        from scipy.special import expit  # heavy, and only for these devices

        above = drive / SOFTNESS
        soft = SOFTNESS * np.logaddexp(0.0, above)
        return soft**1.5, 1.5 * np.sqrt(soft) * expit(above)

    def _all(self, voltages: ArrayLike) -> tuple[Floats, Floats]:
        ports = np.asarray(voltages, dtype=np.float64).reshape(2, -1)
        part = self.part
        space, rise = self._law(ports[0] + ports[1] / part.amplification)
        ratio = np.maximum(ports[1], 0.0) / ANODE_KNEE
        reached = ratio**4 / (1.0 + ratio**4)
        more = 4.0 * ratio**3 / (1.0 + ratio**4) ** 2 / ANODE_KNEE
        grid, grid_slope = self._law(ports[0])
        slope = part.perveance * rise * reached
        conductances = np.zeros((2, *ports.shape))
        conductances[0, 0] = part.grid_perveance * grid_slope
        conductances[1, 0] = slope
        conductances[1, 1] = slope / part.amplification + part.perveance * space * more
        return np.stack([part.grid_perveance * grid, part.perveance * space * reached]), conductances

    def currents_and_capacitances(self, voltages: ArrayLike) -> tuple[Floats, Floats]:
        """Return port currents (2, m), A, and no capacitances (2, m): they are the network's."""
        currents, _ = self._all(voltages)
        return currents, np.zeros_like(currents)

    def at_instant(self, voltages: Sequence[float]) -> tuple[Sequence[float], Sequence[float]]:
        """Return the same of two plain numbers, in a fraction of the time: for integration in time."""
        part, (grid, anode) = self.part, voltages
        space, own = (
            (SOFTNESS * smooth_positive_at(drive / SOFTNESS)) ** 1.5
            for drive in (grid + anode / part.amplification, grid)
        )
        ratio = (max(anode, 0.0) / ANODE_KNEE) ** 4
        return (part.grid_perveance * own, part.perveance * space * (ratio / (1.0 + ratio))), (0.0, 0.0)

    def evaluate(self, voltages: ArrayLike) -> PortState:
        """Return currents, no charges, and the Jacobians for port voltages (2, m), V."""
        currents, conductances = self._all(voltages)
        return PortState(currents, np.zeros_like(currents), conductances, np.zeros_like(conductances))

    def transfer(self, voltages: ArrayLike) -> tuple[float, Floats]:
        """Return dI_a/dv_g, S, at one pair of port voltages (2,), and the port that the anode current flows in."""
        return float(self._all(voltages)[1][1, 0, 0]), np.array([0.0, 1.0])

    def region(self, voltages: Floats, currents: Floats) -> str:
        """Return "active" or "cut off"."""
        return ACTIVE if currents[1] > 1e-8 else CUT_OFF

    def noise(self, voltages: Floats, currents: Floats) -> tuple[NoiseSource, ...]:
        """Return the smoothed shot noise of the anode current and the full one of the grid's."""
        anode = shot_noise("anode current", [0.0, 1.0], SMOOTHING * currents[1])
        return anode, shot_noise("grid current", [1.0, 0.0], currents[0])
