"""`beatfield drift`: the same figures in text, JSON, CSV and plot, and what the design's coefficients do."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace

import numpy as np
import pytest

from models.pitch import cents
from synth.analysis.drift import drift_figures
from synth.build.workbench import OpenedDesign
from synth.cli import main
from synth.designs.build_sections import TemperatureSection
from synth.designs.template import template_design
from synth.errors import EXIT_USAGE, DesignError
from synth.report.drift import DRIFT, drift_text, save_drift_plot

PART = TemperatureSection(coil=40e-6, branch_coil=100e-6, coil_mismatch=5e-6, warm_up_rise=8.0, warm_up_time=900.0)


@pytest.fixture(scope="module")
def workpiece(opened) -> OpenedDesign:
    plain = template_design()
    assert plain.branch is not None
    one_coil = replace(plain.branch, chokes=1.0)  # that is written down warmer below, as one coil
    return opened(replace(plain, branch=one_coil, temperature=PART))


@pytest.fixture(scope="module")
def report(workpiece):
    return drift_figures(workpiece, 15.0, 35.0, notes=(48, 60, 69), hertz=2.0, limit_cents=10.0)


def test_drift_is_that_of_the_instrument_with_warmer_parts(workpiece, report, opened):
    """Brute force: the design written down anew with every value 20 K warmer, its trimmer left where it was."""
    design = workpiece.design
    warm_tanks = {}
    for which, more in (("variable", 0.0), ("reference", 1.0)):
        section = getattr(design, which)
        warm_tanks[which] = replace(
            section,
            inductance=section.inductance * (1.0 + 20.0 * (40e-6 + more * 5e-6)),
            capacitance=section.capacitance * (1.0 + 20.0 * more * 30e-6),
            trimmer=workpiece.reference_tank.trimmer_setting if which == "reference" else section.trimmer,
        )
    branch = replace(design.branch, inductance=design.branch.inductance * (1.0 + 20.0 * 100e-6))
    warm = opened(replace(design, branch=branch, tuning=replace(design.tuning, zero_beat=None), **warm_tanks))
    case = report.cases[1]
    assert case.case == "mismatched"
    change = warm.instrument.reference_frequency - workpiece.instrument.reference_frequency
    assert case.reference_hz == pytest.approx(change, rel=1e-6)
    before, after = (one.instrument.variable_frequency(design.tuning.zero_beat) for one in (workpiece, warm))
    assert case.variable_hz == pytest.approx(float(after - before), rel=1e-6)
    assert case.zero_beat_hz == pytest.approx(change - float(after - before), rel=1e-5)
    for note in case.notes:
        heard = float(abs(warm.instrument.beat_frequency(note.distance_m)))
        assert note.cents == pytest.approx(float(cents(heard, note.frequency_hz)), abs=1e-3)


def test_json_csv_and_text_show_the_same_figures(report):
    document = json.loads(json.dumps(DRIFT.document(report), allow_nan=False))
    assert document["schema"] == "beatfield.drift/1"
    rows = list(csv.DictReader(io.StringIO(DRIFT.csv(report))))
    text = drift_text(report)
    assert float(rows[0]["temperature_deg_c"]) == 15.0
    assert float(rows[0]["mismatched_zero_beat_hz"]) == 0.0
    for case in document["cases"]:
        tag = case["case"].replace(",", "").replace(" ", "_")
        assert float(rows[-1][f"{tag}_zero_beat_hz"]) == pytest.approx(case["zero_beat_hz"], rel=1e-8)
        assert f"{case['zero_beat_hz']:+.1f} Hz" in text
        place, known = rows[-1][f"{tag}_zero_beat_m"], case["zero_beat_m"]
        assert place == ("" if known is None else f"{known:.9g}")
        assert f"{case['hold_s'] / 60.0:.1f} min" in text
        for note in case["notes"]:
            assert float(rows[-1][f"{tag}_{note['note']}_cents"]) == pytest.approx(note["cents"], rel=1e-8)
            assert f"{note['cents']:+.1f} cents" in text
    assert [note["note"] for note in document["cases"][0]["notes"]] == ["C3", "C4", "A4"]


def test_causes_and_hold_time_against_the_closed_form(report):
    """A coil of the reference alone: -(alpha / 2) f T; the zero beat holds from tau ln(D / x)."""
    coil = next(cause for cause in report.causes if cause.cause == "reference coil")
    assert coil.coefficient_per_k == pytest.approx(45e-6)
    assert coil.zero_beat_hz == pytest.approx(-0.5 * 45e-6 * 20.0 * report.reference_frequency_hz, rel=1e-3)
    for case, curve in zip(report.cases, report.curves, strict=True):
        whole = abs(float(np.interp(23.0, report.temperature, curve.zero_beat)))
        assert case.hold_s == pytest.approx(max(0.0, 900.0 * math.log(whole / 2.0)), abs=15.0)
    assert report.tank_drift_per_k == -20e-6


def test_temperatures_may_fall(workpiece):
    down = drift_figures(workpiece, 35.0, 15.0, notes=(60,))
    up = drift_figures(workpiece, 15.0, 35.0, notes=(60,))
    assert down.cases[1].reference_hz == pytest.approx(-up.cases[1].reference_hz, rel=2e-3)


def test_defaults_are_said_to_be_defaults(workpiece, opened):
    plain = drift_figures(opened(replace(workpiece.design, temperature=None)), 15.0, 35.0)
    assert any("defaults" in notice for notice in plain.notices)
    assert plain.warm_up_rise_k == 10.0


@pytest.mark.parametrize("ending", [pytest.param("png", marks=pytest.mark.slow), "svg"])
def test_plot_is_written(report, tmp_path, ending):
    target = tmp_path / f"drift.{ending}"
    save_drift_plot(report, target, force=False)
    start = target.read_bytes()[:200]
    assert start.startswith(b"\x89PNG") if ending == "png" else b"<?xml" in start


def test_notes_out_of_reach_are_refused(workpiece):
    with pytest.raises(DesignError, match="does not reach C9"):
        drift_figures(workpiece, 15.0, 35.0, notes=(60, 120))


def test_command(design_path, tmp_path, capsys, report):
    target = tmp_path / "drift.csv"
    code = main(
        [
            "drift",
            str(design_path),
            "--from",
            "15",
            "--to",
            "35 degC",
            "--notes",
            "C3,C4,A4",
            "--hold",
            "2 Hz",
            "--hold-cents",
            "10",
            "--json",
            "--csv",
            str(target),
        ]
    )
    assert code == 0
    document = json.loads(capsys.readouterr().out)
    assert document["cases"] == json.loads(json.dumps(DRIFT.document(report)))["cases"]
    assert target.read_text() == DRIFT.csv(report)
    assert main(["drift", str(design_path), "--from", "-5", "--to", "35"]) == 0
    assert "tuned at -5 degC" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--from", "20 kg"], "--from 20 kg"),
        (["--to", "500"], "--to 500: must be between -40 degC and 125 degC"),
        (["--from", "20", "--to", "20"], "is the temperature it is tuned at"),
        (["--notes", "H3"], "note must be"),
        (["--hold", "0"], "--hold 0: must be between"),
        (["--hold-cents", "nan"], "--hold-cents nan: is not a plain number"),
        (["--hold-cents", "0"], "must be between 0.01 and 1200"),
        (["--plot", "x.gif"], "name the plot"),
    ],
)
def test_command_refuses(design_path, capsys, options, message):
    assert main(["drift", str(design_path), *options]) == EXIT_USAGE
    assert message in capsys.readouterr().err
