"""The direct-current operating point of the oscillator: Newton with junction limiting, and source stepping behind
it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.arrays import Floats
from models.circuit.common_base import BASE, COLLECTOR, EMITTER, OscillatorCircuit, network
from models.circuit.network import Network
from models.circuit.transistor import TransistorPorts

ITERATIONS = 80
TOLERANCE = 1e-12
"""Newton ends when no voltage (V) or current (A) moves by more than this, relative to the supply."""


@dataclass(frozen=True, slots=True)
class OperatingPoint:
    """Voltages, V, and currents, A, at rest. `region` is "active", "saturated" or "cut off"."""

    states: Floats
    names: tuple[str, ...]
    port_voltages: Floats
    base_voltage: float
    emitter_voltage: float
    collector_voltage: float
    collector_current: float
    base_current: float
    emitter_current: float
    supply_current: float
    transconductance: float
    region: str


def operating_point(circuit: OscillatorCircuit) -> OperatingPoint:
    """Return the operating point of `circuit`.

    Raises ValueError, naming the node that does not settle, when Newton fails even with the supply raised in steps.
    """
    linear = network(circuit)
    ports = TransistorPorts(circuit.transistor)
    return describe(circuit, linear, ports, solve(linear, ports, circuit.supply_voltage))


def solve(linear: Network, ports: TransistorPorts, scale: float, near: Floats | None = None) -> Floats:
    """Return the states (n,) at rest; `scale`: size of the voltages, V, for the tolerance; `near`: a first guess."""
    start = np.zeros(len(linear.names))
    solution, worst = _newton(linear, ports, start if near is None else near, 1.0, scale)
    if worst is None:
        return solution
    solution, share, step = start, 0.0, 0.1
    while share < 1.0:
        target = min(1.0, share + step)
        trial, worst = _newton(linear, ports, solution, target, scale)
        if worst is None:
            solution, share, step = trial, target, min(0.2, 1.5 * step)
            continue
        step *= 0.5
        if step < 1e-4:
            raise ValueError(
                f"operating point: the {linear.names[worst]} does not settle at {share:.1%} of the supply; "
                "check the bias resistors and the transistor"
            )
    return solution


def _newton(
    linear: Network, ports: TransistorPorts, start: Floats, share: float, scale: float
) -> tuple[Floats, int | None]:
    """Return the states and None, or the last states and the position of the state that moved most."""
    states, incidence = start.copy(), linear.ports
    # the limit of one junction step: a few thermal voltages once the junction conducts
    knee, stride = 0.4, 4.0 * ports.thermal
    worst: int | None = 0
    for _ in range(ITERATIONS):
        voltages = incidence.T @ states
        device = ports.evaluate(voltages)
        residual = linear.conductance @ states + incidence @ device.currents[:, 0] - share * linear.source
        jacobian = linear.conductance + incidence @ device.conductances[:, :, 0] @ incidence.T
        try:
            change = -np.linalg.solve(jacobian, residual)
        except np.linalg.LinAlgError:
            return states, int(np.argmax(np.abs(residual)))
        moved = incidence.T @ change
        rising = moved - np.maximum(knee - voltages, 0.0)
        factor = 1.0
        for junction in range(len(moved)):
            if voltages[junction] + moved[junction] > knee and rising[junction] > stride:
                allowed = max(knee - voltages[junction], 0.0) + stride
                factor = min(factor, float(allowed / moved[junction]))
        states = states + factor * change
        if factor == 1.0 and float(np.max(np.abs(change))) <= TOLERANCE * scale:
            return states, None
        worst = int(np.argmax(np.abs(change)))
    return states, worst


def describe(circuit: OscillatorCircuit, linear: Network, ports: TransistorPorts, states: Floats) -> OperatingPoint:
    """Return the operating point that belongs to solved states."""
    voltages = linear.ports.T @ states
    currents = ports.evaluate(voltages).currents[:, 0]
    collector, base = -float(currents[1]), float(currents[0] + currents[1])
    if voltages[1] > 0.4:
        region = "saturated"
    elif collector < 1e-9:
        region = "cut off"
    else:
        region = "active"
    cold = float(states[linear.index("cold end")])
    return OperatingPoint(
        states=states,
        names=linear.names,
        port_voltages=voltages,
        base_voltage=float(states[linear.index(BASE)]),
        emitter_voltage=float(states[linear.index(EMITTER)]),
        collector_voltage=float(states[linear.index(COLLECTOR)]),
        collector_current=collector,
        base_current=base,
        emitter_current=float(currents[0]),
        supply_current=(circuit.supply_voltage - cold) / circuit.supply_resistor,
        transconductance=ports.transconductance(voltages),
        region=region,
    )
