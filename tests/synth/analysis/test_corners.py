"""A design at its corners: each is the design itself with other values, and what fails there is told."""

from __future__ import annotations

from dataclasses import replace

import pytest

from synth.analysis.corners import SAFE_MARGIN_DB, CornerFigure, corners, least_margin
from synth.build.workbench import open_design, open_loaded
from synth.designs.design_file import read_design
from synth.designs.template import circuit_template_text


@pytest.mark.slow
def test_the_corner_of_a_weak_supply_is_that_design(demos):
    opened = open_design(demos / "willow.toml")
    met = {corner.name: corner for corner in corners(opened, 65.0, 1047.0)}
    assert len(met) == 7
    circuit = replace(opened.design.circuit, supply_voltage=10.8, reference_pot=0.0, variable_pot=0.0)
    from synth.designs.oscillator_sections import TransistorSection

    weak = TransistorSection(forward_gain=0.5 * TransistorSection().forward_gain)
    alone = open_loaded(replace(opened.design, circuit=circuit, transistor=weak))
    found = met["supply and gain low, pots low"]
    assert found.carrier_hz == pytest.approx(alone.instrument.reference_frequency, rel=1e-9)
    assert found.margin_db < met["as designed"].margin_db
    assert met["variable trimmer all in"].carrier_hz < met["variable trimmer all out"].carrier_hz
    margins = [corner.margin_db for corner in met.values() if corner.for_notes]
    assert least_margin(opened, opened.design) == pytest.approx(min(margins), abs=0.02), "nothing solved for its swing"


def test_without_circuits_the_trimmer_alone_is_turned(demos):
    met = list(corners(open_design(demos / "meadow.toml"), 65.0, 1047.0))
    assert [corner.name for corner in met] == ["as designed", "variable trimmer all out", "variable trimmer all in"]
    assert all(corner.margin_db is None for corner in met)
    assert met[0].plays
    assert met[0].fault == ""


def test_every_fault_has_its_words():
    good = CornerFigure("here", SAFE_MARGIN_DB, 250e3, True, True, 20.0)
    assert good.fault == ""
    for change, word in (
        ({"why": "it does not start"}, "does not start"),
        ({"tuned": False}, "zero beat"),
        ({"held": False}, "all the notes"),
        ({"margin_db": 5.0}, "5.0 dB"),
    ):
        assert word in replace(good, **change).fault


@pytest.mark.slow
def test_a_weak_field_effect_transistor_has_less_margin():
    opened = open_loaded(read_design(circuit_template_text("hartley"), "hartley"))
    met = {corner.name: corner for corner in corners(opened, 65.0, 1047.0)}
    low, high = (met[f"supply and gain {word}, pots low"].margin_db for word in ("low", "high"))
    assert low is not None
    assert high is not None
    assert high > low + 1.0, "half and one and a half times its current"
