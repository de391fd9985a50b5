"""Circuit diagrams: every part and node is there, and no wire lies on another or runs through a part."""

from __future__ import annotations

import dataclasses
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.circuit.common_base import OscillatorCircuit
from models.circuit.drawing import AntennaLoad, Capacitance, Coil, Drawing, Load, Part, Resistance, Trimmer
from models.circuit.field_effect import FieldEffect
from models.circuit.inverter import Inverter
from models.circuit.oscillator import steady_state
from models.circuit.transistor import Transistor
from models.circuit.triode import Triode
from synth.analysis.circuit_diagram import diagram_of, symbols_of
from synth.analysis.diagram_layout import Layout, Placed, Symbol, faults, lay_out
from synth.cli import main
from synth.errors import DesignError
from synth.report.diagram import diagram_svg, save_diagram

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


@pytest.mark.parametrize("name", CIRCUITS)
def test_every_part_and_node_is_there_once_and_no_wire_lies_on_another(name):
    circuit = CIRCUITS[name]
    layout = diagram_of(circuit, None).layout
    assert faults(layout) == []
    drawn = [one.symbol for one in layout.placed]
    assert sorted(symbol.label for symbol in drawn) == sorted(symbol.label for symbol in symbols_of(circuit))
    if isinstance(circuit, Drawing):
        for part in circuit.parts:
            (symbol,) = (symbol for symbol in drawn if symbol.label[:1] == (part.name,))
            assert sorted(symbol.ends.values()) == sorted(part.ends)
    for one in layout.placed:
        for node, (x, y) in zip(one.symbol.ends.values(), one.dots, strict=True):
            (left, height), (right, _) = layout.rails[node]
            assert left <= x <= right
            assert y == height


def test_test_points_say_what_to_read(solved):
    said = {one.symbol.label for one in diagram_of(OscillatorCircuit(), solved).layout.placed}
    mean = solved.coefficients("base")[0].real
    assert any(label[:1] == ("base",) and label[1].startswith(f"{mean:.2f} V") for label in said)
    swing = 2.0 * abs(solved.coefficients("tank")[1]) * 2.0
    (told,) = (label[1] for label in said if label[:1] == ("collector",))
    assert float(told.split(", ")[1].split(" V")[0]) == pytest.approx(swing, rel=0.08)


def test_the_file_is_a_picture_with_every_label(tmp_path, solved):
    save_diagram(diagram_of(OscillatorCircuit(), solved), str(tmp_path / "a.svg"), False)
    root = ET.fromstring((tmp_path / "a.svg").read_bytes())
    text = " ".join("".join(element.itertext()) for element in root.iter() if element.tag.endswith("text"))
    for symbol in symbols_of(OscillatorCircuit()):
        assert all(line in text for line in symbol.label), symbol
    save_diagram(diagram_of(OscillatorCircuit(), None), str(tmp_path / "a.png"), False)
    assert (tmp_path / "a.png").read_bytes().startswith(b"\x89PNG")
    with pytest.raises(DesignError, match="exists already"):
        save_diagram(diagram_of(OscillatorCircuit(), None), str(tmp_path / "a.png"), False)
    with pytest.raises(DesignError, match=r"\.png or \.svg"):
        save_diagram(diagram_of(OscillatorCircuit(), None), str(tmp_path / "a.pdf"), False)


def test_a_high_voltage_is_cautioned_against():
    assert "kill" in diagram_svg(diagram_of(TICKLER, None))
    assert "kill" not in diagram_svg(diagram_of(GATE, None))


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


@settings(max_examples=20, deadline=None)
@given(symbols())
def test_any_circuit_is_laid_out_without_wires_on_each_other(made):
    layout = lay_out(made, NODES)
    assert faults(layout) == []
    assert len(layout.placed) == len(made)


def test_the_check_sees_wires_on_each_other_and_through_parts():
    one = Placed(Symbol("resistor", (), {"top": "a", "bottom": "b"}), (0.0, -1.7), False, (), ())
    rails = {"a": ((0.0, 0.0), (4.0, 0.0)), "b": ((0.0, -3.4), (4.0, -3.4))}
    assert faults(Layout((one,), rails, 5.0)) == []
    over = dataclasses.replace(one, centre=(9.0, -1.7), wires=(((3.0, 0.0), (5.0, 0.0)),))
    assert any("on each other" in fault for fault in faults(Layout((one, over), rails, 5.0)))
    through = dataclasses.replace(one, centre=(9.0, -1.7), wires=(((-1.0, -1.5), (1.0, -1.5)),))
    assert any("through" in fault for fault in faults(Layout((one, through), rails, 5.0)))
    with pytest.raises(ValueError, match="has no rail"):
        lay_out([Symbol("resistor", ("r",), {"top": "a", "bottom": "nowhere"})], ["a", "ground"])


@pytest.mark.slow
def test_the_sheet_and_the_command_draw_both_oscillators(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["sheet", "willow", "-o", "sheet.html"]) == 0
    page = (tmp_path / "sheet.html").read_text("utf-8")
    for which in ("Reference", "Variable"):
        assert f"{which} oscillator: the circuit" in page
    assert page.count("emitter capacitor</") >= 2
    assert main(["oscillator", "willow", "--diagram", "willow.svg"]) == 0
    assert "wrote willow.svg" in capsys.readouterr().err
    ET.fromstring((tmp_path / "willow.svg").read_bytes())
