"""Recording while playing: blocks go through a queue to a thread that streams them into an audio file."""

from __future__ import annotations

import threading
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

from models.arrays import Floats


@dataclass(frozen=True, slots=True)
class Recording:
    """A finished recording: its file, frames, clipped samples, and the error text when it failed."""

    path: Path
    frames: int
    clipped: int
    error: str | None = None

    def notice(self, sample_rate: int) -> str:
        """What to tell the player; `sample_rate`, Hz."""
        if self.error is not None:
            return self.error
        text = f"Recorded {self.path.name}, {self.frames / sample_rate:.1f} s"
        return text if self.clipped == 0 else f"{text}, {self.clipped} samples clipped"


def prepare_recorder() -> None:
    """Import what recording needs before the sound starts: an import holds the interpreter for longer than a block."""
    with suppress(ImportError, OSError):  # a missing library is told when a recording is asked for
        import soundfile  # noqa: F401

        import synth.sound.audio_file  # noqa: F401


class Recorder:
    """Writes the blocks it is handed to a new file: 24-bit WAV, or FLAC by the name's ending.

    Raises DesignError or DeviceError where the file exists or cannot be made. The file appears under its name
    when the recording is finished.
    """

    def __init__(self, path: Path, sample_rate: int, title: str = "", comment: str = "") -> None:
        from synth.sound.audio_file import AudioWriter

        self._path = path
        self._queue: SimpleQueue[Floats | None] = SimpleQueue()
        self._error: str | None = None
        self._open = ExitStack()
        self._writer = self._open.enter_context(AudioWriter(path, sample_rate, title=title, comment=comment))
        self._thread = threading.Thread(target=self._write_blocks, name="recording", daemon=True)
        self._thread.start()

    @property
    def frames(self) -> int:
        """Frames written so far."""
        return self._writer.frames

    def put(self, block: Floats) -> None:
        """Queue a block; it returns at once. After a failure blocks are dropped."""
        if self._error is None:
            self._queue.put(block)

    @property
    def failed(self) -> bool:
        """True once a block could not be written."""
        return self._error is not None

    def finish(self) -> Recording:
        """Write what is queued, close the file and say what it holds."""
        self._queue.put(None)
        self._thread.join()
        return Recording(self._path, self._writer.frames, self._writer.clipped, self._error)

    def _write_blocks(self) -> None:
        try:
            with self._open:
                while (block := self._queue.get()) is not None:
                    self._writer.write(block)
        except Exception as error:  # a full disk, a vanished folder: the player is told, the sound goes on
            self._error = str(error)
