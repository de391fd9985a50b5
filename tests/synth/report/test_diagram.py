"""Circuit diagrams: every part and node is there, and no wire lies on another or runs through a part."""

from __future__ import annotations

import dataclasses
import functools
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.branch.tapped_coil import Tap
from models.circuit.common_base import OscillatorCircuit
from models.circuit.drawing import AntennaLoad, Capacitance, Coil, Drawing, Load, Part, Resistance, Trimmer
from models.circuit.field_effect import FieldEffect
from models.circuit.inverter import Inverter
from models.circuit.oscillator import steady_state
from models.circuit.transistor import Transistor
from models.circuit.triode import Triode
from synth.analysis.circuit_diagram import diagram_of, mixer_symbols, symbols_of
from synth.analysis.diagram_geometry import Layout, Symbol, Text, crowding, faults, text_width
from synth.analysis.diagram_layout import lay_out
from synth.analysis.diagram_plans import At, Plan, planned
from synth.analysis.template_drawings import DRAWINGS
from synth.build.circuit_assembly import circuit_of, mixer_of_design
from synth.cli import main
from synth.designs.circuit_templates import CIRCUITS as TEMPLATES
from synth.designs.circuit_templates import MIXERS
from synth.designs.design_file import read_design
from synth.designs.template import circuit_template_text
from synth.errors import DesignError
from synth.report.diagram import diagrams_as_svg, save_diagram

HARTLEY = Drawing(
    (
        Part("tank coil", Coil(1e-3, 10.0, 5e-12, tap=0.2), ("ground", "source", "top")),
        Part("tank capacitor", Capacitance(300e-12), ("top", "ground")),
        Part("trimmer", Trimmer(), ("top", "ground")),
        Part("gate capacitor", Capacitance(100e-12), ("top", "gate")),
        Part("gate resistor", Resistance(1e6), ("gate", "ground")),
        Part("transistor", FieldEffect(), ("gate", "drain", "source")),
        Part("drain resistor", Resistance(1e3), ("supply", "drain")),
        Part("drain capacitor", Capacitance(100e-9), ("drain", "ground")),
    ),
    amplifier="transistor",
    coil="tank coil",
    tank=("top", "ground"),
    output_node="source",
    antenna_node="top",
    load=Load(),
    antenna=AntennaLoad(inductance=20e-3),
)
TICKLER = Drawing(
    (
        Part("tank coil", Coil(1e-3, 10.0), ("ground", "top")),
        Part("tickler", Coil(50e-6, 1.0, coupled_to="tank coil", coupling=0.3), ("supply", "anode")),
        Part("tank capacitor", Capacitance(300e-12), ("top", "ground")),
        Part("grid capacitor", Capacitance(100e-12), ("top", "grid")),
        Part("grid resistor", Resistance(1e6), ("grid", "ground")),
        Part("triode", Triode(), ("grid", "anode", "ground")),
    ),
    amplifier="triode",
    coil="tank coil",
    tank=("top", "ground"),
    output_node="anode",
    supply_voltage=90.0,
)
GATE = Drawing(
    (
        Part("tank coil", Coil(1e-3, 10.0), ("in", "out")),
        Part("input capacitor", Capacitance(300e-12), ("in", "ground")),
        Part("output capacitor", Capacitance(300e-12), ("out", "ground")),
        Part("inverter", Inverter(), ("in", "drive", "supply", "ground")),
        Part("drive resistor", Resistance(10e3), ("drive", "out")),
        Part("bias resistor", Resistance(1e6), ("in", "drive")),
    ),
    amplifier="inverter",
    coil="tank coil",
    tank=("in", "out"),
    output_node="out",
    supply_voltage=5.0,
)
PNP = Drawing(
    (
        Part("tank coil", Coil(1e-3, 10.0), ("ground", "collector")),
        Part("tank capacitor", Capacitance(300e-12), ("collector", "ground")),
        Part("feedback capacitor", Capacitance(100e-12), ("collector", "emitter")),
        Part("emitter capacitor", Capacitance(1e-9), ("emitter", "supply")),
        Part("emitter resistor", Resistance(10e3), ("supply", "emitter")),
        Part("transistor", Transistor(), ("base", "collector", "emitter"), mirrored=True),
        Part("upper resistor", Resistance(22e3), ("supply", "base")),
        Part("lower resistor", Resistance(47e3), ("base", "ground")),
        Part("base capacitor", Capacitance(100e-9), ("base", "ground")),
    ),
    amplifier="transistor",
    coil="tank coil",
    tank=("collector", "ground"),
    output_node="collector",
)
CIRCUITS = {
    "common base": OscillatorCircuit(antenna=AntennaLoad()),
    "hartley": HARTLEY,
    "tickler": TICKLER,
    "inverter": GATE,
    "pnp": PNP,
}


@pytest.fixture(scope="module")
def solved():
    return steady_state(OscillatorCircuit())


def joined(layout: Layout) -> set[frozenset[tuple[str, str]]]:
    """Which ends the wires join, by the drawing alone: sets of (part, side); all ground symbols count as one."""
    points = {point for wires in layout.wires.values() for wire in wires for point in wire}
    points |= {place for one in layout.placed for _, place in one.tips}
    net = {point: point for point in points}

    def root(point):
        while net[point] != point:
            point = net[point]
        return point

    for wires in layout.wires.values():
        for (x0, y0), (x1, y1) in wires:
            on = [p for p in points if min(x0, x1) <= p[0] <= max(x0, x1) and min(y0, y1) <= p[1] <= max(y0, y1)]
            for point in on:
                net[root(point)] = root(on[0])
    earths = [one.centre for one in layout.placed if one.symbol.kind == "ground"]
    for point in earths:
        net[root(point)] = root(earths[0])
    nets: dict[tuple[float, float], set[tuple[str, str]]] = {}
    for one in layout.placed:
        for side, (_, place) in zip(one.symbol.ends, one.tips, strict=True):
            if one.symbol.kind not in ("text", "ground"):
                nets.setdefault(root(place), set()).add((one.symbol.name, side))
    return {frozenset(ends) for ends in nets.values()}


def wanted(symbols) -> set[frozenset[tuple[str, str]]]:
    """The same, by the circuit."""
    nodes: dict[str, set[tuple[str, str]]] = {}
    for symbol in symbols:
        for side, node in symbol.ends.items():
            if symbol.kind not in ("text", "ground"):
                nodes.setdefault(node, set()).add((symbol.name, side))
    return {frozenset(ends) for ends in nodes.values()}


@pytest.mark.parametrize("name", CIRCUITS)
def test_every_part_and_node_is_there_once_and_no_wire_lies_on_another(name):
    circuit = CIRCUITS[name]
    layout = diagram_of(circuit, None).layout
    assert faults(layout) == []
    assert crowding(layout) == []
    drawn = [one.symbol for one in layout.placed]
    assert sorted(symbol.label for symbol in drawn) == sorted(symbol.label for symbol in symbols_of(circuit))
    if isinstance(circuit, Drawing):
        for part in circuit.parts:
            (symbol,) = (symbol for symbol in drawn if symbol.name == part.name)
            assert sorted(symbol.ends.values()) == sorted(part.ends)
    assert joined(layout) == wanted(symbols_of(circuit))


def with_readings(symbols, *swings):
    """The symbols with the longest that may stand at a test point, at every node but ground and the ideal supply."""
    nodes = dict.fromkeys(node for symbol in symbols for node in symbol.ends.values())
    free = [node for node in nodes if node not in ("ground", "supply voltage") and " oscillator" not in node]
    between = [node for node in free if not node.startswith(("pot, ", "coupled, "))]
    return [*symbols, *(Symbol("text", (node, ", ".join(("-10.08 V", *swings))), {"rail": node}) for node in between)]


@functools.cache
def template_symbols(name: str, antenna: bool) -> tuple[Symbol, ...]:
    """Symbols of a template, or of a mixer, with what is read at its nodes."""
    if name in MIXERS:
        design = read_design(circuit_template_text("hartley", mixer=name))
        return tuple(with_readings(list(mixer_symbols(mixer_of_design(design))), "808 mV tone", "808 mV radio"))
    circuit = circuit_of(read_design(circuit_template_text(name)), "variable" if antenna else "reference")
    if antenna:
        circuit = dataclasses.replace(circuit, antenna=AntennaLoad(9.303e-12, 20e-3))
    return tuple(with_readings(list(symbols_of(circuit)), "808 mV swing"))


@pytest.mark.parametrize(
    ("name", "antenna"), [(name, case) for name in DRAWINGS for case in (False, True) if name not in MIXERS or not case]
)
def test_each_template_has_a_drawing_that_shows_its_circuit(name: str, antenna: bool) -> None:
    symbols = template_symbols(name, antenna)
    layout = planned(symbols, DRAWINGS[name])
    assert layout is not None
    assert faults(layout) == []
    assert crowding(layout) == []
    assert min(one.label.size for one in layout.placed if one.label) >= 0.9
    assert joined(layout) == wanted(symbols)
    drawn = [one.symbol for one in layout.placed if one.symbol.kind != "ground"]
    assert sorted(map(repr, drawn)) == sorted(repr(symbol) for symbol in symbols if symbol.kind != "ground")
    left, bottom, right, top = layout.box
    assert 10.0 * 72.0 * 0.4 / (right - left) > 6.0  # type on a page ten inches wide, in points
    assert (top - bottom) / (right - left) < 0.6


def test_there_is_a_drawing_for_every_template() -> None:
    assert set(DRAWINGS) == {*TEMPLATES, *MIXERS}


def test_parts_that_a_design_leaves_out_take_their_wires_along() -> None:
    symbols = template_symbols("clapp", True)
    absent = ("trimmer", "antenna inductor", "load resistance")
    fewer = [symbol for symbol in symbols if symbol.name not in absent]
    fewer = [
        dataclasses.replace(symbol, ends={"rail": "hot end"}) if symbol.name == "antenna" else symbol
        for symbol in fewer
        if symbol.kind != "text" or symbol.name != "antenna"
    ]
    layout = planned(fewer, DRAWINGS["clapp"])
    assert layout is not None
    assert faults(layout) == []
    assert joined(layout) == wanted(fewer)


def test_a_circuit_with_other_parts_or_nodes_is_laid_out_plainly_and_says_why() -> None:
    text = circuit_template_text("hartley")
    for old, new, why in (
        ('"gate leak"', '"grid leak"', 'no place for "grid leak" and wants "gate leak"'),
        ('from = "gate", to = "ground"', 'from = "gate", to = "source"', "joins its parts otherwise"),
        ('"22 nF", from = "drain", to = "ground" }', '"22 nF", from = "drain", to = "foot" }', "joins its parts"),
        (
            '"drain bypass" = {',
            'buffer = { resistor = "1 kohm", from = "gate", to = "hot end" }\n"drain bypass" = {',
            "buffer",
        ),
    ):
        assert old in text
        made = diagram_of(circuit_of(read_design(text.replace(old, new)), "reference"), None)
        assert made.template == ""
        assert faults(made.layout) == []
        assert made.remark.startswith("laid out plainly")
        assert "hartley" in made.remark
        assert why in made.remark
    assert diagram_of(circuit_of(read_design(text), "reference"), None).template == "hartley"
    assert diagram_of(TICKLER, None).remark == ""


def test_values_that_take_more_room_are_written_smaller() -> None:
    longer = [
        dataclasses.replace(symbol, label=(symbol.name, "1 234.567 kohm")) if symbol.kind == "resistor" else symbol
        for symbol in template_symbols("colpitts", True)
    ]
    layout = planned(longer, DRAWINGS["colpitts"])
    assert layout is not None
    assert crowding(layout) == []
    assert {one.label.size for one in layout.placed if one.label} < {0.9, 0.8, 0.7}


def test_no_text_is_wider_than_it_is_taken_for() -> None:
    """Against the widths of the typeface itself, as its file states them."""
    font_manager = pytest.importorskip("matplotlib.font_manager")
    ft2font = pytest.importorskip("matplotlib.ft2font")
    face = ft2font.FT2Font(font_manager.findfont("DejaVu Sans"))
    face.set_size(1000.0, 72.0)
    for character in map(chr, range(32, 127)):
        wide = face.load_char(ord(character)).linearHoriAdvance / 65536.0 / 1000.0
        assert 0.4 * wide <= text_width([character]) < 0.4 * wide + 0.2 * 0.4, character


def test_test_points_say_what_to_read(solved):
    said = {one.symbol.label for one in diagram_of(OscillatorCircuit(), solved).layout.placed}
    mean = solved.coefficients("base")[0].real
    assert any(label[:1] == ("base",) and label[1].startswith(f"{mean:.2f} V") for label in said)
    swing = 2.0 * abs(solved.coefficients("tank")[1]) * 2.0
    (told,) = (label[1] for label in said if label[:1] == ("collector",))
    assert float(told.split(", ")[1].split(" V")[0]) == pytest.approx(swing, rel=0.08)


@pytest.mark.slow
def test_the_file_is_a_picture_with_every_label(tmp_path, solved):
    save_diagram(diagram_of(OscillatorCircuit(), solved), str(tmp_path / "a.svg"), False)
    root = ET.fromstring((tmp_path / "a.svg").read_bytes())
    text = " ".join("".join(element.itertext()) for element in root.iter() if element.tag.endswith("text"))
    for symbol in symbols_of(OscillatorCircuit()):
        assert all(word in text for line in symbol.label for word in line.split()), symbol
    save_diagram(diagram_of(OscillatorCircuit(), None), str(tmp_path / "a.png"), False)
    assert (tmp_path / "a.png").read_bytes().startswith(b"\x89PNG")
    with pytest.raises(DesignError, match="exists already"):
        save_diagram(diagram_of(OscillatorCircuit(), None), str(tmp_path / "a.png"), False)
    with pytest.raises(DesignError, match=r"\.png or \.svg"):
        save_diagram(diagram_of(OscillatorCircuit(), None), str(tmp_path / "a.pdf"), False)


def test_a_high_voltage_is_cautioned_against():
    drawn = diagrams_as_svg({"tickler": diagram_of(TICKLER, None), "gate": diagram_of(GATE, None)})
    assert "kill" in drawn["tickler"][0]
    assert "kill" not in drawn["gate"][0]


NODES = ("supply", "a", "b", "c", "ground")


@st.composite
def symbols(draw):
    made = [Symbol("resistor", ("first",), {"top": node, "bottom": "ground"}) for node in NODES[:-1]]
    for number in range(draw(st.integers(0, 8))):
        sides = draw(
            st.sampled_from([("top", "bottom"), ("left", "top", "bottom"), ("left", "right", "top", "bottom")])
        )
        ends = draw(st.lists(st.sampled_from(NODES), min_size=len(sides), max_size=len(sides), unique=True))
        kind = {2: "resistor", 3: "npn", 4: "inverter"}[len(sides)]
        made.append(Symbol(kind, (f"part {number}",), dict(zip(sides, ends, strict=True))))
    return made


@settings(max_examples=10, deadline=None)
@given(symbols())
def test_any_circuit_is_laid_out_without_wires_on_each_other(made):
    layout = lay_out(made, NODES)
    assert faults(layout) == []
    assert len(layout.placed) == len(made)
    assert crowding(layout) == []


def test_the_check_sees_what_is_wrong_with_a_drawing() -> None:
    upper = Symbol("resistor", ("upper",), {"top": "a", "bottom": "b"})
    lower = Symbol("resistor", ("lower",), {"top": "b", "bottom": "c"})
    good = Plan({"upper": At(0, 6), "lower": At(0, 2)}, {"b": "0,5 0,3"}, {})
    layout = planned([upper, lower], good)
    assert layout is not None
    for wires, says in (
        ({"b": (((0.0, 5.0), (0.0, 3.2)),)}, "ends nowhere"),
        ({}, "do not hang together"),
        ({"b": (((0.0, 5.0), (0.0, 3.0)), ((0.0, 4.0), (0.0, 3.0)))}, "on each other"),
        ({"b": (((0.0, 5.0), (0.0, 1.0)),)}, "through 'lower'"),
        ({"b": (((0.0, 5.0), (0.0, 3.0)),), "a": (((0.0, 7.0), (1.0, 7.0)), ((1.0, 7.0), (0.0, 4.0)))}, "slanting"),
        ({"b": (((0.0, 5.0), (0.0, 3.0)), ((0.0, 4.0), (2.0, 4.0)), ((2.0, 4.0), (2.0, 1.0)))}, "ends nowhere"),
        (
            {
                "b": layout.wires["b"],
                "c": (((0.0, 1.0), (2.0, 1.0)), ((2.0, 1.0), (2.0, 7.0)), ((2.0, 7.0), (0.0, 7.0))),
            },
            "touch",
        ),
    ):
        assert any(says in fault for fault in faults(dataclasses.replace(layout, wires=wires))), says
    near = dataclasses.replace(layout.placed[0], label=Text(("upper",), (0.3, 2.0)))
    assert any("lies on" in one for one in crowding(dataclasses.replace(layout, placed=(near, layout.placed[1]))))
    assert planned([upper, lower], dataclasses.replace(good, wires={"b": "0,5 0,4"})) is None
    assert planned([upper], good) is None
    with pytest.raises(ValueError, match="has no rail"):
        lay_out([Symbol("resistor", ("r",), {"top": "a", "bottom": "nowhere"})], ["a", "ground"])


@pytest.mark.slow
def test_the_sheet_and_the_command_draw_both_oscillators(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["sheet", "willow", "-o", "sheet.html"]) == 0
    page = (tmp_path / "sheet.html").read_text("utf-8")
    for which in ("Reference", "Variable"):
        assert f"{which} oscillator: the circuit" in page
    assert page.count(">feedback</") >= 2
    assert main(["oscillator", "willow", "--diagram", "willow.svg"]) == 0
    assert "wrote willow.svg" in capsys.readouterr().err
    ET.fromstring((tmp_path / "willow.svg").read_bytes())


def test_an_antenna_at_a_tap_is_told_beside_its_drawing() -> None:
    """A circuit has it as the whole coil sees it, which is not what is built."""
    circuit = dataclasses.replace(OscillatorCircuit(), antenna=AntennaLoad(2.5e-12, 20e-3))
    assert "as the whole coil sees it" not in diagram_of(circuit, None, Tap()).remark
    said = diagram_of(circuit, None, Tap(0.5)).remark
    assert "at 50 % of the turns, its capacitance 4 times and its inductor's inductance 1/4 of what is drawn" in said
    assert diagram_of(OscillatorCircuit(), None, Tap(0.5)).tap is None
