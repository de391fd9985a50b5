"""Live sound as the window sees it: it passes the hand on to the audio process and says what has become of it."""

from __future__ import annotations

from collections.abc import Callable
from time import monotonic, sleep
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from numpy.typing import NDArray

from models.checks import finite, fraction, non_negative
from synth.errors import DeviceError
from synth.live.link import HandEvent, Listening, LiveLink
from synth.live.meters import Meters, no_meters, read_meters
from synth.live.sound_device import Latency
from synth.live.sound_process import SoundProcess, SoundSettings

if TYPE_CHECKING:
    from models.instrument import Instrument
    from synth.sound.source import Source

SAFE_PEAK_DB = -20.0  # dBFS, the loudest a source gets before the player raises the listening level
START_TIMEOUT = 30.0  # s for the audio process to import, build the voice and open the device
STOP_TIMEOUT = 8.0  # s
MEASURED_AGAIN = 0.2  # s between two looks at a sound that is measured
RESTART_TIMEOUT = 2.0  # s an audio process that lives has to end before it is killed for another


def safe_level(source: Source | Instrument) -> float:
    """Listening level (gain, at most 1) at which full volume peaks at `SAFE_PEAK_DB`."""
    safe_peak = 10.0 ** (SAFE_PEAK_DB / 20.0)
    return 1.0 if source.level <= safe_peak else float(safe_peak / source.level)


class LiveSound:
    """Live sound of one source after another, in a process of its own.

    Use it as a context manager, or call `start` and `stop`. Nothing here raises for want of a sound device:
    the voice then runs silently and `device_error` holds the reason and the remedy. `level` is the listening
    level, a gain after the voice; it starts at `safe_level` and does not change recordings. `latency` is
    "low", "high" or a wish in s. `title` and `comment` (the design's name and hash) go into recordings. `process`: one
    that was started ahead, for the first start.
    """

    def __init__(
        self,
        source: Source,
        device: str | int | None = None,
        latency: Latency = "low",
        sample_rate: int = 48000,
        title: str = "",
        comment: str = "",
        process: SoundProcess | None = None,
    ) -> None:
        if isinstance(latency, str) and latency not in ("low", "high"):
            raise ValueError(f"latency must be low, high or a time in s; got {latency!r}")
        if isinstance(sample_rate, bool) or not 8000 <= sample_rate <= 192_000:
            raise ValueError(f"sample_rate must be between 8000 and 192000 Hz; got {sample_rate}")
        self._source = source
        self._settings = SoundSettings(device, latency, int(sample_rate), title, comment)
        self._hand = HandEvent(0.0, source.resting, 0.0)
        self._level = safe_level(source)
        self._lasting: dict[str, object] = {}  # what a new audio process has to be told again
        self._process: SoundProcess | None = None
        self._ahead = process
        self._ready = False
        self._last: Meters = no_meters(int(sample_rate))
        self._device_error: str | None = None
        self._failure: str | None = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def start(self, wait: bool = True) -> None:
        """Start the audio process; with `wait` return when it is ready. DeviceError if it does not start."""
        if self._process is not None:
            return
        self._process = process = self._ahead or SoundProcess()
        self._ahead = None
        self._publish_level()
        self._publish_hand(monotonic())
        try:
            process.begin(self._source, self._settings)
        except BaseException:
            self._process = None
            raise
        if wait:
            self.wait_ready()

    def wait_ready(self, timeout: float = START_TIMEOUT) -> None:
        """Wait until the audio process renders; DeviceError if it failed or took over `timeout` s."""
        deadline = monotonic() + timeout
        while not self._ready:
            if self._failure is None and monotonic() > deadline:
                self._failure = f"The audio process was not ready after {timeout:.0f} s"
            self.poll(0.05)
            if self._failure is not None:
                text = self._failure
                self.stop()
                raise DeviceError(text)

    def stop(self) -> None:
        """Fade out, finish a recording, end the audio process and give the shared memory back."""
        self._end(STOP_TIMEOUT)

    def restart(self, wait: bool = True) -> None:
        """Start the sound anew, after the device has vanished or the audio process has died, as it was set last.

        With `wait` return when it is ready (DeviceError if it does not start); otherwise `poll`, or any property, takes
        note.
        """
        self._end(RESTART_TIMEOUT)
        self._ready = False
        self._failure = self._device_error = None
        self.start(wait=False)
        for kind, value in self._lasting.items():
            self._tell(kind, value)
        if wait:
            self.wait_ready()

    def _end(self, timeout: float) -> None:
        process = self._process
        if process is None:
            return
        self._tell("stop", None)
        deadline = monotonic() + timeout
        while process.alive and monotonic() < deadline:
            self.poll(0.02)
        process.join()
        self.poll(0.0)
        self._last = self.meters()
        self._process = None
        process.close()

    @property
    def _link(self) -> LiveLink | None:
        return None if self._process is None else self._process.link

    @property
    def device_error(self) -> str | None:
        """Why there is no sound, with the remedy; None while a device plays."""
        self.poll(0.0)
        return self._failure or self._device_error

    @property
    def process_id(self) -> int | None:
        """The audio process's number in the operating system; None while there is none."""
        return None if self._process is None else self._process.pid

    @property
    def memory_name(self) -> str:
        """Name of the shared memory, for a reader of its own (`LiveLink.attach`); empty while there is none."""
        return "" if self._link is None else self._link.name

    @property
    def level(self) -> float:
        """The listening level, a gain of 0..1 on top of the instrument's own level."""
        return self._level

    def move(self, distance: float, volume: float, time: float | None = None) -> None:
        """Move the hand: distance, m (the voice keeps it within the computed field), and volume, 0..1.

        `time`: when it was there (time.monotonic, s), by default now; a later moment counts as now. The sound follows
        linearly from time stamp to time stamp, some milliseconds behind; after the newest it stays.
        """
        distance, volume = non_negative("distance", distance), fraction("volume", volume)
        now = monotonic()
        moment = now if time is None else min(finite("time", time), now)
        self._hand = HandEvent(moment, distance, volume)
        self._publish_hand(moment)

    def set_level(self, level: float) -> None:
        """Set the listening level, gain 0..1."""
        self._level = fraction("level", level)
        self._publish_level()

    def mute(self, muted: bool) -> None:
        """Fade everything out (True) or in (False) within 30 ms, the voice within 8 ms."""
        self._tell_lasting("mute", bool(muted))

    def change(self, source: Source) -> None:
        """Play another source from now on, without a click."""
        self._source = source
        self._tell("source", source)

    def recent(self, frames: int) -> NDArray[np.float32]:
        """The newest `frames` output samples (at most some 0.7 s at 48 kHz); fewer just after the start."""
        return np.zeros(0, np.float32) if self._link is None else self._link.samples.newest(frames)

    def meters(self) -> Meters:
        """The newest meters; after `stop` the last ones."""
        process = self._process
        if process is None:
            return self._last
        return read_meters(process.link, process.alive, self._settings.sample_rate)

    def poll(self, timeout: float = 0.0) -> None:
        """Take what the audio process has sent, waiting at most `timeout` s for the first message."""
        process = self._process
        if process is None:
            return
        for kind, value in process.messages(timeout):
            self._take(kind, value)
        if self._failure is None and process.fault is not None:
            self._failure = (
                f"Sound lost: the audio process ended unexpectedly (exit code {process.fault}). "
                "Press the key shown to restart."
            )

    def _take(self, kind: str, value: Any) -> None:
        """Take note of one message."""
        if kind == "ready":
            self._ready = True
        elif kind == "device":
            self._device_error = value
        elif kind == "failed":
            self._failure = value

    def _publish_hand(self, moment: float) -> None:
        if self._link is not None:
            self._link.hand.write(self._hand._replace(time=moment))

    def _publish_level(self) -> None:
        if self._link is not None:
            self._link.listening.write(Listening(self._level))

    def _tell(self, kind: str, value: object) -> None:
        if self._process is not None and not self._process.tell(kind, value):
            self.poll(0.0)  # it is gone: says so

    def _tell_lasting(self, kind: str, value: object) -> None:
        """Tell what stands until it is told otherwise, also after a restart."""
        self._lasting[kind] = value
        self._tell(kind, value)


def measure(
    source: Source,
    seconds: float = 2.0,
    device: str | int | None = None,
    latency: Latency = "low",
    progress: Callable[[float], None] = lambda share: None,
) -> tuple[Meters, str | None]:
    """Run a source at listening level 0 for `seconds`; return the meters and the device error.

    progress: hears the share of the time that is over.
    """
    sound = LiveSound(source, device=device, latency=latency)
    sound.set_level(0.0)
    with sound:
        sound.move(0.5 * source.resting, 1.0)
        begin = monotonic()
        while (gone := monotonic() - begin) < seconds:
            progress(gone / seconds)
            sleep(min(MEASURED_AGAIN, seconds - gone))
        return sound.meters(), sound.device_error
