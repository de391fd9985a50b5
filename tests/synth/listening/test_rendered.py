"""What the voice of a design plays is heard as the design's field: the two know nothing of each other."""

import numpy as np
import pytest

from models.pitch import cents
from synth.comparisons.made_sound import RATE, disturbed
from synth.designs.design_file import load_design
from synth.hands.hand_path import HandPath
from synth.listening.rests import find_rests
from synth.listening.tracker import track_pitch
from synth.sound.offline import rendered_blocks
from synth.sound.voice import SMOOTHING_TIME

REST, SLIDE = 0.6, 0.3  # s


def places_of(workpiece, pitches):
    return workpiece.field.distance_at(np.array(pitches))


def rendered(workpiece, places):
    """The design's sound with the hand at rest at `places`, m, one after the other."""
    times = np.cumsum([0.0, REST, *[SLIDE, REST] * (len(places) - 1)])
    path = HandPath(times, np.repeat(places, 2), np.ones(times.size))
    return np.concatenate(list(rendered_blocks(workpiece, path, RATE))), path


def judged(workpiece, pitches):
    """Cents by which each rest is judged wrong, in noise and hum 20 dB below the sound."""
    places = places_of(workpiece, pitches)
    sound, _ = rendered(workpiece, places)
    sound = disturbed(sound, noise=20.0, hum=20.0)
    rests = find_rests(sound, RATE, track_pitch(sound, RATE), len(places))
    assert len(rests) == len(places)
    return cents([rest.frequency for rest in rests], workpiece.field.frequency_at(places))


def test_rests_of_a_rendered_hand_are_the_fields_notes(plain_workpiece):
    assert np.abs(judged(plain_workpiece, (131.0, 440.0, 262.0))).max() < 1.0


def test_a_rendered_sweep_is_followed_to_two_cents(plain_workpiece):
    sound, path = rendered(plain_workpiece, places_of(plain_workpiece, (220.0, 440.0)))
    track = track_pitch(sound, RATE)
    slide = (track.times > REST + 0.06) & (track.times < REST + SLIDE - 0.06)
    hand = np.interp(track.times[slide] - SMOOTHING_TIME, path.times, path.distances)
    assert np.abs(cents(track.frequencies[slide], plain_workpiece.field.frequency_at(hand))).max() < 2.0


@pytest.mark.slow
@pytest.mark.parametrize("name", ["heron", "meadow", "willow"])
def test_rests_of_every_demo_design(name, opened):
    workpiece = opened(load_design(name))
    lowest, highest = workpiece.field.lowest_frequency, workpiece.field.highest_frequency
    pitches = np.geomspace(max(70.0, 1.5 * lowest), 0.8 * highest, 6)[[2, 4, 1, 5, 0, 3]]
    assert np.abs(judged(workpiece, pitches)).max() < 1.0
