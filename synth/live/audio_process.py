"""The audio process: it owns the voice and the stream, follows messages from the window's process and
publishes meters.

It is a process of its own because a drawing loop in the same interpreter holds the lock the callback needs.
It ends when it is told to or when the window's process has died; a recording is finished properly in both
cases.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from multiprocessing import parent_process
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from synth.errors import DeviceError, InstrumentError
from synth.live.link import LiveLink
from synth.live.meters import ProcessMeters, as_record
from synth.live.process_tuning import prepare_process, real_time_threads, settle_memory
from synth.live.recorder import Recorder, Recording, prepare_recorder
from synth.live.renderer import FADE_TIME, Renderer, prepare_sound
from synth.live.sound_device import STREAM_REMEDY, Output, OutputStream, SilentClock, choose_output, portaudio
from synth.live.sound_process import SoundSettings
from synth.live.take import Span, keep_sound

if TYPE_CHECKING:
    from synth.sound.source import Source

REPORT_PERIOD = 0.25  # s between two looks at the stream; messages wake it. Every look may hold a block up
RUN_IN = 0.1  # s a stream runs silently until its buffers have found their pace
STALL_TIME = 2.0  # s without a block after which a stream counts as lost


class AudioProcess:
    """The stream (or the silent clock), the renderer and the conversation with the window's process."""

    def __init__(self, link: LiveLink, pipe: Connection, source: Source, settings: SoundSettings) -> None:
        self._link = link
        self._pipe = pipe
        self._source = source
        self._settings = settings
        self._rate = settings.sample_rate
        self._muted = False
        self._stopping = False
        self._lost = threading.Event()
        self._output: OutputStream | SilentClock | None = None
        self._abandoned = False
        self._commands: dict[str, Callable[[Any], None]] = {}  # none until the voice is built
        self._keepers: list[threading.Thread] = []
        self._sending = threading.Lock()
        self._progress = (0, 0.0)

    def run(self) -> None:
        """Start the sound, then follow messages until told to stop or the other process is gone."""
        self._start()
        time.sleep(RUN_IN)
        self._renderer.gate.set(True)
        self._report()
        self._pipe.send(("ready", self._rate))
        parent = parent_process()
        watched: list[Any] = [self._pipe] + ([parent.sentinel] if parent is not None else [])
        while not self._stopping:
            ready = wait(watched, timeout=REPORT_PERIOD)
            if parent is not None and parent.sentinel in ready:
                break
            if self._pipe in ready and not self._follow():
                break
            self._watch_stream()
            recorder = self._renderer.recorder
            if recorder is not None and recorder.failed:
                self.finish_recording()
            self._report()
        self._wind_up()

    def stop(self) -> None:
        """Let `run` come to its end."""
        self._stopping = True

    def _start(self) -> None:
        try:
            settings = self._settings
            output = choose_output(settings.device, settings.sample_rate, settings.latency)
        except DeviceError as error:
            self._build()
            self._run_silently(str(error))
            return
        self._rate = output.sample_rate
        self._build()
        try:
            self._open_stream(output)
        except DeviceError as error:
            self._run_silently(str(error))

    def _build(self) -> None:
        self._renderer = Renderer(self._source, self._rate, self._link)
        hand = self._renderer.hand
        self._commands = {
            "stop": lambda _: self.stop(),
            "mute": self._mute,
            "source": self._renderer.change,
            "replay": hand.replay,
            "tremor": lambda wanted: hand.tremble(*wanted),
            "drone": lambda wanted: self._renderer.drone.set(*wanted),
            "target": lambda wanted: self._renderer.target.set(*wanted),
            "keep": self._keep,
            "record": self._record,
        }
        self._renderer.warm_up()
        settle_memory()

    def _open_stream(self, output: Output) -> None:
        def render(frames: int, underrun: bool = False, delay: float | None = None, /) -> NDArray[np.float32]:
            if self._abandoned:
                return np.zeros(frames, np.float32)
            return self._renderer.render(frames, underrun, delay)

        with real_time_threads():
            stream = OutputStream(render, output, ended=self._lost.set)
        self._output = stream
        self._progress = (0, time.monotonic())

    def _run_silently(self, reason: str) -> None:
        self.send("device", reason)
        self._output = SilentClock(self._renderer.render, self._rate)

    def _watch_stream(self) -> None:
        """Fall back to the silent clock when the device has gone or asks for no more blocks."""
        stream = self._output
        if not isinstance(stream, OutputStream):
            return
        blocks, since = self._progress
        now = time.monotonic()
        if self._renderer.blocks != blocks:
            self._progress = (self._renderer.blocks, now)
        stalled = self._renderer.blocks == blocks and now - since > STALL_TIME
        if not (self._lost.is_set() or stalled):
            return
        if stream.failure is not None:
            raise RuntimeError(f"the voice failed: {stream.failure}")
        self._abandoned = True
        closing = threading.Thread(target=stream.close, args=(True,), daemon=True)  # a dead device may never answer
        closing.start()
        closing.join(1.0)
        reason = "asks for no more sound" if stalled else "ended the stream"
        self._run_silently(f"Sound lost: the output {reason}. Press the key shown to restart. {STREAM_REMEDY}.")

    def _follow(self) -> bool:
        """Act on what has come; False when the other side has hung up. Of several sources only the last counts: a
        slider sends instruments faster than some can be built.
        """
        try:
            messages = [self._pipe.recv()]
            while self._pipe.poll():
                messages.append(self._pipe.recv())
        except (EOFError, OSError):
            return False
        last = max((place for place, (kind, _) in enumerate(messages) if kind == "source"), default=-1)
        for place, (kind, value) in enumerate(messages):
            if kind != "source" or place == last:
                self._commands[kind](value)
        return True

    def _mute(self, muted: bool) -> None:
        self._muted = muted
        self._renderer.mute(muted)

    def _keep(self, span: Span) -> None:
        settings = self._settings
        keeper = keep_sound(
            self._renderer.memory,
            span,
            self._rate,
            settings.title,
            settings.comment,
            done=lambda path, error: self.send("kept", (path, error)),
        )
        self._keepers.append(keeper)

    def _record(self, path: Path | None) -> None:
        self.finish_recording()
        if path is None:
            return
        try:
            recorder = Recorder(path, self._rate, self._settings.title, self._settings.comment)
        except (InstrumentError, ImportError, OSError) as error:  # an existing file, no rights: the player is told
            self.send("recorded", Recording(path, 0, 0, str(error)))
        else:
            self._renderer.record_with(recorder)

    def finish_files(self) -> None:
        """Close a running recording and wait for the takes that are being written."""
        if self._commands:
            self.finish_recording()
        for keeper in self._keepers:
            keeper.join()

    def finish_recording(self) -> None:
        """Close a running recording and tell of it."""
        recorder = self._renderer.recorder
        self._renderer.record_with(None)
        if recorder is not None:
            self.send("recorded", recorder.finish())

    def _report(self) -> None:
        shares = self._renderer.shares[: max(1, self._renderer.blocks)]
        recorder = self._renderer.recorder
        meters = ProcessMeters(
            sounding=isinstance(self._output, OutputStream),
            sample_rate=self._rate,
            latency=self._output.latency if self._output is not None else 0.0,
            share_median=float(np.median(shares)),
            share_worst=float(shares.max()),
            muted=self._muted,
            recording=recorder is not None,
            recorded_frames=recorder.frames if recorder is not None else 0,
            gesture_latency=self._renderer.latency.median(time.monotonic()),
        )
        self._link.process.write(as_record(meters))

    def send(self, kind: str, value: object) -> None:
        """Tell the window's side."""
        try:
            with self._sending:  # a take is kept in a thread of its own
                self._pipe.send((kind, value))
        except OSError:  # the other side is gone; what has to be finished is finished all the same
            return

    def _wind_up(self) -> None:
        """Fade out, let the queued blocks sound, finish the recording."""
        self._renderer.gate.set(False)
        deadline = time.monotonic() + 20 * FADE_TIME + 1.0
        while not self._renderer.gate.closed and time.monotonic() < deadline:
            time.sleep(FADE_TIME / 4)
        self.finish_files()
        if self._output is not None:
            closing = threading.Thread(target=self._output.close, daemon=True)
            closing.start()
            closing.join(2.0)
        self._report()


def run_audio_process(pipe: Connection) -> None:
    """Body of the spawned process: it makes everything ready, then waits to be told what to play."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the window's business; it sends "stop"
    prepare_process()
    prepare_recorder()
    prepare_sound()
    with suppress(DeviceError):  # is told when the stream is to be opened
        portaudio()
    try:
        _, (name, source, settings) = pipe.recv()
    except (EOFError, OSError):  # the other side gave it up
        return
    link = LiveLink.attach(name)
    process = AudioProcess(link, pipe, source, settings)
    for name in ("SIGTERM", "SIGHUP"):  # a closed terminal ends every process of the group: recordings are finished
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), lambda *_: process.stop())
    status = 0
    try:
        process.run()
    except Exception as error:
        process.finish_files()
        process.send("failed", f"The audio process stopped: {error}")
        status = 1
    finally:
        pipe.close()
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(status)  # a device that hangs must not hold the process; the memory is removed by its creator
