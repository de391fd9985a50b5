"""The window without pygame: layout, scales, colours, note names, oscillogram, keys, readouts."""

from __future__ import annotations

import itertools
import subprocess
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_instrument import make_instrument

import synth.window
from models.hand.capacitance_curve import CapacitanceCurve
from models.tank import Tank
from models.volume.control import GainStage
from models.volume.volume_antenna import VolumeAntenna
from synth.live.meters import no_meters
from synth.window import palette
from synth.window.box import Box
from synth.window.curves import LONGEST, SHORTEST, oscillogram_span, synchronised
from synth.window.note_lines import chosen_labels, drawn_lines, weight_of
from synth.window.readouts import cents_text, frequency_text, level_text, readouts, status_pieces
from synth.window.scale import PLAIN, StageScale, ring_volume, stage_width
from synth.window.state import (
    WindowState,
    level_after_step,
    on_click,
    on_key,
    with_notice,
    with_pointer,
    without_pointer,
)


@given(
    st.integers(1, 500),
    st.integers(1, 500),
    st.lists(st.floats(0.1, 5.0), min_size=1, max_size=5),
    st.integers(0, 5),
)
def test_columns_fill_the_box_in_order(width: int, height: int, shares: list[float], gap: int) -> None:
    width += gap * len(shares)
    columns = Box(3, 5, width, height).columns(tuple(shares), gap)
    assert columns[0].left == 3
    assert columns[-1].right == 3 + width
    for one, other in itertools.pairwise(columns):
        assert other.left == one.right + gap
    rows = Box(5, 3, height, width).rows(tuple(shares), gap)
    assert [(row.top, row.height) for row in rows] == [(column.left, column.width) for column in columns]


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


_HEIGHTS = np.geomspace(0.01, 0.6, 20)
RING = VolumeAntenna(
    CapacitanceCurve(_HEIGHTS, 7.4e-12 + 0.1e-12 / (_HEIGHTS + 0.03), 7.4e-12),
    Tank(2.2e-3, 61.7e-12),
    Tank(2.2e-3, 72e-12),
    ring_stray=3e-12,
)


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


@pytest.mark.parametrize(("zero", "width"), [(0.5, 0.6), (0.3, 0.35), (0.75, 0.8), (None, 0.8), (0.05, 0.3)])
def test_the_stage_shows_a_little_more_than_zero_beat(zero: float | None, width: float) -> None:
    assert stage_width(zero, 0.8) == pytest.approx(width)


def luminance(colour: palette.Colour) -> float:
    """Relative luminance as W3C, Web Content Accessibility Guidelines 2.1, section "relative luminance"."""
    linear = [
        share / 12.92 if share <= 0.03928 else ((share + 0.055) / 1.055) ** 2.4
        for share in (channel / 255.0 for channel in colour)
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: palette.Colour, other: palette.Colour) -> float:
    """Contrast ratio as W3C, WCAG 2.1, section "contrast ratio"."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def test_the_contrast_formula_gives_the_known_extremes() -> None:
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    assert contrast((255, 255, 255), (119, 119, 119)) == pytest.approx(4.48, abs=0.005)  # from memory


def test_text_and_graphics_stand_out_from_every_ground() -> None:
    for ground in palette.GROUNDS:
        for colour in palette.TEXT_COLOURS:
            assert contrast(colour, ground) >= 4.5, (colour, ground)  # WCAG 2.1, 1.4.3 (AA)
        for colour in palette.GRAPHIC_COLOURS:
            assert contrast(colour, ground) >= 3.0, (colour, ground)  # WCAG 2.1, 1.4.11 (AA)


@dataclass(frozen=True)
class Line:
    number: int
    name: str
    distance: float


def lines(low: int = 36, high: int = 96) -> list[Line]:
    names = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
    return [
        Line(number, f"{names[number % 12]}{number // 12 - 1}", 0.5 * 0.97 ** (number - low))
        for number in range(low, high + 1)
    ]


@given(st.floats(100.0, 4000.0), st.floats(5.0, 40.0))
def test_note_names_never_touch_and_cs_come_first(pixels: float, width: float) -> None:
    def x_of(distance: float) -> float:
        return 20.0 + pixels * (0.5 - distance) / 0.5

    labels = chosen_labels(lines(), x_of, lambda name: width, 0.0, pixels + 40.0, 2.0, reserved=((0.0, 30.0),))
    for one, other in itertools.pairwise(labels):
        assert other.x - one.x >= width + 2.0 - 1e-9
    assert all(label.x - 0.5 * width - 1.0 >= 30.0 - 1e-9 for label in labels)
    if any(label.weight == "accidental" for label in labels):
        assert sum(label.weight == "octave" for label in labels) >= 4


@given(st.floats(100.0, 6000.0))
def test_octaves_thin_out_by_one_pattern(pixels: float) -> None:
    """Of an octave all twelve lines are drawn, its white keys, or its C alone; lines are never closer than asked."""
    kept = drawn_lines(lines(), lambda distance: pixels * distance, 6.0)
    places = sorted(pixels * line.distance for line in kept)
    assert all(b - a >= 6.0 for a, b in itertools.pairwise(places))
    for octave in range(3, 8):
        steps = {line.number % 12 for line in kept if line.number // 12 == octave}
        assert steps - {0} in (set(), {2, 4, 5, 7, 9, 11}, set(range(1, 12)))


def test_crowded_lines_thin_out_to_the_cs() -> None:
    every = drawn_lines(lines(), lambda distance: 4000.0 * distance, 3.0)
    few = drawn_lines(lines(), lambda distance: 100.0 * distance, 3.0)
    assert len(every) == 61
    assert {weight_of(line.number) for line in few} >= {"octave"}
    assert len(few) < 30
    assert [line.distance for line in few] == sorted(line.distance for line in few)


@pytest.mark.parametrize("frequency", [30.0, 261.63, 1000.0, 3999.0])
def test_the_trace_stands_still(frequency: float) -> None:
    rate, span = 48000.0, oscillogram_span(frequency)
    time = np.arange(24000) / rate
    pictures = [
        synchronised(0.3 * np.sin(2.0 * np.pi * frequency * time[shift : shift + 12000]), rate, span, 200)
        for shift in (0, 37, 1003, 7777)
    ]
    wanted = np.sin(2.0 * np.pi * frequency * span * np.linspace(0.0, 1.0, 200))
    tolerance = 4.0 * (np.pi * frequency / rate) ** 2 + 0.02  # linear interpolation between samples, and the scaling
    for picture in pictures:
        np.testing.assert_allclose(picture, wanted, atol=tolerance)


def test_the_trace_of_silence_and_of_too_little_sound_is_flat() -> None:
    assert not synchronised(np.zeros(4800), 48000.0, 0.01, 50).any()
    assert not synchronised(np.full(4800, 5e-5), 48000.0, 0.01, 50).any()
    assert not synchronised(np.ones(10), 48000.0, 0.01, 50).any()
    assert not synchronised(np.zeros(0), 48000.0, 0.01, 50).any()


def test_the_trace_shows_four_periods_within_bounds() -> None:
    assert oscillogram_span(400.0) == pytest.approx(0.01)
    assert oscillogram_span(-400.0) == pytest.approx(0.01)
    assert oscillogram_span(0.0) == LONGEST
    assert oscillogram_span(1e5) == SHORTEST


STATE = WindowState(distance=0.4, level=0.2)


def test_keys_do_what_the_help_says() -> None:
    assert on_key(STATE, "q") == (STATE, "quit")
    assert on_key(STATE, "escape") == (STATE, "quit")
    muted, action = on_key(STATE, "m")
    assert (muted.muted, muted.silenced, action) == (True, True, "mute")
    assert on_key(muted, "m")[0] == STATE
    assert on_key(STATE, "r") == (STATE, "record")
    for key in ("h", "f1"):
        opened, action = on_key(STATE, key)
        assert (opened.help_open, action) == (True, None)
        assert on_key(opened, "escape") == (STATE, None)
        assert on_click(opened)[0] == STATE
    assert on_key(STATE, "x") == (STATE, None)


def test_nothing_sounds_before_the_caution_is_answered() -> None:
    cautioned = replace(STATE, caution_open=True)
    assert cautioned.silenced
    assert on_key(cautioned, "m")[0].caution_open
    for answer in (on_key(cautioned, "return"), on_key(cautioned, "space"), on_click(cautioned)):
        assert answer == (STATE, "mute")
    assert on_key(STATE, "return") == (STATE, None)


def test_level_keys_step_three_decibels_within_bounds() -> None:
    up, action = on_key(STATE, "up")
    assert action == "level"
    assert 20.0 * np.log10(up.level / 0.2) == pytest.approx(3.0)
    assert on_key(up, "down")[0].level == pytest.approx(0.2)
    assert level_after_step(0.9, 1) == 1.0
    assert level_after_step(0.0011, -1) == pytest.approx(0.001)


def test_leaving_the_window_silences_but_keeps_the_pitch_hand() -> None:
    played = with_pointer(STATE, (700, 250), STAGE)
    assert (played.distance, played.volume, played.present) == (pytest.approx(0.2), pytest.approx(0.25), True)
    left = without_pointer(played)
    assert (left.distance, left.volume, left.present) == (played.distance, 0.0, False)
    assert with_notice(STATE, "text", 10.0).notice_until > 10.0


def test_readings_name_the_note_and_the_chain() -> None:
    instrument = make_instrument()
    values = readouts(instrument, 0.2, 442.0)
    assert values.note == "A4"
    assert values.cents_off == pytest.approx(7.85, abs=0.01)  # 1200 log2(442/440)
    assert values.remark == "sharp"
    assert values.beat == "442.0 Hz"
    assert values.distance == "20.0 cm"
    assert values.capacitance == f"{1e12 * float(instrument.antenna_capacitance(0.2)):.3f} pF"
    offset = 1000.0 * (float(values.reference.split()[0]) - float(values.variable.split()[0]))
    assert offset == pytest.approx(float(instrument.offset_frequency(0.2)), abs=1.1)
    assert readouts(instrument, 0.2, 442.0, reference_a=442.0).remark == "in tune"
    assert readouts(instrument, 0.2, -442.0).remark == "beyond zero beat"
    assert readouts(instrument, 0.2, 466.16).note == "A♯4"
    assert readouts(instrument, 0.5, 0.3).remark == "near zero beat"
    assert readouts(make_instrument(lock_range=20.0), 0.5, 0.0).remark == "oscillators locked"


def test_texts_carry_true_minus_signs_and_units() -> None:
    assert cents_text(-12.4) == "\N{MINUS SIGN}12 cents"
    assert cents_text(3.0) == "+3 cents"
    assert cents_text(None) == ""
    assert level_text(0.5) == "\N{MINUS SIGN}6 dB"
    assert level_text(1.0) == "0 dB"
    assert level_text(0.0) == "silent"
    assert frequency_text(43.654) == "43.65 Hz"
    assert status_pieces(no_meters(48000)) == ("sound process ended",)
    idle = replace(no_meters(48000), alive=True)
    assert "silent clock" in status_pieces(idle)
    assert status_pieces(idle, 272.4)[:2] == ("silent clock", "4:32 kept")
    assert "latency 12.5 ms" in status_pieces(replace(idle, sounding=True, latency=0.0125))


def test_layout_and_state_need_no_pygame() -> None:
    names = tuple(path.stem for path in Path(synth.window.__file__).parent.glob("*.py"))
    assert len(names) > 30
    code = f"import sys\nfor name in {names}: __import__('synth.window.' + name)\nprint('pygame' in sys.modules)"
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert result.stdout.strip() == "False"
