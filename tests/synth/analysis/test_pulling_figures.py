"""Which path pulls most, what a change leaves, and the lowest notes: against designs that are changed by hand."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from small_instrument import ROD

from models.pitch_field import LOWEST_AUDIBLE
from synth.analysis.pulling_figures import Change, PullingFigures, lock_paths, pulling_figures
from synth.build.workbench import OpenedDesign, assemble
from synth.cli import main
from synth.designs.build_sections import GoalsSection
from synth.designs.design_file import load_design
from synth.designs.oscillator_sections import CoilsSection
from synth.designs.sections import Design
from synth.report.pulling import pulling_facts

DEMOS = Path(__file__).parents[3] / "demos"
COILS = CoilsSection("parallel", 0.12, 0.025, 0.04, 0.025, 0.04)


@pytest.fixture(scope="module")
def willow() -> Design:
    return load_design(DEMOS / "willow.toml")


def coupled(design: Design, **values: float | None) -> Design:
    return replace(design, coupling=replace(design.coupling, **values))


@pytest.fixture(scope="module")
def leaky(willow: Design) -> OpenedDesign:
    """Coils, tanks, supply and output resistors, strongest first."""
    return assemble(replace(coupled(willow, supply_resistance=300.0, tank_to_tank_capacitance=5e-14), coils=COILS), ROD)


@pytest.fixture(scope="module")
def figures(leaky: OpenedDesign) -> PullingFigures:
    return pulling_figures(leaky)


def by_change(figures: PullingFigures) -> dict[str, tuple[float | None, float]]:
    return {one.change: (one.value, one.lock_range_hz) for one in figures.advice}


@pytest.mark.slow
def test_what_a_change_leaves_is_what_the_changed_design_has(leaky, figures):
    found = by_change(figures)
    design = leaky.design
    farther = replace(design, coils=replace(COILS, distance=0.24))
    crossed = replace(design, coils=replace(COILS, axes="crossed"))
    for change, changed in ((Change.APART, farther), (Change.CROSSED, crossed)):
        assert found[change][1] == pytest.approx(assemble(changed, ROD).instrument.lock_range, rel=1e-6)
    assert found[Change.APART][0] == 0.24
    # a screen leaves no capacitance between the tanks; what it adds to earth at each is taken as before
    screened = assemble(coupled(design, tank_to_tank_capacitance=0.0), ROD)
    assert found[Change.SCREEN][1] == pytest.approx(screened.instrument.lock_range, rel=1e-2)
    assert lock_paths(leaky.pulling)[0].path == figures.advice[0].path == "coil_coupling"
    assert figures.law == "circuits, solved as one"


@pytest.mark.slow
def test_resistors_are_preferred_values_and_solved_anew(willow):
    supply = replace(willow, circuit=replace(willow.circuit, supply_capacitor=1e-8))
    opened = assemble(coupled(supply, supply_resistance=10.0), ROD)
    first, second = pulling_figures(opened).advice
    assert (first.path, first.change) == ("supply_resistance", Change.STAGE_RESISTORS)
    # the goal being out of reach by one path alone, each is weakened to a tenth of what it sends, with E12 values: by
    # hand sqrt(10^2 + 100 (100 + 20) / 0.1) - 10 - 100 = 237 ohm more, and sqrt(10) times 1 Mohm
    assert (first.value, second.value) == (270.0, 3.3e6)
    more = replace(opened.design, circuit=replace(supply.circuit, supply_resistor=100.0 + first.value))
    assert first.lock_range_hz == pytest.approx(assemble(more, ROD).instrument.lock_range, rel=1e-9)
    assert first.lock_range_hz < 0.5 * opened.instrument.lock_range
    assert (second.path, second.change) == ("common_node", Change.OUTPUT_RESISTORS)
    larger = coupled(opened.design, reference_resistor=second.value, variable_resistor=second.value)
    assert second.lock_range_hz == pytest.approx(assemble(larger, ROD).instrument.lock_range, rel=1e-9)


def test_the_smallest_resistors_that_suffice(willow):
    goals = GoalsSection(lowest=LOWEST_AUDIBLE)
    figures = pulling_figures(assemble(replace(willow, goals=goals), ROD))
    (one,) = figures.advice
    assert (one.change, one.value) == (Change.OUTPUT_RESISTORS, 1.2e6)
    assert one.low_notes.bent_below_hz < LOWEST_AUDIBLE < figures.low_notes.bent_below_hz


def test_no_advice_where_no_wanted_note_is_bent(willow):
    wanted = pulling_figures(assemble(replace(willow, goals=GoalsSection(lowest=65.4)), ROD))
    assert not wanted.matters
    assert wanted.advice == ()
    given = pulling_figures(assemble(coupled(willow, lock_range=40.0), ROD))
    assert (given.law, given.matters, given.advice) == ("given", True, ())


@pytest.mark.slow
def test_the_lowest_note_that_is_held_moves_ten_cents_by_a_tenth_of_a_millimetre(leaky, willow):
    for opened in (leaky, assemble(coupled(willow, lock_range=600.0), ROD)):
        notes, field = pulling_figures(opened).low_notes, opened.field
        if notes.held_from_hz < LOWEST_AUDIBLE:
            assert notes.lowest_playable_hz == pytest.approx(LOWEST_AUDIBLE, rel=1e-9)
            continue
        assert notes.lowest_playable_hz == notes.held_from_hz
        steep = float(field.cents_per_mm(field.distance_at(notes.held_from_hz)))
        assert steep == pytest.approx(100.0, rel=1e-6)


@pytest.mark.slow
def test_field_and_oscillator_give_one_answer(capsys):
    def document(*command: str) -> dict:
        assert main([*command, str(DEMOS / "willow.toml"), "--json"]) == 0
        return json.loads(capsys.readouterr().out)

    field, oscillator = document("field"), document("oscillator", "--which", "variable")
    for name in ("lock_range_hz", "lock_paths", "pulling"):
        assert field[name] == oscillator[name], name
    pulling = field["pulling"]
    assert pulling["law"] == "circuits, weakly coupled"
    assert pulling["low_notes"]["bent_below_hz"] == pytest.approx(9.28 * field["lock_range_hz"], rel=1e-3)
    alone = document("oscillator", "--which", "variable", "--load", "none")
    assert (alone["lock_range_hz"], alone["pulling"]) == (None, None)


@pytest.mark.slow
def test_the_text_says_what_the_figures_say(leaky, figures, willow):
    lines = pulling_facts(leaky.instrument.lock_range, lock_paths(leaky.pulling), figures)
    assert [name for name, _ in lines[:4]] == ["locks within", "lowest steady note", "pulling", "to pull less"]
    text = "\n".join(said for _, said in lines)
    assert "most of it by the coils' fields (without: " in text
    assert f"makes notes below {figures.low_notes.bent_below_hz:.3g} Hz more than 10 cents flat" in text
    assert f"{figures.low_notes.held_from_hz:.3g} Hz: below it a tremor that reaches 0.1 mm" in text
    crossed = by_change(figures)[Change.CROSSED][1]
    assert f"one coil turned by 90 degrees would leave {crossed:.2g} Hz" in text
    assert "the coils 0.24 m apart would leave" in text
    quiet = pulling_figures(assemble(coupled(willow, lock_range=2.0), ROD))
    assert f"could hold {quiet.low_notes.held_from_hz:.3g} Hz within 10 cents" in pulling_facts(2.0, (), quiet)[1][1]
    silent = pulling_figures(assemble(coupled(willow, lock_range=5000.0), ROD))
    assert "none that a hand whose tremor reaches" in pulling_facts(5000.0, (), silent)[1][1]
    bare = replace(coupled(willow, lock_range=None), circuit=None)
    resonances = pulling_figures(assemble(bare, ROD))
    assert resonances.law == "resonances alone"
    assert "in order of magnitude" in pulling_facts(4.0, (), resonances)[0][1]


@pytest.mark.slow
def test_an_oscillator_whose_partner_is_dead_is_read_alone(capsys, tmp_path):
    text = (DEMOS / "willow.toml").read_text("utf-8")
    head, reference = text.split("[reference]", 1)
    dead = tmp_path / "half.toml"
    dead.write_text(head + "[reference]" + reference.replace("quality_factor = 80", "quality_factor = 1.2", 1), "utf-8")
    assert main(["oscillator", str(dead), "--which", "variable", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["lock_range_hz"], found["pulling"]) == (None, None)
    assert any(f"pull each other is not told: {dead}: the reference oscillator" in text for text in found["notices"])
