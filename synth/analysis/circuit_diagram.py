"""An oscillator's circuit as a diagram: its parts with their values, and what to read at each node.

What a meter and an oscilloscope should show stands at the nodes: the mean voltage while it oscillates, and the swing
from peak to peak. A circuit with the parts of a template has that one's drawing (`template_drawings.py`), any other the
plain layout of `diagram_layout.py`; `synth/report/diagram.py` draws.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np

from models.branch.tapped_coil import Tap
from models.circuit.common_base import BASE, COLD, COLLECTOR, EMITTER, WIPER, OscillatorCircuit
from models.circuit.diode import Diode
from models.circuit.drawing import (
    BOARD_STRAY,
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
from models.circuit.mixer import SOURCES, Mixer, entry
from models.circuit.network import GROUND
from models.circuit.operating_point import solve
from models.circuit.steady_state import SteadyState
from models.circuit.transistor import Transistor
from models.circuit.triode import Triode
from models.quick_dataclass import dataclass
from synth.analysis.diagram_geometry import Layout, Symbol
from synth.analysis.diagram_layout import lay_out
from synth.analysis.diagram_plans import by_name, mismatch, planned
from synth.analysis.mixer_figures import mixer_nodes, point_at, stage_at_note
from synth.analysis.template_drawings import DRAWINGS
from synth.build.notices import TOUCHABLE
from synth.build.workbench import OpenedDesign
from synth.designs.quantity import format_quantity

SOURCE_NODE, ANTENNA_NODE = "supply voltage", "antenna"
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


@dataclass(frozen=True)
class CircuitDiagram:
    """The symbols of a circuit, its nodes from the top rail down, whether its voltages are dangerous to touch; tap: of
    the tank's coil, at which the antenna is, drawn as the whole coil sees it.
    """

    symbols: tuple[Symbol, ...]
    nodes: tuple[str, ...]
    dangerous: bool
    tap: Tap | None = None

    @cached_property
    def _drawing(self) -> tuple[Layout, str]:
        for name, plan in DRAWINGS.items():
            layout = planned(self.symbols, plan)
            if layout is not None:
                return layout, name
        return lay_out(self.symbols, self.nodes), ""

    @property
    def layout(self) -> Layout:
        """The symbols in their places, of the template that has these parts, else the plain layout; made when asked."""
        return self._drawing[0]

    @property
    def template(self) -> str:
        """Whose drawing it has; empty with the plain layout."""
        return self._drawing[1]

    @cached_property
    def remark(self) -> str:
        """Why it has not the drawing of the template which it resembles, and that the antenna is at a tap; empty where
        there is nothing to say.
        """
        plain = "" if self.template else _why_plain(self.symbols)
        return "; ".join(filter(None, (plain, "" if self.tap is None else _at_the_tap(self.tap))))


def diagram_of(circuit: Drawable, state: SteadyState | None, tap: Tap | None = None) -> CircuitDiagram:
    """The diagram of a circuit, in a steady oscillation with what to read at each node; tap: see `CircuitDiagram`."""
    symbols = list(symbols_of(circuit))
    used = dict.fromkeys(node for symbol in symbols for node in symbol.ends.values())
    levels = _levels(circuit)
    inner = sorted(used.keys() - {GROUND, SOURCE_NODE}, key=lambda node: (-round(levels.get(node, 0.0), 3), node))
    nodes = [SOURCE_NODE, *inner, GROUND]
    texts = [Symbol("text", lines, {"rail": node}) for node, lines in _readings(circuit, state, inner)]
    at = tap if tap is not None and tap.turns < 1.0 and circuit.antenna is not None else None
    return CircuitDiagram((*symbols, *texts), tuple(nodes), circuit.supply_voltage > TOUCHABLE, at)


def _at_the_tap(tap: Tap) -> str:
    """What to build in place of what is drawn of the antenna."""
    times = 1.0 / tap.ratio**2
    return (
        f"the antenna is drawn as the whole coil sees it: build it at the coil's tap, at {100.0 * tap.turns:.3g} % of "
        f"the turns, its capacitance {times:.3g} times and its inductor's inductance 1/{times:.3g} of what is drawn"
    )


def _why_plain(symbols: Sequence[Symbol]) -> str:
    """What keeps a circuit from the drawing of the template that it resembles; empty where it resembles none."""
    named = by_name(symbols) or {symbol.name: symbol for symbol in symbols if symbol.kind not in ("text", "ground")}
    others = {name: mismatch(named, plan) for name, plan in DRAWINGS.items()}
    nearest = min(others, key=lambda name: sum(map(len, others[name])))
    extra, missing = others[nearest]
    if 2 * len(extra) > len(named) or 2 * len(missing) > len(DRAWINGS[nearest].parts):
        return ""
    why = []
    if extra:
        why.append(f"has no place for {_listed(extra)}")
    if missing:
        why.append(f"wants {_listed(missing)}, which this circuit has not")
    told = " and ".join(why) if why else "joins its parts otherwise"
    return f"laid out plainly, each node a rail and each part a column: the drawing of {nearest} {told}"


def _listed(names: Sequence[str]) -> str:
    """At most three names."""
    shown = ", ".join(f'"{name}"' for name in names[:3])
    return shown if len(names) <= 3 else f"{shown} and {len(names) - 3} more"


def pair_diagrams(opened: OpenedDesign) -> dict[str, CircuitDiagram]:
    """Both oscillators of a design, tuned, and its drawn mixer, by what they are called; none without circuits."""
    if opened.adjoints is None:
        return {}
    states = (adjoint.state for adjoint in opened.adjoints)
    found = {
        f"{which} oscillator": diagram_of(state.circuit, state, opened.tap)
        for which, state in zip(("Reference", "Variable"), states, strict=True)
    }
    return found if opened.standing_mixer is None else {**found, "Mixer": mixer_diagram(opened)}


def mixer_diagram(opened: OpenedDesign) -> CircuitDiagram:
    """The diagram of a drawn mixer, with what to read at each node at a usual note."""
    mixed = stage_at_note(opened)
    mixer, levels = mixed.mixer, _levels(mixed.mixer.drawing())
    levels |= {_output_of(which): levels[entry(which)] for which in SOURCES}
    symbols = list(mixer_symbols(mixer))
    used = dict.fromkeys(node for symbol in symbols for node in symbol.ends.values())
    inner = sorted(used.keys() - {GROUND, SOURCE_NODE}, key=lambda node: (-round(levels[node], 3), node))
    for node in inner:
        if node not in mixer_nodes(mixed):
            continue
        read = point_at(mixed, node)
        swings = f"{_rounded(read.tone_v)} tone, {_rounded(read.radio_v)} radio"
        name = f"{node}, where the tone is taken" if node == mixer.tone_node else node
        symbols.append(Symbol("text", (name, f"{round(read.dc_v, 2) + 0.0:.2f} V, {swings}"), {"rail": node}))
    top = [SOURCE_NODE] if SOURCE_NODE in used else []
    return CircuitDiagram(tuple(symbols), (*top, *inner, GROUND), bool(top) and mixer.supply_voltage > TOUCHABLE)


def mixer_symbols(mixer: Mixer) -> Iterator[Symbol]:
    """Every part of a drawn mixer, the supply if it needs one (two diodes do not), and where the oscillators join."""
    drawing = mixer.drawing()
    if any(drawing.rail in part.ends for part in mixer.parts):
        yield from _supply(drawing)
    for part in mixer.parts:
        yield _symbol(part)
    yield Symbol("ground", (), {"rail": GROUND})
    for which in SOURCES:
        source, output, between = mixer.source(which), _output_of(which), entry(which)
        yield _two("capacitor", (f"{which} coupling", source.coupling_capacitor, "F"), output, between)
        yield _two("resistor", (f"{which} output resistor", source.output_resistor, "ohm"), between, source.node)
        yield Symbol("text", (f"from the {which} oscillator",), {"rail": output})


def _output_of(which: str) -> str:
    return f"output of the {which} oscillator"


def symbols_of(circuit: Drawable) -> Iterator[Symbol]:
    """Every part of the circuit, the supply, the output and the antenna included."""
    drawing = circuit.drawing()
    yield from _supply(drawing)
    parts = _common_base(circuit) if isinstance(circuit, OscillatorCircuit) else drawing.parts
    for part in parts:
        yield _symbol(part)
    yield Symbol("ground", (), {"rail": GROUND})
    if drawing.load is not None:
        yield _two("capacitor", ("coupling capacitor", drawing.coupling_capacitor, "F"), drawing.output_node, COUPLED)
        yield _two("resistor", ("output resistor", drawing.output_resistor, "ohm"), COUPLED, LOAD)
        for kind, name, value, unit in (
            ("resistor", "load resistance", drawing.load.resistance, "ohm"),
            ("capacitor", "load capacitance", drawing.load.capacitance, "F"),
        ):
            yield replace(_two(kind, (name, value, unit), LOAD, GROUND), faint=True)
    if drawing.antenna is not None:
        yield from _antenna(drawing, drawing.antenna)


def _supply(drawing: Drawing) -> Iterator[Symbol]:
    volts = format_quantity(drawing.supply_voltage, "V")
    yield Symbol("supply", (f"+{volts}",), {"rail": SOURCE_NODE})
    yield _two("resistor", ("supply resistor", drawing.supply_resistor, "ohm"), SOURCE_NODE, drawing.rail)
    yield _two("capacitor", ("supply capacitor", drawing.supply_capacitor, "F"), drawing.rail, GROUND)


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
            symbol = _two("capacitor", (part.name, capacitance, "F"), first, last)
            return replace(symbol, faint=part.name == BOARD_STRAY)
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
        yield node, (node, f"{round(mean, 2) + 0.0:.2f} V, {_rounded(swing)} swing")


def _rounded(swing: float) -> str:
    """A swing, V, with two digits."""
    return format_quantity(float(f"{swing:.2g}"), "V") if swing > 1e-4 else "no"
