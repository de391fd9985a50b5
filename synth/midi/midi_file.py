"""A melody out of a Standard MIDI File: the highest note of one track and channel at any moment.

Chosen are a track (counted from 1) and a channel (1 to 16); where none is named, the first track that holds notes, on
all its channels but 10, which General MIDI gives to percussion. Of notes that begin together or over one another the
highest is played: a lower one that begins under it is left out, and one that a higher one interrupts ends there. The
gain of a note is its velocity over 127 (the standard leaves the law to the instrument); a note that begins before
the one before it has ended is legato. Pitch bend, pedals and controllers are neglected.
"""

from __future__ import annotations

import io
from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from models.quick_dataclass import dataclass
from synth.errors import DesignError
from synth.libraries import require
from synth.tunes.melody import LONGEST, MOST_NOTES, SHORTEST_NOTE, TOUCHING, Tune, TuneNote, checked_tune

PERCUSSION = 10
DEFAULT_TEMPO = 500_000  # us a quarter note until the file sets one
MOST_MESSAGES = 100_000


@dataclass(frozen=True, slots=True)
class _Span:
    """One note of the file, s."""

    start: float
    end: float
    number: int
    velocity: int


def read_midi(content: bytes, name: str, track: int | None = None, channel: int | None = None) -> Tune:
    """The melody in the bytes of a Standard MIDI File. DesignError names the file `name` and what is wrong with it."""
    mido = require("mido", "a tune from a MIDI file")
    try:
        file = mido.MidiFile(file=io.BytesIO(content))
        tracks = [list(part) for part in file.tracks]
    except Exception as error:  # whatever a reader trips over in bytes that are no such file
        reason = str(error) or "it ends too early"
        raise DesignError(f"{name}: is no Standard MIDI File that can be read ({reason}); export it again") from None
    if sum(map(len, tracks)) > MOST_MESSAGES:
        raise DesignError(f"{name}: holds more than {MOST_MESSAGES} messages; cut the melody out of it")
    index = _chosen_track(tracks, name, track, channel)
    clock = _Clock(file.ticks_per_beat, [tracks[index]] if file.type == 2 else tracks, name)
    spans = _spans(tracks[index], clock, channel)
    notes, left_out = _highest(spans)
    channels = f"channel {channel}" if channel is not None else f"all channels but {PERCUSSION}"
    remarks = [f"track {index + 1} of {len(tracks)}, {channels}, the highest note at any moment"]
    if left_out:
        remarks.append(
            f"{left_out} of {len(spans)} notes left out under higher ones, or cut to less than "
            f"{1000.0 * SHORTEST_NOTE:.0f} ms"
        )
    return checked_tune(name, notes, remarks)


def _chosen_track(tracks: list[list[Any]], name: str, track: int | None, channel: int | None) -> int:
    if channel is not None and not 1 <= channel <= 16:
        raise DesignError(f"--channel {channel}: must be 1 to 16")
    with_notes = [index for index, messages in enumerate(tracks) if any(_starts(messages, channel))]
    told = ", ".join(str(index + 1) for index in with_notes[:20])
    where = f"tracks with notes{'' if channel is None else f' on channel {channel}'}: {told or 'none'}"
    if track is None:
        if not with_notes:
            raise DesignError(f"{name}: holds no note to play ({where})")
        return with_notes[0]
    if track - 1 not in with_notes:
        raise DesignError(f"{name}: --track {track} holds no note to play; {where}")
    return track - 1


def _starts(messages: Iterable[Any], channel: int | None) -> Iterable[Any]:
    return (
        message
        for message in messages
        if message.type == "note_on" and message.velocity > 0 and _wanted(message, channel)
    )


def _wanted(message: Any, channel: int | None) -> bool:
    heard = message.channel + 1
    return bool(heard == channel if channel is not None else heard != PERCUSSION)


class _Clock:
    """Seconds of a file's ticks, with all its changes of tempo (or frames a second where it counts those)."""

    def __init__(self, division: int, tracks: list[list[Any]], name: str) -> None:
        self._ticks, self._seconds, self._lengths = [0], [0.0], [0.0]
        if division == 0:
            raise DesignError(f"{name}: not a readable Standard MIDI File (its time division is 0)")
        if division < 0:  # frames a second in the high byte as a negative number, ticks a frame in the low one
            frames, ticks = 256 - ((division & 0xFFFF) >> 8), division & 0xFF
            if ticks == 0:
                raise DesignError(f"{name}: not a readable Standard MIDI File (its frames hold no ticks)")
            self._lengths = [1.0 / ((30.0 / 1.001 if frames == 29 else frames) * ticks)]
            return
        self._lengths = [1e-6 * DEFAULT_TEMPO / division]
        changes = []
        for messages in tracks:
            now = 0
            for message in messages:
                now += message.time
                if message.type == "set_tempo":
                    changes.append((now, message.tempo))
        for tick, tempo in sorted(changes, key=lambda change: change[0]):
            reached = self.seconds(tick)
            self._ticks.append(tick)
            self._seconds.append(reached)
            self._lengths.append(1e-6 * tempo / division)

    def seconds(self, tick: int) -> float:
        """Time of a tick, s; far beyond the longest tune counts as twice that."""
        index = bisect_right(self._ticks, tick) - 1
        more = min(tick - self._ticks[index], 10**12)
        return min(self._seconds[index] + more * self._lengths[index], 2.0 * LONGEST)


def _spans(messages: list[Any], clock: _Clock, channel: int | None) -> list[_Span]:
    """Every note with a beginning and an end, by its start, the higher first."""
    open_notes: dict[tuple[int, int], tuple[float, int]] = {}
    spans = []
    tick, now = 0, 0.0

    def close(key: tuple[int, int]) -> None:
        start, velocity = open_notes.pop(key)
        if now > start:
            spans.append(_Span(start, now, key[1], velocity))

    for message in messages:
        tick += message.time
        now = clock.seconds(tick)
        if message.type not in ("note_on", "note_off") or not _wanted(message, channel):
            continue
        key = message.channel, message.note
        if key in open_notes:
            close(key)
        if message.type == "note_on" and message.velocity > 0:
            open_notes[key] = now, message.velocity
    for key in list(open_notes):
        close(key)  # never ended: it lasts to the end of the track
    return sorted(spans, key=lambda span: (span.start, -span.number))


def _highest(spans: list[_Span]) -> tuple[list[TuneNote], int]:
    """One voice out of many: the notes as played, and how many were left out."""
    played: list[tuple[_Span, bool]] = []
    for span in spans:
        joined = bool(played) and span.start < played[-1][0].end - TOUCHING
        if joined:
            before, was_joined = played[-1]
            if span.number <= before.number and span.start < before.end - SHORTEST_NOTE:
                continue
            if span.start - before.start < SHORTEST_NOTE:
                played.pop()
                joined = was_joined
            else:
                played[-1] = replace(before, end=span.start), was_joined
        played.append((span, joined))
        if len(played) > 2 * MOST_NOTES:
            break
    notes = [
        TuneNote(span.number, span.start, span.end - span.start, span.velocity / 127.0, joined)
        for span, joined in played
        if span.end - span.start >= SHORTEST_NOTE
    ]
    return notes, len(spans) - len(notes)
