"""A melody written as text: notes and their lengths, with commas or line ends between them.

# anything after a hash that stands apart is for the reader
tempo 96                quarter notes a minute (120 until told otherwise)
volume 0.8              gain of the notes that follow, above 0 and up to 1 (1 at first)
A4 1/4, C5 1/8, Bb4 1/8 a note with its octave, and its length as a fraction of a whole note
rest 1/4                silence
legato                  from here on the hand slides from note to note, the volume stays up
separate                from here on the volume hand parts the notes (so it is at first)
"""

from __future__ import annotations

import math
import re

from models.pitch import parse_note
from synth.errors import DesignError
from synth.tunes.melody import HIGHEST_NUMBER, LONGEST, MOST_NOTES, SHORTEST_NOTE, Tune, TuneNote, checked_tune

SLOWEST, FASTEST = 10.0, 600.0  # quarter notes a minute
_LENGTH = re.compile(r"([0-9]{1,4})(?:/([0-9]{1,4}))?")
_NUMBER = re.compile(r"[0-9]{1,4}(?:\.[0-9]{1,6})?")
_COMMENT = re.compile(r"(?:^|\s)#.*")  # a hash within a word is a sharp
_SHOWN_FAULTS = 10


def read_note_list(text: str, name: str) -> Tune:
    """The melody written in `text`. DesignError lists the first ten faults, each with the line of the file `name`."""
    reader = _Reader()
    faults: list[str] = []
    for line, written in enumerate(text.splitlines(), start=1):
        for entry in _COMMENT.sub("", written).split(","):
            if not (words := entry.split()):
                continue
            try:
                reader.take(words)
            except ValueError as error:
                faults.append(f"{name}: line {line}: {error}")
        if len(faults) >= _SHOWN_FAULTS or reader.overfull:
            break
    if faults:
        raise DesignError("\n".join(faults[:_SHOWN_FAULTS]))
    return checked_tune(name, reader.notes, [])


class _Reader:
    """Where the reading stands: the time reached and what holds from here on."""

    def __init__(self) -> None:
        self.notes: list[TuneNote] = []
        self._now = 0.0
        self._whole = 2.0  # s, length of a whole note
        self._loudness = 1.0
        self._legato = False

    @property
    def overfull(self) -> bool:
        """Whether no more can be taken: the check of the whole will say so."""
        return len(self.notes) > MOST_NOTES or self._now > LONGEST

    def take(self, words: list[str]) -> None:
        """Take one entry; ValueError where it cannot be read."""
        head, rest = words[0].lower(), words[1:]
        if head in ("legato", "separate") and not rest:
            self._legato = head == "legato"
        elif head == "tempo":
            self._whole = 240.0 / _value(words, SLOWEST, FASTEST)
        elif head == "volume":
            self._loudness = _value(words, 0.01, 1.0)
        elif head == "rest":
            self._now += self._seconds(words)
        else:
            self._note(words)

    def _note(self, words: list[str]) -> None:
        try:
            number = parse_note(words[0])
        except ValueError:
            raise ValueError(
                f"cannot read {' '.join(words)[:40]!r}; write a note and its length, e.g. A4 1/4, or one "
                "of rest, tempo, volume, legato, separate"
            ) from None
        if not 0 <= number <= HIGHEST_NUMBER:
            raise ValueError(f"{words[0]} is outside C-1 to G9")
        seconds = self._seconds(words)
        if seconds < SHORTEST_NOTE:
            raise ValueError(f"{' '.join(words)} lasts {seconds:.3g} s; the shortest note is {SHORTEST_NOTE:g} s")
        self.notes.append(TuneNote(number, self._now, seconds, self._loudness, self._legato))
        self._now += seconds

    def _seconds(self, words: list[str]) -> float:
        """The length in the second word, s."""
        found = _LENGTH.fullmatch(words[1]) if len(words) == 2 else None
        if found is None:
            raise ValueError(f"{' '.join(words)[:40]!r} needs one length after {words[0]}, e.g. {words[0]} 1/4")
        top, bottom = int(found.group(1)), int(found.group(2) or 1)
        if top == 0 or bottom == 0:
            raise ValueError(f"{' '.join(words)}: a length must be above 0")
        return self._whole * top / bottom


def _value(words: list[str], low: float, high: float) -> float:
    """The one number after the first word."""
    number = float(words[1]) if len(words) == 2 and _NUMBER.fullmatch(words[1]) else math.nan
    if not low <= number <= high:
        raise ValueError(f"{' '.join(words)[:40]!r}: {words[0]} needs one number from {low:g} to {high:g}")
    return number
