"""Shared memory of window and audio process: whole records only, newest samples, nothing left behind."""

from __future__ import annotations

import multiprocessing
from multiprocessing.shared_memory import SharedMemory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from synth.live.hand_events import HandEvent
from synth.live.link import RING_FRAMES, LiveLink, ProcessMeters, Record, SampleRing


def test_a_record_gives_back_the_newest_values() -> None:
    memory = memoryview(bytearray(Record.size(3)))
    writer, reader = Record(memory, 3), Record(memory, 3)
    assert reader.read() is None
    for number in range(10):
        writer.write((number, 0.5 * number, -1.0))
        assert reader.read() == (number, 0.5 * number, -1.0)


def test_a_torn_record_is_not_taken() -> None:
    memory = memoryview(bytearray(Record.size(2)))
    writer, reader = Record(memory, 2), Record(memory, 2)
    writer.write((1.0, 2.0))
    assert reader.read() == (1.0, 2.0)
    writer.write((3.0, 4.0))
    second_slot = 8 + 2 * (8 * 3 + 8)
    memory[second_slot + 9] ^= 0xFF  # inside the first value
    assert reader.read() == (1.0, 2.0)


def _write_many(name: str, count: int) -> None:
    link = LiveLink.attach(name)
    for number in range(1, count + 1):
        link.process.write((number,) * len(ProcessMeters._fields))
    link.close()


def test_another_process_never_leaves_a_mixed_record() -> None:
    link = LiveLink.create()
    context = multiprocessing.get_context("spawn")
    writer = context.Process(target=_write_many, args=(link.name, 20_000))
    writer.start()
    seen: list[float] = []
    while not seen or seen[-1] < 20_000:
        values = link.process.read()
        if values is not None:
            assert len(set(values)) == 1
            seen.append(values[0])
        assert writer.is_alive() or writer.exitcode == 0
    writer.join()
    link.close()
    assert seen == sorted(seen)
    assert len(set(seen)) >= 3  # the two ran at the same time


@settings(max_examples=60, deadline=None)
@given(sizes=st.lists(st.integers(1, 50), min_size=1, max_size=40), wanted=st.integers(1, 60))
def test_the_ring_holds_the_newest_samples(sizes: list[int], wanted: int) -> None:
    frames = 128
    memory = memoryview(bytearray(SampleRing.size(frames)))
    writer, reader = SampleRing(memory, frames), SampleRing(memory, frames)
    everything = np.arange(sum(sizes), dtype=np.float32)
    start = 0
    for size in sizes:
        writer.write(everything[start : start + size])
        start += size
    np.testing.assert_array_equal(reader.read(wanted), everything[-wanted:])


def test_closing_the_link_removes_the_memory() -> None:
    link = LiveLink.create()
    other = LiveLink.attach(link.name)
    link.hand.write(HandEvent(3.0, 0.2, 1.0))
    assert other.hand.take() == (3.0, 0.2, 1.0)
    assert other.samples.read(RING_FRAMES).size == 0
    name = link.name
    other.close()
    link.close()
    link.close()
    with pytest.raises(FileNotFoundError):
        SharedMemory(name=name)
