"""Recording while playing: blocks go through a queue to a thread that streams them into an audio file."""

from __future__ import annotations

import threading
from contextlib import ExitStack, suppress
from functools import partial
from pathlib import Path
from queue import SimpleQueue
from typing import TYPE_CHECKING

from models.arrays import Floats
from models.quick_dataclass import dataclass
from synth.files.plain_text import counted

if TYPE_CHECKING:
    from synth.sound.audio_file import AudioWriter


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
        return text if self.clipped == 0 else f"{text}, {counted(self.clipped, 'sample')} clipped"


def prepare_recorder() -> None:
    """Import what recording needs before the sound starts: an import holds the interpreter for longer than a block."""
    with suppress(ImportError, OSError):  # a missing library is told when a recording is asked for
        import soundfile  # noqa: F401

        import synth.sound.audio_file  # noqa: F401


class Recorder:
    """Writes the blocks it is handed to a new file: 24-bit WAV, or FLAC by the name's ending.

    The file appears under its name when the recording is finished, also where the disk is full or refuses: then with
    what was written until then. Where a WAV can hold no more (`largest`, bytes; by default its 4 GiB), the recording
    goes on in a second file, NAME-2.wav. Raises DesignError or DeviceError where the file exists or cannot be made.
    """

    def __init__(
        self, path: Path, sample_rate: int, title: str = "", comment: str = "", largest: int | None = None
    ) -> None:
        from synth.sound.audio_file import LARGEST_WAV, AudioWriter

        self._path = path
        self._queue: SimpleQueue[Floats | None] = SimpleQueue()
        self._error: str | None = None
        self._make = partial(
            AudioWriter,
            sample_rate=sample_rate,
            title=title,
            comment=comment,
            kept=True,
            largest=largest or LARGEST_WAV,
        )
        self._parts: list[AudioWriter] = []
        self._open = ExitStack()
        self._begin(path)
        self._thread = threading.Thread(target=self._write_blocks, name="recording", daemon=True)
        self._thread.start()

    @property
    def frames(self) -> int:
        """Frames written so far."""
        return sum(part.frames for part in self._parts)

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
        error = self._error
        if error is not None and self.frames > 0:
            error = f"{error}; what was recorded until then is in {self._path.name}"
        return Recording(self._path, self.frames, sum(part.clipped for part in self._parts), error)

    def _begin(self, path: Path) -> None:
        self._parts.append(self._open.enter_context(self._make(path)))

    def _write_blocks(self) -> None:
        try:
            with self._open:
                while (block := self._queue.get()) is not None:
                    if not self._parts[-1].has_room(self._parts[-1].frames + block.size):
                        self._open.close()
                        self._begin(self._path.with_stem(f"{self._path.stem}-{len(self._parts) + 1}"))
                    self._parts[-1].write(block)
        except Exception as error:  # a full disk, a vanished folder: the player is told, the sound goes on
            self._error = str(error)
