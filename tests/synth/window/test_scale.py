"""Between pixels and the hands: distance to scale, the volume axes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_instrument import RING

from models.pitch import note_name
from models.pitch_field import NoteLine
from models.volume.loudness import GainStage
from synth.window.box import Box
from synth.window.scale import PLAIN, RANGE_SHARE, Shown, StageScale, ring_volume, usual_view

STAGE = StageScale(Box(100, 50, 1000, 400), width=0.5, nearest=0.01, farthest=0.8)


@given(st.floats(0.01, 0.5), st.floats(0.0, 1.0))
def test_pointer_and_hand_are_each_others_inverse(distance: float, gain: float) -> None:
    assert STAGE.distance_at(STAGE.x_of(distance)) == pytest.approx(distance, rel=1e-9)
    assert STAGE.gain_at(STAGE.y_of(gain)) == pytest.approx(gain, rel=1e-9, abs=1e-12)


def test_the_stage_is_to_scale() -> None:
    assert STAGE.pixels_per_metre == 2000.0
    assert STAGE.x_of(0.1) - STAGE.x_of(0.2) == pytest.approx(200.0)
    assert STAGE.x_of(0.0) == STAGE.box.right


def test_outside_the_stage_the_hand_stays_at_its_ends() -> None:
    assert STAGE.distance_at(5000.0) == 0.01
    assert STAGE.distance_at(-5000.0) == 0.8
    assert STAGE.distance_at(50.0) == pytest.approx(0.525)  # left of the stage the distance goes on
    assert STAGE.gain_at(-100.0) == 1.0
    assert STAGE.gain_at(451.0) == 0.0


def test_the_volume_scale_is_as_documented() -> None:
    assert PLAIN.gain_at(0.5) == 0.25  # -12.04 dB at half height
    assert PLAIN.height_of(1.0) == 1.0
    assert 20.0 * np.log10(PLAIN.gain_at(0.5)) == pytest.approx(40.0 * np.log10(0.5))


def test_with_a_ring_the_stage_is_the_hands_height_to_scale() -> None:
    axis = ring_volume(RING)
    full = RING.distance_at(1.0)
    assert axis.top == pytest.approx(0.05 * np.ceil(1.12 * full / 0.05))
    stage = replace(STAGE, volume=axis)
    for height in (0.05, 0.12, full - 0.001):
        y = stage.box.bottom - height / axis.whole * stage.box.height
        assert stage.hand_height_at(y) == pytest.approx(height)
        assert stage.gain_at(y) == pytest.approx(float(RING.gain(height)))
        assert stage.y_of(stage.gain_at(y)) == pytest.approx(y, abs=1e-4)
    assert stage.gain_at(stage.box.bottom + 50.0) == stage.gain_at(stage.box.bottom) == RING.gain(0.01)
    assert stage.gain_at(stage.box.top - 50.0) == 1.0
    assert stage.y_of(1.0) == pytest.approx(stage.y_at(full / axis.whole))
    assert STAGE.hand_height_at(200.0) is None


def test_decibel_marks_stand_where_the_gain_is_theirs() -> None:
    axis = ring_volume(RING)
    marks = axis.marks()
    assert [mark for mark, _ in marks][:3] == [0, -3, -6]
    for mark, share in marks:
        assert RING.gain_db(share * axis.whole) == pytest.approx(mark, abs=1e-4)
    weak = replace(RING, stage=GainStage(2.5, 9.0))  # full volume is out of reach
    axis = ring_volume(weak)
    assert axis.top == pytest.approx(0.35)
    assert 0 not in [mark for mark, _ in axis.marks()]
    assert axis.height_of(1.0) == 1.0


def notes_at(places: dict[int, float]) -> list[NoteLine]:
    return [NoteLine(number, note_name(number), 1.0, place) for number, place in places.items()]


def test_the_notes_from_c2_to_c6_fill_the_stage() -> None:
    shown = usual_view(notes_at({24: 0.50, 36: 0.36, 60: 0.2, 84: 0.07, 96: 0.01}), 0.55, 0.8)
    assert 0.29 / shown.width == pytest.approx(RANGE_SHARE, abs=0.005)
    assert 0.07 - shown.start == pytest.approx(shown.start + shown.width - 0.36, abs=0.002)
    near = usual_view(notes_at({36: 0.30, 84: 0.01}), 0.5, 0.8)  # no room beyond the antenna's surface
    assert near.start == 0.0
    assert 0.29 / near.width == pytest.approx(RANGE_SHARE, abs=0.005)


@pytest.mark.parametrize(("zero", "width"), [(0.5, 0.6), (0.3, 0.35), (0.75, 0.8), (None, 0.8), (0.05, 0.3)])
def test_without_notes_the_stage_shows_a_little_more_than_zero_beat(zero: float | None, width: float) -> None:
    assert usual_view((), zero, 0.8) == Shown(0.0, pytest.approx(width))


def test_zoom_keeps_the_place_it_turns_round_and_stays_in_the_field() -> None:
    shown = Shown(0.05, 0.35)
    near = shown.zoomed(0.5, 0.15, 0.8)
    assert (0.15 - near.start) / near.width == pytest.approx((0.15 - 0.05) / 0.35)
    assert shown.zoomed(100.0, 0.15, 0.8) == Shown(0.0, 0.8)
    assert shown.zoomed(1e-6, 0.15, 0.8).width == pytest.approx(0.04)
    assert shown.panned(-10.0, 0.8) == Shown(0.0, 0.35)
    assert shown.panned(10.0, 0.8) == Shown(pytest.approx(0.45), 0.35)


def test_a_stage_that_begins_away_from_the_rod_reads_the_same_distances() -> None:
    for mirrored in (False, True):
        scale = StageScale(Box(100, 50, 700, 400), 0.35, 0.01, 0.8, mirrored=mirrored, start=0.05)
        edges = (scale.box.left, scale.box.right) if mirrored else (scale.box.right, scale.box.left)
        assert scale.distance_at(edges[0]) == pytest.approx(0.05)
        assert scale.distance_at(edges[1]) == pytest.approx(0.40)
        assert scale.distance_at(scale.x_of(0.21)) == pytest.approx(0.21)
