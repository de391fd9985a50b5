"""The circuit diagram of an oscillator: its parts with values, symbols of IEC 60617, and what to read at each node.

Where everything stands is worked out in `synth/report/diagram_layout.py`; schemdraw, imported here when a diagram is
wanted, draws the symbols. What a meter and an oscilloscope should show stands at the nodes: the mean voltage while it
oscillates, and the swing from peak to peak.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np

from models.circuit.common_base import BASE, COLD, COLLECTOR, EMITTER, WIPER, OscillatorCircuit
from models.circuit.diode import Diode
from models.circuit.drawing import (
    COUPLED,
    LOAD,
    AntennaLoad,
    Capacitance,
    Coil,
    Drawable,
    Drawing,
    Part,
    Potentiometer,
    Resistance,
    Trimmer,
    drawn,
)
from models.circuit.field_effect import FieldEffect
from models.circuit.inverter import Inverter
from models.circuit.network import GROUND
from models.circuit.operating_point import solve
from models.circuit.steady_state import SteadyState
from models.circuit.transistor import Transistor
from models.circuit.triode import Triode
from synth.build.workbench import OpenedDesign
from synth.designs.quantity import format_quantity
from synth.files.atomic_file import atomic_path
from synth.libraries import require
from synth.report.diagram_layout import BODY, Layout, Placed, Point, Symbol, lay_out
from synth.report.figure import INK, QUIET, checked_plot_path

SOURCE_NODE, ANTENNA_NODE = "supply voltage", "antenna"
TOUCHABLE = 60.0
"""V of direct current that may be touched in the dry (extra-low voltage, IEC 61140: 120 V; taken lower here)."""
HIGH_VOLTAGE = "These voltages kill. Leave building and measuring to people trained for it; local codes come first."
WARNING = "#a63600"
FONT = 12.0
PNG_DOTS = 150.0

_KINDS = {
    Transistor: ("npn", "pnp"),
    FieldEffect: ("n-channel", "p-channel"),
    Triode: ("triode", "triode"),
    Inverter: ("inverter", "inverter"),
}
_SIDES = {
    Transistor: ("left", "top", "bottom"),
    FieldEffect: ("left", "top", "bottom"),
    Triode: ("left", "top", "bottom"),
    Inverter: ("left", "right", "top", "bottom"),
}


def save_diagram(circuit: Drawable, state: SteadyState | None, target: str, force: bool) -> None:
    """Draw a circuit into the file `target`, .svg or .png, whole or not at all; with `state` the readings of each node.

    Raises DesignError and DeviceError for a file that cannot be written or a library that is missing.
    """
    path = checked_plot_path(target)
    content = _drawn(diagram_of(circuit, state), path, caution_of(circuit))
    with atomic_path(path, force) as temporary:
        temporary.write_bytes(content)


def diagram_svg(circuit: Drawable, state: SteadyState | None) -> str:
    """The diagram as SVG text, to stand in a page."""
    return _drawn(diagram_of(circuit, state), Path("diagram.svg"), caution_of(circuit)).decode("utf-8")


def sheet_diagrams(opened: OpenedDesign) -> dict[str, str]:
    """Both oscillators as SVG, by what they are called; none for a design without circuits."""
    if opened.adjoints is None:
        return {}
    states = (adjoint.state for adjoint in opened.adjoints)
    return {
        f"{which} oscillator": diagram_svg(state.circuit, state)
        for which, state in zip(("Reference", "Variable"), states, strict=True)
    }


def caution_of(circuit: Drawable) -> str:
    """What to know before building a circuit whose voltages are dangerous; empty for others."""
    return HIGH_VOLTAGE if circuit.supply_voltage > TOUCHABLE else ""


def diagram_of(circuit: Drawable, state: SteadyState | None) -> Layout:
    """The symbols of a circuit in their places."""
    symbols = list(symbols_of(circuit))
    used = dict.fromkeys(node for symbol in symbols for node in symbol.ends.values())
    levels = _levels(circuit)
    inner = sorted(used.keys() - {GROUND, SOURCE_NODE}, key=lambda node: (-round(levels.get(node, 0.0), 3), node))
    nodes = [SOURCE_NODE, *inner, GROUND]
    texts = [Symbol("text", lines, {"rail": node}) for node, lines in _readings(circuit, state, inner)]
    return lay_out([*symbols, *texts], nodes)


def symbols_of(circuit: Drawable) -> Iterator[Symbol]:
    """Every part of the circuit, the supply, the output and the antenna included."""
    drawing = circuit.drawing()
    volts = format_quantity(drawing.supply_voltage, "V")
    yield Symbol("supply", (f"+{volts}",), {"rail": SOURCE_NODE})
    yield _two("resistor", ("supply resistor", drawing.supply_resistor, "ohm"), SOURCE_NODE, drawing.rail)
    yield _two("capacitor", ("supply capacitor", drawing.supply_capacitor, "F"), drawing.rail, GROUND)
    parts = _common_base(circuit) if isinstance(circuit, OscillatorCircuit) else drawing.parts
    for part in parts:
        yield _symbol(part)
    yield Symbol("ground", (), {"rail": GROUND})
    if drawing.load is not None:
        yield _two("capacitor", ("coupling capacitor", drawing.coupling_capacitor, "F"), drawing.output_node, COUPLED)
        yield _two("resistor", ("output resistor", drawing.output_resistor, "ohm"), COUPLED, LOAD)
        yield _two("resistor", ("load", drawing.load.resistance, "ohm"), LOAD, GROUND)
        yield _two("capacitor", ("load", drawing.load.capacitance, "F"), LOAD, GROUND)
    if drawing.antenna is not None:
        yield from _antenna(drawing, drawing.antenna)


def _antenna(drawing: Drawing, antenna: AntennaLoad) -> Iterator[Symbol]:
    node = drawing.antenna_node
    if antenna.inductance > 0.0:
        yield _two("coil", ("antenna inductor", antenna.inductance, "H"), ANTENNA_NODE, node)
        node = ANTENNA_NODE
    yield Symbol("antenna", ("antenna", format_quantity(antenna.capacitance, "F")), {"rail": node})


def _common_base(circuit: OscillatorCircuit) -> tuple[Part, ...]:
    """Its parts one by one: the solvers draw what lies across the tank, and the pot's halves, as one."""
    bias = circuit.bias
    trimmers = circuit.trimmers
    names = ["trimmer"] if len(trimmers) == 1 else [f"trimmer {number + 1}" for number in range(len(trimmers))]
    fixed = [Part("tank capacitor", Capacitance(circuit.fixed_capacitor), (COLD, COLLECTOR))]
    return (
        Part("upper resistor", Resistance(bias.upper_resistor), (COLD, "pot, upper end")),
        Part("pot", Potentiometer(bias.potentiometer, bias.position), ("pot, lower end", WIPER, "pot, upper end")),
        Part("lower resistor", Resistance(bias.lower_resistor), ("pot, lower end", GROUND)),
        Part("wiper capacitor", Capacitance(bias.wiper_capacitor), (WIPER, GROUND)),
        Part("base feed resistor", Resistance(bias.feed_resistor), (WIPER, BASE)),
        Part("base capacitor", Capacitance(bias.base_capacitor), (BASE, GROUND)),
        Part("transistor", circuit.transistor, (BASE, COLLECTOR, EMITTER)),
        Part("emitter resistor", Resistance(bias.emitter_resistor), (EMITTER, GROUND)),
        Part("emitter capacitor", Capacitance(circuit.emitter_capacitor), (EMITTER, GROUND)),
        Part("feedback capacitor", Capacitance(circuit.feedback_capacitor), (COLLECTOR, EMITTER)),
        Part("tank coil", Coil(circuit.inductance), (COLD, COLLECTOR)),
        *(fixed if circuit.fixed_capacitor > 0.0 else []),
        *(Part(name, trimmer, (COLD, COLLECTOR)) for name, trimmer in zip(names, trimmers, strict=True)),
    )


def _two(kind: str, value: tuple[str, float, str], first: str, second: str) -> Symbol:
    name, number, unit = value
    return Symbol(kind, (name, format_quantity(number, unit)), {"top": first, "bottom": second})


def _symbol(part: Part) -> Symbol:
    """A part as it is drawn."""
    first, last = part.ends[0], part.ends[-1]
    match part.what:
        case Resistance(resistance):
            return _two("resistor", (part.name, resistance, "ohm"), first, last)
        case Capacitance(capacitance):
            return _two("capacitor", (part.name, capacitance, "F"), first, last)
        case Trimmer() as trimmer:
            values = f"{format_quantity(trimmer.minimum, 'F')} to {format_quantity(trimmer.maximum, 'F')}"
            return Symbol("trimmer", (part.name, values), {"top": first, "bottom": last})
        case Potentiometer() as pot:
            lines = part.name, f"{format_quantity(pot.resistance, 'ohm')}, {100.0 * pot.position:.0f} %"
            return Symbol("potentiometer", lines, {"top": last, "right": part.ends[1], "bottom": first})
        case Coil() as coil:
            return _coil(part, coil)
        case Diode():
            return Symbol("diode", (part.name,), {"top": first, "bottom": last})
    kinds = _KINDS[type(part.what)]
    ends = dict(zip(_SIDES[type(part.what)], part.ends, strict=True))
    if part.mirrored:  # the emitter or the source of a PNP or p-channel device points to the upper rail
        ends = {"left": ends["left"], "top": ends["bottom"], "bottom": ends["top"]}
    return Symbol(kinds[part.mirrored], (part.name,), ends)


def _coil(part: Part, coil: Coil) -> Symbol:
    lines = [part.name, format_quantity(coil.inductance, "H")]
    ends = {"top": part.ends[-1], "bottom": part.ends[0]}
    if coil.tap > 0.0:
        lines.append(f"tap at {100.0 * coil.tap:.3g} %")
        ends["right"] = part.ends[1]
    if coil.coupled_to:
        lines.append(f"k = {coil.coupling:.3g} to {coil.coupled_to}")
    return Symbol("coil", tuple(lines), ends)


def _levels(circuit: Drawable) -> dict[str, float]:
    """The voltage of every node at rest, by which the rails are ordered."""
    _, network, laws = drawn(circuit)
    try:
        states = solve(network, laws, circuit.supply_voltage)
    except ValueError:  # a circuit that has no state of rest is drawn all the same
        states = np.zeros(len(network.names))
    levels = dict(zip(network.names, map(float, states), strict=True))
    if isinstance(circuit, OscillatorCircuit):
        bias = circuit.bias
        current = (levels[COLD] - levels[WIPER]) / bias.above_wiper
        levels["pot, upper end"] = levels[COLD] - current * bias.upper_resistor
        levels["pot, lower end"] = levels[WIPER] * bias.lower_resistor / bias.below_wiper
    return levels


def _readings(
    circuit: Drawable, state: SteadyState | None, nodes: Iterable[str]
) -> Iterator[tuple[str, tuple[str, ...]]]:
    """The test points: the name of a node and, in a steady oscillation, what to read there."""
    for node in nodes:
        if state is None or node not in state.names:
            continue
        wave = state.waveform(node, 4 * state.harmonics + 4)
        mean, swing = float(np.mean(wave)), float(np.ptp(wave))
        told = format_quantity(float(f"{swing:.2g}"), "V") if swing > 1e-4 else "no"
        yield node, (node, f"{round(mean, 2) + 0.0:.2f} V, {told} swing")


def _drawn(layout: Layout, path: Path, caution: str) -> bytes:
    """The layout as the bytes of an SVG or PNG file, with a caution below it."""
    schemdraw = require("schemdraw", "a circuit diagram")
    import schemdraw.elements as elm

    kind = path.suffix.lower()[1:]
    with schemdraw.Drawing(show=False, canvas="svg" if kind == "svg" else "matplotlib") as sheet:
        sheet.config(unit=BODY, inches_per_unit=0.42, fontsize=FONT, font="DejaVu Sans", color=INK, lw=1.2)
        for first, second in layout.rails.values():
            if first != second:
                sheet.add(elm.Line().at(first).to(second))
        for dot in sorted(layout.junctions):
            sheet.add(elm.Dot().at(dot))
        for one in layout.placed:
            _draw(sheet, elm, one)
        if caution:
            _write(
                sheet, elm, (caution,), (0.0, min(height for (_, height), _ in layout.rails.values()) - 2.0), WARNING
            )
        dots = min(PNG_DOTS, 9000.0 / (0.42 * layout.width))
        return bytes(sheet.get_imagedata(kind) if kind == "svg" else _png(sheet, dots))


def _png(sheet: Any, dots: float) -> bytes:
    import io

    figure, made = sheet.draw(show=False), io.BytesIO()
    figure.save(made, dpi=dots)
    return made.getvalue()


def _draw(sheet: Any, elm: ModuleType, one: Placed) -> None:
    """Draw one symbol with its wires, dots and label."""
    symbol, (x, y) = one.symbol, one.centre
    for first, second in one.wires:
        sheet.add(elm.Line().at(first).to(second))
    if symbol.kind == "text":
        (rail,) = one.dots
        sheet.add(elm.Dot(open=True).at(rail))
        _write(sheet, elm, symbol.label, (rail[0] - 0.1, rail[1] + 0.68), QUIET)
        return
    if "rail" in symbol.ends:
        (rail,) = one.dots
        ends = {"supply": elm.Vdd, "ground": elm.Ground, "antenna": elm.Antenna}
        if symbol.kind == "ground":
            sheet.add(elm.Ground().at(rail))
            return
        sheet.add(ends[symbol.kind]().at((rail[0], rail[1] + 0.7)))
        _write(sheet, elm, symbol.label, (rail[0] + 0.7, rail[1] + 1.2), INK)
        return
    tip = 0.5 * BODY * (-1.0 if one.turned else 1.0)
    top, bottom = (x, y + tip), (x, y - tip)
    two_ended = {
        "resistor": elm.ResistorIEC,
        "potentiometer": elm.ResistorIEC,
        "capacitor": elm.Capacitor,
        "trimmer": elm.CapacitorTrim,
        "coil": elm.Inductor,
        "diode": elm.Diode,
    }
    if symbol.kind in two_ended:
        sheet.add(two_ended[symbol.kind]().at(top).to(bottom))
        if symbol.kind == "potentiometer":
            sheet.add(elm.Arrow(headwidth=0.16, headlength=0.2).at((x + 0.45, y)).to((x + 0.2, y)))
        elif "right" in symbol.ends:
            sheet.add(elm.Line().at((x + 0.45, y)).to((x, y)))
    else:
        _draw_device(sheet, elm, one)
    _write(sheet, elm, symbol.label, one.label_place, INK)


# Devices as lines between points, from the middle of the body, top end upwards; IEC 60617-5 in a plain form.
_BAR = -0.15
_UPRIGHT = {
    "npn": (
        ((_BAR, 0.35), (_BAR, -0.35)),
        ((_BAR, 0.12), (0.0, 0.4), (0.0, 1.0)),
        ((_BAR, -0.12), (0.0, -0.4), (0.0, -1.0)),
    ),
    "n-channel": (
        ((_BAR, 0.4), (_BAR, -0.4)),
        ((_BAR, 0.28), (0.0, 0.28), (0.0, 1.0)),
        ((_BAR, -0.28), (0.0, -0.28), (0.0, -1.0)),
    ),
    "triode": (
        ((-0.25, 0.28), (0.25, 0.28)),
        ((0.0, 0.28), (0.0, 1.0)),
        ((-0.22, -0.36), (-0.22, -0.28), (0.22, -0.28)),
        ((0.0, -0.28), (0.0, -1.0)),
    ),
    "inverter": (
        ((-0.35, 0.45), (-0.35, -0.45), (0.3, 0.0), (-0.35, 0.45)),
        ((0.0, 0.21), (0.0, 1.0)),
        ((0.0, -0.21), (0.0, -1.0)),
    ),
}
_UPRIGHT["pnp"], _UPRIGHT["p-channel"] = _UPRIGHT["npn"], _UPRIGHT["n-channel"]
_ARROWS = {  # at the emitter or the gate: the way of the current of a forward junction
    "npn": ((_BAR, -0.12), (0.0, -0.4)),
    "pnp": ((0.0, 0.4), (_BAR, 0.12)),
    "n-channel": ((-0.45, 0.0), (_BAR, 0.0)),
    "p-channel": ((_BAR, 0.0), (-0.45, 0.0)),
}


def _draw_device(sheet: Any, elm: ModuleType, one: Placed) -> None:
    """Draw a device in its place."""
    (x, y), kind = one.centre, one.symbol.kind
    sign = -1.0 if one.turned else 1.0

    def at(point: Point) -> Point:
        return x + point[0], y + sign * point[1]

    def line(*points: Point, **look: Any) -> None:
        for first, second in itertools.pairwise(points):
            sheet.add(elm.Line(**look).at(at(first)).to(at(second)))

    if kind != "inverter":
        sheet.add(elm.Dot(radius=0.52, open=True).zorder(0).at(at((-0.05 if kind != "triode" else 0.0, 0.0))))
    for points in _UPRIGHT[kind]:
        line(*points)
    if kind == "triode":
        line((-0.45, 0.0), (-0.3, 0.0))
        line((-0.3, 0.0), (0.3, 0.0), ls="--")
    elif kind == "inverter":
        line((-0.45, 0.0), (-0.35, 0.0))
        sheet.add(elm.Dot(radius=0.075, open=True).at(at((0.375, 0.0))))
    else:
        line((-0.45, 0.0), (_BAR, 0.0))
        first, second = _ARROWS[kind]
        sheet.add(elm.Arrow(headwidth=0.16, headlength=0.18).at(at(first)).to(at(second)))


def _write(sheet: Any, elm: ModuleType, lines: tuple[str, ...], place: tuple[float, float], colour: str) -> None:
    """A label of one or more lines, its left end and its middle at `place`."""
    if lines:
        text = elm.Label().at(place).label("\n".join(lines), loc="center", halign="left", valign="center")
        sheet.add(text.color(colour))
