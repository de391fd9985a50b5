"""The pitch field against fields whose pitch law is known in closed form."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from numpy.typing import ArrayLike
from small_instrument import STEEP

from models.branch.antenna_branch import DIRECT, SeriesInductor
from models.instrument import Instrument
from models.pitch_field import HIGHEST_AUDIBLE, LOWEST_AUDIBLE, pitch_field
from models.tank import Tank, frequency_slope, required_capacitance

REFERENCE = 240e3
TANK = Tank(1e-3, 400e-12)
Law = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class MadeCurve:
    """A curve made so that the beat is a stated law of distance: the exact inverse of the direct-antenna tank."""

    beat: Law
    slope_of_beat: Law
    lock_range: float = 0.0
    nearest: float = 0.02
    farthest: float = 0.60

    def capacitance(self, distance: ArrayLike) -> np.ndarray:
        beat = self.beat(np.asarray(distance, dtype=float))
        offset = np.sign(beat) * np.hypot(beat, self.lock_range)
        return required_capacitance(TANK.inductance, REFERENCE - offset) - TANK.total_capacitance

    def slope(self, distance: ArrayLike) -> np.ndarray:
        where = np.asarray(distance, dtype=float)
        beat = self.beat(where)
        offset_slope = self.slope_of_beat(where) * np.abs(beat) / np.hypot(beat, self.lock_range)
        return -offset_slope / frequency_slope(TANK.inductance, TANK.total_capacitance + self.capacitance(where))

    def instrument(self) -> Instrument:
        return Instrument(self, TANK, REFERENCE, lock_range=self.lock_range)  # type: ignore[arg-type]


def exponential(octave: float, top: float, lock_range: float = 0.0, bend: float = 0.0) -> MadeCurve:
    """Pitch straight against distance: one octave every `octave` m, `top` Hz at 2 cm; `bend` adds cents per m^2."""

    def beat(distance: np.ndarray) -> np.ndarray:
        reach = distance - 0.02
        return top * np.exp2(-reach / octave + bend * reach**2 / 1200.0)

    def slope(distance: np.ndarray) -> np.ndarray:
        return beat(distance) * np.log(2.0) * (-1.0 / octave + 2.0 * bend * (distance - 0.02) / 1200.0)

    return MadeCurve(beat, slope, lock_range)


@pytest.mark.parametrize("lock_range", [0.0, 3.0])
def test_a_straight_field_has_no_linearity_error(lock_range: float) -> None:
    field = pitch_field(exponential(0.10, 2000.0, lock_range).instrument())
    assert field.direction == "rising"
    assert field.zero_beat_distance is None
    assert field.linearity_error(0.05, 0.55) < 1e-5
    # 1200 cents every 100 mm
    assert_allclose(field.cents_per_mm(np.linspace(0.03, 0.5, 7)), 12.0, rtol=1e-7)
    assert_allclose(field.highest_frequency, 2000.0, rtol=1e-9)
    assert_allclose(field.distance_at([1000.0, 250.0]), [0.12, 0.32], rtol=0, atol=1e-9)
    assert [span.low_note for span in field.octaves()] == ["C2", "C3", "C4", "C5"]
    assert_allclose([span.width for span in field.octaves()], 0.10, rtol=0, atol=1e-9)
    assert_allclose(field.octaves()[0].low_frequency, 440.0 * 2.0 ** ((36 - 69) / 12), rtol=1e-12)


def test_a_quadratic_bend_gives_its_known_error() -> None:
    # b x^2 over a length l leaves b (x^2 - l x + l^2 / 6) beside the best line: RMS b l^2 / (6 sqrt 5)
    field = pitch_field(exponential(0.10, 2000.0, bend=800.0).instrument())
    for near, far in ((0.03, 0.53), (0.1, 0.2)):
        expected = 800.0 * (far - near) ** 2 / (6.0 * np.sqrt(5.0))
        assert_allclose(field.linearity_error(near, far), expected, rtol=2e-6)
    ends = field.frequency_at([0.1, 0.2])
    expected = 800.0 * 0.1**2 / (6.0 * np.sqrt(5.0))
    assert_allclose(field.linearity_error_between(float(ends[0]), float(ends[1])), expected, rtol=1e-5)


def test_zero_beat_locked_span_and_playable_span() -> None:
    # a pulled beat straight in distance: zero at 0.45 m, 100 Hz per cm
    offset = MadeCurve(lambda d: 1e4 * (0.45 - d), lambda d: np.full_like(d, -1e4))
    free = pitch_field(offset.instrument())
    assert_allclose(free.zero_beat_distance, 0.45, rtol=0, atol=1e-9)
    assert free.locked_span is None
    assert_allclose([free.playable_near, free.playable_far], [0.02, 0.45 - LOWEST_AUDIBLE / 1e4], rtol=0, atol=1e-9)
    assert_allclose([free.lowest_frequency, free.highest_frequency], [LOWEST_AUDIBLE, 4300.0], rtol=1e-7)
    locked = pitch_field(replace(offset.instrument(), lock_range=50.0))
    assert_allclose(locked.locked_span, [0.445, 0.455], rtol=0, atol=1e-9)
    assert_allclose(locked.playable_far, 0.45 - np.hypot(20.0, 50.0) / 1e4, rtol=0, atol=1e-9)
    assert_allclose(locked.distance_at(100.0), 0.45 - np.hypot(100.0, 50.0) / 1e4, rtol=0, atol=1e-9)
    assert_allclose(locked.frequency_at(locked.distance_at([25.0, 440.0])), [25.0, 440.0], rtol=1e-6)


def test_a_reversed_field_is_described_from_zero_beat_outward() -> None:
    steep = MadeCurve(lambda d: 5e3 * (0.05 - d), lambda d: np.full_like(d, -5e3))
    field = pitch_field(steep.instrument())
    assert field.direction == "falling"
    assert_allclose(field.zero_beat_distance, 0.05, rtol=0, atol=1e-9)
    assert_allclose([field.playable_near, field.playable_far], [0.054, 0.6], rtol=0, atol=1e-9)
    assert_allclose(field.distance_at([100.0, 1000.0]), [0.07, 0.25], rtol=0, atol=1e-9)
    assert field.notes()[0].distance < field.notes()[-1].distance
    assert all(span.far_distance > span.near_distance for span in field.octaves())
    far_away = MadeCurve(lambda d: -100.0 - 5e3 * d, lambda d: np.full_like(d, -5e3))
    assert pitch_field(far_away.instrument()).direction == "falling"
    assert pitch_field(far_away.instrument()).zero_beat_distance is None


def test_hearing_bounds_the_near_end() -> None:
    loud = MadeCurve(lambda d: 1e5 * (0.5 - d), lambda d: np.full_like(d, -1e5))
    field = pitch_field(loud.instrument())
    assert_allclose(field.playable_near, 0.5 - HIGHEST_AUDIBLE / 1e5, rtol=0, atol=1e-9)
    assert_allclose(field.highest_frequency, HIGHEST_AUDIBLE, rtol=1e-7)


@settings(max_examples=12, deadline=None)
@given(
    st.floats(0.1, 0.7), st.sampled_from([0.0, 0.5, 5.0]), st.sampled_from([DIRECT, SeriesInductor(15e-3, 80.0, 1e-12)])
)
def test_fields_of_a_power_law_hand(zero_beat: float, lock_range: float, branch: SeriesInductor) -> None:
    loose = Instrument(STEEP, TANK, 1.0, branch, lock_range=lock_range)
    field = pitch_field(replace(loose, reference_frequency=float(loose.variable_frequency(zero_beat))))
    assert field.zero_beat_distance is not None
    assert abs(field.zero_beat_distance - zero_beat) < 1e-6  # the frequencies' last digits, where the field is flat
    notes = field.notes()
    assert np.all(field.reaches([note.frequency for note in notes]))
    distances = np.array([note.distance for note in notes])
    assert np.all(np.diff(distances) < 0.0)
    assert_allclose(field.frequency_at(distances), [note.frequency for note in notes], rtol=1e-6)
    step = 1e-6
    middle = distances[1:-1]
    per_mm = (field.pitch_cents(middle - step) - field.pitch_cents(middle + step)) / (2e3 * step)
    assert_allclose(field.cents_per_mm(middle), per_mm, rtol=1e-3)
    assert field.linearity_error_between(130.0, 520.0) > 1.0  # a bare power law is not straight


def test_reference_pitch_moves_the_notes() -> None:
    instrument = exponential(0.10, 2000.0).instrument()
    standard, low = pitch_field(instrument), pitch_field(instrument, reference_a=415.0)
    moved = {note.name: note for note in low.notes()}["A3"]
    assert_allclose(moved.frequency, 207.5, rtol=1e-12)
    assert_allclose(moved.distance, standard.distance_at(207.5), rtol=0, atol=1e-12)
    assert_allclose(low.pitch_cents(low.distance_at(830.0)), 1200.0, atol=1e-6)


def test_a_silent_field() -> None:
    field = pitch_field(replace(exponential(0.10, 2000.0).instrument(), lock_range=1e5))
    assert field.playable_near is field.playable_far is field.lowest_frequency is field.highest_frequency is None
    assert field.notes() == field.octaves() == ()
    assert not field.reaches([440.0]).any()
    assert field.locked_span == (0.02, 0.60)
    for call in (
        lambda: field.distance_at(440.0),
        lambda: field.cents_per_mm(0.1),
        lambda: field.linearity_error(0.1, 0.2),
    ):
        with pytest.raises(ValueError, match="the field is silent"):
            call()


def test_bad_values_are_refused() -> None:
    field = pitch_field(exponential(0.10, 2000.0).instrument())
    with pytest.raises(ValueError, match=r"frequency must be within the field, .* to 2000 Hz; got 3000"):
        field.distance_at([440.0, 3000.0])
    with pytest.raises(ValueError, match="near must be < far"):
        field.linearity_error(0.2, 0.1)
    with pytest.raises(ValueError, match="far must be within the playable span"):
        field.linearity_error(0.2, 0.7)
    with pytest.raises(ValueError, match="distance must be within the playable span"):
        field.cents_per_mm(0.7)
    with pytest.raises(ValueError, match="note must be"):
        field.octaves("H")
    with pytest.raises(ValueError, match="reference_a must be > 0"):
        pitch_field(exponential(0.10, 2000.0).instrument(), 0.0)


@pytest.mark.parametrize("lock", [0.0, 5.0, 60.0])
def test_the_lowest_note_that_is_held(lock: float) -> None:
    """In a field whose pulled beat is straight against distance, 2 kHz per m, a sway moves it as far everywhere."""
    curve = MadeCurve(lambda where: 2000.0 * (0.5 - where), lambda where: np.full_like(where, -2000.0), lock)
    field = pitch_field(curve.instrument())
    expected = 1200.0 / math.log(2.0) / 10.0 * 2000.0 * 1e-4
    assert field.lowest_held(1e-4, 10.0) == pytest.approx(expected, rel=1e-6)
    assert field.lowest_held(1e-4, 20.0) == pytest.approx(0.5 * expected, rel=1e-6)
    assert field.lowest_held(0.1, 10.0) is None  # 35 kHz
    # a wider lock range than that of the field asks for more
    assert field.lowest_held(1e-4, 10.0, lock + 20.0) > expected


def test_a_field_that_is_held_to_its_end() -> None:
    """One octave in 10 cm is 12 cents per mm everywhere: a tenth of a millimetre is held, a whole one is not."""
    field = pitch_field(exponential(0.10, 2000.0).instrument())
    assert field.lowest_held(1e-4, 10.0) < field.lowest_frequency
    assert field.lowest_held(1e-3, 10.0) is None
