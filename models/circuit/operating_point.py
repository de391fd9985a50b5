"""The direct-current operating point of the oscillator: Newton with junction limiting (without junctions, with steps
that must lower what is left of the currents), and behind it the supply raised in steps.
"""

from __future__ import annotations

import numpy as np

from models.arrays import Floats
from models.circuit.devices import DeviceLaw
from models.circuit.drawing import Drawable, Drawing, device_currents, drawn
from models.circuit.network import GROUND, Network
from models.quick_dataclass import dataclass

ITERATIONS = 80
LEAST_STEP = 1e-6
"""Share of a step below which nothing is gained along it."""
TOLERANCE = 1e-12
"""Newton ends when no voltage (V) or current (A) moves by more than this, relative to the supply."""
ROUNDED = 1e-9
"""It also ends at this where a step is more than half of the one before, so that only rounding is left: a pot at its
end has a conductance a million times that of its neighbours."""


@dataclass(frozen=True, slots=True, eq=False)
class OperatingPoint:
    """Voltages, V, and currents, A, at rest, SI units.

    base, collector and emitter stand for the control, the output and the common end of the amplifying device, whatever
    its kind (gate, drain, source; grid, anode, cathode; input, output, ground), the currents positive as an NPN has
    them. currents: into every end of every device by its name. emitter_drop: V of what feeds the emitter, from the side
    of the supply or of ground that it is fed from. device, ends: names of the amplifying device and of its ends.
    region: where it rests, as models.circuit.transistor names it.
    """

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
    currents: dict[str, dict[str, float]]
    emitter_drop: float
    device: str
    ends: tuple[str, ...]

    def voltage(self, node: str) -> float:
        """Return the voltage of a node, V."""
        return 0.0 if node == GROUND else float(self.states[self.names.index(node)])


def operating_point(circuit: Drawable) -> OperatingPoint:
    """Return the operating point of `circuit`.

    Raises ValueError, naming the node that does not settle, when Newton fails even with the supply raised in steps.
    """
    drawing, linear, ports = drawn(circuit)
    return describe(drawing, linear, ports, solve(linear, ports, circuit.supply_voltage))


def solve(linear: Network, ports: DeviceLaw, scale: float, near: Floats | None = None) -> Floats:
    """Return the states (n,) at rest; `scale`: size of the voltages, V, for the tolerance; `near`: a first guess."""
    start = np.zeros(len(linear.names))
    first = start if near is None else near
    damped = _damped(linear, ports, first, scale) if np.isinf(ports.knees).all() else None
    if damped is not None:
        return damped
    solution, worst = _newton(linear, ports, first, 1.0, scale)
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
                "check what biases it, and the devices"
            )
    return solution


def _newton(linear: Network, ports: DeviceLaw, start: Floats, share: float, scale: float) -> tuple[Floats, int | None]:
    """Return the states and None, or the last states and the position of the state that moved most."""
    states, incidence = start.copy(), linear.ports
    # the limit of one junction step: a few thermal voltages once the junction conducts
    knees, stride = ports.knees, 4.0 * ports.thermal
    worst: int | None = 0
    before = np.inf
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
        rising = moved - np.maximum(knees - voltages, 0.0)
        factor = 1.0
        for junction in range(len(moved)):
            if voltages[junction] + moved[junction] > knees[junction] and rising[junction] > stride:
                allowed = max(knees[junction] - voltages[junction], 0.0) + stride
                factor = min(factor, float(allowed / moved[junction]))
        states = states + factor * change
        size = float(np.max(np.abs(change)))
        stalled = size <= ROUNDED * scale and size >= 0.5 * before
        if factor == 1.0 and (size <= TOLERANCE * scale or stalled):
            return states, None
        before = size
        worst = int(np.argmax(np.abs(change)))
    return states, worst


def _damped(linear: Network, ports: DeviceLaw, start: Floats, scale: float) -> Floats | None:
    """Return the states by Newton's steps, each halved until the sum of squares of what is left of the currents falls;
    None where they do not settle. An inverter's steep curve, across which plain steps jump, is met so in some five.
    """
    states, incidence = start.copy(), linear.ports

    def left(at: Floats) -> tuple[Floats, Floats]:
        device = ports.evaluate(incidence.T @ at)
        residual = linear.conductance @ at + incidence @ device.currents[:, 0] - linear.source
        return residual, linear.conductance + incidence @ device.conductances[:, :, 0] @ incidence.T

    residual, jacobian = left(states)
    for _ in range(ITERATIONS):
        try:
            change = -np.linalg.solve(jacobian, residual)
        except np.linalg.LinAlgError:
            return None
        if float(np.max(np.abs(change))) <= TOLERANCE * scale:
            return np.asarray(states + change)
        factor, size = 1.0, float(residual @ residual)
        while True:
            trial = states + factor * change
            tried, slopes = left(trial)
            if float(tried @ tried) < size:
                break
            factor *= 0.5
            if factor < LEAST_STEP:
                return None
        states, residual, jacobian = trial, tried, slopes
    return None


def describe(circuit: Drawable, linear: Network, ports: DeviceLaw, states: Floats) -> OperatingPoint:
    """Return the operating point that belongs to solved states."""
    drawing: Drawing = circuit.drawing()
    voltages = linear.ports.T @ states
    currents = drawing.whole_currents(voltages, ports.evaluate(voltages).currents[:, 0])
    by_device = device_currents(drawing, currents)
    amplifier = drawing.part(drawing.amplifier)
    into = by_device[amplifier.name]
    control, output, common = amplifier.ends[0], amplifier.ends[1], amplifier.ends[-1]
    names = tuple(into)

    def at(node: str) -> float:
        return 0.0 if node == GROUND else float(states[linear.index(node)])

    rail = at(drawing.rail)
    return OperatingPoint(
        states=states,
        names=linear.names,
        port_voltages=voltages,
        base_voltage=at(control),
        emitter_voltage=at(common),
        collector_voltage=at(output),
        collector_current=into[names[1]],
        base_current=into[names[0]],
        emitter_current=-into[names[-1]],
        supply_current=(circuit.supply_voltage - rail) / drawing.supply_resistor,
        transconductance=ports.transfer(voltages)[0],
        region=ports.region(voltages, currents),
        currents=by_device,
        device=amplifier.name,
        ends=names,
        emitter_drop=rail - at(common) if amplifier.mirrored else at(common),
    )
