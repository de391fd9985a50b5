"""Start-up: the characteristic roots of the linearised circuit, critical transconductance, and why it does not start.

The linear equations are C dx/dt + G x = 0; a root s solves (G + s C) x = 0 and a complex pair with positive real
part is an oscillation that grows from nothing. For the margin the transport transconductance g_m alone is varied,
everything else held at the operating point; at the critical g_m a pair of roots lies on the imaginary axis.
"""

from __future__ import annotations

import math
from enum import Enum
from functools import lru_cache

import numpy as np

from models.arrays import Complexes, Floats
from models.circuit.devices import DeviceLaw
from models.circuit.drawing import Drawable, drawn
from models.circuit.network import Network
from models.circuit.operating_point import OperatingPoint, describe, solve
from models.circuit.start_threshold import (
    characteristic_roots,
    growing,
    leading_pair,
    mode_shape,
    transconductance_window,
)
from models.circuit.transistor import CUT_OFF, OHMIC, SATURATED, STUCK
from models.quick_dataclass import dataclass


class Obstacle(Enum):
    """Why an oscillator does not start; the value says it in a few words."""

    SATURATED = "the transistor is saturated"
    CUT_OFF = "the transistor has no current"
    LOSSES = "no transconductance overcomes the losses"
    OHMIC = "the field-effect transistor has too little voltage along its channel"
    STUCK = "the input lies outside the range in which the inverter switches"
    SHORTED_FEEDBACK = "the emitter shorts the feedback"
    TOO_LITTLE_TRANSCONDUCTANCE = "too little transconductance"


_BY_REGION = {
    SATURATED: Obstacle.SATURATED,
    CUT_OFF: Obstacle.CUT_OFF,
    OHMIC: Obstacle.OHMIC,
    STUCK: Obstacle.STUCK,
}


class DoesNotStartError(ValueError):
    """No oscillation grows from rest; `signal` holds why, with every figure.

    growth_times: for how many growth times one grows while the supply rises, in vain; None where that was not asked.
    """

    def __init__(self, signal: SmallSignal, growth_times: float | None = None) -> None:
        why = "no transconductance makes it oscillate" if signal.obstacle is None else signal.obstacle.value
        super().__init__(f"the oscillator does not start: {why}")
        self.signal, self.growth_times = signal, growth_times


@dataclass(frozen=True, slots=True, eq=False)
class SmallSignal:
    """Start-up of the oscillator.

    roots: all characteristic roots, 1/s, largest growth first; growth_rate 1/s and frequency, Hz, of the leading
    complex pair; transconductance and critical_transconductance, S (None: none makes it oscillate);
    critical_frequency, Hz; highest_transconductance, S, above which it no longer starts (None: no such end);
    margin_db: the ratio of g_m to the critical one, or of the highest one to g_m when that is less, in 20 log10
    (minus infinity when none oscillates); obstacle: why it does not start, None where it does; loss_shares: share of
    each part in the power lost in the mode, the largest first.
    """

    roots: Complexes
    growth_rate: float
    frequency: float
    transconductance: float
    critical_transconductance: float | None
    critical_frequency: float | None
    highest_transconductance: float | None
    margin_db: float
    obstacle: Obstacle | None
    loss_shares: dict[str, float]
    point: OperatingPoint

    @property
    def starts(self) -> bool:
        """Whether an oscillation grows from rest."""
        return self.obstacle is None


@lru_cache(maxsize=8)
def small_signal(circuit: Drawable) -> SmallSignal:
    """Return start-up: roots, growth rate, margin, and the obstacle when it does not start.

    The last few are kept: several questions are asked of one circuit. Raises ValueError when there is no operating
    point.
    """
    drawing, linear, ports = drawn(circuit)
    return analyse(linear, ports, describe(drawing, linear, ports, solve(linear, ports, circuit.supply_voltage)))


def gain_path(linear: Network, ports: DeviceLaw, point: OperatingPoint) -> tuple[Floats, Floats]:
    """Return the nodes (n,) that the transconductance's current leaves by, and those (n,) whose voltage it follows."""
    return linear.ports @ ports.transfer(point.port_voltages)[1], linear.ports[:, ports.control]


def linearised(linear: Network, ports: DeviceLaw, port_voltages: Floats) -> tuple[Floats, Floats]:
    """Return C and G (n, n) of the whole circuit, its devices linearised at port voltages (p,), V."""
    device = ports.evaluate(port_voltages)
    incidence = linear.ports
    return (
        linear.capacitance + incidence @ device.capacitances[:, :, 0] @ incidence.T,
        linear.conductance + incidence @ device.conductances[:, :, 0] @ incidence.T,
    )


def analyse(linear: Network, ports: DeviceLaw, point: OperatingPoint) -> SmallSignal:
    """Return start-up for a network, its transistor and their operating point."""
    capacitance, conductance = linearised(linear, ports, point.port_voltages)
    roots = characteristic_roots(capacitance, conductance)
    pair = growing(roots)
    out, sense = gain_path(linear, ports, point)
    present = point.transconductance
    without = conductance - present * np.outer(out, sense)
    critical, highest = transconductance_window(capacitance, without, out, sense, max(present, 1e-9))
    growth = -math.inf if pair is None else pair.real
    shares: dict[str, float] = {}
    margin = -math.inf
    if critical is not None:
        shape = mode_shape(capacitance, without + critical[0] * np.outer(out, sense), 1j * critical[1])
        shares = _loss_shares(linear, shape)
        ratio = present / critical[0] if highest is None else min(present / critical[0], highest[0] / present)
        margin = 20.0 * math.log10(max(ratio, 1e-30))
    else:
        ringing = leading_pair(characteristic_roots(capacitance, without))
        if ringing is not None:
            shares = _loss_shares(linear, mode_shape(capacitance, without, ringing))
    return SmallSignal(
        roots=roots,
        growth_rate=growth,
        frequency=0.0 if pair is None else pair.imag / (2.0 * math.pi),
        transconductance=present,
        critical_transconductance=None if critical is None else critical[0],
        critical_frequency=None if critical is None else critical[1] / (2.0 * math.pi),
        highest_transconductance=None if highest is None else highest[0],
        margin_db=margin,
        obstacle=None if growth > 0.0 else _obstacle(point, critical, highest),
        loss_shares=shares,
        point=point,
    )


def _loss_shares(linear: Network, shape: Complexes) -> dict[str, float]:
    """Return each resistor's share of the power lost in the linear network in a mode, all sides of a part as one."""
    power: dict[str, float] = {}
    for part in linear.resistors:
        name = part.name.partition(", ")[0]
        power[name] = power.get(name, 0.0) + float(part.weight * abs(part.coefficients @ shape) ** 2)
    total = sum(power.values())
    return {name: value / total for name, value in sorted(power.items(), key=lambda item: -item[1])}


def _obstacle(
    point: OperatingPoint, critical: tuple[float, float] | None, highest: tuple[float, float] | None
) -> Obstacle:
    if point.region in _BY_REGION:
        return _BY_REGION[point.region]
    if critical is None:
        return Obstacle.LOSSES
    if highest is not None and point.transconductance > highest[0]:
        return Obstacle.SHORTED_FEEDBACK
    return Obstacle.TOO_LITTLE_TRANSCONDUCTANCE
