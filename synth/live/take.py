"""The take: the last minutes of sound and hand, remembered while playing and kept when asked for.

The sound lies in the audio process, as recordings take it (before the listening level, drone included); the hand lies
in shared memory (`synth/live/hand_memory.py`).
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from synth.errors import DeviceError
from synth.hands.hand_path import HandPath
from synth.live.hand_memory import SPARE_SECONDS, TAKE_SECONDS

Floats = NDArray[np.float64]

NEAREST = 1e-4  # m: a path holds distances above 0; the computed field begins beyond this
SILENCE = 1e-4  # volume below which the hand is silent, -80 dB
SILENT_TIME = 2.0  # s of silence that end a take


class Span(NamedTuple):
    """What to keep: the WAV's path, its first frame and the number of frames, counted from the start of the sound."""

    path: Path
    first: int
    frames: int


@dataclass(frozen=True, slots=True)
class Kept:
    """A take that was kept: sound and hand files and length, s; `error` says why there is none."""

    path: Path
    trace: Path
    seconds: float
    error: str | None = None


class SoundMemory:
    """The last samples, float32; one thread writes. All of it is allocated and touched at the start."""

    def __init__(self, sample_rate: int) -> None:
        self._samples = np.empty(round((TAKE_SECONDS + SPARE_SECONDS) * sample_rate), np.float32)
        self._samples.fill(0.0)
        self._total = 0

    def write(self, block: Floats) -> None:
        """Append a block."""
        size = self._samples.size
        start = self._total % size
        first = min(block.size, size - start)
        self._samples[start : start + first] = block[:first]
        if first < block.size:
            self._samples[: block.size - first] = block[first:]
        self._total += block.size

    def read(self, first: int, count: int) -> NDArray[np.float32]:
        """A copy of samples `first` .. `first + count - 1`; DeviceError where they are gone, or not there yet."""
        size = self._samples.size
        start = first % size
        copy = np.empty(count, np.float32)
        head = min(count, size - start)
        copy[:head] = self._samples[start : start + head]
        copy[head:] = self._samples[: count - head]
        if first < self._total - size or first + count > self._total:
            raise DeviceError("the take could not be kept: writing fell behind the sound; choose a faster disk")
        return copy


class Keeper:
    """Writes a span of the remembered sound to a new WAV in a thread of its own, then calls `done(path, error)`."""

    def __init__(
        self,
        memory: SoundMemory,
        span: Span,
        sample_rate: int,
        title: str,
        comment: str,
        done: Callable[[Path, str | None], None],
    ) -> None:
        self._memory, self._span, self._rate = memory, span, sample_rate
        self._title, self._comment = title, comment
        self._done = done
        self._thread = threading.Thread(target=self._run, name="keeping a take", daemon=True)
        self._thread.start()

    def join(self, timeout: float | None = None) -> None:
        """Wait for the end."""
        self._thread.join(timeout)

    def _run(self) -> None:
        try:
            self._write()
        except Exception as error:  # a full disk, an existing file, no sound library: the player is told
            self._done(self._span.path, str(error))
        else:
            self._done(self._span.path, None)

    def _write(self) -> None:
        from synth.sound.audio_file import AudioWriter

        end = self._span.first + self._span.frames
        with AudioWriter(self._span.path, self._rate, title=self._title, comment=self._comment) as writer:
            for first in range(self._span.first, end, self._rate // 4):
                writer.write(self._memory.read(first, min(self._rate // 4, end - first)))


def path_of(rows: Floats, row_time: float) -> HandPath:
    """The hand path of rows (n, 2) of distance and volume that lie `row_time` s apart, n >= 1.

    Rows on a straight line between their neighbours are left out, at most a thousand in a row: bends of less than 1e-14
    from row to row then add up to some 1e-9 at most.
    """
    distances: Floats = np.maximum(rows[:, 0], NEAREST)
    volumes: Floats = np.clip(rows[:, 1], 0.0, 1.0)
    needed = np.ones(distances.size, bool)
    needed[1:-1] = (np.abs(np.diff(distances, 2)) > 1e-14) | (np.abs(np.diff(volumes, 2)) > 1e-14)
    needed[::1000] = True
    places = np.flatnonzero(needed)
    return HandPath(np.asarray(places * row_time), distances[places], volumes[places])


def last_played(rows: Floats, row_time: float) -> Floats:
    """The rows since the last silence of `SILENT_TIME`, without silence at the end; empty if nothing sounded."""
    sounding = np.flatnonzero(rows[:, 1] > SILENCE)
    if sounding.size == 0:
        return rows[:0]
    pauses = np.flatnonzero(np.diff(sounding) > SILENT_TIME / row_time)
    first = sounding[0] if pauses.size == 0 else sounding[pauses[-1] + 1]
    return rows[max(first - 1, 0) : sounding[-1] + 2]
