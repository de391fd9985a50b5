"""Memory shared by the window's process and the audio process: hand events and the listening level one way, meters,
sound and the hand that was played the other.

Nothing here waits for anything: a reader that meets a half-written record keeps the last whole one. Each part has one
writing process and one writing thread, and one reading thread.
"""

from __future__ import annotations

import struct
from dataclasses import fields
from multiprocessing.shared_memory import SharedMemory
from typing import Any, NamedTuple, Self, cast
from zlib import crc32

import numpy as np
from numpy.typing import DTypeLike, NDArray

from synth.live.meters import ProcessMeters, SoundMeters

RING_FRAMES = 65536  # 1.37 s at 48 kHz
ROWS_A_SECOND = 1000.0  # of the remembered hand, about
TAKE_SECONDS = 300.0  # s that can be kept
SPARE_SECONDS = 20.0  # s more than that are remembered, so that a take can be copied while the sound goes on
ROWS = round(1.03 * ROWS_A_SECOND * (TAKE_SECONDS + SPARE_SECONDS))  # a row step is rounded to whole samples
NEWEST_SLOTS = 4  # where only the newest record counts
EVENT_SLOTS = 1024  # two seconds of a pointer read 500 times a second
MOST_BEHIND = 128  # records: a reader that was away for longer goes on from here
_NUMBER = struct.Struct("=Q")

Numbers = NDArray[Any]


def row_step(sample_rate: float) -> int:
    """Samples from row to row of the remembered hand at `sample_rate`, Hz."""
    return max(1, round(sample_rate / ROWS_A_SECOND))


class HandEvent(NamedTuple):
    """The hands at a moment: time (time.monotonic), s; distance, m; volume, gain 0..1."""

    time: float
    distance: float
    volume: float


class Listening(NamedTuple):
    """The listening level, a gain 0..1."""

    level: float


def counter(memory: memoryview) -> memoryview:
    """The whole number at the start of a piece of memory, as [0]. Another process sees the old one or the new one.

    It is read and written in a single step. (`struct.pack_into` clears the place first: a reader would see 0 at times.)
    """
    return memory[: _NUMBER.size].cast("Q")


class Records:
    """The last records of `count` floats each, in `slots` places, without a lock.

    The writer fills the next place and then moves the counter. Every place carries the record's number and a CRC-32,
    so a reader on any processor, whatever order it sees the writes in, takes the whole record it asked for or none:
    never a mixed one, never one older than it had.
    """

    def __init__(self, memory: memoryview, count: int, slots: int = NEWEST_SLOTS) -> None:
        self._memory = memory
        self._counter = counter(memory)
        self._layout = struct.Struct(f"=Q{count}d")
        self._slot_size = self._layout.size + _NUMBER.size
        self._slots = slots
        self._written = 0
        self._taken = 0
        self._last: tuple[float, ...] | None = None

    @staticmethod
    def size(count: int, slots: int = NEWEST_SLOTS) -> int:
        """Bytes they take."""
        return _NUMBER.size + slots * (8 * (count + 1) + _NUMBER.size)

    def write(self, values: tuple[float, ...]) -> None:
        """Publish a record."""
        self._written += 1
        start = _NUMBER.size + (self._written % self._slots) * self._slot_size
        body = self._layout.pack(self._written, *values)
        self._memory[start : start + self._slot_size] = body + _NUMBER.pack(crc32(body))
        self._counter[0] = self._written

    def read(self) -> tuple[float, ...] | None:
        """The newest whole record; None while nothing was written."""
        for _ in range(NEWEST_SLOTS):
            newest = self._counter[0]
            if newest <= self._taken:
                break
            record = self._whole(newest)
            if record is not None:
                self._taken, self._last = newest, record
                break
        return self._last

    def begin_at_newest(self) -> None:
        """Let the next `take` give the newest record there is."""
        self._taken = max(self._counter[0] - 1, 0)

    def take(self) -> tuple[float, ...] | None:
        """The next record not yet taken; None while there is none, or while it is being written."""
        newest = self._counter[0]
        if newest <= self._taken:
            return None
        wanted = max(self._taken + 1, newest - MOST_BEHIND + 1)
        record = self._whole(wanted)
        if record is not None:
            self._taken = wanted
        return record

    def _whole(self, wanted: int) -> tuple[float, ...] | None:
        """The record of that number; None where its place holds another, or a mixture."""
        start = _NUMBER.size + (wanted % self._slots) * self._slot_size
        slot = bytes(self._memory[start : start + self._slot_size])
        number, *values = self._layout.unpack_from(slot)
        whole = number == wanted and crc32(slot[: -_NUMBER.size]) == _NUMBER.unpack(slot[-_NUMBER.size :])[0]
        return tuple(values) if whole else None


class HandEvents(Records):
    """Timed hand events on their way from the window's process to the audio process, none lost, none twice."""

    def __init__(self, memory: memoryview) -> None:
        super().__init__(memory, len(HandEvent._fields), EVENT_SLOTS)
        self._last_time = 0.0

    @staticmethod
    def size(count: int = len(HandEvent._fields), slots: int = EVENT_SLOTS) -> int:
        """Bytes they take."""
        return Records.size(count, slots)

    def write(self, values: tuple[float, ...]) -> None:
        """Append an event; a time stamp before that of the last event counts as the last one's."""
        self._last_time = max(self._last_time, values[0])
        super().write((self._last_time, *values[1:]))

    def take(self) -> HandEvent | None:
        """The next event not yet taken; None while there is none."""
        values = super().take()
        return None if values is None else HandEvent(*values)


class RowRing:
    """The last `rows` rows of one or more columns of numbers. One thread writes; the reader checks its copy."""

    def __init__(self, memory: memoryview, rows: int, columns: int = 1, dtype: DTypeLike = np.float32) -> None:
        self._counter = counter(memory)
        numbers: Numbers = np.frombuffer(memory[_NUMBER.size :], dtype, columns * rows)
        self._columns = list(numbers.reshape(columns, rows))
        self._rows = rows
        self._total = 0

    @staticmethod
    def size(rows: int, columns: int = 1, dtype: DTypeLike = np.float32) -> int:
        """Bytes it takes."""
        return _NUMBER.size + np.dtype(dtype).itemsize * columns * rows

    @classmethod
    def of_own(cls, rows: int) -> Self:
        """A ring in memory that is not shared."""
        return cls(memoryview(bytearray(cls.size(rows))), rows)

    def prepare(self) -> None:
        """Touch all of it once, before the sound starts: the system hands out memory page by page on first use."""
        for column in self._columns:
            column.fill(0.0)

    @property
    def total(self) -> int:
        """Rows written so far."""
        return int(self._counter[0])

    def write(self, *columns: Numbers) -> None:
        """Append rows, one array (n,) a column, n at most the ring's rows."""
        count = columns[0].size
        start = self._total % self._rows
        first = min(count, self._rows - start)
        for kept, values in zip(self._columns, columns, strict=True):
            kept[start : start + first] = values[:first]
            if first < count:
                kept[: count - first] = values[first:]
        self._total += count
        self._counter[0] = self._total

    def read(self, first: int, count: int) -> tuple[int, Numbers]:
        """(number of the first row, copy (columns, n)): `count` rows from `first` on, fewer where they are gone."""
        total = self.total
        first = max(first, total - self._rows, 0)
        count = max(0, min(count, total - first))
        start = first % self._rows
        whole = min(count, self._rows - start)
        copy = np.stack(
            [np.concatenate([column[start : start + whole], column[: count - whole]]) for column in self._columns]
        )
        overwritten = max(0, self.total - self._rows - first)
        return first + overwritten, copy[:, overwritten:]

    def newest(self, count: int) -> Numbers:
        """The newest `count` rows of the first column (at most half the ring), fewer while fewer exist."""
        count = min(count, self._rows // 2)
        newest: Numbers = self.read(self.total - count, count)[1][0]
        return newest


class LiveLink:
    """One shared memory block: `hand` and `listening` are written by the window's side, `sound`, `process`, `samples`
    (float32 output) and `played` (distance, m, and volume of the hand, every `row_step`-th sample) by the audio side.

    The creator unlinks it on `close`; if the creator dies, Python's resource tracker does.
    """

    def __init__(self, memory: SharedMemory, owner: bool) -> None:
        self._shared = memory
        self._owner = owner
        self._views = [memoryview(cast(memoryview, memory.buf))]
        rooms = iter([self._room(start, size) for start, size in _places()])
        self.hand = HandEvents(next(rooms))
        self.listening, self.sound, self.process = (Records(next(rooms), count) for count in _COUNTS)
        self.samples = RowRing(next(rooms), RING_FRAMES)
        self.played = RowRing(next(rooms), ROWS, 2, np.float64)

    @classmethod
    def create(cls) -> Self:
        """A new block with nothing in it."""
        return cls(SharedMemory(create=True, size=sum(_places()[-1])), owner=True)

    @classmethod
    def attach(cls, name: str) -> Self:
        """The block another process created. Its creator must outlive this call."""
        return cls(SharedMemory(name=name), owner=False)

    @property
    def name(self) -> str:
        """The name to attach by."""
        return self._shared.name

    def close(self) -> None:
        """Let go of the memory; the creator also removes it. Calling it twice does nothing.

        Every thread that reads or writes must have ended (BufferError otherwise).
        """
        if not self._views:
            return
        del self.hand, self.listening, self.sound, self.process, self.samples, self.played
        for view in reversed(self._views):
            view.release()
        self._views.clear()
        self._shared.close()
        if self._owner:
            self._shared.unlink()

    def _room(self, start: int, size: int) -> memoryview:
        self._views.append(self._views[0][start : start + size])
        return self._views[-1]


_COUNTS = (len(Listening._fields), len(fields(SoundMeters)), len(fields(ProcessMeters)))


def _places() -> list[tuple[int, int]]:
    """(start, size) in bytes of each part of the link, in the order of `LiveLink`; each starts a line of the cache."""
    sizes = [HandEvents.size(), *(Records.size(count) for count in _COUNTS)]
    sizes += [RowRing.size(RING_FRAMES), RowRing.size(ROWS, 2, np.float64)]
    places, start = [], 0
    for size in sizes:
        places.append((start, size))
        start += -(-size // 64) * 64
    return places
