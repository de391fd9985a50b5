"""What brings a tune into reach of a field: advice that is true when it is followed."""

from __future__ import annotations

import pytest

from synth.analysis.tune import tune_figures
from synth.hands.tune_path import Manner
from synth.tunes.melody import Tune, TuneNote
from synth.tunes.reach import advice, reaches_all, retuned

EXACT = Manner(tremor=0.0, placement=0.0)


def test_advice_is_true_when_followed(plain_workpiece):
    field = plain_workpiece.field
    top = max(line.number for line in field.notes())
    tune = Tune("x", (TuneNote(60, 0.0, 1.0), TuneNote(top + 2, 1.0, 1.0)))
    report, played = tune_figures(plain_workpiece, tune, EXACT)
    assert report.in_reach == 1
    assert played is not None
    assert "above" in str(report.notes[1].fault)
    found = advice(tune, field)
    assert (found.semitones, found.octaves) == (-2, -12)
    assert reaches_all(tune.transposed(-2), field)
    assert not reaches_all(tune.transposed(-1), field)
    flat = retuned(field, 0.15)  # a zero beat too near: the top is lost, and the advice brings it back
    high = Tune("x", (TuneNote(60, 0.0, 1.0), TuneNote(top - 1, 1.0, 1.0)))
    assert not reaches_all(high, flat)
    zero_beat = advice(high, flat).zero_beat
    assert zero_beat is not None
    there = retuned(flat, zero_beat)
    assert there.zero_beat_distance == pytest.approx(zero_beat, abs=1e-6)
    assert reaches_all(high, there)
