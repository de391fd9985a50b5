"""Resting notes to a cent, and resting places found by themselves."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.pitch import cents
from synth.comparisons.made_sound import RATE, VOICES, disturbed, note, reverberated, scale_of
from synth.listening.phases import resting_frequency, without_hum
from synth.listening.rests import find_rests
from synth.listening.tracker import track_pitch

NOTES = (130.8, 196.0, 440.0, 880.0, 329.6)


def rests_in(sound, count=None):
    return find_rests(sound, RATE, track_pitch(sound, RATE), count)


def off(sound, frequency):
    """Cents by which the whole `sound` is judged wrong, from a start that is some cents off."""
    return abs(float(cents(resting_frequency(sound, RATE, 1.004 * frequency)[0], frequency)))


@pytest.mark.parametrize("frequency", [30.0, 41.2, 73.0, 147.0, 440.0, 4000.0])
def test_half_a_second_at_20_db_of_noise_with_hum_is_within_a_cent(frequency):
    assert off(disturbed(note(frequency, 0.5, "bright")), frequency) < 1.0


@pytest.mark.slow
@pytest.mark.parametrize("voice", VOICES)
def test_half_a_second_is_within_a_cent_everywhere(voice):
    """But where hum is nearer than one over half a second: there half a second does not tell the two apart."""
    places = np.geomspace(30.0, 4000.0, 40)
    apart = np.abs(places[:, None] - [50.0, 100.0]).min(axis=1)
    assert np.count_nonzero(apart < 2.0) <= 2
    for frequency in places[apart >= 2.0]:
        assert off(disturbed(note(frequency, 0.5, voice), seed=3), frequency) < 1.0, frequency


@pytest.mark.parametrize("frequency", [65.4, 440.0, 1760.0])
def test_with_vibrato_or_reverberation_the_mean_is_within_five_cents(frequency):
    assert off(disturbed(note(frequency, 0.6, "bright", vibrato=30.0)), frequency) < 5.0
    assert off(reverberated(disturbed(note(frequency, 0.6, "bright"))), frequency) < 5.0


def test_the_deviation_tells_the_error():
    """Over many noises the error is of the size that is told: neither half nor double."""
    errors, told = [], []
    for seed in range(12):
        frequency, deviation = resting_frequency(
            disturbed(note(220.0, 0.3), noise=10.0, hum=60.0, seed=seed), RATE, 220.0
        )
        errors.append(frequency - 220.0)
        told.append(deviation)
    assert 0.4 < np.std(errors) / np.mean(told) < 2.5


def test_hum_is_taken_away_and_the_note_is_left():
    clean = note(440.0, 0.4, "bright")
    hummed = disturbed(clean, noise=90.0, hum=10.0, mains=60.0)
    left = without_hum(hummed, RATE, 440.0) - clean
    assert np.sqrt(np.mean(left**2)) < 0.01 * np.sqrt(np.mean((hummed - clean) ** 2))


def test_too_short_a_sound_is_refused():
    with pytest.raises(ValueError, match="too short"):
        resting_frequency(note(30.0, 0.1), RATE, 30.0)


@pytest.fixture(scope="module")
def played():
    return disturbed(scale_of(NOTES), hum=30.0)


def test_resting_places_are_found_in_order(played):
    rests = rests_in(played)
    assert_allclose(cents([rest.frequency for rest in rests], NOTES), 0.0, atol=1.0)
    for number, rest in enumerate(rests):
        begin = number * 0.9
        assert begin - 0.1 < rest.start < begin + 0.15
        assert begin + 0.5 < rest.end < begin + 0.8
        assert not rest.octave_doubt
        assert rest.confidence > 0.95


def test_hum_before_the_first_note_is_no_rest(played):
    times = np.arange(RATE) / RATE
    hum = 0.003 * np.sin(2.0 * np.pi * 50.0 * times)
    assert len(rests_in(np.concatenate([hum, played]))) == len(NOTES)


def test_a_slow_slide_rests_nowhere():
    assert rests_in(scale_of((200.0, 400.0), rest=0.05, slide=1.5)) == ()


def test_a_trembling_hand_rests_where_the_number_says_so():
    """Two notes a fourth apart that waver by 40 cents either way, twice a second: found by being counted alone."""
    times = np.arange(round(1.6 * RATE)) / RATE
    waver = 2.0 ** (40.0 * np.sin(2.0 * np.pi * 2.0 * times) / 1200.0)
    sound = 0.1 * np.sin(2.0 * np.pi * np.cumsum(np.where(times < 0.8, 220.0, 294.0) * waver) / RATE)
    assert rests_in(sound) == ()
    assert_allclose(cents([rest.frequency for rest in rests_in(sound, 2)], [220.0, 294.0]), 0.0, atol=40.0)
