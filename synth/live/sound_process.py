"""The audio process seen from the window's side: started, told what to do, read, ended, its memory given back."""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cached_property
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING, Any, Self

from models.quick_dataclass import dataclass

if TYPE_CHECKING:
    from synth.live.link import LiveLink
    from synth.live.sound_device import Latency
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
    """One audio process with its pipe and the memory shared with it (`link`, which may be written before `begin`).

    It may be started long before it is told what to play (`begin`): its interpreter and its libraries take as long to
    be there as a design and a window, and nothing of those is imported here. Nothing here knows what a message means:
    `synth/live/live_sound.py` and `synth/live/audio_process.py` do. Once `close` was called the object is done with.
    As a context manager it is ended on leaving where nobody has taken it over by `begin`.
    """

    def __init__(self) -> None:
        context = multiprocessing.get_context("spawn")
        self._pipe, self._theirs = context.Pipe()
        self._process = context.Process(target=_run, args=(self._theirs,), name="beatfield sound", daemon=True)
        self._started = self._begun = False

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        if not self._begun:
            self.join()
            self.close()

    @cached_property
    def link(self) -> LiveLink:
        """The memory shared with it."""
        from synth.live.link import LiveLink

        return LiveLink.create()

    def start(self) -> None:
        """Start it; it waits for `begin`. Where that fails, give pipe and memory back and raise what happened."""
        self._started = True
        try:
            with no_interrupt():
                self._process.start()
        except BaseException:
            self._release()
            raise
        finally:
            self._theirs.close()

    def begin(self, source: Source, settings: SoundSettings) -> None:
        """Let it play, starting it where it is not yet; where it does not start, raise what happened."""
        self._begun = True
        if not self._started:
            self.start()
        try:
            self.tell("begin", (self.link.name, source, settings))
        except BaseException:  # what cannot be sent
            self.join()
            self.close()
            raise

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
        if "link" in vars(self):
            self.link.close()


@contextmanager
def no_interrupt() -> Iterator[None]:
    """A process started meanwhile never hears Ctrl-C, not even before its first line; here it is heard afterwards."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, (signal.SIGINT,))
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _run(pipe: Connection) -> None:
    """Body of the process. Only there what renders is imported."""
    from synth.live.audio_process import run_audio_process

    run_audio_process(pipe)
