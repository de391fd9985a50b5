"""The block renderer behind the stream: hand ramps, fades, levels, meters; and the recorder behind it."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from models.hand.capacitance_curve import CapacitanceCurve
from models.instrument import Instrument
from models.tank import Tank
from synth.hand_path import HandBlock
from synth.live.link import Hand, LiveLink, SoundMeters
from synth.live.recorder import Recorder
from synth.live.renderer import FADE_TIME, Gate, Renderer
from synth.speaker import safe_level
from synth.voice import Voice

RATE = 48000


def make_instrument(level: float = 0.5) -> Instrument:
    """A small invented instrument whose zero beat lies at 0.5 m."""
    distances = np.geomspace(0.01, 0.8, 20)
    curve = CapacitanceCurve(distances, 6.3e-12 + 0.35e-12 / (distances + 0.01) ** 0.9, 6.3e-12)
    tank = Tank(inductance=820e-6, capacitance=400e-12)
    reference = float(Instrument(curve, tank, 1e5).variable_frequency(0.5))
    return Instrument(curve, tank, reference, level=level)


@pytest.fixture
def link() -> Iterator[LiveLink]:
    link = LiveLink.create()
    yield link
    link.close()


def make_renderer(link: LiveLink, instrument: Instrument | None = None) -> Renderer:
    instrument = instrument or make_instrument()
    renderer = Renderer(Voice(instrument, RATE), instrument, RATE, link)
    renderer.gate.open = True
    return renderer


def sound(link: LiveLink) -> SoundMeters:
    values = link.sound.read()
    assert values is not None
    return SoundMeters(*values)


def test_the_hand_moves_linearly_within_a_block(link: LiveLink) -> None:
    renderer, voice = make_renderer(link), Voice(make_instrument(), RATE)
    link.hand.write(Hand(0.2, 1.0, 1.0, 0.0))
    renderer.render(1024)
    voice.render(HandBlock(np.linspace(0.8, 0.2, 1025)[1:], np.linspace(0.0, 1.0, 1025)[1:]), 1024)
    for frames, distance, volume in ((256, 0.21, 1.0), (96, 0.19, 0.4), (1000, 0.3, 0.9)):
        before = sound(link)
        link.hand.write(Hand(distance, volume, 1.0, 0.0))
        path = HandBlock(
            np.linspace(before.distance, distance, frames + 1)[1:],
            np.linspace(before.volume, volume, frames + 1)[1:],
        )
        np.testing.assert_allclose(renderer.render(frames), voice.render(path, frames), rtol=0.0, atol=1e-6)


def test_meters_tell_pitch_level_and_counts(link: LiveLink) -> None:
    instrument = make_instrument()
    renderer = make_renderer(link, instrument)
    level = safe_level(instrument)
    link.hand.write(Hand(0.15, 1.0, level, 0.0))
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
        assert safe_level(make_instrument(level)) * level <= 0.1 + 1e-12
        assert safe_level(make_instrument(level)) <= 1.0


def test_a_block_longer_than_its_period_is_late(link: LiveLink) -> None:
    class Slow(Voice):
        def render(self, hand: Any, frames: int) -> Any:
            time.sleep(0.01)
            return super().render(hand, frames)

    instrument = make_instrument()
    renderer = Renderer(Slow(instrument, RATE), instrument, RATE, link)
    renderer.render(48, underrun=True)
    assert (sound(link).late_blocks, sound(link).underruns) == (0, 0)  # nothing counts before the sound begins
    renderer.gate.open = True
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
    gate = Gate(RATE)
    length = round(FADE_TIME * RATE)
    samples = np.ones(100)
    gate.apply(samples)
    assert not samples.any()
    gate.open = True
    rising = np.ones(length)
    gate.apply(rising)
    assert rising[-1] == 1.0
    assert (np.diff(rising) > 0.0).all()
    gate.open = False
    half = np.ones(length // 2)
    gate.apply(half)
    assert not gate.closed
    gate.open = True
    back = np.ones(length)
    gate.apply(back)
    assert abs(back[0] - half[-1]) < 2.0 * np.abs(np.diff(rising)).max()
    assert back[-1] == 1.0


def test_a_change_of_the_listening_level_is_gradual(link: LiveLink) -> None:
    renderer = make_renderer(link)
    link.hand.write(Hand(0.15, 1.0, 0.2, 0.0))
    for _ in range(50):
        renderer.render(64)
    steady = np.abs(np.diff(np.concatenate([renderer.render(64) for _ in range(20)]))).max()
    link.hand.write(Hand(0.15, 1.0, 0.1, 0.0))
    changing = np.concatenate([renderer.render(64) for _ in range(20)])
    assert np.abs(np.diff(changing)).max() < 1.05 * steady
    assert np.abs(changing[-200:]).max() == pytest.approx(0.05, rel=0.02)


def test_warming_up_changes_nothing(link: LiveLink) -> None:
    warm, cold = make_renderer(link), make_renderer(link)
    warm.warm_up()
    link.hand.write(Hand(0.2, 1.0, 1.0, 0.0))
    np.testing.assert_array_equal(warm.render(512), cold.render(512))


def test_the_recorder_takes_the_sound_before_the_listening_level(link: LiveLink, tmp_path: Path) -> None:
    import soundfile

    renderer = make_renderer(link)
    link.hand.write(Hand(0.15, 1.0, 0.01, 0.0))
    renderer.render(4800)
    recorder = Recorder(tmp_path / "take.wav", RATE, title="Trial", comment="hash 12")
    renderer.recorder = recorder
    heard = np.concatenate([renderer.render(frames) for frames in (100, 4000, 700)])
    renderer.recorder = None
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
