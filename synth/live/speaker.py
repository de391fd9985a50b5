"""The speaker as the window sees it: it passes the hand on to the audio process and says what has become of it."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from numpy.typing import NDArray

from models.checks import finite, fraction, non_negative, positive
from synth.errors import DeviceError
from synth.live.audio_process import SoundSettings
from synth.live.hand_events import HandEvent
from synth.live.link import Listening, LiveLink
from synth.live.meters import Meters, no_meters, read_meters
from synth.live.recorder import Recording, recording_notice
from synth.live.sound_device import Latency, OutputDevice, list_devices
from synth.live.sound_process import SoundProcess
from synth.live.take import Kept
from synth.live.takes import Takes, kept_notice

if TYPE_CHECKING:
    from models.instrument import Instrument
    from synth.hands.hand_path import HandPath

__all__ = ["Kept", "Meters", "OutputDevice", "Recording", "Speaker", "list_devices", "measure", "safe_level"]

SAFE_PEAK_DB = -20.0  # dBFS, the loudest the instrument gets before the player raises the listening level
START_TIMEOUT = 30.0  # s for the audio process to import, build the voice and open the device
STOP_TIMEOUT = 8.0  # s
RESTART_TIMEOUT = 2.0  # s an audio process that lives has to end before it is killed for another


def safe_level(instrument: Instrument) -> float:
    """Listening level (gain, at most 1) at which full volume peaks at `SAFE_PEAK_DB`."""
    safe_peak = 10.0 ** (SAFE_PEAK_DB / 20.0)
    return 1.0 if instrument.level <= safe_peak else float(safe_peak / instrument.level)


class Speaker:
    """Live sound of one instrument, in a process of its own.

    Use it as a context manager, or call `start` and `stop`. Nothing here raises for want of a sound device:
    the voice then runs silently and `device_error` holds the reason and the remedy. `level` is the listening
    level, a gain after the voice; it starts at `safe_level` and does not change recordings. `latency` is
    "low", "high" or a wish in s. `title` and `comment` (the design's name and hash) go into recordings. A `source`
    (picklable: sample rate -> renderer shaped like a Voice) sounds in place of the instrument's voice.
    """

    def __init__(
        self,
        instrument: Instrument,
        device: str | int | None = None,
        latency: Latency = "low",
        sample_rate: int = 48000,
        title: str = "",
        comment: str = "",
        source: Callable[[float], Any] | None = None,
    ) -> None:
        if isinstance(latency, str) and latency not in ("low", "high"):
            raise ValueError(f"latency must be low, high or a time in s; got {latency!r}")
        if isinstance(sample_rate, bool) or not 8000 <= sample_rate <= 192_000:
            raise ValueError(f"sample_rate must be between 8000 and 192000 Hz; got {sample_rate}")
        self._instrument = instrument
        self._settings = SoundSettings(device, latency, int(sample_rate), title, comment, source)
        self._hand = HandEvent(0.0, float(instrument.curve.farthest), 0.0)
        self._level = safe_level(instrument)
        self._muted = False
        self._tremor = (0.0, 1)
        self._drone: tuple[float | None, float] = (None, 0.0)
        self._process: SoundProcess | None = None
        self._ready = False
        self._last: Meters = no_meters(int(sample_rate))
        self._recorded: list[Recording] = []
        self._recording_to: Path | None = None
        self._device_error: str | None = None
        self._failure: str | None = None
        self._notice: str | None = None
        self._takes = Takes()
        self._told_takes = 0

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def start(self, wait: bool = True) -> None:
        """Start the audio process; with `wait` return when it is ready. DeviceError if it does not start."""
        if self._process is not None:
            return
        self._process = SoundProcess(self._instrument, self._settings)
        self._publish_level()
        self._publish_hand(time.monotonic())
        try:
            self._process.start()
        except BaseException:
            self._process = None
            raise
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
        self._end(STOP_TIMEOUT)

    def restart(self, wait: bool = True) -> None:
        """Start the sound anew, after the device has vanished or the audio process has died, as it was set last.

        With `wait` return when it is ready (DeviceError if it does not start); otherwise `poll`, or any property, takes
        note. A running recording is finished, if its process lives; the remembered take is given up: keep it before.
        """
        self._end(RESTART_TIMEOUT)
        self._ready = False
        self._takes.begin()
        self._failure = self._device_error = None
        self.start(wait=False)
        if self._muted:
            self._tell("mute", True)
        if self._tremor[0] > 0.0:
            self._tell("tremor", self._tremor)
        if self._drone[0] is not None:
            self._tell("drone", self._drone)
        if wait:
            self.wait_ready()

    def _end(self, timeout: float) -> None:
        process = self._process
        if process is None:
            return
        self._tell("stop", None)
        deadline = time.monotonic() + timeout
        while process.alive and time.monotonic() < deadline:
            self.poll(0.02)
        process.join()
        self.poll(0.0)
        self._last = self.meters()
        self._process = None
        process.close()
        self._note_takes(wait=True)
        self._give_up_recording()

    @property
    def _link(self) -> LiveLink | None:
        return None if self._process is None else self._process.link

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
        return self._level

    def move(self, distance: float, volume: float, time: float | None = None) -> None:
        """Move the hand: distance, m (the voice keeps it within the computed field), and volume, 0..1.

        `time`: when it was there (time.monotonic, s), by default now, which later moments count as. The sound follows
        linearly from time stamp to time stamp, some milliseconds behind; after the newest it stays.
        """
        distance, volume = non_negative("distance", distance), fraction("volume", volume)
        now = _monotonic()
        moment = now if time is None else min(finite("time", time), now)
        self._hand = HandEvent(moment, distance, volume)
        self._publish_hand(moment)

    def set_level(self, level: float) -> None:
        """Set the listening level, gain 0..1."""
        self._level = fraction("level", level)
        self._publish_level()

    def mute(self, muted: bool) -> None:
        """Fade voice and drone out (True) or in (False) within 30 ms, the voice within 8 ms."""
        self._muted = bool(muted)
        self._tell("mute", self._muted)

    def set_jitter(self, tremor_mm: float, seed: int) -> None:
        """Let the hand tremble by `tremor_mm`, mm, root mean square, as `seed` says; 0 holds it still."""
        if isinstance(seed, bool) or not isinstance(seed, int) or seed < 0:
            raise ValueError(f"seed must be a whole number >= 0; got {seed!r}")
        self._tremor = (1e-3 * non_negative("tremor_mm", tremor_mm), seed)
        self._tell("tremor", self._tremor)

    def set_drone(self, frequency: float | None, gain: float = 0.1) -> None:
        """Sound a steady tone of `frequency`, Hz, under the voice; None ends it. It fades within 30 ms either way.

        `gain`: its peak, of full scale, before the listening level. Recordings and takes hold it too.
        """
        wanted = None if frequency is None else positive("frequency", frequency)
        self._drone = (wanted, fraction("gain", gain))
        self._tell("drone", self._drone)

    def replay(self, path: HandPath | None) -> None:
        """Play a hand path from its beginning in place of the hand; None gives the hand back, as its end does.

        The meters tell its distance and volume meanwhile, and `replaying`.
        """
        if self._link is not None:
            self._takes.replay(self._link.played, self.meters().sample_rate, path)
        self._tell("replay", path)

    @property
    def kept_seconds(self) -> float:
        """How much sound and hand is remembered, s: what `keep` would write now, five minutes at most."""
        return 0.0 if self._link is None else self._takes.seconds(self._link.played, self.meters().sample_rate)

    @property
    def kept(self) -> tuple[Kept, ...]:
        """The takes kept (or refused: see their `error`) so far."""
        self.poll(0.0)
        return tuple(self._takes.kept)

    def keep(self, folder: Path | str, stem: str) -> Path:
        """Write the last five minutes, or what there is: STEM.wav and STEM.csv in `folder`; return the WAV's path.

        Sound as recordings have it (before the listening level, drone included); the hand as it moved (tremor and
        replayed paths included, silent where muted) in the columns `render --hand` reads. The files are new and
        appear whole, soon after: see `kept` and `notice`.
        """
        path = (Path(folder) / f"{stem}.wav").absolute()
        memory = None if self._link is None else self._link.played
        span = self._takes.keep(memory, self.meters().sample_rate, path)
        if span is not None:
            self._tell("keep", span)
        self._note_takes()
        return path

    def last_take(self) -> HandPath | None:
        """The hand path since the last `keep` or the last silence of two seconds; None where nothing sounded.

        A replay is no take: after one this is the replayed path, until a second or more was played.
        """
        return None if self._link is None else self._takes.last(self._link.played, self.meters().sample_rate)

    def set_instrument(self, instrument: Instrument) -> None:
        """Play another instrument from now on, without a click."""
        self._instrument = instrument
        self._tell("instrument", instrument)

    def set_source(self, source: Callable[[float], Any]) -> None:
        """Change to another source without a click; only for a speaker that was given one."""
        self._settings = replace(self._settings, source=source)
        self._tell("source", source)

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
            self._give_up_recording()
        self._note_takes()

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
            self._notice = recording_notice(value, self.meters().sample_rate)
        elif kind == "kept":
            self._takes.sound_written(*value)

    def _note_takes(self, wait: bool = False) -> None:
        """Take note of the takes whose files are written; without an audio process no sound can follow any more."""
        self._takes.collect(lost=self._process is None or self._failure is not None, wait=wait)
        if len(self._takes.kept) > self._told_takes:
            self._told_takes = len(self._takes.kept)
            self._notice = kept_notice(self._takes.kept[-1])

    def _give_up_recording(self) -> None:
        """After the end of the audio process: a recording it did not report is lost, and said to be."""
        path, self._recording_to = self._recording_to, None
        if path is not None:
            lost = Recording(path, 0, 0, f"The recording {path.name} was lost with the audio process.")
            self._recorded.append(lost)
            self._notice = lost.error

    def _publish_hand(self, moment: float) -> None:
        if self._link is not None:
            self._link.hand.write(self._hand._replace(time=moment))

    def _publish_level(self) -> None:
        if self._link is not None:
            self._link.listening.write(Listening(self._level))

    def _tell(self, kind: str, value: object) -> None:
        if self._process is not None and not self._process.tell(kind, value):
            self.poll(0.0)  # it is gone: says so


def _monotonic() -> float:
    return time.monotonic()


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
