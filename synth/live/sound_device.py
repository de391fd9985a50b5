"""The way to PortAudio: library, output devices and output stream, with errors that say the remedy; and a silent clock
in place of a stream.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Any, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from models.quick_dataclass import dataclass
from synth.errors import DeviceError

Latency = float | str
LOW_FRAMES = 512
LONGEST_DELAY = 10.0  # s; a stream that says more does not tell the time
SILENT_PERIOD = 0.01  # s, length of a block without a device

LIBRARY_REMEDY = (
    "No sound: the PortAudio library was not found. Debian and Ubuntu: sudo apt install libportaudio2. "
    "On macOS and Windows it comes with the sounddevice package: pip install --force-reinstall sounddevice."
)
DEVICE_REMEDY = "Connect or enable one, then look for it with: beatfield devices"
STREAM_REMEDY = "Choose another output from `beatfield devices` with --device, or try --latency high"


class RenderBlock(Protocol):
    """What makes the sound: frames, whether sound was lost before them, time until they leave the device, s."""

    def __call__(
        self, frames: int, underrun: bool = False, output_delay: float | None = None, /
    ) -> NDArray[np.float32]: ...


@dataclass(frozen=True, slots=True)
class OutputDevice:
    """One sound output: index, name, host interface, channels, usual sample rate, Hz, low latency, s."""

    index: int
    name: str
    host: str
    channels: int
    sample_rate: float
    low_latency: float
    is_default: bool


def portaudio() -> Any:
    """The sounddevice module; raises DeviceError with the remedy where the library is missing."""
    try:
        import sounddevice
    except (OSError, ImportError) as error:
        raise DeviceError(f"{LIBRARY_REMEDY} ({error})") from error
    return sounddevice


def list_devices() -> tuple[OutputDevice, ...]:
    """Every device with an output, in PortAudio's order. Raises DeviceError without PortAudio."""
    sound = portaudio()
    hosts = sound.query_hostapis()
    default = sound.default.device[1]
    return tuple(
        OutputDevice(
            index=index,
            name=str(entry["name"]),
            host=str(hosts[entry["hostapi"]]["name"]),
            channels=int(entry["max_output_channels"]),
            sample_rate=float(entry["default_samplerate"]),
            low_latency=float(entry["default_low_output_latency"]),
            is_default=index == default,
        )
        for index, entry in enumerate(sound.query_devices())
        if entry["max_output_channels"] > 0
    )


def device_number(device: str | int | None) -> str | int | None:
    """A device as sounddevice takes it: an index, a part of the name, or None for the default."""
    if isinstance(device, str) and device.strip().isdecimal():
        return int(device)
    return device


class Output(NamedTuple):
    """What to open: device, channels (1 or 2), a sample rate it accepts, Hz, and the wish for latency."""

    device: str | int | None
    channels: int
    sample_rate: int
    latency: Latency


def choose_output(device: str | int | None, sample_rate: int, latency: Latency) -> Output:
    """The output to open: at `sample_rate` or, where the device refuses it, at its usual one.

    "low" is the device's low latency, but at least 512 frames: below that every program that is busy for a moment
    is heard. A time in s is passed on as it is. Raises DeviceError where there is no such output.
    """
    sound = portaudio()
    wanted = device_number(device)
    try:
        entry = sound.query_devices(wanted, "output")
        channels = min(2, int(entry["max_output_channels"]))
    except (ValueError, sound.PortAudioError) as error:
        text = f"No sound: {_name(device)} was not found ({_reason(error)}). {DEVICE_REMEDY}"
        raise DeviceError(text) from error
    try:
        sound.check_output_settings(wanted, channels, "float32", samplerate=sample_rate)
    except (ValueError, sound.PortAudioError):
        sample_rate = round(float(entry["default_samplerate"]))
    if latency == "low":
        latency = max(float(entry["default_low_output_latency"]), LOW_FRAMES / sample_rate)
    return Output(wanted, channels, sample_rate, latency)


def output_delay(times: Any) -> float | None:
    """Time from now to the first sample of the block at the device's output, s, from PortAudio's time structure.

    None where the host does not tell it (times of 0, or none at all).
    """
    if times is None:
        return None
    now, output = float(times.currentTime), float(times.outputBufferDacTime)
    if now <= 0.0 or output <= 0.0 or not 0.0 <= output - now <= LONGEST_DELAY:
        return None
    return output - now


class OutputStream:
    """A running float32 output stream of PortAudio's own block size; every channel gets the same sound."""

    def __init__(
        self,
        render: RenderBlock,
        output: Output,
        ended: Callable[[], None],
    ) -> None:
        sound = portaudio()
        self.failure: str | None = None

        def callback(outdata: NDArray[np.float32], frames: int, times: Any, status: Any) -> None:
            try:
                outdata[:] = render(frames, bool(status.output_underflow), output_delay(times))[:, np.newaxis]
            except Exception as error:
                outdata.fill(0.0)
                self.failure = f"{type(error).__name__}: {error}"
                raise sound.CallbackAbort from error

        try:
            self._stream = sound.OutputStream(
                samplerate=output.sample_rate,
                blocksize=0,
                device=output.device,
                channels=output.channels,
                dtype="float32",
                latency=output.latency,
                callback=callback,
                finished_callback=ended,
            )
            self._stream.start()
        except (ValueError, sound.PortAudioError) as error:
            text = f"No sound: {_name(output.device)} refused the stream ({_reason(error)}). {STREAM_REMEDY}"
            raise DeviceError(text) from error

    @property
    def latency(self) -> float:
        """Output latency PortAudio reports, s."""
        return float(self._stream.latency)

    def close(self, at_once: bool = False) -> None:
        """Stop after the queued blocks have sounded (or at once), and close."""
        self._stream.abort() if at_once else self._stream.stop()
        self._stream.close()


class SilentClock:
    """Rendering at the pace of real time without a device, so that meters move and recording works.

    It calls `render` every 10 ms for as many frames as real time has moved on, in a thread of its own.
    """

    latency = 0.0

    def __init__(self, render: RenderBlock, sample_rate: int) -> None:
        self._render = render
        self._rate = sample_rate
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="silent clock", daemon=True)
        self._thread.start()

    def _run(self) -> None:
        started, rendered = time.monotonic(), 0
        while not self._stopping.wait(SILENT_PERIOD):
            due = int((time.monotonic() - started) * self._rate) - rendered
            frames = min(due, self._rate // 10)  # after a sleep of the machine there is nothing to catch up
            if frames > 0:
                self._render(frames, False)
            rendered += due

    def close(self, at_once: bool = False) -> None:
        """Stop."""
        self._stopping.set()
        self._thread.join()


def _name(device: str | int | None) -> str:
    return "the default sound output" if device is None else f"sound output {device!r}"


def _reason(error: Exception) -> str:
    return str(error.args[0]) if error.args else type(error).__name__
