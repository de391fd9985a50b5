"""What the hand plays as MIDI 1.0 messages: one note, bent to the pitch, and its loudness. No port, no clock.

Pitch. A note starts at the nearest semitone and is bent to the exact pitch; it goes on through every glide and is only
struck anew where the bend would leave its range. The range is 48 semitones each way: a hand crosses four octaves in one
sweep, and a narrower range would break that glide into notes. The price is the step of the 14 bits, 48 / 8192 of a
semitone or 0.59 cents, at most 0.3 cents from the pitch; a receiver that stops at 24 semitones is served by
`bend_range` 24. A bend of value v, -8192 to 8191, is taken as v / 8192 of the range, upwards and downwards alike.

A note lasts from silence to silence: what the hand joins, or parts only by a dip of the volume, is one note, so that
the receiver never strikes a note that nobody struck.

Hysteresis. A note starts when the volume reaches NOTE_ON and ends below NOTE_OFF, and likewise in pitch at the low end
of hearing, so that a trembling hand at the border does not stutter. After a new start the bend is within half a
semitone of its centre, a whole range away from the next border.

Loudness. The volume hand lifts every note from silence, so the velocity it has at the start says nothing: it is the 64
of an instrument without velocity, and controller 11 (expression) follows the hand, as 127 sqrt(gain), because receivers
take the square of a volume controller as gain (40 dB per factor of ten).

Rate. Bend and expression go out at most once in INTERVAL each: 2 x 3 bytes in 5 ms are 38 % of the 3125 bytes/s of a
five-pin cable. What is held back goes out with a later call.

Source: MIDI 1.0 Detailed Specification, MMA (RPN 0, pitch bend, velocity 64, all notes off); the square law: General
MIDI 2, recommended response to volume controllers. Both from memory. Neglected: the tail of a note that has ended bends
with the next one (one channel has one bend); what a receiver makes of the timbre.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterable
from typing import Any

from models.checks import finite, fraction, positive
from models.pitch import note_number
from models.quick_dataclass import dataclass
from synth.files.atomic_file import atomic_path
from synth.libraries import require

BEND_RANGE = 48  # semitones each way
CENTRE, LARGEST_BEND = 8192, 8191
INTERVAL = 0.005  # s
NOTE_ON, NOTE_OFF = 0.01, 0.005  # volume: -40 and -46 dB
SOUNDS_FROM, SOUNDS_DOWN_TO = 20.0, 18.0  # Hz: the low end of hearing
VELOCITY = 64
EXPRESSION, ALL_NOTES_OFF = 11, 123
TICKS_PER_BEAT, TEMPO = 480, 500_000  # of a written file: 960 ticks a second


@dataclass(frozen=True, slots=True)
class MidiSettings:
    """Channel 1 to 16, bend range (whole semitones each way, 1 to 96), least time between two bends (s)."""

    channel: int = 1
    bend_range: int = BEND_RANGE
    interval: float = INTERVAL

    def __post_init__(self) -> None:
        for name, value, most in (("channel", self.channel, 16), ("bend_range", self.bend_range, 96)):
            if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= most:
                raise ValueError(f"{name} must be a whole number from 1 to {most}; got {value!r}")
        positive("interval", self.interval)


def bend_value(offset: float, bend_range: int) -> int:
    """The pitch bend, -8192 to 8191, nearest to an offset in semitones within the range."""
    return max(-CENTRE, min(LARGEST_BEND, round(offset / bend_range * CENTRE)))


def expression_value(volume: float) -> int:
    """Controller 11 for a gain of 0 to 1: its square over 127 squared is the gain again."""
    return round(127.0 * math.sqrt(volume))


class MidiLine:
    """One voice as messages. `play` gives those that are due; times must not go back."""

    def __init__(self, settings: MidiSettings | None = None) -> None:
        self._settings = settings or MidiSettings()
        self._make: Any = require("mido", "MIDI").Message
        self._note: int | None = None
        self._bend: int | None = None
        self._expression: int | None = None
        self._bend_time = self._expression_time = -math.inf
        self._time = -math.inf

    @property
    def sounding(self) -> int | None:
        """The note that sounds, None in silence."""
        return self._note

    def opening(self) -> list[Any]:
        """What sets the receiver up: RPN 0 with the bend range in semitones and 0 cents, then no RPN; bend centred."""
        pairs = ((101, 0), (100, 0), (6, self._settings.bend_range), (38, 0), (101, 127), (100, 127))
        self._bend = 0
        return [*(self._control(*pair) for pair in pairs), self._message("pitchwheel", pitch=0)]

    def play(self, time: float, frequency: float, volume: float) -> list[Any]:
        """The messages due at `time` (s) for a frequency (Hz, of either sign) and a gain 0 to 1."""
        if finite("time", time) < self._time:
            raise ValueError(f"time must not go back; got {time:g} after {self._time:g}")
        self._time = time
        pitch = abs(finite("frequency", frequency))
        if not self._sounds(pitch, fraction("volume", volume)):
            return self._end_note()
        number = float(note_number(pitch))  # MIDI notes are tuned to 440 Hz
        out: list[Any] = []
        fresh = self._note is None
        if self._note is not None and not self._within(number - self._note):
            out += self._end_note()
        if self._note is None:
            nearest = min(127, max(0, round(number)))
            out += self._follow(time, number - nearest, volume, at_once=True)
            self._note = nearest
            out.append(self._message("note_on", note=nearest, velocity=VELOCITY))
            return out
        return out + self._follow(time, number - self._note, volume, at_once=fresh)

    def closing(self) -> list[Any]:
        """Silence: the note off, all notes off, the bend back to its centre."""
        out = [*self._end_note(), self._control(ALL_NOTES_OFF, 0), self._message("pitchwheel", pitch=0)]
        self._bend = 0
        return out

    def _sounds(self, frequency: float, volume: float) -> bool:
        held = self._note is not None
        if volume < (NOTE_OFF if held else NOTE_ON) or frequency < (SOUNDS_DOWN_TO if held else SOUNDS_FROM):
            return False
        return float(note_number(frequency)) - 127.0 <= self._settings.bend_range * LARGEST_BEND / CENTRE

    def _within(self, offset: float) -> bool:
        reach = self._settings.bend_range
        return -reach <= offset <= reach * LARGEST_BEND / CENTRE

    def _follow(self, time: float, offset: float, volume: float, at_once: bool) -> list[Any]:
        """Bend and expression where they have changed and may be sent."""
        out = []
        bend, expression = bend_value(offset, self._settings.bend_range), expression_value(volume)
        if bend != self._bend and (at_once or self._due(time, self._bend_time)):
            self._bend, self._bend_time = bend, time
            out.append(self._message("pitchwheel", pitch=bend))
        if expression != self._expression and (at_once or self._due(time, self._expression_time)):
            self._expression, self._expression_time = expression, time
            out.append(self._control(EXPRESSION, expression))
        return out

    def _due(self, time: float, last: float) -> bool:
        return time - last >= self._settings.interval * (1.0 - 1e-9)

    def _end_note(self) -> list[Any]:
        if self._note is None:
            return []
        note, self._note = self._note, None
        return [self._message("note_off", note=note, velocity=VELOCITY)]

    def _control(self, number: int, value: int) -> Any:
        return self._message("control_change", control=number, value=value)

    def _message(self, kind: str, **values: int) -> Any:
        return self._make(kind, channel=self._settings.channel - 1, **values)


def midi_messages(points: Iterable[tuple[float, float, float]], settings: MidiSettings | None = None) -> list[Any]:
    """All messages of a performance given as (time s, frequency Hz, volume 0 to 1), each with its `time` in s from the
    first point on; opening and closing included.
    """
    line = MidiLine(settings)
    out, start, now = line.opening(), None, 0.0
    for time, frequency, volume in points:
        start = time if start is None else start
        now = time - start
        out += [message.copy(time=now) for message in line.play(time, frequency, volume)]
    return out + [message.copy(time=now) for message in line.closing()]


def write_midi(messages: list[Any], path: str | os.PathLike[str], force: bool) -> None:
    """Write timed messages as a Standard MIDI File of one track (`path` appears whole or not at all)."""
    mido = require("mido", "a MIDI file")
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=TEMPO)])
    last = 0
    for message in messages:
        tick = round(message.time * 1e6 / TEMPO * TICKS_PER_BEAT)
        track.append(message.copy(time=tick - last))
        last = tick
    file = mido.MidiFile(type=0, ticks_per_beat=TICKS_PER_BEAT, tracks=[track])
    with atomic_path(path, force) as temporary:
        file.save(temporary)
