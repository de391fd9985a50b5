"""What is to be played: goals one after another, each a note with its loudness, its vibrato and the way into it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from itertools import pairwise

from models.checks import fraction, non_negative, positive
from models.quick_dataclass import dataclass
from synth.tunes.melody import TOUCHING, Tune


@dataclass(frozen=True, slots=True)
class Vibrato:
    """A wanted vibrato: `rate`, Hz, and `width`, cents each way."""

    rate: float
    width: float

    def __post_init__(self) -> None:
        positive("rate", self.rate)
        positive("width", self.width)


@dataclass(frozen=True, slots=True)
class Goal:
    """One note to play: its number (69 is A4), when it begins and how long it lasts (s).

    `loudness`: gains, 0 to 1, at even shares of its time from its beginning to its end, straight between them; one
    gain is that of the whole note. `legato`: the hand slides into it without lowering the volume.
    """

    number: int
    start: float
    seconds: float
    loudness: tuple[float, ...] = (1.0,)
    legato: bool = False
    vibrato: Vibrato | None = None

    def __post_init__(self) -> None:
        non_negative("start", self.start)
        positive("seconds", self.seconds)
        if not self.loudness:
            raise ValueError("loudness must hold at least one gain")
        for gain in self.loudness:
            fraction("loudness", gain)

    @property
    def end(self) -> float:
        """When it ends, s."""
        return self.start + self.seconds

    def loudness_at(self, share: float) -> float:
        """Gain after a share, 0 to 1, of the note's time."""
        inside = min(max(share, 0.0), 1.0) * (len(self.loudness) - 1)
        first = min(int(inside), max(len(self.loudness) - 2, 0))
        last = min(first + 1, len(self.loudness) - 1)
        return self.loudness[first] + (inside - first) * (self.loudness[last] - self.loudness[first])


@dataclass(frozen=True, slots=True)
class Score:
    """Goals in the order of time, none over another. `name` is written into the file of progress; `title` and `advice`
    are shown.
    """

    name: str
    title: str
    goals: tuple[Goal, ...]
    advice: str = ""

    def __post_init__(self) -> None:
        if not self.goals:
            raise ValueError("a score needs at least one goal")
        for before, after in pairwise(self.goals):
            if after.start < before.end - TOUCHING:
                raise ValueError(f"goals must not overlap; got one at {after.start:g} s before {before.end:g} s")

    @property
    def seconds(self) -> float:
        """When the last goal ends, s."""
        return self.goals[-1].end

    def index_at(self, time: float) -> int:
        """The goal that sounds at a time, s, or the next one to come; the last one after its end."""
        place = bisect_right([goal.end for goal in self.goals], time)
        return min(place, len(self.goals) - 1)


def score_of(tune: Tune) -> Score:
    """The score of a melody as it was read."""
    goals = tuple(Goal(note.number, note.start, note.seconds, (note.loudness,), note.legato) for note in tune.notes)
    return Score(tune.name, tune.name, goals, " ".join(tune.remarks))


def in_turn(notes: Sequence[tuple[int, float]], pause: float = 0.0, legato: bool = False) -> tuple[Goal, ...]:
    """Goals of (number, seconds) one after another with a `pause`, s, between them."""
    goals, now = [], 0.0
    for number, seconds in notes:
        goals.append(Goal(number, now, seconds, legato=legato))
        now += seconds + pause
    return tuple(goals)
