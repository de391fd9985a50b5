"""The take: sound and hand path of the last minutes, kept as files that fit each other."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from small_instrument import make_instrument

from models.instrument import Instrument
from synth.errors import DeviceError
from synth.hands.trace_file import load_trace
from synth.live.hand_clock import HAND_DELAY
from synth.live.hand_events import HandEvent
from synth.live.hand_memory import HandMemory, row_step
from synth.live.link import Listening, LiveLink
from synth.live.renderer import Renderer
from synth.live.take import Keeper, SoundMemory, Span, last_played, path_of
from synth.live.takes import Takes
from synth.live.trace_writer import TraceWriter
from synth.sound.voice import Voice

RATE = 48000
ROW_TIME = row_step(RATE) / RATE


@pytest.fixture
def link() -> Iterator[LiveLink]:
    link = LiveLink.create()
    yield link
    link.close()


def play(link: LiveLink, instrument: Instrument, seconds: float, tremor: float) -> Renderer:
    """A moving hand with vibrato and swells, events 250 times a second, in blocks as a host asks for them."""
    renderer = Renderer(Voice(instrument, RATE), instrument, RATE, link)
    renderer.gate.open = True
    renderer.set_tremor(tremor, 4)
    link.listening.write(Listening(0.1))
    random, frames, sent = np.random.default_rng(2), 0, 0
    while frames < seconds * RATE:
        size = int(random.integers(60, 700))
        now = 20.0 + (frames + size) / RATE + HAND_DELAY
        while 20.0 + 0.004 * (sent + 1) <= now:
            sent += 1
            t = 0.004 * sent
            distance = 0.2 + 0.1 * np.cos(1.5 * t) + 0.002 * np.sin(2.0 * np.pi * 6.0 * t)
            link.hand.write(HandEvent(20.0 + t, distance, 0.5 + 0.3 * np.cos(2.1 * t)))
        renderer.render(size, now=now)
        frames += size
    return renderer


def pitches(samples: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(middle, s, frequency, Hz) of successive periods between rising zero crossings."""
    places = np.flatnonzero((samples[:-1] < 0.0) & (samples[1:] >= 0.0))
    crossings = (places + samples[places] / (samples[places] - samples[places + 1])) / RATE
    return 0.5 * (crossings[1:] + crossings[:-1]), 1.0 / np.diff(crossings)


@pytest.mark.parametrize("tremor", [0.0, 0.3e-3])
def test_rendering_the_kept_hand_gives_the_kept_sound(link: LiveLink, tmp_path: Path, tremor: float) -> None:
    """To the cent and the decibel: both are measured on the files, a period at a time."""
    import soundfile

    instrument = make_instrument(level=0.5)
    renderer = play(link, instrument, 3.0, tremor)
    first, rows = link.played.read(500, 10_000_000)
    results: list[object] = []
    span = Span(tmp_path / "take.wav", first * row_step(RATE), (rows.shape[0] - 1) * row_step(RATE) + 1)
    Keeper(renderer.memory, span, RATE, "Trial", "hash 12", lambda path, error: results.append((path, error))).join()
    assert results == [(tmp_path / "take.wav", None)]
    writer = TraceWriter(tmp_path / "take.csv", rows, ROW_TIME)
    writer.decide(None)
    writer.join()
    assert writer.kept is not None
    assert (writer.kept.error, writer.kept.path) == (None, tmp_path / "take.wav")
    kept, rate = soundfile.read(tmp_path / "take.wav")
    path = load_trace(tmp_path / "take.csv")
    assert rate == RATE
    assert path.frames(RATE) == kept.size == span.frames
    assert writer.kept.seconds == pytest.approx(path.duration) == pytest.approx((kept.size - 1) / RATE)
    again = Voice(instrument, RATE).render(path.block(0, kept.size, RATE), kept.size)
    start = round(0.1 * RATE)  # the voice begins with its fade, its pole and its DC block at rest
    (times, one), (other_times, other) = pitches(kept[start:]), pitches(again[start:])
    inside = (times > other_times[0]) & (times < other_times[-1])
    cents = 1200.0 * np.log2(one[inside] / np.interp(times[inside], other_times, other))
    assert np.abs(cents).max() < 0.2
    pieces = [slice(begin, begin + 4800) for begin in range(start, kept.size - 4800, 4800)]
    decibels = [20.0 * np.log10(np.std(kept[piece]) / np.std(again[piece])) for piece in pieces]
    assert np.abs(decibels).max() < 0.1


def test_a_path_leaves_out_what_lies_on_a_line() -> None:
    still = np.tile([0.2, 1.0], (50_000, 1))
    path = path_of(still, ROW_TIME)
    assert path.times.size <= 52
    assert path.duration == pytest.approx(49_999 * ROW_TIME)
    ramp = np.stack([np.linspace(0.5, 0.1, 3000), np.linspace(0.0, 1.0, 3000)], axis=1)
    ramp[1500:, 0] = 0.3
    slim = path_of(ramp, ROW_TIME)
    assert slim.times.size < 20
    times = np.arange(3000) * ROW_TIME
    np.testing.assert_allclose(np.interp(times, slim.times, slim.distances), ramp[:, 0], rtol=0.0, atol=1e-9)
    np.testing.assert_allclose(np.interp(times, slim.times, slim.volumes), ramp[:, 1], rtol=0.0, atol=1e-9)
    random = np.random.default_rng(1).uniform(0.1, 0.6, (500, 2))
    np.testing.assert_array_equal(path_of(random, ROW_TIME).distances, random[:, 0])
    assert path_of(np.array([[0.0, 1.0], [0.0, 0.0]]), ROW_TIME).nearest > 0.0


def test_the_last_played_ends_and_begins_at_silence() -> None:
    volumes = np.concatenate([np.ones(1000), np.zeros(2500), np.ones(500), np.zeros(500), np.ones(300), np.zeros(4000)])
    rows = np.stack([np.arange(volumes.size, dtype=float), volumes], axis=1)
    played = last_played(rows, 0.001)
    assert (played[0, 0], played[-1, 0]) == (3499.0, 4800.0)
    assert last_played(rows[1000:3500], 0.001).shape == (0, 2)
    assert last_played(rows[:800], 0.001).shape == (800, 2)


def test_a_replay_is_no_new_take() -> None:
    memory, takes = HandMemory(memoryview(bytearray(HandMemory.size()))), Takes()
    assert takes.last(memory, RATE) is None

    def play_rows(count: int, distance: float, volume: float = 1.0) -> None:
        memory.write(np.full(count, distance), np.full(count, volume))

    play_rows(3000, 0.2)
    take = takes.last(memory, RATE)
    assert take is not None
    takes.replay(memory, RATE, take)
    assert takes.last(memory, RATE) is take
    play_rows(3000, 0.2)  # the replay itself
    play_rows(500, 0.3)
    assert takes.last(memory, RATE) is take
    play_rows(1000, 0.3)
    after = takes.last(memory, RATE)
    assert after is not None
    assert (after.nearest, after.farthest) == (0.3, 0.3)
    takes.replay(memory, RATE, after)
    play_rows(100, 0.3)
    takes.replay(memory, RATE, None)  # ended by the player
    play_rows(2000, 0.4)
    last = takes.last(memory, RATE)
    assert last is not None
    assert (last.nearest, last.farthest, last.duration) == (0.4, 0.4, pytest.approx(1.999))
    takes.keep(memory, RATE, Path("take.wav"))
    assert takes.last(memory, RATE) is None


def test_the_memory_of_the_sound_says_what_is_gone() -> None:
    memory = SoundMemory(8000)
    size = 320 * 8000
    for first in range(0, size + 8000, 100_000):
        memory.write(np.arange(first, first + 100_000) % 1000.0)
    total = -(-(size + 8000) // 100_000) * 100_000
    np.testing.assert_array_equal(memory.read(total - 5000, 5000), np.arange(total - 5000, total) % 1000.0)
    np.testing.assert_array_equal(memory.read(total - size, 10), np.arange(total - size, total - size + 10) % 1000.0)
    for first, count in ((total - size - 1, 10), (total - 5, 6)):
        with pytest.raises(DeviceError, match="fell behind"):
            memory.read(first, count)


def test_what_cannot_be_kept_leaves_no_file(tmp_path: Path) -> None:
    memory, told, done = SoundMemory(8000), [], threading.Event()
    memory.write(np.full(8000, 0.1))

    def tell(path: Path, error: str | None) -> None:
        told.append(error)
        done.set()

    Keeper(memory, Span(tmp_path / "new.wav", 0, 9000), 8000, "", "", tell)
    assert done.wait(10.0)
    assert "fell behind" in told[0]
    (tmp_path / "there.wav").write_text("mine")
    Keeper(memory, Span(tmp_path / "there.wav", 0, 8000), 8000, "", "", tell).join()
    assert "exists" in told[1]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["there.wav"]
    assert (tmp_path / "there.wav").read_text() == "mine"
    writer = TraceWriter(tmp_path / "there.csv", np.ones((5, 2)), ROW_TIME)
    writer.decide("no sound")
    writer.decide(None)
    assert writer.kept is not None
    assert writer.kept.error == "no sound"
    assert not (tmp_path / "there.csv").exists()
