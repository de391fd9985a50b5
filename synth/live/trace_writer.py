"""The hand's half of a kept take: a CSV written by the window's process once the sound's half is on the disk."""

from __future__ import annotations

import threading
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from synth.live.take import Kept, path_of

Floats = NDArray[np.float64]


class TraceWriter:
    """Holds the rows (n, 2) of a take, `row_time` s apart, until `decide` says what became of its sound."""

    def __init__(self, trace: Path, rows: Floats, row_time: float) -> None:
        self._trace = trace
        self._rows = rows
        self._row_time = row_time
        self._thread: threading.Thread | None = None
        self.kept: Kept | None = None

    def decide(self, error: str | None) -> None:
        """Write the trace in a thread of its own, or give it up with the sound. Only the first call counts."""
        if self._thread is not None or self.kept is not None:
            return
        if error is not None:
            self.kept = self._result(error)
            return
        self._thread = threading.Thread(target=self._run, name="keeping a hand path")
        self._thread.start()

    def join(self) -> None:
        """Wait for the end."""
        if self._thread is not None:
            self._thread.join()

    def _run(self) -> None:
        from synth.hands.trace_file import save_trace

        try:
            save_trace(path_of(self._rows, self._row_time), self._trace)
        except Exception as error:  # a full disk, an existing file: the player is told
            self.kept = self._result(str(error))
        else:
            self.kept = self._result(None)

    def _result(self, error: str | None) -> Kept:
        seconds = (self._rows.shape[0] - 1) * self._row_time
        return Kept(self._trace.with_suffix(".wav"), self._trace, seconds, error)
