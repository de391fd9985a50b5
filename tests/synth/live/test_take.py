"""The take: sound and hand path of the last minutes, kept as files that fit each other."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from slow_ones import slow_ones
from small_instrument import make_instrument

from models.instrument import Instrument
from models.tank import Tank
from synth.hands.trace_file import load_trace
from synth.live.hand_timing import HAND_DELAY
from synth.live.link import ROWS, HandEvent, Listening, LiveLink, RowRing, row_step
from synth.live.renderer import Renderer
from synth.live.take import LOST, Kept, Span, Takes, keep_sound, last_played, path_of
from synth.sound.strand import InstrumentSource
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
    renderer = Renderer(InstrumentSource(instrument), RATE, link)
    renderer.gate.set(True)
    renderer.hand.tremble(tremor, 4)
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


@pytest.mark.parametrize("tremor", [0.0, *slow_ones(0.3e-3)])
def test_rendering_the_kept_hand_gives_the_kept_sound(link: LiveLink, tmp_path: Path, tremor: float) -> None:
    """To the cent and the decibel: both are measured on the files, a period at a time."""
    import soundfile

    instrument = make_instrument(level=0.5, variable_tank=Tank(820e-6, 180e-12))  # some 1.6 kHz at 5 cm
    renderer = play(link, instrument, 3.0, tremor)
    takes = Takes()
    span = takes.keep(link.played, RATE, tmp_path / "take.wav")
    assert span is not None
    keep_sound(renderer.memory, span, RATE, "Trial", "hash 12", takes.sound_written).join()
    takes.join()
    (taken,) = takes.kept
    assert taken == Kept(tmp_path / "take.wav", tmp_path / "take.csv", taken.seconds)
    kept, rate = soundfile.read(tmp_path / "take.wav")
    path = load_trace(tmp_path / "take.csv")
    assert rate == RATE
    assert path.frames(RATE) == kept.size == span.frames
    assert taken.seconds == pytest.approx(path.duration) == pytest.approx((kept.size - 1) / RATE)
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
    still = np.tile([[0.2], [1.0]], 50_000)
    path = path_of(still, ROW_TIME)
    assert path.times.size <= 52
    assert path.duration == pytest.approx(49_999 * ROW_TIME)
    ramp = np.stack([np.linspace(0.5, 0.1, 3000), np.linspace(0.0, 1.0, 3000)])
    ramp[0, 1500:] = 0.3
    slim = path_of(ramp, ROW_TIME)
    assert slim.times.size < 20
    times = np.arange(3000) * ROW_TIME
    np.testing.assert_allclose(np.interp(times, slim.times, slim.distances), ramp[0], rtol=0.0, atol=1e-9)
    np.testing.assert_allclose(np.interp(times, slim.times, slim.volumes), ramp[1], rtol=0.0, atol=1e-9)
    random = np.random.default_rng(1).uniform(0.1, 0.6, (2, 500))
    np.testing.assert_array_equal(path_of(random, ROW_TIME).distances, random[0])
    assert path_of(np.array([[0.0, 0.0], [1.0, 0.0]]), ROW_TIME).nearest > 0.0


def test_the_last_played_ends_and_begins_at_silence() -> None:
    volumes = np.concatenate([np.ones(1000), np.zeros(2500), np.ones(500), np.zeros(500), np.ones(300), np.zeros(4000)])
    rows = np.stack([np.arange(volumes.size, dtype=float), volumes])
    played = last_played(rows, 0.001)
    assert (played[0, 0], played[0, -1]) == (3499.0, 4800.0)
    assert last_played(rows[:, 1000:3500], 0.001).shape == (2, 0)
    assert last_played(rows[:, :800], 0.001).shape == (2, 800)


def hand_memory() -> RowRing:
    return RowRing(memoryview(bytearray(RowRing.size(ROWS, 2, np.float64))), ROWS, 2, np.float64)


def test_a_replay_is_no_new_take() -> None:
    memory, takes = hand_memory(), Takes()
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


def test_what_cannot_be_kept_leaves_no_file(tmp_path: Path) -> None:
    """Sound that is gone or not there yet, a file that is in the way, and a process that ends before."""
    memory, told = RowRing.of_own(8000), []
    memory.write(np.full(8000, 0.1))
    memory.write(np.full(100, 0.2))

    def keep(name: str, first: int, frames: int) -> None:
        def tell(path: Path, error: str | None) -> None:
            told.append(error)

        keep_sound(memory, Span(tmp_path / name, first, frames), 8000, "", "", tell).join()

    keep("gone.wav", 99, 1000)
    keep("early.wav", 100, 8001)
    assert all("fell behind" in error for error in told)
    (tmp_path / "there.wav").write_text("mine")
    keep("there.wav", 100, 8000)
    assert "exists" in told[2]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["there.wav"]
    assert (tmp_path / "there.wav").read_text() == "mine"
    takes, played = Takes(), hand_memory()
    played.write(np.ones(5), np.ones(5))
    assert takes.keep(played, RATE, tmp_path / "lost.wav") is not None
    assert takes.keep(played, RATE, tmp_path / "lost.wav") is None
    assert "already" in (takes.kept[0].error or "")
    takes.give_up()
    takes.give_up()
    assert [kept.error for kept in takes.kept[1:]] == [LOST]
    assert not (tmp_path / "lost.csv").exists()
