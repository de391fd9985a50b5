"""The way in: what a sound input hears, kept for some seconds and then forgotten; errors that say the remedy."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.arrays import Floats
from models.quick_dataclass import dataclass
from synth.errors import DeviceError
from synth.live.sound_device import device_number, portaudio

KEPT = 3.0  # s of sound
WANTED_RATE = 48000.0  # Hz
INPUT_REMEDY = (
    "Connect or enable a microphone or line input, allow programs to use it, then look for it with: beatfield devices. "
    "A recording made elsewhere can be read too: beatfield listen FILE.wav"
)


@dataclass(frozen=True, slots=True)
class InputDevice:
    """One sound input: index, name, host interface, channels, usual sample rate, Hz."""

    index: int
    name: str
    host: str
    channels: int
    sample_rate: float
    is_default: bool


def list_inputs() -> tuple[InputDevice, ...]:
    """Every device with an input, in PortAudio's order. Raises DeviceError without PortAudio."""
    sound = portaudio()
    hosts = sound.query_hostapis()
    default = sound.default.device[0]
    return tuple(
        InputDevice(
            index=index,
            name=str(entry["name"]),
            host=str(hosts[entry["hostapi"]]["name"]),
            channels=int(entry["max_input_channels"]),
            sample_rate=float(entry["default_samplerate"]),
            is_default=index == default,
        )
        for index, entry in enumerate(sound.query_devices())
        if entry["max_input_channels"] > 0
    )


def choose_input(device: str | int | None) -> InputDevice:
    """The input `device` (index, part of the name, or None for the default), at WANTED_RATE where it takes that.

    Raises DeviceError where there is none.
    """
    sound = portaudio()
    try:
        wanted = sound.query_devices(device_number(device), "input")
    except (ValueError, sound.PortAudioError) as error:
        named = "a sound input" if device is None else f"sound input {device!r}"
        raise DeviceError(f"Nothing to listen with: {named} was not found ({error}). {INPUT_REMEDY}") from error
    (chosen,) = (one for one in list_inputs() if one.index == wanted["index"])
    try:
        sound.check_input_settings(chosen.index, min(2, chosen.channels), "float32", samplerate=WANTED_RATE)
    except (ValueError, sound.PortAudioError):
        return chosen
    return replace(chosen, sample_rate=WANTED_RATE)


class SoundInput:
    """Hears the input from its making to `close`, as one channel, and keeps the last KEPT seconds in memory alone.

    `each`: is given every block too (for a recording that was asked for). Raises DeviceError where it cannot be opened.
    """

    def __init__(self, device: InputDevice, each: Callable[[Floats], None] | None = None) -> None:
        sound = portaudio()
        self.sample_rate = round(device.sample_rate)
        self.lost = 0
        self._ring = np.zeros(round(KEPT * self.sample_rate))
        self._heard = 0
        self._lock = threading.Lock()
        self._each = each

        def callback(block: NDArray[np.float32], frames: int, times: Any, status: Any) -> None:
            self.lost += bool(status.input_overflow)
            self._take(block.mean(axis=1, dtype=np.float64))

        try:
            self._stream = sound.InputStream(
                samplerate=self.sample_rate,
                device=device.index,
                channels=min(2, device.channels),
                dtype="float32",
                latency="high",
                callback=callback,
            )
            self._stream.start()
        except (ValueError, sound.PortAudioError) as error:
            raise DeviceError(f"Nothing to listen with: {device.name} refused ({error}). {INPUT_REMEDY}") from error

    def _take(self, block: Floats) -> None:
        with self._lock:
            block = block[-self._ring.size :]
            places = (self._heard + np.arange(block.size)) % self._ring.size
            self._ring[places] = block
            self._heard += block.size
        if self._each is not None:
            self._each(block)

    def latest(self, seconds: float) -> Floats:
        """The last `seconds` of sound, or what there is of them, (n,)."""
        with self._lock:
            count = min(round(seconds * self.sample_rate), self._heard, self._ring.size)
            return np.asarray(self._ring[(self._heard - count + np.arange(count)) % self._ring.size])

    @property
    def running(self) -> bool:
        """Whether sound still comes in."""
        return bool(self._stream.active)

    def close(self) -> None:
        """Stop listening."""
        self._stream.abort()
        self._stream.close()
