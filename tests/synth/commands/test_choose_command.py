"""`beatfield choose`: the same figures everywhere, exit codes, and a choice that the design then reaches."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from functools import partial
from itertools import cycle
from pathlib import Path

import pytest

from models.circuit.oscillator import steady_state
from models.preferred_values import nearest
from synth.analysis.choose_figures import Limits, choose_figures, tank_goals
from synth.analysis.oscillator import prepared_oscillator, steady
from synth.build.assembly import tank_in
from synth.build.workbench import OpenedDesign
from synth.cli import main
from synth.designs.circuit_templates import CIRCUITS as TEMPLATES
from synth.designs.design_file import load_design, read_design
from synth.designs.oscillator_sections import CircuitSection
from synth.designs.sections import Design
from synth.designs.template import circuit_template_text, template_design

close = partial(pytest.approx, abs=0.0)  # by ratio alone: approx by itself lets 1e-12 (1 pF) pass


@pytest.fixture
def in_tmp(tmp_path, monkeypatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


TIGHT = ["--inductor-tolerance", "2 %", "--capacitor-tolerance", "2 %"]


def chosen(design: Path, capsys, *options: str, code: int = 0) -> dict:
    assert main(["choose", str(design), "--json", *options]) == code
    return json.loads(capsys.readouterr().out)


def test_choice_put_into_the_design_reaches_the_target(demos, capsys):
    document = chosen(demos / "meadow.toml", capsys, "--target-frequency", "265 kHz", *TIGHT)
    assert document["schema"] == "beatfield.choose/1"
    assert document["reached"]
    design = load_design(demos / "meadow.toml")
    for row in document["choices"][:4]:
        assert nearest("E12", row["capacitance_f"]) == row["capacitance_f"]
        ends = {"trimmer_minimum": row["trimmer_minimum_f"], "trimmer_maximum": row["trimmer_maximum_f"]}
        section = replace(design.reference, capacitance=row["capacitance_f"], **ends)
        tank = tank_in(replace(design, reference=section), "reference")
        assert tank.trimmer_range() == close((row["lowest_hz"], row["highest_hz"]), rel=1e-7)
        assert tank.setting_for(265e3) == close(row["setting"], abs=1e-6)
        assert row["lowest_hz"] <= row["sure_lowest_hz"] <= 265e3 <= row["sure_highest_hz"] <= row["highest_hz"]


def with_supply_capacitor(design: Design, farads: float) -> Design:
    assert design.circuit is not None
    return replace(design, circuit=replace(design.circuit, supply_capacitor=farads))


def willow() -> Design:
    return load_design("willow")


CIRCUITS = {
    "willow's reference": ("reference", willow),
    "its variable oscillator": ("variable", willow),
    "with 10 nF at the supply": ("reference", lambda: with_supply_capacitor(willow(), 10e-9)),
    "with a tap": ("variable", lambda: replace(willow(), variable=replace(willow().variable, tap=0.7))),
    "the built-in design with a circuit": (
        "reference",
        lambda: replace(template_design(), circuit=CircuitSection(feedback_capacitor=47e-12)),
    ),
    **{
        f"{which} of the {name} template": (which, partial(read_design, circuit_template_text(name), name))
        for name, which in zip(TEMPLATES, cycle(("variable", "reference")), strict=False)
    },
}


QUICK = ("its variable oscillator",)


@pytest.mark.parametrize(
    "name", [name if name in QUICK else pytest.param(name, marks=pytest.mark.slow) for name in CIRCUITS]
)
def test_the_oscillator_reads_what_choose_said(name, opened):
    """A choice put into the design: `oscillator` reads the target at the setting told within 5 ppm, and the ends of
    the trimmer within 20 ppm of what choose told, also with another coil.
    """
    which, make = CIRCUITS[name]
    design = make()
    own = getattr(design, which).inductance
    coils = (own,) if name in QUICK else (own, 1.2 * own)
    piece = opened(design)
    target = 0.98 * (piece.instrument.reference_frequency)
    found = tank_goals(piece, which, target, Limits(inductor=0.0, capacitor=0.005, stray=1e-12, branch=0.0), coils)
    report = choose_figures(design, which, found, "E24", "E6")
    assert report.reached
    rows = [next(row for row in report.choices if row.inductance_h == coil) for coil in coils]
    for row in rows:
        ends = {"trimmer_minimum": row.trimmer_minimum_f, "trimmer_maximum": row.trimmer_maximum_f}
        values = {"inductance": row.inductance_h, "capacitance": row.capacitance_f, **ends}
        section = replace(getattr(design, which), trimmer=row.setting, **values)
        tuning = replace(design.tuning, zero_beat=None) if which == "reference" else design.tuning
        made = replace(design, tuning=tuning, **{which: section})
        circuit = OpenedDesign(made, piece.given).circuits["reference"]
        if which == "variable":
            circuit = OpenedDesign(made, piece.given).loaded_variable(piece.tuning_capacitance)
        set_up = steady_state(circuit)
        assert set_up.frequency == pytest.approx(target, rel=5e-6)
        for end, told in ((0.0, row.highest_hz), (1.0, row.lowest_hz)):
            turned = steady_state(circuit.with_trimmer(end), warm_start=set_up)
            assert turned.frequency == pytest.approx(told, rel=2e-5), (row, end)
    if which == "reference":
        command = steady(prepared_oscillator(made, which))
        assert command.frequency == pytest.approx(target, rel=3e-6)


def test_stray_spreads_by_board_or_option(demos, capsys):
    design = load_design(demos / "willow.toml")
    by_board = 0.5 * (25 - 4) * 1e-12  # usual range of perfboard, 4 to 25 pF (from memory)
    rest = tank_in(design, "reference").board_stray  # the divider and the junction at rest are most of what is added
    none = ["--stray-spread", "0 pF", "--junction-spread", "0 pF"]
    found = []
    for options, spread in (
        (none, 0.0),
        ([], by_board + 2e-12),
        (["--stray-spread", "3 pF", "--junction-spread", "1 pF"], 4e-12),
    ):
        document = chosen(demos / "willow.toml", capsys, "--target-frequency", "265 kHz", *TIGHT, *options)
        around = document["stray_f"]
        assert around == close(rest, rel=0.02)
        found.append(0.5 * (document["stray_most_f"] - document["stray_least_f"]) - spread)
        assert document["stray_most_f"] - around == close(around - document["stray_least_f"], rel=1e-9)
    assert found == close([found[0]] * 3, rel=1e-6)
    assert found[0] == close(0.02 * 100e-12 * 0.92, rel=0.1)  # mostly the feedback capacitor's 2 % of 100 pF


def test_text_csv_and_json_say_the_same(demos, in_tmp, capsys):
    design, options = demos / "heron.toml", ["--target-frequency", "300 kHz"]
    document = chosen(design, capsys, *options)
    assert main(["choose", str(design), *options, "--csv", "c.csv", "--plot", "c.svg"]) == 0
    drawn = Path("c.svg").read_text("utf-8")
    assert drawn.count("<!-- 2.7 mH, ") == min(12, len(document["choices"]))  # one label a choice
    text = capsys.readouterr().out
    rows = list(csv.DictReader(io.StringIO(Path("c.csv").read_text("utf-8"))))
    assert len(rows) == len(document["choices"])
    for row, figures in zip(rows, document["choices"], strict=True):
        for name, cell in row.items():
            expected = figures[name]
            assert cell == str(expected).lower() if isinstance(expected, bool) else float(cell) == expected
    for figures in document["choices"][:8]:
        assert f"{figures['lowest_hz'] / 1e3:.2f}-{figures['highest_hz'] / 1e3:.2f} kHz" in text


def test_variable_oscillator_counts_its_antenna(demos, capsys):
    options = ["--target-frequency", "265 kHz", "--which", "variable", *TIGHT]
    document = chosen(demos / "willow.toml", capsys, *options, "--branch-tolerance", "1 %")
    assert document["reached"]
    assert any("antenna counts with" in notice for notice in document["notices"])
    wide = chosen(demos / "willow.toml", capsys, *options, "--branch-tolerance", "0 %", "--antenna-spread", "0 pF")
    assert wide["choices"][0]["trimmer_maximum_f"] <= document["choices"][0]["trimmer_maximum_f"]


def test_out_of_reach_is_exit_code_3(demos, capsys):
    options = ["--target-frequency", "265 kHz", "--inductor-tolerance", "50 %"]
    document = chosen(demos / "meadow.toml", capsys, *options, code=3)
    assert not document["reached"]
    assert main(["choose", str(demos / "meadow.toml"), *options]) == 3
    assert "tighter parts" in capsys.readouterr().out


def test_inductors_listed_are_chosen_from(demos, capsys):
    options = ["--target-frequency", "265 kHz", *TIGHT, "--inductors", "470 uH,1 mH"]
    document = chosen(demos / "meadow.toml", capsys, *options)
    assert {row["inductance_h"] for row in document["choices"]} <= {470e-6, 1e-3}


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--target-frequency", "265"], ["--target-frequency", "unit"]),
        (["--target-frequency", "1 Hz"], ["--target-frequency", "between"]),
        (["--target-frequency", "20 MHz"], ["less capacitance"]),
        (["--target-frequency", "265 kHz", "--series", "E5"], ["--series", "E6"]),
        (["--target-frequency", "265 kHz", "--inductors", "1 mH,x"], ["--inductors", "x"]),
        (["--target-frequency", "265 kHz", "--capacitor-tolerance", "95 %"], ["--capacitor-tolerance"]),
        (["--target-frequency", "265 kHz", "--stray-spread", "-1 pF"], ["--stray-spread"]),
    ],
)
def test_bad_usage_is_one_message(demos, in_tmp, capsys, options, words):
    assert main(["choose", str(demos / "meadow.toml"), *options]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    for word in words:
        assert word in said.err
