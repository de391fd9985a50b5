"""`beatfield plan`: what is written is a whole design that does what was told; what cannot be read is refused."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from models.circuit.small_signal import small_signal
from models.straight.plan import FieldPlan, make_plan
from models.straight.search import Effort, Place
from models.stray import stray_range
from synth.analysis.plan import PlanWishes, driving_resistor, ohms_of, start_text, usual_supply, with_ohms
from synth.build.circuit_assembly import circuit_of
from synth.build.workbench import open_design
from synth.cli import main
from synth.commands.options import note_range
from synth.designs.circuit_templates import CIRCUITS
from synth.designs.design_file import read_design
from synth.designs.template import circuit_template_text
from synth.errors import EXIT_INTERRUPTED, DesignError
from tests.synth.commands.test_linearise_command import small_wishes


@pytest.fixture
def small(tmp_path, monkeypatch):
    """An empty folder, the search small: four chokes, upper mode."""
    effort = Effort(300, 50, 4, 6, 1, 20, 3, 40, (Place(4, "high"),), ((0.5,), (300e3,)))
    monkeypatch.setattr("synth.analysis.linearise.EFFORT", effort)
    monkeypatch.chdir(tmp_path)


@pytest.mark.slow
def test_what_is_written_is_what_was_told(small, capsys, monkeypatch):
    monkeypatch.setattr("synth.analysis.plan.MOST_STEPS", 1)  # of the emitter resistor: each solves all corners
    wished = ["--own", "4x 10 mH", "--own-coils", "820 uH, 1 mH", "--supply", "9 V", "--board", "etched board"]
    code = main(["plan", "mine.toml", *wished, "--current-gain", "180", "--json"])
    document = json.loads(capsys.readouterr().out)
    plays = [corner["held"] and corner["tuned"] for corner in document["corners"] if corner["for_notes"]]
    assert (code == 0) == all(plays)
    assert document["schema"] == "beatfield.plan/1"
    text = Path("mine.toml").read_text("utf-8")
    piece = open_design(Path("mine.toml"))
    design = piece.design
    assert design.circuit is not None
    assert design.branch is not None
    assert design.transistor is not None
    assert (design.circuit.supply_voltage, design.transistor.forward_gain) == (9.0, 180.0)
    assert (design.branch.chokes, design.branch.inductance) == (4.0, pytest.approx(40e-3))
    assert design.variable.inductance in (820e-6, 1e-3)
    assert design.volume_antenna is not None
    assert text.count("#") > 200, "every key keeps its comment"
    assert piece.instrument.reference_frequency == pytest.approx(document["carrier_hz"], rel=1e-9)
    assert piece.field.zero_beat_distance == pytest.approx(document["zero_beat_m"], rel=1e-6)
    assert piece.field.linearity_error_between(65.0, 1047.0) == pytest.approx(document["rms_cents"], rel=1e-8)
    assert document["builds_reached"] > 0.9
    assert not any("volume" in notice for notice in document["notices"])
    assert main(["plan", "mine.toml", "--json"]) == 2
    assert "exists already" in capsys.readouterr().err


@pytest.mark.slow
@pytest.mark.parametrize("within", ["search", "corners"])
def test_an_interrupted_search_is_written_without_what_would_follow(within, small, capsys, monkeypatch):
    """Who wants it to end does not wait for corners and for a resistor that is tried in each of them."""

    def cut_short(*given: Any) -> FieldPlan | None:
        found = make_plan(*given)
        return None if found is None else replace(found, interrupted=True)

    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    ended = ("make_plan", cut_short) if within == "search" else ("corners", interrupted)
    monkeypatch.setattr(f"synth.analysis.linearise.{ended[0]}", ended[1])
    assert main(["plan", "mine.toml", "--own", "4x 10 mH", "--no-volume", "--json"]) == EXIT_INTERRUPTED
    document = json.loads(capsys.readouterr().out)
    assert document["interrupted"]
    assert document["corners"] == []
    assert [step.split(":")[0] for step in document["steps"]] == ["interrupted"]
    assert open_design(Path("mine.toml")).field.zero_beat_distance == pytest.approx(document["zero_beat_m"], rel=1e-6)


def test_one_that_has_found_nothing_says_that_it_writes_nothing(tmp_path, capsys, monkeypatch):
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("synth.analysis.plan.make_design", interrupted)
    assert main(["plan", "mine.toml"]) == EXIT_INTERRUPTED
    assert "mine.toml is not written: the search had found no design yet" in capsys.readouterr().err
    assert not Path("mine.toml").exists()


@pytest.mark.soak  # by hand: half a minute
def test_ctrl_c_after_the_search_writes_what_was_found(small, capsys, monkeypatch):
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("synth.analysis.plan.tank_goals", interrupted)
    monkeypatch.setattr("synth.analysis.plan.BUILD_SHARE", 1.1)  # so that the reference is chosen anew
    assert main(["plan", "mine.toml", "--own", "4x 10 mH", "--no-volume", "--json"]) == EXIT_INTERRUPTED
    document = json.loads(capsys.readouterr().out)
    assert document["interrupted"]
    assert any("interrupted" in step for step in document["steps"])
    assert open_design(Path("mine.toml")).field.zero_beat_distance is not None


@pytest.mark.parametrize("circuit", CIRCUITS)
def test_the_text_it_starts_from_has_the_wishes(circuit):
    asked = PlanWishes(small_wishes(), circuit, 9.0, "etched board", "plate", 150.0, True, "Reed")
    design = read_design(start_text(asked), "the template")
    assert design.name == "Reed"
    assert design.antenna.form == "plate"
    assert design.circuit is not None
    assert (design.circuit.supply_voltage, design.circuit.board) == (9.0, "etched board")
    low, high = stray_range("etched board")
    assert low < design.variable.stray < high
    assert design.transistor is not None
    assert design.transistor.forward_gain == 150.0
    assert design.volume is not None


@pytest.mark.slow
def test_every_circuit_has_a_resistor_for_its_current_and_a_usual_supply():
    """Less of it is more loop gain; the volts are those that the circuits are drawn for."""
    assert {name: usual_supply(name) for name in ("common-base", "hartley", "tickler")} == {
        "common-base": 12.0,
        "hartley": 9.0,
        "tickler": 90.0,
    }
    found = {}
    for name in CIRCUITS:
        design = read_design(circuit_template_text(name), name)
        resistor = driving_resistor(design)
        assert resistor is not None
        found[name] = resistor
        stronger = with_ohms(design, resistor, 0.6 * ohms_of(design, resistor))
        margins = [float(small_signal(circuit_of(one, "reference")).margin_db) for one in (design, stronger)]
        assert margins[1] > margins[0] + 0.5, name
    assert found["inverter"] == "drive resistor"
    assert found["tickler"] == "cathode resistor"


def test_a_range_is_read_as_notes_or_hertz():
    assert note_range("--range", "C2:C6") == pytest.approx((65.406, 1046.50), rel=1e-5)  # ISO 16, equal temperament
    assert note_range("--range", "65Hz:A5") == pytest.approx((65.0, 880.0))
    with pytest.raises(DesignError, match="first value"):
        note_range("--range", "C6:C2")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--range", "H2:C6"], ["--range"]),
        (["--supply", "12"], ["--supply", "no unit"]),
        (["--board", "cardboard"], ["--board", "perfboard"]),
        (["--circuit", "hartly"], ["--circuit", "did you mean"]),
        (["--antenna", "dish"], ["--antenna", "rod"]),
        (["--current-gain", "0"], ["--current-gain"]),
        (["--own", "10 mH"], ["--own", "how many"]),
        (["--seed", "-1"], ["--seed"]),
    ],
)
def test_bad_usage_is_one_message_and_leaves_nothing(small, refused, arguments, words):
    refused(["plan", "mine.toml", *arguments], words)
