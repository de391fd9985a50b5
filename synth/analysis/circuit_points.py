"""What is read on a circuit, and what it is called: of the fixed form and of a drawing."""

from __future__ import annotations

from dataclasses import replace

from models.circuit.common_base import BASE, COLD, COLLECTOR, EMITTER, LOAD, WIPER, OscillatorCircuit
from models.circuit.drawing import DEVICES, Capacitance, Drawable, Part
from models.circuit.inverter import Inverter
from models.circuit.network import GROUND
from models.circuit.operating_point import operating_point
from synth.build.circuit_assembly import Circuit

OUTPUT = "output"
_FIXED = (("supply", COLD), ("wiper", WIPER), ("base", BASE), ("emitter", EMITTER), ("collector", COLLECTOR))


def test_points(circuit: Drawable) -> tuple[tuple[str, str], ...]:
    """Name and node of every point that is read: of a drawing all its nodes, in the order of its parts."""
    if isinstance(circuit, OscillatorCircuit):
        return (*_FIXED, (OUTPUT, OUTPUT))
    drawing = circuit.drawing()
    nodes = dict.fromkeys((drawing.rail, *(node for part in drawing.parts for node in part.ends)))
    return (*((node, node) for node in nodes if node != GROUND), (OUTPUT, OUTPUT))


def unsteady_points(circuit: Drawable) -> tuple[tuple[str, str], ...]:
    """Name and node of what is read on an oscillation that does not settle: the rail and ends of the device."""
    drawing = circuit.drawing()
    named = "supply", "base", "emitter"
    nodes = drawing.rail, drawing.control, drawing.common
    if isinstance(circuit, OscillatorCircuit):
        return tuple(zip(named, nodes, strict=True))
    return tuple((node, node) for node in nodes if node != GROUND)


def recorded_nodes(circuit: Drawable) -> tuple[tuple[str, str], ...]:
    """Column and node of everything that a transient is written with."""
    if isinstance(circuit, OscillatorCircuit):
        order = (COLLECTOR, EMITTER, BASE, COLD)
        names = {node: name for name, node in _FIXED}
        return (*((f"{names[node]}_v", node) for node in order), ("output_v", LOAD))
    points = test_points(circuit)[:-1]
    return (*((f"{name.replace(' ', '_').replace('-', '_')}_v", node) for name, node in points), ("output_v", LOAD))


def output_end(circuit: Drawable) -> str:
    """What the current of the amplifying device is read at: its collector, drain or anode; an inverter's supply."""
    what = circuit.drawing().devices[0].what
    return DEVICES[type(what)].ends[2 if isinstance(what, Inverter) else 1]


def current_at_rest(circuit: Drawable) -> float:
    """The current into that end at rest, A."""
    point = operating_point(circuit)
    return point.currents[point.device][output_end(circuit)]


def control_end(circuit: Drawable) -> str:
    """What the control end of the amplifying device is called: base, gate, grid or input."""
    return DEVICES[type(circuit.drawing().devices[0].what)].ends[0]


def hot_name(circuit: Drawable) -> str:
    """What the hot end of the tank is called."""
    return "collector" if isinstance(circuit, OscillatorCircuit) else "hot end"


def with_probe(circuit: Circuit, capacitance: float) -> Circuit:
    """The circuit with a probe of `capacitance`, F, on the hot end of the tank."""
    if isinstance(circuit, OscillatorCircuit):
        return replace(circuit, board_stray=circuit.board_stray + capacitance)
    probe = Part("probe", Capacitance(capacitance), (circuit.hot, GROUND))
    return replace(circuit, parts=(*circuit.parts, probe))
