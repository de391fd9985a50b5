"""The block renderer behind the stream: hand ramps, fades, levels, meters; and the recorder behind it."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from small_instrument import make_instrument

from models.instrument import Instrument
from synth.hands.gestures import tremor
from synth.hands.hand_path import HandBlock, HandPath
from synth.live.hand_timing import HAND_DELAY
from synth.live.link import HandEvent, Listening, LiveLink, row_step
from synth.live.live_hand import LiveTremor
from synth.live.live_sound import safe_level
from synth.live.meters import SoundMeters
from synth.live.recorder import Recorder
from synth.live.renderer import FADE_TIME, Renderer
from synth.sound.fades import Gate
from synth.sound.strand import InstrumentSource, Strand
from synth.sound.voice import Voice

RATE = 48000


@pytest.fixture
def link() -> Iterator[LiveLink]:
    link = LiveLink.create()
    yield link
    link.close()


def make_renderer(link: LiveLink, instrument: Instrument | None = None) -> Renderer:
    instrument = instrument or make_instrument(level=0.5)
    renderer = Renderer(InstrumentSource(instrument), RATE, link)
    renderer.gate.set(True)
    return renderer


def sound(link: LiveLink) -> SoundMeters:
    values = link.sound.read()
    assert values is not None
    return SoundMeters(*values)


def set_hand(link: LiveLink, distance: float, volume: float, level: float = 1.0) -> None:
    """A hand event that came too late for its time: it is reached within a millisecond."""
    link.hand.write(HandEvent(0.0, distance, volume))
    link.listening.write(Listening(level))


def test_the_hand_moves_linearly_from_time_stamp_to_time_stamp(link: LiveLink) -> None:
    """Events every 2 ms (500 Hz) along a ramp come out as the ramp, whatever the blocks: the figure is in cents."""
    instrument = make_instrument(level=0.5)
    renderer, voice = make_renderer(link, instrument), Voice(instrument, RATE)
    link.listening.write(Listening(1.0))
    start, speed, frames, sent = 100.0, 0.2, 0, 0  # s, m/s
    played = []
    for size in (128, 256, 100, 480, 1, 777, 128, 512) * 12:
        now = start + (frames + size) / RATE + HAND_DELAY
        while start + 0.002 * (sent + 1) <= now:  # what the pointer has sent when the block is asked for
            sent += 1
            link.hand.write(HandEvent(start + 0.002 * sent, 0.5 - speed * 0.002 * sent, 1.0))
        renderer.render(size, now=now)
        played.append(sound(link).frequency)
        frames += size
    ramp = 0.5 - speed * np.arange(frames) / RATE
    places = np.cumsum((128, 256, 100, 480, 1, 777, 128, 512) * 12) - 1
    reference, before = [], 0
    for place in places:
        voice.render(HandBlock(ramp[before : place + 1], np.ones(place + 1 - before)), place + 1 - before)
        reference.append(voice.frequency)
        before = place + 1
    settled = places > 0.1 * RATE
    cents = 1200.0 * np.log2(np.array(played)[settled] / np.array(reference)[settled])
    assert np.abs(cents).max() < 0.01
    rows = link.played.read(0, 10_000)[1]
    at = np.arange(rows.shape[1]) * row_step(RATE)
    np.testing.assert_allclose(rows[0, 100:], ramp[at][100:], rtol=0.0, atol=1e-9)


def test_a_held_hand_stays_where_the_newest_event_put_it(link: LiveLink) -> None:
    renderer = make_renderer(link)
    set_hand(link, 0.2, 0.7)
    for _ in range(400):
        renderer.render(480)
    assert (sound(link).distance, sound(link).volume) == (0.2, 0.7)


def test_a_replayed_path_sounds_like_the_path_and_gives_the_hand_back(link: LiveLink) -> None:
    instrument = make_instrument(level=0.5)
    renderer, voice = make_renderer(link, instrument), Voice(instrument, RATE)
    link.listening.write(Listening(1.0))
    path = HandPath(np.array([0.0, 0.1, 0.3]), np.array([0.3, 0.2, 0.25]), np.array([0.5, 1.0, 0.8]))
    renderer.hand.replay(path)
    frames = path.frames(RATE)
    heard = np.concatenate([renderer.render(size) for size in (1000, 7000, frames - 8001)])
    assert sound(link).replaying == 1.0
    expected = voice.render(path.block(0, frames - 1, RATE), frames - 1)
    begun = round(FADE_TIME * RATE)  # of the gate
    np.testing.assert_allclose(heard[begun:], expected[begun:], rtol=0.0, atol=1e-6)
    set_hand(link, 0.4, 0.6)
    for _ in range(4):
        renderer.render(480)
    meters = sound(link)
    assert (meters.replaying, meters.distance, meters.volume) == (0.0, 0.4, 0.6)
    renderer.hand.replay(path)
    renderer.render(100)
    renderer.hand.replay(None)
    renderer.render(480)
    assert (sound(link).replaying, sound(link).distance) == (0.0, 0.4)


def test_the_tremor_is_that_of_the_gestures_and_does_not_depend_on_the_blocks() -> None:
    def shaken(sizes: list[int]) -> Any:
        live, first, pieces = LiveTremor(RATE), 0, []
        live.set(0.5e-3, 7)
        for size in sizes:
            pieces.append(live.displacement(first, size))
            first += size
        return np.concatenate(pieces)

    one, other = shaken([24000, 72000]), shaken([480] * 100 + [7, 128, 4096] * 11 + [96000 - 48000 - 11 * 4231])
    settled = slice(24000, None)  # the size rises by 5 mm/s
    np.testing.assert_allclose(one[settled], other[settled], rtol=0.0, atol=1e-12)
    stamps = np.arange(24000, 96000, 96) / RATE  # of the 500 Hz grid
    np.testing.assert_allclose(one[24000::96], tremor(stamps, 7, 0.5e-3), rtol=0.0, atol=1e-12)
    assert LiveTremor(RATE).displacement(0, 128) is None


def test_the_tremor_is_in_the_hand_and_in_the_rows(link: LiveLink) -> None:
    renderer = make_renderer(link)
    set_hand(link, 0.2, 1.0)
    renderer.hand.tremble(1e-3, 3)
    for _ in range(500):
        renderer.render(480)
    rows = link.played.read(1000, 4000)[1]
    assert np.std(rows[0]) == pytest.approx(1e-3, rel=0.25)
    assert np.mean(rows[0]) == pytest.approx(0.2, abs=2e-4)


def test_the_drone_has_its_pitch_and_gain_and_comes_and_goes_without_a_click(link: LiveLink) -> None:
    renderer = make_renderer(link)
    set_hand(link, 0.2, 0.0)
    renderer.render(480)
    renderer.drone.set(220.0, 0.1)
    heard = np.concatenate([renderer.render(size) for size in (128, 480, 1000) * 40])
    renderer.drone.set(None, 0.0)
    heard = np.concatenate([heard, *[renderer.render(128) for _ in range(40)]])
    assert np.abs(heard).max() == pytest.approx(0.1, rel=0.001)
    spectrum = np.abs(np.fft.rfft(heard[9600:57600] * np.hanning(48000)))
    assert np.argmax(spectrum) == 220  # Hz: one second
    fifth = 20.0 * np.log10(spectrum[1100] / spectrum[220])
    assert fifth == pytest.approx(-20.0 * np.log10(25.0), abs=0.1)
    assert not heard[-1000:].any()
    steady = np.abs(np.diff(heard[9600:57600])).max()
    assert np.abs(np.diff(heard)).max() <= 1.02 * steady
    renderer.drone.set(220.0, 0.1)
    renderer.mute(True)
    assert not np.concatenate([renderer.render(480) for _ in range(10)]).any()


def test_the_gesture_latency_is_the_hand_clock_against_the_output(link: LiveLink) -> None:
    renderer = make_renderer(link)
    link.listening.write(Listening(1.0))
    now = 50.0
    for _ in range(200):  # 256 frames every 5.3 ms, 12 ms before they sound
        now += 256 / RATE
        link.hand.write(HandEvent(now - 0.001, 0.3, 0.5))
        renderer.render(256, output_delay=0.012, now=now)
    assert renderer.latency.median(now) == pytest.approx(0.012 + HAND_DELAY + 256 / RATE, abs=1e-4)
    assert renderer.latency.median(now + 5.0) == pytest.approx(0.012 + HAND_DELAY + 256 / RATE, abs=1e-4)
    renderer.render(256, now=now + 256 / RATE)
    assert renderer.latency.median(now + 5.0) == 0.0


def test_meters_tell_pitch_level_and_counts(link: LiveLink) -> None:
    instrument = make_instrument(level=0.5)
    renderer = make_renderer(link, instrument)
    level = safe_level(instrument)
    set_hand(link, 0.15, 1.0, level)
    for number in range(100):
        renderer.render(480, underrun=number in (3, 4))
    meters = sound(link)
    assert meters.frequency == pytest.approx(float(instrument.beat_frequency(0.15)), rel=1e-6)
    assert 20.0 * np.log10(meters.peak) == pytest.approx(-20.0, abs=0.1)  # the stated safe level
    assert meters.rms == pytest.approx(meters.peak / np.sqrt(2.0), rel=0.01)  # a product detector gives a sine
    assert (meters.blocks, meters.frames, meters.underruns) == (100, 48000, 2)
    assert (meters.distance, meters.volume) == (0.15, 1.0)


def test_safe_level_never_amplifies() -> None:
    for level in (0.0, 0.05, 0.1, 0.3, 1.0):
        assert safe_level(make_instrument(level=level)) * level <= 0.1 + 1e-12
        assert safe_level(make_instrument(level=level)) <= 1.0


def test_a_block_longer_than_its_period_is_late(link: LiveLink) -> None:
    class SlowStrand(Strand):
        def sound(self, distance: np.ndarray) -> Any:
            time.sleep(0.01)
            return super().sound(distance)

    class SlowSource(InstrumentSource):
        def start(self, sample_rate: float) -> Strand:
            return SlowStrand(self.instrument, sample_rate)

    renderer = Renderer(SlowSource(make_instrument(level=0.5)), RATE, link)
    renderer.render(48, underrun=True)
    assert (sound(link).late_blocks, sound(link).underruns) == (0, 0)  # nothing counts before the sound begins
    renderer.gate.set(True)
    renderer.render(48)  # 1 ms of sound in 10 ms
    assert sound(link).late_blocks == 1
    renderer.render(48000)
    assert sound(link).late_blocks == 1
    assert renderer.shares[1] > 1.0 > renderer.shares[2] > 0.0


def test_single_frames_asked_for_by_the_host_are_not_late(link: LiveLink) -> None:
    renderer = make_renderer(link)
    for frames in (4800, 4800, 1, 1, 4800):
        renderer.render(frames)
    assert sound(link).late_blocks == 0


def test_the_gate_fades_within_its_time_and_can_turn_round() -> None:
    gate = Gate(FADE_TIME, RATE)
    length = round(FADE_TIME * RATE)
    samples = np.ones(100)
    gate.apply(samples)
    assert not samples.any()
    gate.set(True)
    rising = np.ones(length)
    gate.apply(rising)
    assert rising[-1] == 1.0
    assert (np.diff(rising) > 0.0).all()
    gate.set(False)
    half = np.ones(length // 2)
    gate.apply(half)
    assert not gate.closed
    gate.set(True)
    back = np.ones(length)
    gate.apply(back)
    assert abs(back[0] - half[-1]) < 2.0 * np.abs(np.diff(rising)).max()
    assert back[-1] == 1.0


def test_a_change_of_the_listening_level_is_gradual(link: LiveLink) -> None:
    renderer = make_renderer(link)
    set_hand(link, 0.15, 1.0, 0.2)
    for _ in range(50):
        renderer.render(64)
    steady = np.abs(np.diff(np.concatenate([renderer.render(64) for _ in range(20)]))).max()
    set_hand(link, 0.15, 1.0, 0.1)
    changing = np.concatenate([renderer.render(64) for _ in range(20)])
    assert np.abs(np.diff(changing)).max() < 1.05 * steady
    assert np.abs(changing[-200:]).max() == pytest.approx(0.05, rel=0.02)


def test_warming_up_changes_nothing(link: LiveLink) -> None:
    other = LiveLink.attach(link.name)
    warm, cold = make_renderer(link), make_renderer(other)
    warm.warm_up()
    set_hand(link, 0.2, 1.0, 1.0)
    np.testing.assert_array_equal(warm.render(512, now=9.0), cold.render(512, now=9.0))
    del cold
    other.close()


def test_the_recorder_takes_the_sound_before_the_listening_level(link: LiveLink, tmp_path: Path) -> None:
    import soundfile

    renderer = make_renderer(link)
    set_hand(link, 0.15, 1.0, 0.01)
    renderer.render(4800)
    recorder = Recorder(tmp_path / "take.wav", RATE, title="Trial", comment="hash 12")
    renderer.record_with(recorder)
    heard = np.concatenate([renderer.render(frames) for frames in (100, 4000, 700)])
    renderer.record_with(None)
    recording = recorder.finish()
    assert (recording.frames, recording.clipped, recording.error) == (4800, 0, None)
    written, rate = soundfile.read(recording.path)
    assert rate == RATE
    np.testing.assert_allclose(0.01 * written, heard, rtol=0.0, atol=1e-7)
    with pytest.raises(Exception, match="exists"):
        Recorder(tmp_path / "take.wav", RATE)


def test_a_recording_that_fails_says_so_and_frees_its_queue(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path / "bad.wav", RATE)
    recorder.put(np.array([np.nan]))
    deadline = time.monotonic() + 5.0
    while not recorder.failed and time.monotonic() < deadline:
        time.sleep(0.01)
    recording = recorder.finish()
    assert recording.error is not None
    assert not (tmp_path / "bad.wav").exists()
