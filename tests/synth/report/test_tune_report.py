"""The report of a tune: the same figures in every form, and what is assumed is called so."""

from __future__ import annotations

import csv
import io
import json

import pytest

from synth.analysis.tune import tune_figures
from synth.hands.tune_path import Manner
from synth.report.tune import TUNE
from synth.tunes.note_list import read_note_list


def test_tune_report_says_the_same_everywhere(plain_workpiece):
    report, _ = tune_figures(plain_workpiece, read_note_list("A4 1/4, C5 1/4, G9 1/4", "x"), Manner())
    rows = list(csv.DictReader(io.StringIO(TUNE.csv(report))))
    document = json.loads(json.dumps(TUNE.document(report), allow_nan=False))
    for row, entry, line in zip(
        rows, document["notes"], TUNE.text(report).split("wobble\n")[1].splitlines(), strict=False
    ):
        assert row["note"] == entry["note"]
        if entry["cents"] is None:
            assert row["cents"] == ""
            assert "out of reach" in line
        else:
            assert float(row["cents"]) == pytest.approx(entry["cents"], rel=1e-8)
            assert f"{entry['cents']:+.1f} cents" in line


def test_placement_is_called_assumed_unless_given(plain_workpiece):
    tune = read_note_list("A4 1/4", "x")
    text = TUNE.text(tune_figures(plain_workpiece, tune, Manner())[0])
    assert "placement 3 mm (assumed)" in text
    assert "archneur" in text
    assert "mm (assumed)," not in TUNE.text(tune_figures(plain_workpiece, tune, Manner(placement=2e-3))[0])
