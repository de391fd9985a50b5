"""Pitch against time: made sounds whose pitch is known, and a general-purpose pitch tracker beside it."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.pitch import cents
from synth.comparisons.made_sound import RATE, VOICES, disturbed, note, reverberated, voiced
from synth.listening.tracker import STEP, track_pitch

QUICK = ("odd", "weak fundamental")
PLACES = (30.0, 41.2, 73.0, 147.0, 311.0, 905.0, 2093.0, 4000.0)


def inner(track):
    """Without the ends, where the sound begins and ends within the window."""
    return track.frequencies[8:-8]


@pytest.mark.parametrize(
    "voice", [voice if voice in QUICK else pytest.param(voice, marks=pytest.mark.slow) for voice in VOICES]
)
def test_no_octave_errors_from_30_hz_to_4_khz_in_noise_and_hum(voice):
    for frequency in PLACES:
        found = inner(track_pitch(disturbed(note(frequency, 0.3, voice)), RATE))
        assert np.abs(cents(found, frequency)).max() < 60.0, frequency


@pytest.mark.slow
@pytest.mark.parametrize("mains", [50.0, 60.0])
@pytest.mark.parametrize("voice", VOICES)
def test_no_octave_errors_at_many_places(voice, mains):
    for frequency in np.geomspace(30.0, 4000.0, 40):
        found = inner(track_pitch(disturbed(note(frequency, 0.3, voice), mains=mains), RATE))
        assert np.abs(cents(found, frequency)).max() < 60.0, frequency


@pytest.mark.parametrize("rate", [8000, 22050, 44100, 96000])
def test_any_sample_rate(rate):
    found = inner(track_pitch(note(440.0, 0.3, "bright", rate=rate), rate))
    assert_allclose(found, 440.0, rtol=2e-4)


def test_a_slide_is_followed():
    frequencies = np.geomspace(110.0, 1760.0, RATE)  # four octaves in a second
    track = track_pitch(voiced(frequencies, VOICES["bright"]), RATE)
    true = np.interp(track.times, np.arange(RATE) / RATE, frequencies)
    assert np.abs(cents(inner(track), true[8:-8])).max() < 5.0


def test_vibrato_is_followed_at_its_rate_and_depth():
    track = track_pitch(note(440.0, 0.8, vibrato=30.0), RATE)
    wanted = 30.0 * np.sin(2.0 * np.pi * 6.3 * track.times)
    assert_allclose(cents(inner(track), 440.0), wanted[8:-8], atol=3.0)


def test_silence_noise_and_quiet_sound():
    quiet = track_pitch(np.zeros(RATE // 4), RATE)
    assert quiet.silent.all()
    assert np.isnan(quiet.frequencies).all()
    assert (quiet.confidence == 0.0).all()
    noise = track_pitch(0.1 * np.random.default_rng(5).normal(size=RATE // 2), RATE)
    assert not noise.silent.any()
    assert (noise.confidence < 0.6).all()
    faint = 1e-3 * note(440.0, 0.3)
    assert track_pitch(faint, RATE).silent.all()
    assert_allclose(inner(track_pitch(faint, RATE, silence=-90.0)), 440.0, rtol=1e-4)


def test_level_is_that_of_a_sine():
    """RMS of a sine of amplitude 0.1: 20 lg(0.1 / sqrt 2) = -23.01 dB of full scale."""
    assert_allclose(track_pitch(note(440.0, 0.3) + 0.2, RATE).levels[8:-8], -23.01, atol=0.1)


def test_confidence_falls_with_noise():
    clear, rough = (track_pitch(disturbed(note(440.0, 0.3), noise=ratio, hum=60.0), RATE) for ratio in (40.0, 0.0))
    assert clear.confidence[8:-8].min() > 0.99
    assert rough.confidence[8:-8].max() < 0.9


def test_an_octave_that_can_be_heard_either_way_is_marked():
    times = np.arange(RATE // 3) / RATE
    either = 0.1 * np.sin(2 * np.pi * 440.0 * times) + 0.025 * np.sin(2 * np.pi * 220.0 * times)
    assert track_pitch(either, RATE).octave_doubts[8:-8].all()
    assert not track_pitch(note(440.0, 0.3, "bright"), RATE).octave_doubts[8:-8].any()


def test_a_note_that_strong_hum_makes_lower_is_marked():
    for frequency in (111.0, 153.0, 212.0):
        track = track_pitch(disturbed(note(frequency, 0.3, "bright"), hum=12.0), RATE)
        wrong = np.abs(cents(inner(track), frequency)) > 100.0
        assert track.octave_doubts[8:-8][wrong].all()


def test_times_are_even_and_short_sound_has_none():
    assert_allclose(np.diff(track_pitch(note(440.0, 0.3), RATE).times), STEP)
    assert track_pitch(np.zeros(10), RATE).times.size == 0
    assert track_pitch(np.zeros(0), RATE).times.size == 0


def test_bad_input():
    with pytest.raises(ValueError, match="finite"):
        track_pitch(np.array([0.0, np.nan]), RATE)
    with pytest.raises(ValueError, match="at least 8000"):
        track_pitch(np.zeros(100), 4000)


def test_a_general_purpose_pitch_tracker_agrees():
    """The autocorrelation method of a published phonetics library, where it is installed (a test extra)."""
    parselmouth = pytest.importorskip("parselmouth")
    sound = reverberated(disturbed(note(261.6, 0.6, "bright", vibrato=20.0)))
    other = parselmouth.Sound(sound, RATE).to_pitch_ac(time_step=STEP, pitch_floor=75.0, pitch_ceiling=1000.0)
    track = track_pitch(sound, RATE)
    theirs = np.interp(track.times, other.xs(), other.selected_array["frequency"])
    assert np.median(np.abs(cents(track.frequencies[15:-15], theirs[15:-15]))) < 5.0
