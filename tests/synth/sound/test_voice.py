"""The voice as a stream: the same samples for any blocks, carried state, bad and hostile input."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from slow_ones import slow_ones
from small_instrument import STEEP, make_instrument

from models.detector.memoryless import DETECTORS, Detector
from synth.hands.hand_path import HandBlock
from synth.sound.voice import Voice

RATE = 48000


INSTRUMENTS = {
    "product": make_instrument(),
    "envelope": make_instrument(detector=Detector("envelope", 0.95), level=0.8),
    "pulled product": make_instrument(lock_range=8.0),
    "pulled junction": make_instrument(detector=Detector("junction", 0.7, 4.0), lock_range=30.0, tone_low_pass=3000.0),
    "pulled diode": make_instrument(detector=Detector("diode", 0.9), lock_range=12.0),
    "high beat": make_instrument(reference_frequency=3.2e5, detector=Detector("square-law", 0.5)),
}


def moving_hand(frames, seed=1):
    """Sweep with vibrato and two jumps, and a volume with steps."""
    time = np.arange(frames) / RATE
    distance = 0.35 + 0.25 * np.cos(5.0 * time) + 0.004 * np.sin(40.0 * time)
    distance[frames // 3 : frames // 2] = 0.05
    volume = np.where((time * 20.0).astype(int) % 3 == 0, 0.3, 0.9)
    return HandBlock(distance, volume)


def in_blocks(voice, hand, sizes, events=None):
    """Render all of `hand` in blocks of the sizes in turn; each of `events` {frame: action} cuts a block."""
    pieces, start, turn = [], 0, 0
    events = dict(events or {})
    while start < hand.distance.size:
        if start in events:
            events.pop(start)(voice)
        end = min([start + sizes[turn % len(sizes)], hand.distance.size, *[e for e in events if e > start]])
        pieces.append(voice.render(HandBlock(hand.distance[start:end], hand.volume[start:end]), end - start))
        start, turn = end, turn + 1
    assert not events
    return np.concatenate(pieces)


@pytest.mark.parametrize(
    "name", ["pulled product", *slow_ones(*(name for name in INSTRUMENTS if name != "pulled product"))]
)
def test_any_blocks_give_the_same_samples(name):
    hand, voice = moving_hand(8500), Voice(INSTRUMENTS[name], RATE)
    whole = voice.render(hand, 8500)
    for sizes in ([1], [7], [64], [128], [4096], [1, 500, 3, 4097, 31, 2]):
        frames = 3000 if sizes == [1] else 8500  # with the first jump, at 2833, in it
        voice.reset()
        cut = in_blocks(voice, HandBlock(hand.distance[:frames], hand.volume[:frames]), sizes)
        assert cut.tobytes() == whole[:frames].tobytes()


@pytest.mark.slow
def test_changes_and_mutes_do_not_depend_on_blocks():
    events = {
        600: lambda voice: voice.set_instrument(INSTRUMENTS["pulled junction"]),
        700: lambda voice: voice.set_instrument(INSTRUMENTS["envelope"]),  # waits for the change under way
        800: lambda voice: voice.set_instrument(INSTRUMENTS["product"]),  # takes its place
        2000: lambda voice: voice.mute(True),
        2100: lambda voice: voice.mute(False),
        3000: lambda voice: voice.set_instrument(INSTRUMENTS["pulled product"]),
    }
    hand = moving_hand(5000)
    whole = in_blocks(Voice(INSTRUMENTS["envelope"], RATE), hand, [5000], events)
    for sizes in ([1], [7], [64], [128], [11, 1, 250]):
        cut = in_blocks(Voice(INSTRUMENTS["envelope"], RATE), hand, sizes, events)
        assert cut.tobytes() == whole.tobytes()


def test_many_changes_end_at_the_last():
    names = ["envelope", "pulled product", "product"] * 12
    voice, steady = Voice(INSTRUMENTS["product"], RATE), Voice(INSTRUMENTS["product"], RATE)
    for name in names:
        voice.set_instrument(INSTRUMENTS[name])
        voice.render(0.2, 50)
    assert voice.instrument is INSTRUMENTS["product"]
    steady.render(0.2, 50 * len(names))
    voice.render(0.2, 4000)
    steady.render(0.2, 4000)
    assert voice.frequency == steady.frequency
    change = voice.render(0.2, 4800)
    assert np.abs(change).max() == pytest.approx(np.abs(steady.render(0.2, 4800)).max(), rel=1e-3)


def test_reset_starts_again_with_the_latest_instrument():
    voice = Voice(INSTRUMENTS["product"], RATE)
    voice.render(0.3, 1000)
    voice.set_instrument(INSTRUMENTS["envelope"])
    voice.render(0.1, 100)
    voice.reset()
    assert voice.frequency == 0.0
    fresh = Voice(INSTRUMENTS["envelope"], RATE)
    np.testing.assert_array_equal(voice.render(0.2, 3000), fresh.render(0.2, 3000))


def test_number_array_and_block_mean_the_same():
    number = Voice(INSTRUMENTS["product"], RATE).render(0.25, 900)
    row = Voice(INSTRUMENTS["product"], RATE).render(np.full(900, 0.25), 900)
    block = Voice(INSTRUMENTS["product"], RATE).render(HandBlock(np.full(900, 0.25), np.ones(900)), 900)
    np.testing.assert_array_equal(number, row)
    np.testing.assert_array_equal(number, block)
    assert number.shape == (900,)
    assert number.dtype == np.float64


def test_input_and_earlier_output_stay_untouched():
    voice = Voice(INSTRUMENTS["pulled product"], RATE)
    hand = moving_hand(500)
    before = hand.distance.copy(), hand.volume.copy()
    first = voice.render(hand, 500)
    kept = first.copy()
    voice.render(hand, 500)
    np.testing.assert_array_equal(first, kept)
    np.testing.assert_array_equal(hand.distance, before[0])
    np.testing.assert_array_equal(hand.volume, before[1])


def test_distances_outside_the_curve_count_as_its_ends():
    for outside, end in ((0.0, STEEP.nearest), (1e9, STEEP.farthest)):
        np.testing.assert_array_equal(
            Voice(INSTRUMENTS["product"], RATE).render(outside, 500),
            Voice(INSTRUMENTS["product"], RATE).render(end, 500),
        )


@pytest.mark.parametrize(
    ("hand", "frames", "words"),
    [
        (np.nan, 10, "distance must be finite; got nan"),
        ([0.1] * 9 + [np.inf], 10, "distance must be finite; got inf"),
        (-0.02, 10, "distance must be >= 0; got -0.02"),
        ([0.1, 0.2], 10, "distance must be a number or 10 of them"),
        (HandBlock(np.full(10, 0.2), np.full(10, np.nan)), 10, "volume must be finite"),
        (HandBlock(np.full(10, 0.2), np.full(10, 1.5)), 10, "volume must be between 0 and 1; got 1.5"),
        (HandBlock(np.full(10, 0.2), np.full(9, 1.0)), 10, "volume must be a number or 10"),
        (0.2, -1, "frames must be a whole number >= 0"),
        (0.2, 1.5, "frames must be a whole number >= 0"),
        (0.2, True, "frames must be a whole number >= 0"),
    ],
)
def test_bad_input_is_refused_and_changes_nothing(hand, frames, words):
    voice, untouched = (Voice(INSTRUMENTS["pulled product"], RATE) for _ in range(2))
    voice.render(0.2, 100)
    untouched.render(0.2, 100)
    with pytest.raises(ValueError, match=words):
        voice.render(hand, frames)
    np.testing.assert_array_equal(voice.render(0.2, 100), untouched.render(0.2, 100))


@pytest.mark.parametrize("rate", [0, -1, np.nan, True, "48000"])
def test_bad_sample_rate_is_refused(rate):
    with pytest.raises(ValueError, match="sample_rate must be"):
        Voice(INSTRUMENTS["product"], rate)


def test_a_lock_range_near_the_sample_rate_is_refused():
    with pytest.raises(ValueError, match="lock_range must be below a quarter of the sample rate, 12000 Hz"):
        Voice(make_instrument(lock_range=12000.0), RATE)


def test_no_frames_is_no_sound():
    assert Voice(INSTRUMENTS["product"], RATE).render(0.2, 0).shape == (0,)


distances = st.one_of(st.floats(0.0, 1.0), st.sampled_from([0.0, 5e-324, 1e-12, 0.01, 0.8, 1e12, 1e308]))


HOSTILE = given(
    hands=st.lists(st.tuples(distances, st.floats(0.0, 1.0), st.integers(1, 300)), min_size=1, max_size=8),
    kinds=st.lists(st.sampled_from(DETECTORS), min_size=1, max_size=3),
    lock_range=st.sampled_from([0.0, 1e-6, 5.0, 400.0]),
    level=st.sampled_from([0.0, 0.5, 0.95, 1.0]),
    rate=st.sampled_from([8000, 44100, 192000]),
)


def _hostile_hands_stay_finite_and_within_full_scale(hands, kinds, lock_range, level, rate):
    """Steps and runs of random hands, with instruments changing in between."""
    voice = Voice(make_instrument(level=level, lock_range=lock_range), rate)
    random = np.random.default_rng(len(hands))
    for index, (distance, volume, frames) in enumerate(hands):
        kind = kinds[index % len(kinds)]
        voice.set_instrument(make_instrument(level=level, lock_range=lock_range, detector=Detector(kind, 1.0, 30.0)))
        scattered = np.where(random.random(frames) < 0.5, distance, random.random(frames))
        for place in (distance, scattered):
            samples = voice.render(HandBlock(np.broadcast_to(place, frames), np.full(frames, volume)), frames)
            assert np.isfinite(samples).all()
            assert np.abs(samples).max() <= 1.0


test_hostile_hands_stay_finite_and_within_full_scale = settings(max_examples=4, deadline=None)(
    HOSTILE(_hostile_hands_stay_finite_and_within_full_scale)
)
test_many_hostile_hands_stay_finite_and_within_full_scale = pytest.mark.slow(
    settings(max_examples=60, deadline=None)(HOSTILE(_hostile_hands_stay_finite_and_within_full_scale))
)
