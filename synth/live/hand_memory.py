"""The hands of the last minutes, in shared memory: about a thousand rows a second, kept for the take.

A row stands for every `row_step`-th sample, so that a hand path read from it fits the remembered sound to the sample.
"""

from __future__ import annotations

import struct

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ROWS_A_SECOND = 1000.0
TAKE_SECONDS = 300.0  # s that can be kept
SPARE_SECONDS = 20.0  # s more than that are remembered, so that a take can be copied while the sound goes on
ROWS = round(1.03 * ROWS_A_SECOND * (TAKE_SECONDS + SPARE_SECONDS))  # a row step is rounded to whole samples
_COUNTER = struct.Struct("=Q")


def row_step(sample_rate: float) -> int:
    """Samples from row to row at `sample_rate`, Hz."""
    return max(1, round(sample_rate / ROWS_A_SECOND))


class HandMemory:
    """The last `ROWS` rows of distance (m) and volume (0..1). One thread writes; a copy is checked by the reader."""

    def __init__(self, memory: memoryview) -> None:
        self._counter = memory[: _COUNTER.size]
        self._rows: Floats = np.frombuffer(memory[_COUNTER.size :], np.float64, 2 * ROWS).reshape(ROWS, 2)
        self._total = 0

    @staticmethod
    def size() -> int:
        """Bytes the memory takes."""
        return _COUNTER.size + 16 * ROWS

    def prepare(self) -> None:
        """Touch all of it once, before the sound starts: the system hands out memory page by page on first use."""
        self._rows.fill(0.0)

    @property
    def total(self) -> int:
        """Rows written so far."""
        return int(_COUNTER.unpack_from(self._counter, 0)[0])

    def write(self, distances: Floats, volumes: Floats) -> None:
        """Append rows, both (n,)."""
        done = 0
        while done < distances.size:
            start = self._total % ROWS
            count = min(distances.size - done, ROWS - start)
            self._rows[start : start + count, 0] = distances[done : done + count]
            self._rows[start : start + count, 1] = volumes[done : done + count]
            self._total += count
            done += count
        _COUNTER.pack_into(self._counter, 0, self._total)

    def read(self, first: int, count: int) -> tuple[int, Floats]:
        """(number of the first row, copy (n, 2)): `count` rows from `first` on, fewer where they are gone."""
        total = self.total
        first = max(first, total - ROWS, 0)
        last = min(first + count, total)
        copy: Floats = self._rows[np.arange(first, max(first, last)) % ROWS]
        overwritten = max(0, self.total - ROWS - first)
        return first + overwritten, copy[overwritten:]
