"""The hand goes from note to note of the scale by keys: which note is next, and the glide to it."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from models.pitch_field import NoteLine
from models.quick_dataclass import dataclass
from synth.hands.gestures import minimum_jerk
from synth.hands.tune_path import PORTAMENTO

SAME = 1e-6  # m within which the hand counts as on a note


def next_note(notes: Sequence[NoteLine], scale: Collection[int] | None, distance: float, steps: int) -> NoteLine | None:
    """The next higher note (lower where `steps` < 0) of the scale from a hand at `distance`, m; every note where there
    is no scale; None beyond the last.
    """
    lines = sorted((line for line in notes if not scale or line.number in scale), key=lambda line: line.number)
    if len(lines) < 2:
        return None
    nearer_is_higher = lines[-1].distance < lines[0].distance

    def is_beyond(line: NoteLine) -> bool:
        gap = distance - line.distance if nearer_is_higher else line.distance - distance
        return gap > SAME if steps > 0 else gap < -SAME

    beyond = [line for line in lines if is_beyond(line)]
    if not beyond:
        return None
    return beyond[0] if steps > 0 else beyond[-1]


@dataclass(frozen=True, slots=True)
class Glide:
    """The hand on its way from one distance, m, to another, begun at a time, s, along the minimum-jerk course."""

    start: float
    end: float
    begun: float

    def at(self, now: float) -> float:
        """Where the hand is at a time, s."""
        return self.start + (self.end - self.start) * float(minimum_jerk((now - self.begun) / PORTAMENTO))

    def over(self, now: float) -> bool:
        """Whether it has arrived."""
        return now - self.begun >= PORTAMENTO
