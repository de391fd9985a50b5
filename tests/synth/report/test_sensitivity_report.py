"""The sensitivity report: the same figures in every form, steep spans, and a plot whose names can be read."""

from __future__ import annotations

import csv
import io
import json

import numpy as np
import pytest

from synth.analysis.sensitivity_figures import sensitivity_figures
from synth.report.sensitivity import SENSITIVITY, save_sensitivity_plot, turning_points


def test_sensitivity_says_the_same_everywhere(plain_workpiece, tmp_path):
    report = sensitivity_figures(plain_workpiece)
    rows = list(csv.DictReader(io.StringIO(SENSITIVITY.csv(report))))
    document = json.loads(json.dumps(SENSITIVITY.document(report), allow_nan=False))
    text = SENSITIVITY.text(report)
    for note, row, entry in zip(report.notes, rows, document["notes"], strict=True):
        assert float(row["tremor_cents"]) == pytest.approx(entry["tremor_cents"], rel=1e-8)
        if note in turning_points(report.notes):
            line = next(line for line in text.splitlines() if line.startswith(f"{note.note:<6}"))
            assert f"{note.cents_per_mm:.1f} cents" in line
            assert note.verdict in line
        step = 0.05e-3
        moved = plain_workpiece.field.frequency_at([note.distance_m - step, note.distance_m + step])
        if note.cents_per_mm < 100.0:
            assert 600 * abs(np.log2(moved[0] / moved[1])) == pytest.approx(note.tremor_cents, rel=0.02)
    save_sensitivity_plot(report, tmp_path / "s.png", force=False)
    assert (tmp_path / "s.png").stat().st_size > 5000


def test_steep_spans_are_where_a_millimetre_is_half_a_semitone(plain_workpiece):
    """At their ends the pitch of two places 1 mm apart differs by 50 cents; every steep note lies in one, no other."""
    report = sensitivity_figures(plain_workpiece)
    field = plain_workpiece.field
    assert report.steep_spans_m
    for near, far in report.steep_spans_m:
        for end in (near, far):
            if field.playable_near + 1e-3 < end < field.playable_far - 1e-3:
                pair = field.frequency_at([end - 0.5e-3, end + 0.5e-3])
                assert 1200 * abs(np.log2(pair[0] / pair[1])) == pytest.approx(50.0, rel=0.05)
    for note in report.notes:
        within = any(near <= note.distance_m <= far for near, far in report.steep_spans_m)
        assert within == (note.verdict == "too steep")
    assert f"{100 * report.steep_spans_m[0][1]:.1f} cm" in SENSITIVITY.text(report)


def test_names_of_notes_do_not_touch(plain_workpiece, tmp_path, monkeypatch):
    """Every C that has room is named; the written names are apart and inside the picture."""
    from matplotlib.figure import Figure

    drawn = []
    save = Figure.savefig

    def keep(figure, *args, **kwargs):
        save(figure, *args, **kwargs)
        drawn.append(figure)

    monkeypatch.setattr(Figure, "savefig", keep)
    report = sensitivity_figures(plain_workpiece)
    save_sensitivity_plot(report, tmp_path / "s.png", force=False)
    labels = [text for text in drawn[0].axes[0].child_axes[0].get_xticklabels() if text.get_text()]
    boxes = sorted((text.get_window_extent() for text in labels), key=lambda box: box.x0)
    assert len(boxes) >= 5
    assert {text.get_text() for text in labels} >= {"C4", "C5", "C6"}
    assert all(one.x1 < two.x0 for one, two in zip(boxes, boxes[1:], strict=False))
    whole = drawn[0].bbox
    assert all(whole.x0 <= box.x0 and box.x1 <= whole.x1 and box.y1 <= whole.y1 for box in boxes)
