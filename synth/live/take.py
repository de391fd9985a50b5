"""The take: the last minutes of sound and hand, remembered while playing and kept as two files when asked for.

The sound lies in the audio process, as recordings take it (before the listening level, drone included), and is written
there (`keep_sound`). The hand lies in shared memory (`LiveLink.played`); the window's process writes it (`Takes`) once
the sound is on the disk, so that text is never made where the sound has to be in time.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import numpy as np

from models.arrays import Floats
from models.quick_dataclass import dataclass
from synth.errors import DeviceError
from synth.hands.hand_path import HandPath
from synth.live.link import ROWS, TAKE_SECONDS, RowRing, row_step

NEAREST = 1e-4  # m: a path holds distances above 0; the computed field begins beyond this
SILENCE = 1e-4  # volume below which the hand is silent, -80 dB
SILENT_TIME = 2.0  # s of silence that end a take
SHORTEST = 1.0  # s played after a replay that count as a take of their own
MARGIN = 0.1  # s a replay may take to begin
NOTHING = "There is no take to keep yet: play first."
LOST = "the audio process ended before the take was written"


class Span(NamedTuple):
    """What sound to keep: the WAV's path, its first frame and how many, counted from the start of the sound."""

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

    @property
    def notice(self) -> str:
        """What to tell the player."""
        return self.error or f"Kept the last {self.seconds:.1f} s: {self.path.name} and {self.trace.name}"


def keep_sound(
    memory: RowRing, span: Span, sample_rate: int, title: str, comment: str, done: Callable[[Path, str | None], None]
) -> threading.Thread:
    """Write a span of the remembered sound to a new WAV in a thread of its own, which then calls `done(path, error)`.

    Returns the started thread.
    """

    def write() -> None:
        from synth.sound.audio_file import AudioWriter

        end, piece = span.first + span.frames, sample_rate // 4
        with AudioWriter(span.path, sample_rate, title=title, comment=comment) as writer:
            for first in range(span.first, end, piece):
                count = min(piece, end - first)
                found, samples = memory.read(first, count)
                if found != first or samples.shape[1] != count:
                    raise DeviceError("the take could not be kept: writing fell behind the sound; choose a faster disk")
                writer.write(samples[0])

    def run() -> None:
        try:
            write()
        except Exception as error:  # a full disk, an existing file, no sound library: the player is told
            done(span.path, str(error))
        else:
            done(span.path, None)

    thread = threading.Thread(target=run, name="keeping a take", daemon=True)
    thread.start()
    return thread


class Takes:
    """The window's side: what is remembered, the last path played, and takes on their way to their files.

    `played` is the remembered hand of a sound of `sample_rate`, Hz; `kept` holds the takes kept, or refused, so far.
    """

    def __init__(self) -> None:
        self.kept: list[Kept] = []
        self._waiting: dict[Path, tuple[Floats, float]] = {}  # rows and their spacing, s, until the sound is written
        self._threads: list[threading.Thread] = []
        self._since = 0
        self._replayed: HandPath | None = None

    def begin(self) -> None:
        """The memory is a new one."""
        self._since = 0

    def replay(self, played: RowRing, sample_rate: int, path: HandPath | None) -> None:
        """A path is played again from now on, or (None) no more: it is no new take."""
        if path is None:
            self._since = min(self._since, played.total)
            return
        self._replayed = path
        self._since = played.total + round((path.duration + MARGIN) / _row_time(sample_rate))

    def seconds(self, played: RowRing, sample_rate: int) -> float:
        """How much is remembered, s."""
        return min(TAKE_SECONDS, played.total * _row_time(sample_rate))

    def last(self, played: RowRing, sample_rate: int) -> HandPath | None:
        """The hand path since the last take kept or the last silence of two seconds; None where nothing sounded.

        The replayed path where hardly anything was played since.
        """
        row_time = _row_time(sample_rate)
        _, rows = played.read(max(self._since, played.total - round(TAKE_SECONDS / row_time)), ROWS)
        sounding = last_played(rows, row_time)
        if self._replayed is not None and sounding.shape[1] * row_time < SHORTEST:
            return self._replayed
        return path_of(sounding, row_time) if sounding.shape[1] > 1 else None

    def keep(self, played: RowRing | None, sample_rate: int, path: Path) -> Span | None:
        """Take the hand out for the WAV `path`; return what sound belongs to it, None if there is nothing to keep."""
        if played is None or played.total < 2:
            self._finish(path, 0.0, NOTHING)
            return None
        if path in self._waiting:
            self._finish(path, 0.0, f"{path} is being written already")
            return None
        row_time, step, total = _row_time(sample_rate), row_step(sample_rate), played.total
        first, rows = played.read(total - round(TAKE_SECONDS / row_time), ROWS)
        rows = rows[:, : total - first]
        self._waiting[path] = rows, row_time
        self._since, self._replayed = total, None
        return Span(path, first * step, (rows.shape[1] - 1) * step + 1)

    def sound_written(self, path: Path, error: str | None) -> None:
        """The sound of a take is in its file, or could not be written: its hand follows, or is given up."""
        rows, row_time = self._waiting.pop(path)
        seconds = (rows.shape[1] - 1) * row_time
        if error is not None:
            self._finish(path, seconds, error)
            return

        def write() -> None:
            from synth.hands.trace_file import save_trace

            try:
                save_trace(path_of(rows, row_time), path.with_suffix(".csv"))
            except Exception as failure:  # a full disk, an existing file: the player is told
                self._finish(path, seconds, str(failure))
            else:
                self._finish(path, seconds, None)

        self._threads.append(threading.Thread(target=write, name="keeping a hand path"))
        self._threads[-1].start()

    def give_up(self) -> None:
        """No sound can follow any more: the takes that wait for theirs are lost."""
        for path in tuple(self._waiting):
            self.sound_written(path, LOST)

    def join(self) -> None:
        """Wait for the files that are being written."""
        for thread in self._threads:
            thread.join()

    def _finish(self, path: Path, seconds: float, error: str | None) -> None:
        self.kept.append(Kept(path, path.with_suffix(".csv"), seconds, error))


def path_of(rows: Floats, row_time: float) -> HandPath:
    """The hand path of distances and volumes (2, n) that lie `row_time` s apart, n >= 1.

    Rows on a straight line between their neighbours are left out, at most a thousand in a row: bends of less than 1e-14
    from row to row then add up to some 1e-9 at most.
    """
    distances: Floats = np.maximum(rows[0], NEAREST)
    volumes: Floats = np.clip(rows[1], 0.0, 1.0)
    needed = np.ones(distances.size, bool)
    needed[1:-1] = (np.abs(np.diff(distances, 2)) > 1e-14) | (np.abs(np.diff(volumes, 2)) > 1e-14)
    needed[::1000] = True
    places = np.flatnonzero(needed)
    return HandPath(np.asarray(places * row_time), distances[places], volumes[places])


def last_played(rows: Floats, row_time: float) -> Floats:
    """The rows (2, n) since the last silence of `SILENT_TIME`, without silence at the end; none if nothing sounded."""
    sounding = np.flatnonzero(rows[1] > SILENCE)
    if sounding.size == 0:
        return rows[:, :0]
    pauses = np.flatnonzero(np.diff(sounding) > SILENT_TIME / row_time)
    first = sounding[0] if pauses.size == 0 else sounding[pauses[-1] + 1]
    return rows[:, max(first - 1, 0) : sounding[-1] + 2]


def _row_time(sample_rate: int) -> float:
    return row_step(sample_rate) / sample_rate
