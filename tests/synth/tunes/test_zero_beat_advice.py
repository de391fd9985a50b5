"""The zero beat for a reach: tuned there, C2 sounds where the hand, drawn back, rests."""

from __future__ import annotations

import pytest

from models.pitch import frequency_of_note
from synth.build.workbench import OpenedDesign
from synth.tunes.reach import retuned
from synth.tunes.zero_beat_advice import zero_beat_for


@pytest.mark.parametrize("farthest", [0.3, 0.42])
def test_advice_is_true_when_followed(plain_workpiece: OpenedDesign, farthest: float) -> None:
    field = plain_workpiece.field
    place = zero_beat_for(field, farthest)
    assert place is not None
    assert place > farthest
    tuned = retuned(field, place)
    # to a whole millimetre of zero beat: a millimetre of hand is a few per cent of C2 there
    assert float(tuned.distance_at(frequency_of_note(36))) == pytest.approx(farthest, abs=2e-3)


def test_where_no_zero_beat_does_it_there_is_none(plain_workpiece: OpenedDesign) -> None:
    field = plain_workpiece.field
    far = field.instrument.curve.farthest
    assert zero_beat_for(field, far - 1e-4) is None
    assert zero_beat_for(field, far + 0.1) is None
