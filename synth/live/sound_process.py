"""The audio process seen from the window's side: started, told what to do, read, ended, its memory given back."""

from __future__ import annotations

import multiprocessing
from collections.abc import Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING, Any

from synth.live.link import LiveLink
from synth.live.sound_device import Latency

if TYPE_CHECKING:
    from synth.sound.source import Source


@dataclass(frozen=True, slots=True)
class SoundSettings:
    """Start values: device, latency ("low", "high" or s), sample rate (Hz), tags of recordings."""

    device: str | int | None
    latency: Latency
    sample_rate: int
    title: str = ""
    comment: str = ""


class SoundProcess:
    """One audio process with its pipe and the memory shared with it (`link`, which may be written before `start`).

    Nothing here knows what a message means: `synth/live/live_sound.py` and `synth/live/audio_process.py` do. Once
    `close` was called the object is done with.
    """

    def __init__(self, source: Source, settings: SoundSettings) -> None:
        context = multiprocessing.get_context("spawn")
        self.link = LiveLink.create()
        self._pipe, self._theirs = context.Pipe()
        self._process = context.Process(
            target=_run,
            args=(self.link.name, self._theirs, source, settings),
            name="beatfield sound",
            daemon=True,
        )

    def start(self) -> None:
        """Start it; where that fails, give pipe and memory back and raise what happened."""
        try:
            self._process.start()
        except BaseException:
            self._release()
            raise
        finally:
            self._theirs.close()

    @property
    def pid(self) -> int | None:
        """Its number in the operating system."""
        return self._process.pid

    @property
    def alive(self) -> bool:
        """Whether it runs."""
        return self._process.is_alive()

    @property
    def fault(self) -> int | None:
        """The exit code of a process that ended unasked; None of one that lives or ended as it should."""
        return None if self._process.is_alive() or self._process.exitcode == 0 else self._process.exitcode

    def tell(self, kind: str, value: object) -> bool:
        """Send a message; False where the process is gone."""
        try:
            self._pipe.send((kind, value))
        except OSError:
            return False
        return True

    def messages(self, timeout: float) -> Iterator[tuple[str, Any]]:
        """What it has sent, as (kind, value), waiting at most `timeout` s for the first."""
        try:
            while self._pipe.poll(timeout):
                yield self._pipe.recv()
                timeout = 0.0
        except (EOFError, OSError):
            self._process.join(0.1)

    def join(self) -> None:
        """Wait for its end, killing it first where it still runs; its last messages can still be read."""
        if self._process.is_alive():
            self._process.kill()
        self._process.join()

    def close(self) -> None:
        """Give process, pipe and memory back; only after `join`."""
        self._process.close()
        self._release()

    def _release(self) -> None:
        self._pipe.close()
        self.link.close()


def _run(name: str, pipe: Connection, source: Source, settings: SoundSettings) -> None:
    """Body of the process. Only there what renders is imported."""
    from synth.live.audio_process import run_audio_process

    run_audio_process(name, pipe, source, settings)
