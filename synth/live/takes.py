"""The window's side of the take: what is remembered, the last path played, and takes on their way to their files."""

from __future__ import annotations

from pathlib import Path

from synth.hands.hand_path import HandPath
from synth.live.hand_memory import ROWS, TAKE_SECONDS, HandMemory, row_step
from synth.live.take import Kept, Span, last_played, path_of
from synth.live.trace_writer import TraceWriter

NOTHING = "There is no take to keep yet: play first."
SHORTEST = 1.0  # s played after a replay that count as a take of their own
MARGIN = 0.1  # s a replay may take to begin
LOST = "the audio process ended before the take was written"


class Takes:
    """Reads the remembered hand of a sound of `sample_rate`, Hz; `kept` holds the takes kept, or refused, so far."""

    def __init__(self) -> None:
        self.kept: list[Kept] = []
        self._writers: dict[Path, TraceWriter] = {}
        self._since = 0
        self._replayed: HandPath | None = None

    def begin(self) -> None:
        """The memory is a new one."""
        self._since = 0

    def replay(self, memory: HandMemory, sample_rate: int, path: HandPath | None) -> None:
        """A path is played again from now on, or (None) no more: it is no new take."""
        if path is None:
            self._since = min(self._since, memory.total)
            return
        self._replayed = path
        self._since = memory.total + round((path.duration + MARGIN) / _row_time(sample_rate))

    def seconds(self, memory: HandMemory, sample_rate: int) -> float:
        """How much is remembered, s."""
        return min(TAKE_SECONDS, memory.total * _row_time(sample_rate))

    def last(self, memory: HandMemory, sample_rate: int) -> HandPath | None:
        """The hand path since the last take kept or the last silence of two seconds; None where nothing sounded.

        The replayed path where hardly anything was played since.
        """
        row_time = _row_time(sample_rate)
        _, rows = memory.read(max(self._since, memory.total - round(TAKE_SECONDS / row_time)), ROWS)
        played = last_played(rows, row_time)
        if self._replayed is not None and played.shape[0] * row_time < SHORTEST:
            return self._replayed
        return path_of(played, row_time) if played.shape[0] > 1 else None

    def keep(self, memory: HandMemory | None, sample_rate: int, path: Path) -> Span | None:
        """Take the hand out for the WAV `path`; return what sound belongs to it, None if there is nothing to keep."""
        trace = path.with_suffix(".csv")
        if memory is None or memory.total < 2:
            self.kept.append(Kept(path, trace, 0.0, NOTHING))
            return None
        row_time, step, total = _row_time(sample_rate), row_step(sample_rate), memory.total
        first, rows = memory.read(total - round(TAKE_SECONDS / row_time), ROWS)
        rows = rows[: total - first]
        if path in self._writers:
            self.kept.append(Kept(path, trace, 0.0, f"{path} is being written already"))
            return None
        self._writers[path] = TraceWriter(trace, rows, row_time)
        self._since, self._replayed = total, None
        return Span(path, first * step, (rows.shape[0] - 1) * step + 1)

    def sound_written(self, path: Path, error: str | None) -> None:
        """The sound of a take is in its file, or could not be written: its hand follows, or is given up."""
        self._writers[path].decide(error)

    def collect(self, lost: bool, wait: bool) -> None:
        """Move the finished ones to `kept`; where the sound is `lost`, give up those that wait for it."""
        for path, writer in tuple(self._writers.items()):
            if lost:
                writer.decide(LOST)
            if wait:
                writer.join()
            if writer.kept is not None:
                del self._writers[path]
                self.kept.append(writer.kept)


def kept_notice(kept: Kept) -> str:
    """What to tell the player of a take."""
    return kept.error or f"Kept the last {kept.seconds:.1f} s: {kept.path.name} and {kept.trace.name}"


def _row_time(sample_rate: int) -> float:
    return row_step(sample_rate) / sample_rate
