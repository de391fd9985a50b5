"""Gestures against their sources: minimum jerk (Flash and Hogan 1985), vibrato (Timmers and Desain 2000), tremor
(doi:10.1001/archneur.1982.00510180036009).
"""

from __future__ import annotations

import numpy as np
import pytest
from small_instrument import ROD

from models.instrument import Instrument
from models.pitch_field import PitchField, pitch_field
from models.tank import Tank
from synth.errors import DesignError
from synth.hands.gestures import GESTURES, MAJOR_STEPS, TREMOR_SIZE, gesture, minimum_jerk, tremor


def _field(capacitance: float = 100e-12, zero_beat: float = 0.45) -> PitchField:
    tank = Tank(2.7e-3, capacitance)
    reference = float(tank.with_antenna(float(ROD.capacitance(zero_beat))))
    return pitch_field(Instrument(curve=ROD, variable_tank=tank, reference_frequency=reference))


FIELD = _field()


def test_minimum_jerk_starts_and_ends_at_rest() -> None:
    """The polynomial of Flash and Hogan: no speed or acceleration at either end, top speed 15/8 of the mean."""
    t = np.linspace(0.0, 1.0, 100001)
    way = minimum_jerk(t)
    speed = np.gradient(way, t)
    acceleration = np.gradient(speed, t)
    assert (way[0], way[50000], way[-1]) == (0.0, 0.5, 1.0)
    assert np.abs(speed[[0, -1]]).max() < 1e-8
    assert np.abs(acceleration[[1, -2]]).max() < 2e-3
    assert speed.max() == pytest.approx(15.0 / 8.0, rel=1e-6)
    np.testing.assert_array_equal(minimum_jerk([-1.0, 2.0]), [0.0, 1.0])


def test_tremor_lies_in_its_band_and_size() -> None:
    times = np.arange(0, 60, 0.002)
    sizes = []
    for seed in range(8):
        moved = tremor(times, seed)
        sizes.append(np.std(moved))
        power = np.abs(np.fft.rfft(moved * np.hanning(moved.size))) ** 2
        rates = np.fft.rfftfreq(moved.size, 0.002)
        assert power[(rates > 5.9) & (rates < 12.1)].sum() > 0.999 * power.sum()
    assert np.mean(sizes) == pytest.approx(TREMOR_SIZE, rel=0.05)
    assert 0.03e-3 <= TREMOR_SIZE <= 0.15e-3
    np.testing.assert_array_equal(tremor(times, 1), tremor(times, 1))
    assert not np.array_equal(tremor(times, 1), tremor(times, 2))


@pytest.mark.parametrize("name", GESTURES)
def test_every_gesture_is_deterministic_and_playable(name: str) -> None:
    path, again = gesture(name, FIELD, seed=5), gesture(name, FIELD, seed=5)
    np.testing.assert_array_equal(path.distances, again.distances)
    assert not np.array_equal(path.distances, gesture(name, FIELD, seed=6).distances)
    assert path.duration == GESTURES[name].seconds
    assert gesture(name, FIELD, 3.0).duration == 3.0
    assert path.nearest >= FIELD.playable_near
    assert path.farthest <= FIELD.playable_far
    assert (path.volumes[0], path.volumes[-1]) == (0.0, 0.0)
    assert path.volumes.max() == pytest.approx(1.0)
    assert GESTURES[name].help


def test_sweep_covers_the_field_without_its_shrill_top() -> None:
    path = gesture("sweep", FIELD)
    pitches = FIELD.frequency_at(path.distances)
    assert path.farthest == pytest.approx(FIELD.playable_far, abs=1e-3)
    assert path.distances.argmin() == pytest.approx(path.distances.size / 2, rel=0.1)
    loud = _field(capacitance=30e-12)
    assert loud.highest_frequency > 3000.0
    assert loud.frequency_at(gesture("sweep", loud).distances).max() == pytest.approx(2093.0, rel=0.02)
    assert pitches.max() <= 2093.0 * 1.02


def test_scale_stops_at_the_notes_of_a_major_scale() -> None:
    path = gesture("scale", FIELD, 15.0)
    held = path.distances[[round(500 * (0.5 + note)) for note in range(15)]]
    numbers = 69.0 + 12.0 * np.log2(FIELD.frequency_at(held) / 440.0)
    steps = numbers - np.round(numbers[0])
    expected = [*MAJOR_STEPS, *MAJOR_STEPS[-2::-1]]
    np.testing.assert_allclose(steps, expected, atol=0.25)  # the tremor moves the pitch some cents
    assert path.volumes[round(500 * 1.0)] < 0.2  # between two notes


def test_vibrato_has_its_rate_and_depth() -> None:
    path = gesture("vibrato", FIELD, 20.0)
    late = path.distances[(path.times > 15.5) & (path.times < 19.5)]
    cents = 1200.0 * np.log2(FIELD.frequency_at(late))
    power = np.abs(np.fft.rfft((cents - cents.mean()) * np.hanning(cents.size))) ** 2
    rate = np.fft.rfftfreq(cents.size, 0.002)[power.argmax()]
    assert 5.5 <= rate <= 8.0
    assert np.std(cents) * np.sqrt(2.0) == pytest.approx(25.0, rel=0.15)
    early = path.distances[path.times < 4.5]
    assert np.std(early) < 2.0 * TREMOR_SIZE


def test_still_only_trembles() -> None:
    path = gesture("still", FIELD, 10.0)
    assert np.std(path.distances) == pytest.approx(TREMOR_SIZE, rel=0.5)
    assert FIELD.frequency_at(np.mean(path.distances)) == pytest.approx(329.63, rel=0.01)  # E4


def test_faults_name_the_remedy() -> None:
    with pytest.raises(DesignError, match="gestures are sweep, scale"):
        gesture("wave", FIELD)
    for seconds in (0.1, 1e6, float("nan"), float("inf")):
        with pytest.raises(DesignError, match="lasts from 1 to 600 s"):
            gesture("still", FIELD, seconds)
    narrow = _field(capacitance=100e-9)  # the hand hardly moves this tank
    for name in ("sweep", "still", "vibrato", "scale"):
        with pytest.raises(DesignError, match="no playable distance"):
            gesture(name, narrow)
    short = _field(capacitance=1.5e-9, zero_beat=0.1)
    assert short.notes()
    assert len(short.notes()) < 12
    with pytest.raises(DesignError, match="less than an octave"):
        gesture("scale", short)


@pytest.mark.parametrize("seconds", [1.5, 2.0, 3.3, 7.1])
def test_any_length_gives_a_path(seconds: float) -> None:
    """The soft edges must not pass full volume by a last digit, whatever the time stamps."""
    for name in GESTURES:
        assert gesture(name, FIELD, seconds).volumes.max() <= 1.0
