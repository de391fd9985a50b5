"""One minute in which the window measures the player's hand: what is asked for, when, and what it finds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import numpy as np

from models.pitch_field import NoteLine
from synth.errors import InstrumentError
from synth.hands.own_hand import OwnHand, measured_hand
from synth.hands.own_hand_file import keep_hand, kept_hand
from synth.report.hand import hand_lines
from synth.window.practice import Lit, Shown

MIDDLE = 64  # E4: the note whose place is to be found, or the one in reach that is nearest to it
TOLERANCE = 0.25  # semitone, the width of the place that is shown


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to do for `seconds`: in words, and whether the place is lit."""

    seconds: float
    words: str
    lit: bool = False


_THERE = "Bring the hand to the lit place and rest there"
_AWAY = "Eyes shut: take the hand away"
_BACK = "Eyes shut: back to the same place, and rest there"
TASKS: tuple[Task, ...] = (
    Task(4.0, "One minute to measure your hand: play as you like until the first task"),
    Task(5.0, "Move the hand as near to the antenna as you want to play"),
    Task(5.0, "Move it as far away from the antenna as is comfortable"),
    Task(5.0, _THERE, lit=True),
    *(task for _ in range(5) for task in (Task(2.0, _AWAY), Task(4.0, _BACK))),
    Task(9.0, "Keep the hand as still as you can"),
)
SECONDS = sum(task.seconds for task in TASKS)


@dataclass(slots=True, eq=False)
class OwnHandPage:
    """The hand that is kept, and the minute in which another is measured."""

    file: Path | None = None
    hand: OwnHand | None = None
    fault: str = ""
    since: float | None = None
    _times: list[float] = field(default_factory=list)
    _distances: list[float] = field(default_factory=list)

    def read(self) -> None:
        """Read the hand that is kept; a file that cannot be read is told of and left as it is."""
        if self.file is None:
            return
        try:
            self.hand = kept_hand(self.file)
        except InstrumentError as error:
            self.fault = str(error)

    @property
    def measuring(self) -> bool:
        """Whether the minute runs."""
        return self.since is not None

    def begin(self, now: float) -> None:
        """The minute begins."""
        self.since, self._times, self._distances = now, [], []

    def end(self) -> None:
        """It is broken off: nothing is measured."""
        self.since = None

    def advance(self, now: float, distance: float) -> bool:
        """The hand is at `distance`, m; True when the minute is over."""
        if self.since is None:
            return False
        if now - self.since >= TASKS[0].seconds and (not self._times or now - self.since > self._times[-1]):
            self._times.append(now - self.since)
            self._distances.append(distance)
        return now - self.since >= SECONDS

    def finish(self) -> tuple[str, ...]:
        """Measure, keep, and say what was found, a line each."""
        self.since = None
        when = datetime.now().isoformat(timespec="seconds")
        try:
            self.hand = measured_hand(np.array(self._times), np.array(self._distances), "pointer", when)
        except InstrumentError as error:
            return (str(error),)
        lines = tuple(line[0].upper() + line[1:] + "." for line in hand_lines(self.hand))
        if self.file is None:
            return lines
        try:
            keep_hand(self.file, self.hand)
        except (InstrumentError, OSError) as error:
            return (*lines, f"It is not kept: {error}")
        return (*lines, f"It is kept in {self.file}; sensitivity and tune use it.")

    def shown(self, now: float, notes: Sequence[NoteLine]) -> Shown | None:
        """What the stage shows of the minute; None while it does not run."""
        if self.since is None:
            return None
        left = now - self.since
        for task in TASKS:
            if left < task.seconds:
                words = f"{task.words} ({task.seconds - left:.0f} s)"
                return Shown(_place(notes, 1.0 - left / task.seconds) if task.lit else (), None, None, None, words)
            left -= task.seconds
        return Shown((), None, None, None, TASKS[-1].words)


def _place(notes: Sequence[NoteLine], left: float) -> tuple[Lit, ...]:
    """The place that is to be found."""
    if not notes:
        return ()
    line = min(notes, key=lambda note: abs(note.number - MIDDLE))
    beside = min((note for note in notes if note is not line), key=lambda n: abs(n.number - line.number), default=line)
    half = TOLERANCE * abs(beside.distance - line.distance)
    return (Lit(line.name, 0, line.distance, line.distance - half, line.distance + half, left),)
