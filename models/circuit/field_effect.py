"""One n-channel junction FET: the square law, its two gate junctions and their capacitances, as a two-port.

The ports are gate-source and gate-drain: voltage v = (v_gs, v_gd), current i = (gate to source, gate to drain).
Terminal currents into it: gate = i_gs + i_gd, drain = -i_gd, source = -i_gs. Drain and source may be exchanged.
Neglected: breakdown, resistance of the channel's ends, gate leakage other than the junctions', noise of the gate.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import finite, non_negative, positive
from models.circuit.transistor import ACTIVE, CUT_OFF, KNEE, OHMIC, DepletionJunction, NoiseSource, PortState
from models.constants import BOLTZMANN
from models.junction import (
    depletion,
    depletion_capacitance,
    depletion_capacitance_at,
    exponential_junction,
    exponential_junction_at,
    smooth_positive_at,
    thermal_voltage,
)
from models.quick_dataclass import dataclass

LARGEST = 1e8
"""Softnesses above pinch-off beyond which the current no longer grows, so that no iteration can overflow."""
CHANNEL_NOISE = 2.0 / 3.0
"""Share of g_m in the thermal noise of a channel in saturation (A. van der Ziel, Proc. IRE 50 (1962) 1808; memory)."""

GATE_JUNCTION = DepletionJunction(4e-12, 0.8, 0.45)
"""Of small parts, from memory."""


@dataclass(frozen=True, slots=True)
class FieldEffect:
    """A junction FET; the defaults are typical of small RF and audio parts, from memory; no particular part is meant.

    pinch_off V (of an n-channel: negative); factor A/V^2: the current without gate voltage is factor pinch_off^2;
    channel_slope 1/V: how much the current in saturation still rises with the drain voltage; temperature K; each gate
    junction has saturation_current, A, and the charges of source_junction and drain_junction.
    """

    pinch_off: float = -2.0
    factor: float = 1.3e-3
    channel_slope: float = 0.01
    saturation_current: float = 1e-14
    temperature: float = 300.0
    source_junction: DepletionJunction = GATE_JUNCTION
    drain_junction: DepletionJunction = GATE_JUNCTION

    def __post_init__(self) -> None:
        if not finite("pinch_off", self.pinch_off) < 0.0:
            raise ValueError(f"pinch_off must be < 0 (a junction FET conducts without voltage); got {self.pinch_off:g}")
        for name in ("factor", "saturation_current", "temperature"):
            positive(name, getattr(self, name))
        non_negative("channel_slope", self.channel_slope)


class FieldEffectPorts:
    """The equations of a `FieldEffect` on arrays of port voltages (2, m), V.

    Symbols: K factor, V_P pinch-off, a(x) = d ln(1 + exp(x / d)) a smooth max(x, 0) with d = 2 V_T, s channel slope.
    I_D = K (a(v_gs - V_P)^2 - a(v_gd - V_P)^2) (1 + s |v_ds|)
    This is the square law with its ohmic region (W. Shockley, Proc. IRE 40 (1952) 1365, in the approximation of H.
    Shichman and D. A. Hodges, IEEE J. Solid-State Circuits 3 (1968) 285; both from memory); below pinch-off the current
    fades exponentially, as real ones do, instead of ending. From seven d above pinch-off on, a(x) = x to parts in 10^4.
    """

    exponential = False
    control = 0

    def __init__(self, part: FieldEffect) -> None:
        pair = (part.source_junction, part.drain_junction)
        self.part = part
        self.thermal = thermal_voltage(part.temperature)
        self.knees = np.array([KNEE, KNEE])
        names = ("zero_bias_capacitance", "potential", "grading", "knee")
        self._depletion = tuple(np.array([[getattr(junction, name)] for junction in pair]) for name in names)
        # the same as plain numbers, junction by junction
        self._each = tuple(tuple(float(getattr(junction, name)) for name in names) for junction in pair)
        self._softness = 2.0 * self.thermal

    def _square_law(self, soft: Any, across: Any) -> tuple[Any, Any]:
        """Return K (a_s^2 - a_d^2), A, and 1 + s |v_ds|: the current is their product."""
        return self.part.factor * (soft[0] ** 2 - soft[1] ** 2), 1.0 + self.part.channel_slope * abs(across)

    def _channel(self, ports: Floats) -> tuple[Floats, Floats]:
        """Return the current from drain to source (m,), A, and its slopes (2, m), S, by the port voltages."""
        from scipy.special import expit  # heavy, and only for these devices

        above = np.minimum((ports - self.part.pinch_off) / self._softness, LARGEST)
        share = expit(above)
        soft = self._softness * np.logaddexp(0.0, above)
        across = ports[0] - ports[1]
        plain, lengthened = self._square_law(soft, across)
        slopes = 2.0 * self.part.factor * soft * share * lengthened
        tilt = plain * self.part.channel_slope * np.sign(across)
        return plain * lengthened, np.stack([slopes[0] + tilt, -slopes[1] - tilt])

    def currents_and_capacitances(self, voltages: ArrayLike) -> tuple[Floats, Floats]:
        """Return port currents (2, m), A, and port capacitances (2, m), F."""
        ports = np.asarray(voltages, dtype=np.float64).reshape(2, -1)
        currents, _ = exponential_junction(ports, self.part.saturation_current, self.thermal)
        drain, _ = self._channel(ports)
        return currents + np.stack([drain, -drain]), depletion_capacitance(ports, *self._depletion)

    def at_instant(self, voltages: Sequence[float]) -> tuple[Sequence[float], Sequence[float]]:
        """Return the same of two plain numbers, in a fraction of the time: for integration in time."""
        part, softness = self.part, self._softness
        soft = [smooth_positive_at(min((one - part.pinch_off) / softness, LARGEST)) * softness for one in voltages]
        plain, lengthened = self._square_law(soft, voltages[0] - voltages[1])
        drain = plain * lengthened
        gate = [exponential_junction_at(one, part.saturation_current, self.thermal)[0] for one in voltages]
        held = [depletion_capacitance_at(one, *values) for one, values in zip(voltages, self._each, strict=True)]
        return (gate[0] + drain, gate[1] - drain), held

    def evaluate(self, voltages: ArrayLike) -> PortState:
        """Return currents, charges and both Jacobians for port voltages (2, m), V."""
        ports = np.asarray(voltages, dtype=np.float64).reshape(2, -1)
        gate, leak = exponential_junction(ports, self.part.saturation_current, self.thermal)
        drain, slopes = self._channel(ports)
        conductances = np.stack([slopes, -slopes])
        conductances[0, 0] += leak[0]
        conductances[1, 1] += leak[1]
        capacitances = np.zeros_like(conductances)
        (capacitances[0, 0], capacitances[1, 1]), charges = depletion(ports, *self._depletion)
        return PortState(gate + np.stack([drain, -drain]), charges, conductances, capacitances)

    def transfer(self, voltages: ArrayLike) -> tuple[float, Floats]:
        """Return dI_D/dv_gs, S, at one pair of port voltages (2,), and the ports that the drain current flows in."""
        _, slopes = self._channel(np.asarray(voltages, dtype=np.float64).reshape(2, 1))
        return float(slopes[0, 0]), np.array([1.0, -1.0])

    def region(self, voltages: Floats, currents: Floats) -> str:
        """Return "active", "ohmic" (too little voltage from drain to source) or "cut off"."""
        if abs(float(currents[1])) < 1e-9:
            return CUT_OFF
        return OHMIC if voltages[1] > self.part.pinch_off else ACTIVE

    def noise(self, voltages: Floats, currents: Floats) -> tuple[NoiseSource, ...]:
        """Return the thermal noise of the channel, 4 k T CHANNEL_NOISE g_m one-sided."""
        _, slopes = self._channel(np.asarray(voltages, dtype=np.float64).reshape(2, -1))
        density = 2.0 * BOLTZMANN * self.part.temperature * CHANNEL_NOISE * np.abs(slopes[0])
        return (NoiseSource("channel", np.array([1.0, -1.0]), density),)
