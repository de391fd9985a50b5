"""Timed hand events on their way from the window's process to the audio process: a ring in shared memory without a
lock.

One process writes, one thread of another reads. Every slot carries its number and a CRC-32, so that the reader takes
a whole event or none, whatever order it sees the writes in.
"""

from __future__ import annotations

import struct
from typing import NamedTuple
from zlib import crc32

SLOTS = 1024  # two seconds of a pointer read 500 times a second
MOST_BEHIND = 128  # events: a reader that was away for longer goes on from here
_COUNTER = struct.Struct("=Q")
_BODY = struct.Struct("=Q3d")
_SLOT_SIZE = _BODY.size + _COUNTER.size


class HandEvent(NamedTuple):
    """The hands at a moment: time (time.monotonic), s; distance, m; volume, gain 0..1."""

    time: float
    distance: float
    volume: float


class EventRing:
    """The last `SLOTS` hand events. Write from one process, read from one thread."""

    def __init__(self, memory: memoryview) -> None:
        self._memory = memory
        self._written = 0
        self._taken = 0
        self._last_time = 0.0

    @staticmethod
    def size() -> int:
        """Bytes the ring takes."""
        return _COUNTER.size + SLOTS * _SLOT_SIZE

    def write(self, event: HandEvent) -> None:
        """Append an event; a time stamp before that of the last event counts as the last one's."""
        self._last_time = max(self._last_time, event.time)
        self._written += 1
        body = _BODY.pack(self._written, self._last_time, event.distance, event.volume)
        start = _COUNTER.size + (self._written % SLOTS) * _SLOT_SIZE
        self._memory[start : start + _SLOT_SIZE] = body + _COUNTER.pack(crc32(body))
        _COUNTER.pack_into(self._memory, 0, self._written)

    def begin_at_newest(self) -> None:
        """Let the next `take` give the newest event there is."""
        self._taken = max(self._newest() - 1, 0)

    def take(self) -> HandEvent | None:
        """The next event not yet taken; None while there is none, or while it is being written."""
        newest = self._newest()
        if newest <= self._taken:
            return None
        wanted = max(self._taken + 1, newest - MOST_BEHIND + 1)
        start = _COUNTER.size + (wanted % SLOTS) * _SLOT_SIZE
        slot = bytes(self._memory[start : start + _SLOT_SIZE])
        number, time, distance, volume = _BODY.unpack_from(slot)
        if number != wanted or crc32(slot[: _BODY.size]) != _COUNTER.unpack_from(slot, _BODY.size)[0]:
            return None
        self._taken = wanted
        return HandEvent(time, distance, volume)

    def _newest(self) -> int:
        return int(_COUNTER.unpack_from(self._memory, 0)[0])
