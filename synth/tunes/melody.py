"""A melody of one voice: notes one after another, none over another, in seconds."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from models.checks import finite, non_negative, positive
from models.quick_dataclass import dataclass
from synth.errors import DesignError

MOST_NOTES = 2000
LONGEST = 600.0  # s
SHORTEST_NOTE = 0.03  # s: about what the rise and fall of the volume hand take
HIGHEST_NUMBER = 127  # the largest note number of a MIDI file, G9
FARTHEST_TRANSPOSED = 60  # semitones
TOUCHING = 1e-6  # s: notes nearer than this follow each other without a gap


@dataclass(frozen=True, slots=True)
class TuneNote:
    """One note: its number (69 is A4), when it begins and how long it lasts (s), and its gain 0 to 1.

    `legato`: the hand slides into it without lowering the volume.
    """

    number: int
    start: float
    seconds: float
    loudness: float = 1.0
    legato: bool = False

    def __post_init__(self) -> None:
        if isinstance(self.number, bool) or not isinstance(self.number, int):
            raise ValueError(f"number must be a whole number; got {self.number!r}")
        non_negative("start", self.start)
        positive("seconds", self.seconds)
        if not 0.0 < finite("loudness", self.loudness) <= 1.0:
            raise ValueError(f"loudness must be above 0 and at most 1; got {self.loudness:g}")

    @property
    def end(self) -> float:
        """When it ends, s."""
        return self.start + self.seconds


@dataclass(frozen=True, slots=True)
class Tune:
    """A melody: its notes in the order of time, and what was taken or left out when it was read."""

    name: str
    notes: tuple[TuneNote, ...]
    remarks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.notes:
            raise ValueError("a tune needs at least one note")
        for before, after in pairwise(self.notes):
            if after.start < before.end - TOUCHING:
                raise ValueError(f"notes must not overlap; got one at {after.start:g} s before {before.end:g} s")

    @property
    def seconds(self) -> float:
        """When the last note ends, s."""
        return self.notes[-1].end

    def transposed(self, semitones: int) -> Tune:
        """The same melody `semitones` higher (lower where negative). DesignError beyond five octaves."""
        if abs(semitones) > FARTHEST_TRANSPOSED:
            raise DesignError(
                f"--transpose {semitones}: must be between -{FARTHEST_TRANSPOSED} and {FARTHEST_TRANSPOSED} semitones"
            )
        return replace(self, notes=tuple(replace(note, number=note.number + semitones) for note in self.notes))


def checked_tune(name: str, notes: list[TuneNote], remarks: list[str]) -> Tune:
    """The tune of these notes; DesignError naming the file `name` where there are none, too many, or it is too long."""
    if not notes:
        raise DesignError(f"{name}: holds no note to play")
    if len(notes) > MOST_NOTES:
        raise DesignError(f"{name}: holds {len(notes)} notes, and {MOST_NOTES} are taken; cut a part out of it")
    if not notes[-1].end <= LONGEST:
        raise DesignError(f"{name}: lasts {notes[-1].end:.4g} s, and {LONGEST:g} s are taken; cut a part out of it")
    return Tune(name, tuple(notes), tuple(remarks))
