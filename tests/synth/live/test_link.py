"""Shared memory of window and audio process: whole records only, newest samples, nothing left behind."""

from __future__ import annotations

import multiprocessing
import time
from dataclasses import fields
from multiprocessing.shared_memory import SharedMemory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from synth.live.link import (
    RING_FRAMES,
    ROWS,
    HandEvent,
    LiveLink,
    Records,
    RowRing,
    counter,
    row_step,
)
from synth.live.meters import ProcessMeters


def test_a_record_gives_back_the_newest_values() -> None:
    memory = memoryview(bytearray(Records.size(3)))
    writer, reader = Records(memory, 3), Records(memory, 3)
    assert reader.read() is None
    for number in range(10):
        writer.write((number, 0.5 * number, -1.0))
        assert reader.read() == (number, 0.5 * number, -1.0)


def test_a_torn_record_is_not_taken() -> None:
    memory = memoryview(bytearray(Records.size(2)))
    writer, reader = Records(memory, 2), Records(memory, 2)
    writer.write((1.0, 2.0))
    assert reader.read() == (1.0, 2.0)
    writer.write((3.0, 4.0))
    second_slot = 8 + 2 * (8 * 3 + 8)
    memory[second_slot + 9] ^= 0xFF  # inside the first value
    assert reader.read() == (1.0, 2.0)


@given(st.integers(0, 40), st.integers(1, 40))
def test_whatever_the_counter_says_no_older_record_is_taken(stale: int, more: int) -> None:
    """A reader on another processor may see the counter of any moment: it then keeps what it has."""
    memory = memoryview(bytearray(Records.size(1)))
    writer, reader = Records(memory, 1), Records(memory, 1)
    for number in range(1, 41):
        writer.write((number,))
    assert reader.read() == (40.0,)
    counter(memory)[0] = stale
    assert reader.read() == (40.0,)
    for number in range(41, 41 + more):
        writer.write((number,))
    assert reader.read() == (40.0 + more,)


def _count_up(name: str, count: int) -> None:
    memory = SharedMemory(name=name)
    place = counter(memory.buf)
    for number in range(1, count + 1):
        place[0] = number
    place.release()
    memory.close()


@pytest.mark.slow
def test_another_process_sees_a_counter_rise_and_never_between_two_values() -> None:
    """A counter cleared before it is written, as struct.pack_into does, is seen at 0 in some 4 % of the looks."""
    count, shared = 1_500_000, SharedMemory(create=True, size=64)
    place = counter(shared.buf)
    writer = multiprocessing.get_context("spawn").Process(target=_count_up, args=(shared.name, count))
    writer.start()
    last, rises = 0, 0
    while last < count:
        if last == 0:
            time.sleep(1e-4)  # until it has begun
        alive = writer.is_alive()
        value = place[0]
        assert value >= last
        rises += value > last
        last = value
        assert rises > 0 or alive
    writer.join()
    place.release()
    shared.close()
    shared.unlink()
    assert rises >= 3  # the two ran at the same time


def _write_many(name: str, count: int) -> None:
    link = LiveLink.attach(name)
    for number in range(1, count + 1):
        link.process.write((number,) * len(fields(ProcessMeters)))
    link.close()


def test_another_process_never_leaves_a_mixed_or_an_older_record() -> None:
    link = LiveLink.create()
    context = multiprocessing.get_context("spawn")
    writer = context.Process(target=_write_many, args=(link.name, 20_000))
    writer.start()
    seen: list[float] = []
    while not seen or seen[-1] < 20_000:
        if not seen:
            time.sleep(1e-4)  # until it has begun
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
    memory = memoryview(bytearray(RowRing.size(frames)))
    writer, reader = RowRing(memory, frames), RowRing(memory, frames)
    everything = np.arange(sum(sizes), dtype=np.float32)
    start = 0
    for size in sizes:
        writer.write(everything[start : start + size])
        start += size
    np.testing.assert_array_equal(reader.newest(wanted), everything[-wanted:])


def test_a_ring_of_two_columns_holds_the_newest_rows() -> None:
    view = memoryview(bytearray(RowRing.size(100, 2, np.float64)))
    writer, reader = (RowRing(view, 100, 2, np.float64) for _ in range(2))
    for number in range(30):
        rows = np.arange(7.0 * number, 7.0 * number + 7.0)
        writer.write(rows, -rows)
    assert reader.total == 210
    first, rows = reader.read(0, 1000)
    assert (first, rows.shape) == (110, (2, 100))
    np.testing.assert_array_equal(rows, [np.arange(110.0, 210.0), -np.arange(110.0, 210.0)])
    assert reader.read(205, 2)[1][0].tolist() == [205.0, 206.0]
    assert reader.read(300, 5)[1].shape == (2, 0)


def test_the_remembered_hand_has_room_for_a_take_at_every_rate() -> None:
    for rate in (8000, 44100, 48000, 96000, 192000):
        assert 320.0 * rate / row_step(rate) <= ROWS


def test_closing_the_link_removes_the_memory() -> None:
    link = LiveLink.create()
    other = LiveLink.attach(link.name)
    link.hand.write(HandEvent(3.0, 0.2, 1.0))
    assert other.hand.take() == (3.0, 0.2, 1.0)
    assert other.samples.newest(RING_FRAMES).size == 0
    name = link.name
    other.close()
    link.close()
    link.close()
    with pytest.raises(FileNotFoundError):
        SharedMemory(name=name)
