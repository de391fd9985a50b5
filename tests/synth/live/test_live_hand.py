"""Hand events on their way to the sound: ring, clock, track, memory, latency. Nothing here waits for a real clock."""

from __future__ import annotations

import multiprocessing
import time
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from synth.live.hand_timing import HAND_DELAY, LOST, GestureLatency, HandClock
from synth.live.link import EVENT_SLOTS, MOST_BEHIND, HandEvent, HandEvents, LiveLink
from synth.live.live_hand import GLIDE, MOST_WAITING, SHORTEST, HandTrack
from synth.live.sound_device import output_delay

RATE = 48000.0


def ring_pair() -> tuple[memoryview, HandEvents, HandEvents]:
    memory = memoryview(bytearray(HandEvents.size()))
    return memory, HandEvents(memory), HandEvents(memory)


def test_events_arrive_once_and_in_order() -> None:
    _, writer, reader = ring_pair()
    assert reader.take() is None
    for number in range(3 * EVENT_SLOTS):
        writer.write(HandEvent(number, 0.1 * number, 0.5))
        if number % 7 == 0:
            writer.write(HandEvent(number + 0.5, 0.2, 0.25))
            assert reader.take() == (number, 0.1 * number, 0.5)
            assert reader.take() == (number + 0.5, 0.2, 0.25)
        else:
            assert reader.take() == (number, 0.1 * number, 0.5)
        assert reader.take() is None


def test_a_reader_that_was_away_goes_on_with_the_newest_events() -> None:
    _, writer, reader = ring_pair()
    for number in range(5000):
        writer.write(HandEvent(number, 0.1, 0.5))
    taken = [event.time for event in iter(reader.take, None)]
    assert taken == list(range(5000 - MOST_BEHIND, 5000))
    writer.write(HandEvent(6000.0, 0.1, 0.5))
    reader.begin_at_newest()
    assert reader.take() == (6000.0, 0.1, 0.5)


def test_time_stamps_never_run_backwards() -> None:
    _, writer, reader = ring_pair()
    writer.write(HandEvent(2.0, 0.1, 0.5))
    writer.write(HandEvent(1.0, 0.2, 0.6))
    assert [reader.take(), reader.take()] == [(2.0, 0.1, 0.5), (2.0, 0.2, 0.6)]


def test_a_half_written_event_is_not_taken() -> None:
    memory, writer, reader = ring_pair()
    writer.write(HandEvent(1.0, 0.1, 0.5))
    place = 8 + 1 * 40 + 12
    memory[place] ^= 0xFF
    assert reader.take() is None
    memory[place] ^= 0xFF
    assert reader.take() == (1.0, 0.1, 0.5)


def _send_events(name: str, count: int) -> None:
    link = LiveLink.attach(name)
    for number in range(1, count + 1):
        link.hand.write(HandEvent(number, number, number))
        if number % 50 == 0:
            time.sleep(0.0005)
    link.close()


@pytest.mark.slow
def test_another_process_sends_whole_events_in_order() -> None:
    link = LiveLink.create()
    writer = multiprocessing.get_context("spawn").Process(target=_send_events, args=(link.name, 4_000))
    writer.start()
    seen: list[float] = []
    while not seen or seen[-1] < 4_000:
        while (event := link.hand.take()) is not None:
            assert event.time == event.distance == event.volume
            seen.append(event.time)
        assert writer.is_alive() or writer.exitcode == 0
        time.sleep(0.0002)
    writer.join()
    link.close()
    assert seen == sorted(set(seen))


def starts(calls: list[tuple[int, float]]) -> tuple[np.ndarray, np.ndarray]:
    """(hand time of each block's first sample, of its end) for calls of (frames, moment)."""
    clock = HandClock(RATE)
    first = np.array([clock.start_of(frames, now) for frames, now in calls])
    return first, first + np.array([frames for frames, _ in calls]) / RATE


def test_the_hand_clock_runs_at_the_pace_of_the_samples() -> None:
    first, end = starts([(256, 10.0 + 256 * k / RATE) for k in range(1000)])
    np.testing.assert_allclose(np.diff(first), 256 / RATE, rtol=0.0, atol=1e-12)
    np.testing.assert_allclose(10.0 + 256 * np.arange(1000) / RATE - end, HAND_DELAY, rtol=0.0, atol=1e-9)


@pytest.mark.parametrize("drift", [-2e-4, 2e-4])  # far more than two quartz clocks differ
def test_bursts_and_drift_do_not_make_the_clock_jump(drift: float) -> None:
    """A host that asks for four blocks at once, up to 3 ms late, by a card whose clock is off."""
    random = np.random.default_rng(5)
    calls, frames = [], 0
    for _ in range(3000):
        now = 10.0 + frames * (1.0 + drift) / RATE + random.uniform(0.0, 0.003)
        for _ in range(4):
            calls.append((128, now))
            frames += 128
    first, end = starts(calls)
    pace = np.diff(first) / (128 / RATE)
    assert np.abs(pace - 1.0).max() <= 0.0501
    assert np.abs(pace - 1.0)[len(calls) // 2 :].max() < 0.01  # nobody hears that
    moments = np.array([now for _, now in calls])
    slack = (moments - end)[len(calls) // 2 :]
    assert slack.min() > HAND_DELAY - 0.001
    assert slack.min() < HAND_DELAY + 0.002


def test_lost_sound_is_caught_up_within_two_seconds() -> None:
    """After an underrun the hand would lag behind for good by what was lost."""
    lost = 0.03
    calls = [(256, 10.0 + 256 * k / RATE + (lost if k > 400 else 0.0)) for k in range(800)]
    _, end = starts(calls)
    slack = np.array([now for _, now in calls]) - end
    assert slack[401] == pytest.approx(HAND_DELAY + lost)
    assert slack[401 + round(2.0 * RATE / 256)] < HAND_DELAY + 0.002


def test_the_clock_starts_anew_after_a_gap() -> None:
    clock = HandClock(RATE)
    clock.start_of(480, 10.0)
    start = clock.start_of(480, 10.0 + 2.0 * LOST + 0.02)
    assert start == pytest.approx(10.0 + 2.0 * LOST + 0.02 - HAND_DELAY - 0.01)


def played(events: list[HandEvent], sizes: list[int], first: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """All events are known from the start."""
    track = HandTrack(0.5, 0.0)
    for event in events:
        track.add(event, first)
    blocks, start = [], first
    for size in sizes:
        blocks.append(track.block(start, size, RATE))
        start += size / RATE
    return np.concatenate([b[0] for b in blocks]), np.concatenate([b[1] for b in blocks])


@settings(max_examples=80, deadline=None)
@given(
    gaps=st.lists(st.floats(0.0011, 0.2), min_size=1, max_size=20),
    sizes=st.lists(st.integers(1, 3000), min_size=1, max_size=20),
    seed=st.integers(0, 99),
)
def test_the_track_does_not_depend_on_the_blocks(gaps: list[float], sizes: list[int], seed: int) -> None:
    random = np.random.default_rng(seed)
    times = 0.01 + np.cumsum(gaps)
    events = [HandEvent(t, random.uniform(0.0, 0.8), random.uniform(0.0, 1.0)) for t in times]
    total = sum(sizes)
    one, other = played(events, [total]), played(events, sizes)
    np.testing.assert_allclose(one[0], other[0], rtol=0.0, atol=1e-9)  # rounding at stamps on a block's edge
    np.testing.assert_allclose(one[1], other[1], rtol=0.0, atol=1e-9)
    assert one[1].min() >= 0.0 and one[1].max() <= 1.0 and one[0].min() >= 0.0  # noqa: PT018


def test_close_events_are_joined_by_straight_lines() -> None:
    events = [HandEvent(0.01 + 0.002 * k, 0.3 + 0.1 * np.sin(k), 0.5 + 0.5 * np.cos(k)) for k in range(100)]
    distance, volume = played(events, [128] * 80)
    times = np.arange(distance.size) / RATE
    inside = times > 0.0101
    stamps, distances, volumes = np.array(events).T
    np.testing.assert_allclose(distance[inside], np.interp(times, stamps, distances)[inside], rtol=0.0, atol=1e-9)
    np.testing.assert_allclose(volume[inside], np.interp(times, stamps, volumes)[inside], rtol=0.0, atol=1e-9)


def test_after_a_rest_the_hand_moves_within_the_last_milliseconds() -> None:
    distance, _ = played([HandEvent(0.01, 0.4, 1.0), HandEvent(1.0, 0.2, 1.0)], [480] * 110)
    times = np.arange(distance.size) / RATE
    np.testing.assert_allclose(distance[(times > 0.011) & (times < 1.0 - GLIDE)], 0.4, rtol=0.0, atol=1e-12)
    np.testing.assert_allclose(distance[times >= 1.0], 0.2, rtol=0.0, atol=1e-12)


def test_a_late_event_is_reached_soon_and_its_lateness_is_told() -> None:
    track = HandTrack(0.4, 1.0)
    track.block(5.0, 480, RATE)
    track.add(HandEvent(4.99, 0.3, 0.5), 5.01)
    distance, volume = track.block(5.01, 480, RATE)
    assert track.reached == [pytest.approx(0.02 + SHORTEST)]
    assert (distance[-1], volume[-1]) == (0.3, 0.5)
    assert np.abs(np.diff(distance)).max() < 0.1 / (SHORTEST * RATE) * 1.01
    assert track.block(5.02, 480, RATE)[0].tolist() == [0.3] * 480
    assert track.reached == []


def test_events_that_are_never_played_do_not_pile_up() -> None:
    track = HandTrack(0.4, 1.0)
    for number in range(10 * MOST_WAITING):
        track.add(HandEvent(0.001 * number, 0.3, 0.5), 0.0)
    distance, _ = track.block(100.0, 128, RATE)
    assert distance.shape == (128,)
    assert len(track.reached) <= MOST_WAITING


def test_the_delay_of_the_output_is_read_from_the_stream() -> None:
    assert output_delay(SimpleNamespace(currentTime=100.0, outputBufferDacTime=100.0125)) == pytest.approx(0.0125)
    for now, output in ((0.0, 5.0), (5.0, 0.0), (5.0, 4.9), (5.0, 50.0)):
        assert output_delay(SimpleNamespace(currentTime=now, outputBufferDacTime=output)) is None
    assert output_delay(None) is None


def test_the_latency_is_the_median_of_the_last_second() -> None:
    latency = GestureLatency()
    assert latency.median(1.0) == 0.0
    latency.follow(0.5, [0.0], 1.0)  # too long ago below
    for number, value in enumerate((0.010, 0.012, 0.030)):
        latency.follow(value, [0.001], 3.0 + 0.1 * number)
    assert latency.median(3.5) == pytest.approx(0.013)
    latency.follow(0.02, [], 6.0)
    assert latency.median(6.0) == 0.02
    latency.follow(None, [0.1], 6.1)
    assert latency.median(7.5) == 0.0
