"""Designs that draw their mixer: read, checked, solved with both oscillators, heard, reported and drawn."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from small_instrument import ROD

from models.circuit.adjoint import oscillator_adjoint
from models.circuit.drawing import drawn, without_load
from models.circuit.oscillator import steady_state
from models.instrument import Instrument
from synth.analysis.circuit_diagram import mixer_diagram
from synth.analysis.field_figures import field_figures
from synth.analysis.mixer_figures import load_shift, mixer_figures, stage_figures
from synth.analysis.pulling_figures import pulling_figures
from synth.analysis.sheet_parts import part_figures
from synth.build.circuit_assembly import circuit_of, mixer_of_design
from synth.build.workbench import OpenedDesign, assemble
from synth.cli import main
from synth.designs.circuit_templates import MIXERS
from synth.designs.design_file import Design, design_hash, design_text, load_design, read_design
from synth.designs.template import circuit_template_text
from synth.errors import DesignError
from synth.report.mixer import STAGE
from synth.sound.voice import Voice
from synth.window.retune import retuned
from synth.window.tunable import first_settings, tunable

RATE = 48000


@cache
def text_of(name: str) -> str:
    return circuit_template_text("common-base", mixer=name)


@cache
def design_of(name: str) -> Design:
    return read_design(text_of(name), "mine.toml")


@cache
def opened(name: str) -> OpenedDesign:
    return assemble(design_of(name), ROD)


@pytest.mark.parametrize("name", MIXERS)
def test_a_mixer_is_read_and_written_back(name: str) -> None:
    design = design_of(name)
    assert read_design(design_text(design)) == design
    assert design_hash(design) != design_hash(replace(design, detector=replace(design.detector, parts=None)))
    mixer = mixer_of_design(design)
    assert {mixer.reference.node, mixer.variable.node} == {{"transistor": "base", "two-diode": "input"}[name]}
    network = drawn(mixer.drawing())[1]
    assert mixer.tone_node in network.names


@pytest.mark.parametrize(
    ("old", "new", "place", "says"),
    [
        ('reference = { at = "base" }', "", "detector.parts", "does not say where the reference oscillator enters"),
        ('variable = { at = "base" }', "", "detector.parts", "does not say where the variable oscillator enters"),
        ('tone = { at = "collector" }', "", "detector.parts", "does not say where the tone is taken"),
        ('tone = { at = "collector" }', 'tone = { at = "colector" }', "detector.parts.tone", "is no node"),
        ('resistor = "470 kohm"', 'resistr = "470 kohm"', "detector.parts.upper bias", "did you mean 'resistor'"),
        ('resistor = "470 kohm"', 'capacitor = "tank"', "detector.parts.upper bias", "a mixer has no tank"),
        ('base = "base", c', 'amplifies = "yes", base = "base", c', "detector.parts.mixer", "leave amplifies out"),
        ('collector = "collector"', 'collector = "nowhere"', "detector.parts.mixer", "has this one end alone"),
        ("[detector]\n", '[detector]\nkind = "diode"\n', "detector.kind", "does not count where [detector.parts]"),
        ("\n[detector.parts]\n", "\n[detectr.parts]\n", "[detectr]", "did you mean 'detector'"),
    ],
)  # fmt: skip
def test_faults_name_the_row_and_the_remedy(old: str, new: str, place: str, says: str) -> None:
    changed = text_of("transistor").replace(old, new, 1)
    assert changed != text_of("transistor")
    with pytest.raises(DesignError) as told:
        read_design(changed, "mine.toml")
    lines = str(told.value).splitlines()
    assert any(line.startswith("mine.toml: ") and place in line and says in line for line in lines), lines


def test_all_faults_come_at_once() -> None:
    changed = text_of("two-diode").replace('tone = { at = "tone" }', "").replace('reference = { at = "input" }', "")
    for diode in ('"lower diode" = { diode', '"upper diode" = { diode'):
        changed = changed.replace(diode, diode.replace('diode" = { diode', 'part" = { resistor'))
    with pytest.raises(DesignError) as told:
        read_design(changed)
    assert len(str(told.value).splitlines()) >= 4


def test_solved_oscillators_are_asked_for() -> None:
    design = design_of("transistor")
    with pytest.raises(DesignError, match="needs solved oscillators"):
        replace(design, tuning=replace(design.tuning, law="lossless"))
    with pytest.raises(DesignError, match="needs the parts of both oscillators"):
        replace(design, circuit=None)


def test_both_oscillators_are_loaded_with_what_the_mixer_draws() -> None:
    design = design_of("transistor")
    loads = [circuit_of(design, which).load for which in ("reference", "variable")]
    resistances = [load.resistance for load in loads if load is not None]
    assert all(20e3 < resistance < 40e3 for resistance in resistances)  # the base, and its bias of 82 kohm
    plain = replace(design, detector=replace(design.detector, parts=None))
    assert_allclose(circuit_of(plain, "volume" if plain.volume else "reference").load.resistance, 90.9e3, rtol=1e-3)  # type: ignore[union-attr]


def test_the_shift_by_a_load_is_that_of_solved_circuits() -> None:
    circuit = circuit_of(design_of("transistor"), "reference")
    loaded, free = steady_state(circuit), steady_state(without_load(circuit))
    assert circuit.load is not None
    assert_allclose(load_shift(oscillator_adjoint(loaded), circuit.load), loaded.frequency - free.frequency, rtol=0.05)


@pytest.mark.slow
@pytest.mark.parametrize("name", MIXERS)
def test_what_is_told_is_what_sounds(name: str) -> None:
    """The tone's harmonics in the sound, after the tone filter, are those of the table at that hand."""
    made = opened(name)
    instrument, table = made.instrument, made.mixer
    assert table is not None
    distance = float(made.field.distance_at(300.0))
    voice = Voice(replace(instrument, lock_range=0.0), RATE)  # pulling adds harmonics of its own
    voice.render(np.full(RATE, distance), RATE)
    samples = voice.render(np.full(RATE, distance), RATE) * np.hanning(RATE)
    beat = abs(voice.frequency)
    wanted = np.abs(table.read(voice.frequency, *amplitudes(instrument, distance))[0, 1:4])
    times = np.arange(RATE) / RATE
    heard = np.array([abs(np.sum(samples * np.exp(-2j * np.pi * n * beat * times))) for n in (1, 2, 3)])
    filtered = wanted / np.hypot(1.0, np.array([1, 2, 3]) * beat / instrument.tone_low_pass)
    assert_allclose(heard[1:] / heard[0], filtered[1:] / filtered[0], rtol=0.02)
    peak = np.abs(voice.render(np.linspace(distance, made.field.playable_near or 0.02, RATE), RATE)).max()
    assert 0.6 * instrument.level < peak <= 1.02 * instrument.level


def amplitudes(instrument: Instrument, distance: float) -> tuple[float, float]:
    return instrument.reference_amplitude or 0.0, float(instrument.variable_amplitude(distance))


@pytest.mark.slow
def test_pieces_of_any_size_sound_the_same() -> None:
    path = np.linspace(0.3, 0.05, 9000)
    whole = Voice(opened("transistor").instrument, RATE).render(path, path.size)
    ragged = Voice(opened("transistor").instrument, RATE)
    pieces = [ragged.render(part, part.size) for part in np.split(path, [1, 700, 701, 4096])]
    np.testing.assert_array_equal(np.concatenate(pieces), whole)


@pytest.mark.slow
@pytest.mark.parametrize("name", MIXERS)
def test_reports_and_diagram_agree_with_the_solution(name: str) -> None:
    made = opened(name)
    figures, stage = mixer_figures(made), stage_figures(made)
    assert figures is not None
    assert field_figures(made).mixer == figures == stage.mixer
    assert made.instrument.detector.kind == "drawn"
    solver, still = made.standing_mixer or (None, None)
    assert solver is not None
    assert still is not None
    tone = next(one for one in stage.points if one.name == mixer_of_design(made.design).tone_node)
    lines = solver.solve(stage.beat_hz, near=still.ports).tone()
    assert_allclose(tone.dc_v, lines[0].real, rtol=1e-4)
    assert_allclose(tone.tone_v, 2.0 * abs(lines[1]), rtol=0.1)
    load = circuit_of(made.wired, "reference").load
    assert load is not None
    assert figures.loads[0].resistance_ohm == load.resistance
    assert_allclose(still.load("reference").resistance, load.resistance, rtol=0.1)  # that is without antenna and tuning
    document = STAGE.document(stage)
    assert document["mixer"]["notes"][0]["level_v"] > 0.01
    assert "follows the beat" in STAGE.text(stage)
    labels = [line for one in mixer_diagram(made).layout.placed for line in one.symbol.label]
    assert all(part.name in labels for part in mixer_of_design(made.design).parts)
    assert any("from the variable oscillator" in label for label in labels)


@pytest.mark.slow
def test_the_window_offers_the_drawn_mixer_beside_the_fixed_kinds() -> None:
    made = opened("transistor")
    offer = tunable(made)
    settings = first_settings(offer)
    assert settings.text("detector") == "drawn"
    assert retuned(offer, settings).instrument.detector is made.instrument.detector
    other = settings.with_value("detector", "envelope")
    assert retuned(offer, other).instrument.detector.kind == "envelope"
    farther = retuned(offer, settings.with_value("zero_beat", 0.4)).instrument
    assert farther.detector is made.instrument.detector
    assert np.isfinite(Voice(farther, RATE).render(np.linspace(0.3, 0.1, 512), 512)).all()


def test_new_writes_a_design_with_its_mixer(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "mine.toml"
    assert main(["new", "--circuit", "hartley", "--mixer", "two-diode", str(target)]) == 0
    assert load_design(target).detector.parts is not None
    for arguments, says in (
        (["new", "--mixer", "two-diode", "b.toml"], "add --circuit"),
        (["new", "--circuit", "hartley", "--mixer", "two-diod", "b.toml"], "did you mean 'two-diode'"),
        (["new", "--circuit", "tickler", "--mixer", "transistor", "b.toml"], "take --mixer two-diode"),
        (["oscillator", str(target), "--which", "mixer", "--pot", "0.5"], "belongs to an oscillator"),
        (["oscillator", "heron", "--which", "mixer"], "draws no mixer"),
    ):
        capsys.readouterr()
        assert main(arguments) == 2
        assert says in capsys.readouterr().err


def test_the_sheet_lists_what_is_drawn() -> None:
    """The parts of the drawing, none of the fixed form's, and the mixer's."""
    bought = part_figures(read_design(circuit_template_text("hartley", mixer="two-diode")))
    by_name = {(one.place, one.name): one for one in bought}
    assert by_name["each oscillator", "gate leak"].value == 470e3
    assert by_name["mixer", "doubling capacitor"].value == 220e-12
    assert ("mixer", "supply resistor") not in by_name  # no part of it is joined to the supply
    assert not any(one.name in ("feedback capacitor", "base capacitor", "lower diode") for one in bought)
    fed = {(one.place, one.name) for one in part_figures(design_of("transistor"))}
    assert {("mixer", "supply resistor"), ("each oscillator", "feedback capacitor"), ("mixer", "upper bias")} <= fed


@pytest.mark.slow
def test_larger_output_resistors_leave_what_the_changed_design_has() -> None:
    """The mixer with them is solved anew, and what it then sends into both oscillators."""
    before = opened("transistor")
    (one,) = pulling_figures(before).advice
    assert one.path == "mixer"
    assert one.value is not None
    both = {"reference_resistor": one.value, "variable_resistor": one.value}
    changed = replace(design_of("transistor"), coupling=replace(design_of("transistor").coupling, **both))
    assert_allclose(one.lock_range_hz, assemble(changed, ROD).instrument.lock_range, rtol=5e-3)
    assert 0.1 < one.lock_range_hz / before.instrument.lock_range < 0.9
