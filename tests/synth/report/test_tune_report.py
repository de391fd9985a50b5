"""The report of a tune: the same figures in every form, and what is assumed is called so."""

from __future__ import annotations

import csv
import io
import json

import pytest

from synth.hands.tune_path import Manner
from synth.report.tune_report import tune_report
from synth.tunes.note_list import read_note_list


def test_tune_report_says_the_same_everywhere(plain_workpiece):
    report, _ = tune_report(plain_workpiece, read_note_list("A4 1/4, C5 1/4, G9 1/4", "x"), Manner())
    rows = list(csv.DictReader(io.StringIO(report.csv())))
    document = json.loads(json.dumps(report.document(), allow_nan=False))
    for row, entry, line in zip(rows, document["notes"], report.text().split("wobble\n")[1].splitlines(), strict=False):
        assert row["note"] == entry["note"]
        if entry["cents"] is None:
            assert row["cents"] == ""
            assert "out of reach" in line
        else:
            assert float(row["cents"]) == pytest.approx(entry["cents"], rel=1e-8)
            assert f"{entry['cents']:+.1f} cents" in line


def test_placement_is_called_assumed_unless_given(plain_workpiece):
    tune = read_note_list("A4 1/4", "x")
    text = tune_report(plain_workpiece, tune, Manner())[0].text()
    assert "placement 1 mm (assumed)" in text
    assert "archneur" in text
    assert "mm (assumed)," not in tune_report(plain_workpiece, tune, Manner(placement=2e-3))[0].text()
