"""Memory shared by the window's process and the audio process: hand events and the listening level one way, meters,
sound and the hand that was played the other.

Nothing here waits for anything: a reader that meets a half-written record keeps the last whole one. Each
record has one writing process and one writing thread.
"""

from __future__ import annotations

import struct
from multiprocessing.shared_memory import SharedMemory
from typing import NamedTuple, Self, cast
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from synth.live.hand_events import EventRing
from synth.live.hand_memory import HandMemory

RING_FRAMES = 65536  # 1.37 s at 48 kHz
_SLOTS = 4
_COUNTER = struct.Struct("=Q")


class Listening(NamedTuple):
    """The listening level, a gain 0..1."""

    level: float


class SoundMeters(NamedTuple):
    """What the rendering thread publishes once a block: Hz, m, gains 0..1, counts, flag, time (monotonic), s."""

    frequency: float
    distance: float
    volume: float
    peak: float
    rms: float
    blocks: float
    frames: float
    underruns: float
    late_blocks: float
    replaying: float
    time: float


class ProcessMeters(NamedTuple):
    """What the controlling thread publishes a few times a second: s, Hz, shares of a block's period, flags."""

    sounding: float
    sample_rate: float
    latency: float
    share_median: float
    share_worst: float
    muted: float
    recording: float
    recorded_frames: float
    gesture_latency: float


class Record:
    """Newest tuple of `count` floats in shared memory, without a lock.

    The writer fills the next of four slots and then moves the counter; every slot carries its number and a
    CRC-32, so a reader on any processor, whatever order it sees the writes in, takes a whole record or keeps
    its last one.
    """

    def __init__(self, memory: memoryview, count: int) -> None:
        self._memory = memory
        self._layout = struct.Struct(f"=Q{count}d")
        self._slot_size = self._layout.size + _COUNTER.size
        self._written = 0
        self._read = 0
        self._last: tuple[float, ...] | None = None

    @staticmethod
    def size(count: int) -> int:
        """Bytes a record of `count` floats takes."""
        return _COUNTER.size + _SLOTS * (8 * (count + 1) + _COUNTER.size)

    def write(self, values: tuple[float, ...]) -> None:
        """Publish `values`."""
        self._written += 1
        start = _COUNTER.size + (self._written % _SLOTS) * self._slot_size
        body = self._layout.pack(self._written, *values)
        self._memory[start : start + self._slot_size] = body + _COUNTER.pack(crc32(body))
        _COUNTER.pack_into(self._memory, 0, self._written)

    def read(self) -> tuple[float, ...] | None:
        """The newest whole record; None while nothing was written."""
        for _ in range(_SLOTS):
            newest = _COUNTER.unpack_from(self._memory, 0)[0]
            if newest == self._read:
                break
            start = _COUNTER.size + (newest % _SLOTS) * self._slot_size
            slot = bytes(self._memory[start : start + self._slot_size])
            body = slot[: -_COUNTER.size]
            if crc32(body) == _COUNTER.unpack(slot[-_COUNTER.size :])[0]:
                self._last = self._layout.unpack(body)[1:]
                self._read = newest
                break
        return self._last


class SampleRing:
    """The last output samples, float32; one writer. A copy that the writer overtook is taken again."""

    def __init__(self, memory: memoryview, frames: int) -> None:
        self._counter = memory[: _COUNTER.size]
        self._samples: NDArray[np.float32] = np.frombuffer(memory[_COUNTER.size :], np.float32, frames)
        self._frames = frames
        self._total = 0

    @staticmethod
    def size(frames: int) -> int:
        """Bytes a ring of `frames` samples takes."""
        return _COUNTER.size + 4 * frames

    def write(self, block: NDArray[np.float32]) -> None:
        """Append `block` (at most half the ring)."""
        start = self._total % self._frames
        first = min(block.size, self._frames - start)
        self._samples[start : start + first] = block[:first]
        if first < block.size:
            self._samples[: block.size - first] = block[first:]
        self._total += block.size
        _COUNTER.pack_into(self._counter, 0, self._total)

    def read(self, frames: int) -> NDArray[np.float32]:
        """The newest `frames` samples (at most half the ring), fewer while fewer exist."""
        count = min(frames, self._frames // 2)
        for _ in range(4):
            total = _COUNTER.unpack_from(self._counter, 0)[0]
            wanted = np.arange(max(0, total - count), total) % self._frames
            copy: NDArray[np.float32] = self._samples[wanted]
            if _COUNTER.unpack_from(self._counter, 0)[0] - (total - wanted.size) <= self._frames:
                break
        return copy


class LiveLink:
    """One shared memory block: `hand` and `listening` are written by the window's side, `sound`, `process`, `samples`
    and `played` by the audio side.

    The creator unlinks it on `close`; if the creator dies, Python's resource tracker does.
    """

    def __init__(self, memory: SharedMemory, owner: bool) -> None:
        self._shared = memory
        self._owner = owner
        self._views: list[memoryview] = []
        whole = memoryview(cast(memoryview, memory.buf))
        self._views.append(whole)
        start = 0

        def room(size: int) -> memoryview:
            nonlocal start
            view = whole[start : start + size]
            self._views.append(view)
            start += -(-size // 64) * 64
            return view

        self.hand = EventRing(room(EventRing.size()))
        self.listening = Record(room(Record.size(len(Listening._fields))), len(Listening._fields))
        self.sound = Record(room(Record.size(len(SoundMeters._fields))), len(SoundMeters._fields))
        self.process = Record(room(Record.size(len(ProcessMeters._fields))), len(ProcessMeters._fields))
        self.samples = SampleRing(room(SampleRing.size(RING_FRAMES)), RING_FRAMES)
        self.played = HandMemory(room(HandMemory.size()))

    @classmethod
    def create(cls) -> Self:
        """A new block with nothing in it."""
        records = (len(Listening._fields), len(SoundMeters._fields), len(ProcessMeters._fields))
        sizes = [Record.size(count) for count in records]
        sizes += [EventRing.size(), SampleRing.size(RING_FRAMES), HandMemory.size()]
        memory = SharedMemory(create=True, size=sum(size + 64 for size in sizes))
        return cls(memory, owner=True)

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
