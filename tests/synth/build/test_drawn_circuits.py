"""The circuits of `beatfield new --circuit`: each starts by itself near 250 kHz and plays, and agrees with integration
in time from switching on."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import soundfile
from numpy.testing import assert_allclose
from small_instrument import ROD

from models.circuit.drawing import without_load
from models.circuit.envelope import Outcome
from models.circuit.implicit_run import stepped
from models.circuit.oscillator import steady_state
from models.circuit.resonance import natural_frequency
from models.circuit.small_signal import small_signal
from models.circuit.start_up import start_up
from models.circuit.transient import cycle_swings, measure, simulate
from synth.build.circuit_assembly import circuit_of, resonance_of
from synth.build.workbench import OpenedDesign, assemble
from synth.cli import main
from synth.designs.circuit_templates import CIRCUITS
from synth.designs.design_file import Design, read_design
from synth.designs.template import circuit_template_text
from synth.errors import DesignError

DRAWN = [name for name in CIRCUITS if name != "common-base"]


@cache
def design_of(name: str) -> Design:
    return read_design(circuit_template_text(name), name)


@cache
def opened(name: str) -> OpenedDesign:
    return assemble(design_of(name), ROD)


@pytest.mark.parametrize("name", CIRCUITS)
def test_each_circuit_starts_by_itself_with_some_to_spare(name: str) -> None:
    circuit = circuit_of(design_of(name), "reference")
    signal = small_signal(circuit)
    assert signal.starts
    assert 6.0 < signal.margin_db < 20.0
    state = steady_state(circuit)
    assert 200e3 < state.frequency < 300e3
    assert state.thd < 0.05
    assert_allclose(sum(state.powers.values()), state.supply_power, rtol=1e-5)


@pytest.mark.parametrize("name", DRAWN)
def test_the_resonance_is_near_what_the_circuit_swings_at(name: str) -> None:
    design = design_of(name)
    state = steady_state(circuit_of(design, "reference"))
    assert_allclose(resonance_of(design, "reference").frequency, state.frequency, rtol=0.01)
    assert_allclose(natural_frequency(without_load(circuit_of(design, "reference"))), state.frequency, rtol=0.05)


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=[] if name == "hartley" else pytest.mark.slow) for name in DRAWN]
)
def test_each_plays(name: str) -> None:
    field = opened(name).field
    assert opened(name).pair.law is not None
    instrument = opened(name).instrument
    hand = instrument.antenna_capacitance(np.array([0.05, 0.3]))
    beats = np.abs(instrument.frequency_with(hand) - instrument.reference_frequency)
    assert beats[0] > 400.0
    assert 20.0 < beats[1] < 200.0
    assert_allclose(field.zero_beat_distance, 0.5, atol=1e-3)


def test_the_pitch_oscillators_may_differ_by_a_part() -> None:
    text = circuit_template_text("hartley")
    row = '[reference.parts]\n"gate leak" = { resistor = "220 kohm", from = "gate", to = "ground" }\n'
    design = read_design(text + "\n" + row)
    reference, variable = (circuit_of(design, which).drawing() for which in ("reference", "variable"))
    assert reference.part("gate leak").what.resistance == 220e3
    assert variable.part("gate leak").what.resistance == 470e3


def test_a_circuit_that_cannot_start_says_why_by_its_parts() -> None:
    text = circuit_template_text("hartley").replace("quality_factor = 80.0", "quality_factor = 3.0")
    with pytest.raises(DesignError, match="does not start") as told:
        assemble(read_design(text), ROD)
    assert "[variable] with [circuit]" in str(told.value)
    assert "the coil" in str(told.value)


@pytest.mark.parametrize(
    ("name", "row", "other", "says"),
    [
        ("hartley", '"1 kohm", from = "supply"', '"1 Mohm", from = "supply"', "works as a resistor"),
        pytest.param(
            "inverter", '"drive", to = "gate"', '"supply", to = "gate"', "outside the range", marks=pytest.mark.slow
        ),
        ("tickler", "coupling = 0.12", "coupling = -0.12", "no transconductance of the oscillator overcomes"),
    ],
)
def test_each_cause_is_told_by_the_device_and_its_ends(name: str, row: str, other: str, says: str) -> None:
    text = circuit_template_text(name)
    assert row in text
    with pytest.raises(DesignError, match=says) as told:
        assemble(read_design(text.replace(row, other)), ROD)
    assert "oscillator" in str(told.value)


def test_a_circuit_without_a_pot_has_no_position_of_one() -> None:
    assert circuit_of(design_of("inverter"), "reference").pot_position is None
    assert circuit_of(design_of("clapp"), "reference").pot_position == 0.5


@pytest.mark.parametrize("name", ["pnp-common-base"])
def test_the_two_oscillators_pull_each_other(name: str) -> None:
    assert opened(name).pulling is not None
    assert 0.0 < opened(name).lock_range[0] < 10.0


@pytest.mark.slow
@pytest.mark.parametrize("name", CIRCUITS)
def test_integrated_in_time_the_steady_oscillation_goes_on(name: str) -> None:
    """Thirty cycles from it on: 20 ppm in frequency, 1 % in amplitude."""
    state = steady_state(without_load(circuit_of(design_of(name), "reference")))
    duration = 30.0 / state.frequency
    record = simulate(state.circuit, duration, start=state, frequency=state.frequency, relative_tolerance=1e-7)
    read = measure(record, cycles=20, allowed_drift=None)
    assert_allclose(read.frequency, state.frequency, rtol=20e-6)
    assert_allclose(read.amplitude, state.tank_amplitude, rtol=0.01)


SOONEST = "clapp"


@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=pytest.mark.slow if name == SOONEST else pytest.mark.soak) for name in CIRCUITS],
)
def test_integration_in_time_from_switching_on_agrees(name: str) -> None:
    """20 ppm in frequency, 1 % in amplitude, some per cent in the starting time."""
    circuit = without_load(circuit_of(design_of(name), "reference"))  # its coupling capacitor charges for milliseconds
    if name == "tickler":
        circuit = replace(circuit, supply_capacitor=0.1e-6)
    state, run = steady_state(circuit), start_up(circuit)
    assert run.started is not None
    duration = run.started + 5.0 * state.settling_time + 20.0 / state.frequency
    record = simulate(circuit, duration, frequency=state.frequency, relative_tolerance=1e-7)
    read = measure(record, cycles=20, allowed_drift=None)
    assert_allclose(read.frequency, state.frequency, rtol=20e-6)
    assert_allclose(read.amplitude, state.tank_amplitude, rtol=0.01)
    if name == "inverter":  # its swing falls below 0.1 mV at first, where LSODA's error tells
        finer = stepped(circuit, int(1.1 * run.started * state.frequency), state.frequency)
        swings = cycle_swings(finer, "tank")
        reached = float(np.argmax(swings >= 0.9 * state.peak_to_peak("tank")) + 0.5) / state.frequency
        assert_allclose(reached, run.started, rtol=0.02)
        return
    assert_allclose(read.startup_time, run.started, rtol=0.05)


LATE = {"3.3 nF": "1.4 nF", "47 kohm": "62 kohm", "100 pF": "59 pF", "1 Mohm": "640 kohm"}


@pytest.mark.slow
def test_an_envelope_that_cannot_begin_with_the_supply_begins_later() -> None:
    """An inverter that leaps as its supply rises: it is followed all the same, and not integrated for thousands of
    cycles."""
    tank = {("reference", "inductance"): "1.3 mH", ("reference", "quality_factor"): 22.0}
    text = circuit_template_text("inverter", tank)
    for old, new in LATE.items():
        assert text.count(f'"{old}", from') == 1
        text = text.replace(f'"{old}", from', f'"{new}", from')
    circuit = circuit_of(read_design(text, "late"), "reference")
    run = start_up(circuit)
    assert run.outcome is Outcome.SETTLES
    assert run.late is None
    assert run.started is not None
    assert_allclose(run.started, 1.1000e-3, rtol=5e-3)  # as `simulate` integrates it, to 1e-8


READINGS = """fitted_capacitor,trimmer,pot,frequency
180 pF,0.5,0.5,252.6 kHz
220 pF,0.5,0.5,240.1 kHz
220 pF,0.5,0.8,240.2 kHz
"""
COMMANDS = {
    "oscillator": ("hartley", ["oscillator", "--which", "variable", "FILE"], ("gate ", "lost in", "from the gate")),
    "oscillator --json": ("tickler", ["oscillator", "--json", "FILE"], ('"anode"', '"feedback coil"', '"by itself"')),
    "field": ("inverter", ["field", "FILE"], ("one input", "flicker not counted", "C4")),
    "tolerance": ("colpitts", ["tolerance", "--builds", "100", "FILE"], ("reference coupling: capacitor", "trimmer")),
    "drift": ("hartley", ["drift", "FILE"], ("field-effect transistors go with temperature", "zero beat")),
    "sheet": ("pnp-common-base", ["sheet", "--text", "FILE"], ("DC at the base", "beat note")),
    "sheet of a triode": ("tickler", ["sheet", "--text", "FILE"], ("DC at the anode", "CAUTION: 90 V")),
    "render": ("clapp", ["render", "--gesture", "scale", "--seconds", "1", "-o", "a.wav", "FILE"], ()),
    "choose": (
        "inverter",
        ["choose", "--which", "variable", "--target-frequency", "250kHz", "FILE"],
        ("1 mH", "to spare"),
    ),
    "fit": ("clapp", ["fit", "--which", "reference", "r.csv", "--design", "FILE"], ("inductance", "gain", "pot 0.8")),
    "sensitivity": ("tickler", ["sensitivity", "FILE"], ("cents", "felt by the player")),
    "tune": ("colpitts", ["tune", "demos/lark.txt", "FILE"], ("wanted",)),
    "compare": ("pnp-common-base", ["compare", "FILE", "FILE"], ("zero beat", "steepness at A4")),
    "page": ("hartley", ["page", "-o", "a.html", "FILE"], ()),
}
"""Every command that takes a design, but for the searches of minutes: with one circuit each, and words it must say."""


@pytest.mark.slow
@pytest.mark.parametrize("case", COMMANDS)
def test_every_command_reads_a_drawn_design(case: str, tmp_path, capsys) -> None:
    circuit, command, says = COMMANDS[case]
    said = _said_of(circuit, command, tmp_path, capsys)
    assert [words for words in says if words not in said] == []


@pytest.mark.soak
@pytest.mark.parametrize("circuit", CIRCUITS)
@pytest.mark.parametrize("case", COMMANDS)
def test_every_command_reads_every_drawn_design(case: str, circuit: str, tmp_path, capsys) -> None:
    """All pairs of them, some seconds each: done (or 3: no part that is sold reaches it in every build), and no figure
    that is none.
    """
    said = _said_of(circuit, COMMANDS[case][1], tmp_path, capsys, allowed=(0, 3))
    assert re.search(r"\b(nan|inf|None)\b|-0\.0+\b(?!\d)", said) is None


def _said_of(circuit: str, command: list[str], tmp_path, capsys, allowed: tuple[int, ...] = (0,)) -> str:
    """What a command prints of a circuit's template; the file that it writes, if any, holds something."""
    file, wave, page = tmp_path / "mine.toml", tmp_path / "a.wav", tmp_path / "a.html"
    (tmp_path / "r.csv").write_text(READINGS)
    assert main(["new", "--circuit", circuit, str(file)]) == 0
    capsys.readouterr()
    places = {"FILE": str(file), "a.wav": str(wave), "a.html": str(page), "r.csv": str(tmp_path / "r.csv")}
    assert main([places.get(word, word) for word in command]) in allowed
    said = str(capsys.readouterr().out)
    if wave.exists():
        samples = soundfile.read(wave)[0]
        assert np.abs(samples).max() > 0.05
    assert said or wave.exists() or page.stat().st_size > 10_000
    return said


def test_new_names_the_circuits_it_knows(tmp_path, capsys) -> None:
    assert main(["new", "--circuit", "hartly", str(tmp_path / "mine.toml")]) == 2
    assert "did you mean 'hartley'" in capsys.readouterr().err
    assert main(["new", "--circuit", "tickler", str(tmp_path / "mine.toml")]) == 0
    assert "CAUTION: 90 V" in capsys.readouterr().err
