"""Which design suits a hand: more notes met, then truer ones; and what a hand's figures change."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from synth.analysis.sensitivity_figures import sensitivities_figures, sensitivity_figures
from synth.analysis.suiting import DesignSuits, best, design_suits
from synth.analysis.tune import tune_figures, tunes_figures
from synth.build.workbench import OpenedDesign
from synth.designs.sections import Design
from synth.hands.own_hand import OwnHand
from synth.hands.tune_path import PLACEMENT, Manner
from synth.report.sensitivity import SENSITIVITIES, SENSITIVITY, suits_sentence, turning_points
from synth.report.tune import TUNE, TUNES
from synth.tunes.note_list import read_note_list

HAND = OwnHand(0.08, 0.40, 1e-3, 0.2e-3, 8.0, 0.6, 1e-5)


def test_a_note_is_met_where_the_miss_is_less_than_half_a_semitone(plain_workpiece: OpenedDesign) -> None:
    field = plain_workpiece.field
    found = design_suits("x", field, HAND)
    notes = [line for line in field.notes() if 36 <= line.number <= 84]
    within = [line for line in notes if HAND.nearest <= line.distance <= HAND.farthest]
    met = [line for line in within if float(field.cents_per_mm(line.distance)) * 1.0 < 50.0]
    assert (found.played, found.in_reach, found.met) == (len(notes), len(within), len(met))
    clumsy = design_suits("x", field, replace(HAND, scatter=8e-3))
    assert clumsy.met < found.met
    anyone = design_suits("x", field, None)
    assert anyone.in_reach == anyone.played


def test_the_best_has_most_notes_and_then_the_truest() -> None:
    many, few = DesignSuits("many", 49, 40, 40, 30.0), DesignSuits("few", 49, 30, 30, 10.0)
    true = DesignSuits("true", 49, 40, 40, 20.0)
    nothing = DesignSuits("none", 0, 0, 0, None)
    assert best([few, many, nothing]) is many
    assert best([many, true]) is true
    assert suits_sentence([few, many], "many", True) == (
        "many suits you best: 40 notes from C2 to C6 are met on it, 30 on few"
    )
    assert "off by least, 20 cents" in suits_sentence([many, true], "true", False)
    assert suits_sentence([nothing], "none", True).startswith("none of these suits you")


def test_the_own_hand_is_reckoned_with_and_said(plain_workpiece: OpenedDesign) -> None:
    assumed, own = sensitivity_figures(plain_workpiece), sensitivity_figures(plain_workpiece, HAND)
    assert (assumed.placement_m, assumed.own_hand, assumed.zero_beat_for_reach_m) == (PLACEMENT, False, None)
    assert (own.placement_m, own.tremor_m, own.own_hand) == (HAND.scatter, HAND.tremor, True)
    for one, other in zip(assumed.notes, own.notes, strict=True):
        assert one.cents_per_mm == other.cents_per_mm
        assert other.placement_cents == pytest.approx(1e3 * HAND.scatter * other.cents_per_mm)
    assert "for your reach" in SENSITIVITY.text(own)
    assert "reach (" not in SENSITIVITY.text(assumed)
    assert "1 mm RMS (yours)" in SENSITIVITY.text(own)


def test_only_rows_where_the_verdict_changes_are_printed(plain_workpiece: OpenedDesign) -> None:
    shaky = sensitivity_figures(plain_workpiece, replace(HAND, tremor=0.5e-3))
    rows = turning_points(shaky.notes)
    assert rows[0] == shaky.notes[0]
    assert rows[-1] == shaky.notes[-1]
    assert 2 < len(rows) < len(shaky.notes)
    places = [shaky.notes.index(row) for row in rows]
    for first, last in zip(places, places[1:], strict=False):
        between = {note.verdict for note in shaky.notes[first : last + 1]}
        assert len(between) == 1 or last == first + 1
    text = SENSITIVITY.text(shaky)
    assert sum(line.endswith(tuple(row.verdict for row in rows)) for line in text.splitlines()) == len(rows)


def test_designs_of_one_name_are_told_apart(
    plain_workpiece: OpenedDesign, opened: Callable[[Design], OpenedDesign]
) -> None:
    """As designed against as built: the sentence is of the one that suits, wherever it stands."""
    design = plain_workpiece.design
    near = opened(replace(design, tuning=replace(design.tuning, zero_beat=0.3)))
    for pieces in ([plain_workpiece, near], [near, plain_workpiece]):
        report = sensitivities_figures(pieces, HAND)
        met = {one.design: one.met for one in report.suits}
        assert list(met) == [f"{design.name} (1)", f"{design.name} (2)"]
        assert met[report.best] == max(met.values()) > min(met.values())
        assert f"{report.best} suits you best: {max(met.values())} notes" in SENSITIVITIES.text(report)


def test_several_designs_are_a_row_each_and_one_sentence(
    plain_workpiece: OpenedDesign, opened: Callable[[Design], OpenedDesign]
) -> None:
    design = plain_workpiece.design
    other = opened(replace(design, about=replace(design.about, name="Other, too")))
    report = sensitivities_figures([plain_workpiece, other], HAND)
    text = SENSITIVITIES.text(report)
    assert text.count("suits you best") == 1
    assert SENSITIVITIES.csv is not None
    table = SENSITIVITIES.csv(report).splitlines()
    assert len(table) == 1 + 2 * len(report.designs[0].notes)
    assert table[-1].startswith('"Other, too",')
    tune = read_note_list("C4 1/4, C4 1/4, E4 1/4", "x")
    manner = Manner(placement=HAND.scatter)
    tunes = tunes_figures([plain_workpiece, other], tune, manner, HAND)
    assert tunes.best in (design.name, "Other, too")
    assert "suits you and this tune best" in TUNES.text(tunes)
    one = tune_figures(plain_workpiece, tune, manner, HAND)[0]
    assert "placement 1 mm (yours)" in TUNE.text(one)
    assert TUNE.text(one).count("C4 ") == 1  # the repeated note is at the same place
