"""Of every circuit that `beatfield new --circuit` writes: the design fitted to readings gives them back by command.

Each is built with another coil, stray and antenna mount than the design says, and solved; `fit` is told the readings
alone. Both oscillators are read, with the trimmer at an end and between, and with the antenna on.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from models.circuit.oscillator import steady_state
from synth.analysis.fit_design import fitted_design
from synth.analysis.fit_figures import fit_figures
from synth.analysis.fit_target import Wish
from synth.analysis.fit_unknowns import Errors
from synth.analysis.fitting import solved_bench
from synth.analysis.oscillator import prepared_oscillator, steady
from synth.analysis.readings import load_readings
from synth.analysis.sheet_stations import antenna_station, bare_station
from synth.build.circuit_assembly import circuit_of
from synth.build.workbench import OpenedDesign
from synth.commands.oscillator import bench_setting
from synth.designs.circuit_templates import CIRCUITS
from synth.designs.design_file import load_design, read_design
from synth.designs.edited import edited_text
from synth.designs.template import circuit_template_text

P = 1e-12
LEAST = 5.0  # ppm, beside the fit's residual: values are written with the digits that their readings give them


@pytest.mark.slow
@pytest.mark.parametrize("name", list(CIRCUITS))
def test_readings_come_back(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    text = circuit_template_text(name)
    design = read_design(text, name)
    tuned = replace(design, tuning=replace(design.tuning, zero_beat=None))
    reference = replace(design.reference, inductance=1.015 * design.reference.inductance, stray=22 * P)
    variable = replace(design.variable, inductance=0.99 * design.variable.inductance, stray=19 * P)
    built = replace(tuned, reference=reference, variable=variable, antenna=replace(design.antenna, stray=3.4 * P))
    opened = OpenedDesign(built)
    empty = opened.curve.empty_capacitance + opened.wired.antenna.stray

    lines = ["oscillator,fitted_capacitor,frequency,trimmer,hand_distance"]
    fixed = f"{1e12 * design.reference.capacitance:g} pF"
    more = f"{1.2e12 * design.reference.capacitance:g} pF"
    for capacitor, times, trimmer in ((more, 1.2, 0.5), (fixed, 1.0, 0.0), (fixed, 1.0, 0.6)):
        section = replace(reference, capacitance=times * reference.capacitance, trimmer=trimmer)
        state = steady_state(circuit_of(replace(built, reference=section), "reference"))
        lines.append(f"reference,{capacitor},{state.frequency!r} Hz,{trimmer},")
    bare = steady_state(opened.lifted.circuits["variable"])
    lines.append(f"variable,{fixed},{bare.frequency!r} Hz,{variable.trimmer},")
    near = float(opened.instrument.frequency_with(empty))
    away = steady_state(opened.loaded_variable(empty), near_frequency=near)
    lines.append(f"variable,{fixed},{away.frequency!r} Hz,{variable.trimmer},away")
    Path("readings.csv").write_text("\n".join(lines) + "\n", "utf-8")

    report = solved_bench(load_readings(Path("readings.csv")), Errors(), {}, design)
    assert report.slips == ()
    edited = edited_text(text, design, fitted_design(report, None).design)
    Path("built.toml").write_text(edited, "utf-8")
    written = load_design("built.toml")
    residuals = {row.line: row for row in fit_figures(report, "readings.csv", Wish()).residuals}

    def off(line: int, found: float) -> float:
        row = residuals[line]
        return 1e6 * (abs(found / row.read - 1.0) - abs(row.residual / row.read))

    def by_oscillator(which: str, trimmer: str | None, hand: str | None) -> float:
        """What `beatfield oscillator` reads."""
        return steady(prepared_oscillator(written, which, setting=bench_setting(None, trimmer, hand))).frequency

    assert off(3, by_oscillator("reference", "0", None)) < LEAST
    assert off(4, by_oscillator("reference", "0.6", None)) < LEAST
    assert off(5, by_oscillator("variable", None, "unplugged")) < LEAST
    assert off(6, by_oscillator("variable", None, "away")) < LEAST
    again = OpenedDesign(written)
    for line, station in ((5, bare_station(again)), (6, antenna_station(again))):
        assert off(line, station.probe.read("", 1.0)["frequency"]) < LEAST, "what the sheet says to expect"
