"""The speaker as the window sees it: it starts the audio process, passes the hand on, reads its meters."""

from __future__ import annotations

import multiprocessing
import time
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from numpy.typing import NDArray

from models.checks import fraction, non_negative
from synth.errors import DeviceError
from synth.live.audio_process import SoundSettings, run_audio_process
from synth.live.link import Hand, LiveLink
from synth.live.meters import Meters, no_meters, read_meters
from synth.live.recorder import Recording
from synth.live.sound_device import Latency, OutputDevice, list_devices

if TYPE_CHECKING:
    from models.instrument import Instrument

__all__ = ["Meters", "OutputDevice", "Recording", "Speaker", "list_devices", "measure", "safe_level"]

SAFE_PEAK_DB = -20.0  # dBFS, the loudest the instrument gets before the player raises the listening level
START_TIMEOUT = 30.0  # s for the audio process to import, build the voice and open the device
STOP_TIMEOUT = 8.0  # s


def safe_level(instrument: Instrument) -> float:
    """Listening level (gain, at most 1) at which full volume peaks at `SAFE_PEAK_DB`."""
    safe_peak = 10.0 ** (SAFE_PEAK_DB / 20.0)
    return 1.0 if instrument.level <= safe_peak else float(safe_peak / instrument.level)


class Speaker:
    """Live sound of one instrument, in a process of its own.

    Use it as a context manager, or call `start` and `stop`. Nothing here raises for want of a sound device:
    the voice then runs silently and `device_error` holds the reason and the remedy. `level` is the listening
    level, a gain after the voice; it starts at `safe_level` and does not change recordings. `latency` is
    "low", "high" or a wish in s. `title` and `comment` (the design's name and hash) go into recordings.
    """

    def __init__(
        self,
        instrument: Instrument,
        device: str | int | None = None,
        latency: Latency = "low",
        sample_rate: int = 48000,
        title: str = "",
        comment: str = "",
    ) -> None:
        if isinstance(latency, str) and latency not in ("low", "high"):
            raise ValueError(f"latency must be low, high or a time in s; got {latency!r}")
        if isinstance(sample_rate, bool) or not 8000 <= sample_rate <= 192_000:
            raise ValueError(f"sample_rate must be between 8000 and 192000 Hz; got {sample_rate}")
        self._instrument = instrument
        self._settings = SoundSettings(device, latency, int(sample_rate), title, comment)
        self._hand = Hand(float(instrument.curve.farthest), 0.0, safe_level(instrument), 0.0)
        self._process: BaseProcess | None = None
        self._pipe: Any = None
        self._link: LiveLink | None = None
        self._ready = False
        self._last: Meters = no_meters(int(sample_rate))
        self._recorded: list[Recording] = []
        self._recording_to: Path | None = None
        self._device_error: str | None = None
        self._failure: str | None = None
        self._notice: str | None = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def start(self, wait: bool = True) -> None:
        """Start the audio process; with `wait` return when it is ready. DeviceError if it does not start."""
        if self._process is not None:
            return
        context = multiprocessing.get_context("spawn")
        self._link = LiveLink.create()
        self._pipe, theirs = context.Pipe()
        self._publish()
        self._process = context.Process(
            target=run_audio_process,
            args=(self._link.name, theirs, self._instrument, self._settings),
            name="beatfield sound",
            daemon=True,
        )
        try:
            self._process.start()
        except BaseException:
            self._process = None
            self._release()
            raise
        finally:
            theirs.close()
        if wait:
            self.wait_ready()

    def wait_ready(self, timeout: float = START_TIMEOUT) -> None:
        """Wait until the audio process renders; DeviceError if it failed or took over `timeout` s."""
        deadline = time.monotonic() + timeout
        while not self._ready:
            if self._failure is None and time.monotonic() > deadline:
                self._failure = f"The audio process was not ready after {timeout:.0f} s"
            self.poll(0.05)
            if self._failure is not None:
                text = self._failure
                self.stop()
                raise DeviceError(text)

    def stop(self) -> None:
        """Fade out, finish a recording, end the audio process and give the shared memory back."""
        process = self._process
        if process is None:
            return
        self._tell("stop", None)
        deadline = time.monotonic() + STOP_TIMEOUT
        while process.is_alive() and time.monotonic() < deadline:
            self.poll(0.02)
        if process.is_alive():
            process.kill()
        process.join()
        self.poll(0.0)
        self._last = self.meters()
        self._process = None
        process.close()
        self._release()

    def _release(self) -> None:
        if self._pipe is not None:
            self._pipe.close()
            self._pipe = None
        if self._link is not None:
            self._link.close()
            self._link = None

    @property
    def device_error(self) -> str | None:
        """Why there is no sound, with the remedy; None while a device plays."""
        self.poll(0.0)
        return self._failure or self._device_error

    @property
    def notice(self) -> str | None:
        """The newest message about a recording, for the status line."""
        self.poll(0.0)
        return self._notice

    @property
    def recording_to(self) -> Path | None:
        """The file being recorded; None again once it is finished or was refused."""
        self.poll(0.0)
        return self._recording_to

    @property
    def recordings(self) -> tuple[Recording, ...]:
        """The recordings finished (or refused: see their `error`) so far."""
        self.poll(0.0)
        return tuple(self._recorded)

    @property
    def level(self) -> float:
        """The listening level, a gain of 0..1 on top of the instrument's own level."""
        return self._hand.level

    def move(self, distance: float, volume: float) -> None:
        """Move the hand: distance, m (the voice keeps it within the computed field), and volume, 0..1."""
        distance, volume = non_negative("distance", distance), fraction("volume", volume)
        self._hand = self._hand._replace(distance=distance, volume=volume)
        self._publish()

    def set_level(self, level: float) -> None:
        """Set the listening level, gain 0..1."""
        self._hand = self._hand._replace(level=fraction("level", level))
        self._publish()

    def mute(self, muted: bool) -> None:
        """Fade the voice out (True) or in (False) within 8 ms."""
        self._tell("mute", bool(muted))

    def set_instrument(self, instrument: Instrument) -> None:
        """Play another instrument from now on, without a click."""
        self._instrument = instrument
        self._tell("instrument", instrument)

    def record(self, path: Path | str | None) -> None:
        """Record to a new file, .wav or .flac; None ends the recording (see `recordings` soon after)."""
        if path is not None:
            self._recording_to = Path(path).absolute()
            self._tell("record", self._recording_to)
        elif self._recording_to is not None:
            self._tell("record", None)

    def recent(self, frames: int) -> NDArray[np.float32]:
        """The newest `frames` output samples (at most some 0.7 s at 48 kHz); fewer just after the start."""
        return np.zeros(0, np.float32) if self._link is None else self._link.samples.read(frames)

    def meters(self) -> Meters:
        """The newest meters; after `stop` the last ones."""
        link, process = self._link, self._process
        if link is None or process is None:
            return self._last
        return read_meters(link, process.is_alive(), self._settings.sample_rate)

    def poll(self, timeout: float = 0.0) -> None:
        """Take what the audio process has sent, waiting at most `timeout` s for the first message."""
        process = self._process
        if process is None or self._pipe is None:
            return
        try:
            while self._pipe.poll(timeout):
                self._take(*self._pipe.recv())
                timeout = 0.0
        except (EOFError, OSError):
            process.join(0.1)
        if self._failure is None and not process.is_alive() and process.exitcode != 0:
            self._failure = (
                f"Sound lost: the audio process ended unexpectedly (exit code {process.exitcode}). "
                "Close the window and start again."
            )

    def _take(self, kind: str, value: Any) -> None:
        if kind == "ready":
            self._ready = True
        elif kind == "device":
            self._device_error = value
        elif kind == "failed":
            self._failure = value
        elif kind == "recorded":
            self._recorded.append(value)
            if value.path == self._recording_to:
                self._recording_to = None
            self._notice = _recording_notice(value, self.meters().sample_rate)

    def _publish(self) -> None:
        if self._link is not None:
            self._link.hand.write(self._hand._replace(time=time.monotonic()))

    def _tell(self, kind: str, value: object) -> None:
        if self._pipe is None:
            return
        try:
            self._pipe.send((kind, value))
        except OSError:  # the audio process is gone; `poll` says so
            self.poll(0.0)


def measure(
    instrument: Instrument,
    seconds: float = 2.0,
    device: str | int | None = None,
    latency: Latency = "low",
) -> tuple[Meters, str | None]:
    """Run the speaker at listening level 0 for `seconds`; return its meters and the device error."""
    speaker = Speaker(instrument, device=device, latency=latency)
    speaker.set_level(0.0)
    with speaker:
        speaker.move(0.5 * (instrument.curve.nearest + instrument.curve.farthest), 1.0)
        time.sleep(seconds)
        return speaker.meters(), speaker.device_error


def _recording_notice(recording: Recording, sample_rate: int) -> str:
    if recording.error is not None:
        return recording.error
    text = f"Recorded {recording.path.name}, {recording.frames / sample_rate:.1f} s"
    return text if recording.clipped == 0 else f"{text}, {recording.clipped} samples clipped"
