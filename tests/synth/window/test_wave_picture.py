"""The waves drawn in the lesson's window: their values, bands, slowing, and the beat taken over from the sound."""

from __future__ import annotations

import numpy as np
import pytest

from models.detector.memoryless import Detector, envelope_waveform, junction_waveform
from models.detector.rectified_sum import half_wave_rectified, sum_of_tones
from models.pulling import pulled_beat
from synth.lessons.recipes import Mixture, Pulled
from synth.lessons.waves import BENDS, Tone, Waves, oscillators
from synth.window.wave_picture import SCREEN_SECONDS, WavePicture, heard_phase

FIRST, SECOND = Tone(440.0, 0.0), Tone(0.0, 1.0)
PHASES = np.linspace(0.0, 2.0 * np.pi, 181)


def waves_of(bend, **more):
    return Waves(FIRST, SECOND, 0.7, bend, curvature=0.5 if bend == "square" else 0.0, drive=1.5, **more)


def recipe(waves):
    return Mixture(FIRST, SECOND, ((1, 0, 1.0), (0, 1, waves.ratio)), waves=waves)


def test_the_tones_are_those_of_the_detectors():
    """Up to the steady part, as the table says: with the waveforms of models.detector."""
    for kind, bend, steady in (("product", "product", False), ("square-law", "squared", True)):
        made = Detector(kind, 0.7)
        wanted = made.waveform(PHASES) - (made.harmonics(0)[0] if steady else 0.0)
        np.testing.assert_allclose(waves_of(bend).tone(PHASES), wanted, atol=1e-12)
    np.testing.assert_allclose(waves_of("rectified").tone(PHASES), envelope_waveform(PHASES, 0.7) / np.pi, atol=1e-12)
    current, drawn = junction_waveform(PHASES, 1.5, 1.05), waves_of("exponential").tone(PHASES)
    np.testing.assert_allclose(drawn / drawn[0], current / current[0], rtol=1e-12)


@pytest.mark.parametrize("bend", [bend for bend in BENDS if bend != "none"])
def test_the_tone_is_the_mean_of_the_bent_wave_and_the_band_holds_it(bend):
    """Over a cycle of both waves together, the phase between them at rest."""
    waves = waves_of(bend)
    cycle = 2.0 * np.pi * np.arange(4096) / 4096
    for phase in (0.0, 1.0, 2.5):
        bent = waves.bent(cycle, cycle - phase)
        steady = waves.bent(cycle, cycle - 0.5 * np.pi).mean() if bend in ("square", "squared") else 0.0
        at_rest = waves.tone(np.array(0.5 * np.pi)) if bend in ("square", "squared") else 0.0
        assert bent.mean() - steady == pytest.approx(float(waves.tone(np.array(phase)) - at_rest), abs=1e-6)
        low, high = waves.bent_band(np.array(phase))
        assert bent.min() == pytest.approx(float(low), abs=1e-3)
        assert bent.max() == pytest.approx(float(high), abs=1e-3)


def test_the_rectified_wave_is_that_of_its_series():
    one = np.linspace(0.0, 40.0, 4001)
    series = half_wave_rectified(*sum_of_tones(one, 1.1 * one, 0.7), 400)
    np.testing.assert_allclose(waves_of("rectified").bent(one, 1.1 * one), series, atol=2e-3)


def test_rows_are_the_waves():
    """440 Hz and 430 Hz, 50 times slower: 80 ms in the picture, so 35.2 cycles of the first wave and 0.8 beats."""
    picture = WavePicture()
    picture.show(recipe(waves_of("none")), 430.0)
    picture.slow = 50.0
    for _ in range(100):
        picture.step(0.05, 430.0)
    first, _, total = picture.rows(2000)
    crossings = np.count_nonzero(np.diff(np.signbit(first.high - 0.5)))
    assert crossings == pytest.approx(2 * 35.2, abs=2)
    assert picture.span == pytest.approx(SCREEN_SECONDS / 50.0)
    assert picture.beats == 1  # 5 s on the screen, 0.1 s of the waves
    assert total.heard
    assert not first.heard
    assert all(row.low.min() > -1e-9 and row.high.max() < 1.0 + 1e-9 for row in (first, total))


def test_waves_too_fast_to_be_drawn_are_a_band_with_the_envelope():
    picture = WavePicture()
    picture.show(Pulled(0.0, oscillators(290e3, 0.0)), 300.0)
    for _ in range(60):
        picture.step(1.0 / 30.0, 300.0)
    rows = {row.name: row for row in picture.rows(600)}
    assert rows["first"].low.max() < 1e-9
    assert rows["first"].high.min() > 1.0 - 1e-9
    size = rows["sum"].high - rows["sum"].low
    assert size.min() < 0.05
    assert size.max() > 0.99
    assert np.count_nonzero(np.diff(np.signbit(size - 0.5))) == 6  # three beats


def test_the_picture_pulls_and_locks_as_the_law_says():
    picture = WavePicture()
    drawn = Pulled(120.0, oscillators(290e3, 120.0))
    picture.show(drawn, 200.0)
    picture.slow = 10.0
    for _ in range(300):
        picture.step(0.1, 200.0)
    assert picture.beats == pytest.approx(float(pulled_beat(200.0, 120.0)) * 3.0, abs=1.5)
    before = picture.beats
    for _ in range(100):
        picture.step(0.1, 60.0)
    assert picture.beats - before <= 1


def test_slowing_keeps_to_its_ends():
    picture = WavePicture()
    picture.show(recipe(waves_of("none")), 444.0)
    assert picture.slow == 1.0  # slow beats run with the sound
    picture.slow_by(0.1)
    assert picture.slow == 1.0
    picture.slow_by(1e9)
    assert picture.slow == pytest.approx(440.0)
    with pytest.raises(ValueError, match="waves"):
        WavePicture().show(Mixture(FIRST, SECOND, ((1, 0, 1.0),)), 1.0)


@pytest.mark.parametrize(("value", "squared"), [(444.0, True), (437.0, True), (444.0, False)])
def test_the_beat_is_taken_over_from_the_sound(value, squared):
    beat, rate = abs(value - 440.0), 48_000.0
    time = (np.arange(2**17) - 2**17) / rate
    if squared:
        sound = np.cos(2 * np.pi * 440.0 * time + 0.3) + np.cos(2 * np.pi * value * time + 1.1)
    else:
        sound = np.cos(2 * np.pi * beat * time - 0.8)
    phase = heard_phase(sound.astype(np.float32), rate, beat, squared)
    assert np.cos(phase) == pytest.approx(np.cos(0.8), abs=0.02)
    picture = WavePicture()
    picture.show(recipe(waves_of("none")), value)
    picture.step(0.03, value, phase)
    shown = picture.rows(400)[2]
    size = np.sqrt(1.0 + 0.49 + 1.4 * np.cos(phase)) / 1.7
    assert shown.high[-1] - shown.low[-1] == pytest.approx(size, abs=0.05)
    assert heard_phase(sound[:100].astype(np.float32), rate, beat, squared) is None
