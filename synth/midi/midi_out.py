"""The way to a MIDI output: what the hand plays goes out as notes and pitch bend while it sounds.

    with MidiOut("name of the port, or a part of it") as midi:      # None: the first port there is
        midi.play(time, frequency, volume)      # once a picture or oftener: s (time.monotonic), Hz, 0..1
    # or midi.close(): note off, all notes off

`play` never raises for a port that has gone: `failure` then holds the reason, and nothing more is sent. Muting is
volume 0. It must be called from one thread. `time` that goes back counts as standing still.

Ports come from mido's backends, in this order: rtmidi (the extra `beatfield[midi]`, which also offers ports of other
programs at once), then the one in pygame, which the window needs anyway.
"""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from typing import Any, Self

from synth.errors import DeviceError
from synth.libraries import libraries_quiet, require
from synth.midi.midi_messages import MidiLine, MidiSettings

BACKENDS = ("mido.backends.rtmidi", "mido.backends.pygame")
EXTRA = f"{sys.executable} -m pip install 'beatfield[midi]'"
NO_PORT = (
    "There is no MIDI output. Connect an instrument, or start a program that takes MIDI, then look for it with "
    f"`beatfield devices`. Ports of programs may need python-rtmidi: {EXTRA}"
)


def open_backend() -> Any:
    """The first of mido's backends that loads here and sees an output (else the first that loads).

    DeviceError with the remedy where none loads.
    """
    mido = require("mido", "MIDI output")
    os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
    usable, reasons = [], []
    for name in BACKENDS:
        try:
            with libraries_quiet():
                backend = mido.Backend(name, load=True)
                found = backend.get_output_names()
            if found:
                return backend
            usable.append(backend)
        except Exception as error:  # a missing library, a system without a sequencer: each backend has its own errors
            reasons.append(f"{name.rsplit('.', 1)[1]}: {error}")
    if not usable:
        raise DeviceError(f"MIDI output needs python-rtmidi: {EXTRA} ({'; '.join(reasons)})")
    return usable[0]


def list_midi_outputs() -> tuple[str, ...]:
    """Names of the MIDI outputs, in the system's order; DeviceError where MIDI cannot be had."""
    backend = open_backend()
    with libraries_quiet():
        return tuple(str(name) for name in backend.get_output_names())


def chosen_port(wanted: str | None, names: tuple[str, ...]) -> str:
    """The port named `wanted`, or the only one that holds it whatever its case; None takes the first. DeviceError."""
    if not names:
        raise DeviceError(NO_PORT)
    if wanted is None:
        return names[0]
    if wanted in names:
        return wanted
    found = [name for name in names if wanted.casefold() in name.casefold()]
    if len(found) == 1:
        return found[0]
    raise DeviceError(
        f"{'several MIDI outputs hold' if found else 'no MIDI output holds'} {wanted!r} in the name; "
        f"there are: {', '.join(found or names)}"
    )


class MidiOut:
    """A MIDI output that plays one voice. DeviceError where the port cannot be opened; see the module for its use."""

    def __init__(self, port_name: str | None = None, settings: MidiSettings | None = None, backend: Any = None) -> None:
        """`backend`: one of mido's, opened by the caller; None takes the first that works."""
        source = backend if backend is not None else open_backend()
        self.name = chosen_port(port_name, tuple(source.get_output_names()))
        try:
            self._port: Any = source.open_output(self.name)
        except Exception as error:  # every backend has its own errors
            raise DeviceError(f"MIDI output {self.name!r} cannot be opened: {error}") from error
        self.failure: str | None = None
        self._line = MidiLine(settings)
        self._last = float("-inf")
        self._send(self._line.opening())

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def play(self, time: float, frequency: float, volume: float) -> None:
        """Send what is due: time in s, frequency in Hz of either sign, volume as gain 0 to 1."""
        self._last = max(self._last, time)
        self._send(self._line.play(self._last, frequency, volume))

    def close(self) -> None:
        """End the note, tell the receiver to end all, close the port. Calling it twice does nothing."""
        if self._port is None:
            return
        self._send(self._line.closing())
        with suppress(Exception):  # a port that has gone need not be closed
            self._port.close()
        self._port = None

    def _send(self, messages: list[Any]) -> None:
        if self._port is None or self.failure is not None:
            return
        try:
            for message in messages:
                self._port.send(message)
        except Exception as error:
            self.failure = f"MIDI output {self.name!r} was lost: {error}"
