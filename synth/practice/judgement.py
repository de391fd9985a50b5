"""What was made of a score: cents off and spread of each note, timing, vibrato, the worst leap.

A note's pitch is judged where the hand has had time to arrive: its first part, at most SETTLING, is left out. Its
vibrato is the sine that fits the pitch best once a straight line is taken away (least squares at uneven times:
J. Scargle, Astrophys. J. 263 (1982) 835, as scipy has it); there is one where it takes more than half of the variance.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from models.arrays import Floats
from models.quick_dataclass import dataclass
from synth.practice.course import HEARD
from synth.practice.score import Goal, Score

SETTLING, SETTLING_SHARE = 0.3, 0.4  # s, and share of the note
FEWEST = 8  # moments that make a pitch
ARRIVED = 50.0  # cents within which a note is recognised
EARLY = 0.5  # s before its beginning in which a note may arrive
SLOWEST_VIBRATO, FASTEST_VIBRATO, VIBRATO_STEPS = 3.0, 10.0, 281  # Hz: every 0.025 Hz
LEAST_VIBRATO = 5.0  # cents each way
LEAST_SHARE = 0.5  # of the variance
SHORTEST_VIBRATO = 1.0  # s


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """A run as it sounded, moment by moment, each (n,): `clock` s, increasing; `at` s of the score; `pitch` as a note
    number, NaN where there was none; `gain` 0 to 1; `turn`: which time the part was played.
    """

    clock: Floats
    at: Floats
    pitch: Floats
    gain: Floats
    turn: Floats


@dataclass(frozen=True, slots=True)
class Measured:
    """A vibrato that was played: rate, Hz, width, cents each way."""

    rate: float
    width: float


@dataclass(frozen=True, slots=True)
class NoteResult:
    """One goal as played in one turn. `place`: its number in the score; the others are None where nothing was heard.

    cents: median off the goal; spread: standard deviation about a straight line, vibrato in it; late: s after its
    beginning at which the note was there (negative: before).
    """

    place: int
    turn: int
    goal: Goal
    cents: float | None
    spread: float | None
    late: float | None
    vibrato: Measured | None


@dataclass(frozen=True, slots=True)
class Judgement:
    """A whole run. Root mean square and median of the errors over the notes heard; None where there are none.

    late, late_spread: s, over the notes but the first of the score, where one may lie in wait. worst_leap: the note
    that was missed by most after a leap, with the one before it.
    """

    notes: tuple[NoteResult, ...]
    rms_cents: float | None
    bias_cents: float | None
    spread_cents: float | None
    late: float | None
    late_spread: float | None
    worst_leap: tuple[NoteResult, NoteResult] | None

    @property
    def heard(self) -> int:
        """How many of the notes were heard."""
        return sum(note.cents is not None for note in self.notes)


def judged(score: Score, heard: Heard) -> Judgement:
    """What was made of every goal that was reached in the run."""
    notes = []
    for turn in np.unique(heard.turn[heard.at >= score.goals[0].start - EARLY]).astype(int).tolist():
        of_turn = heard.turn == turn
        for place, goal in enumerate(score.goals):
            inside = of_turn & (heard.at >= goal.start) & (heard.at < goal.end)
            if np.count_nonzero(inside) >= FEWEST:
                notes.append(_result(place, turn, goal, heard, inside, of_turn))
    off = [note.cents for note in notes if note.cents is not None]
    spreads = [note.spread for note in notes if note.spread is not None]
    late = [note.late for note in notes if note.late is not None and note.place > 0]
    return Judgement(
        notes=tuple(notes),
        rms_cents=math.sqrt(sum(value * value for value in off) / len(off)) if off else None,
        bias_cents=float(np.median(off)) if off else None,
        spread_cents=float(np.median(spreads)) if spreads else None,
        late=float(np.median(late)) if late else None,
        late_spread=float(np.std(late)) if late else None,
        worst_leap=_worst_leap(notes),
    )


def _result(
    place: int, turn: int, goal: Goal, heard: Heard, inside: NDArray[np.bool_], of_turn: NDArray[np.bool_]
) -> NoteResult:
    since = heard.at - goal.start
    sounds = np.isfinite(heard.pitch) & (heard.gain >= HEARD)
    held = inside & sounds & (since >= min(SETTLING, SETTLING_SHARE * goal.seconds))
    late = _late(goal, heard, of_turn, sounds)
    if np.count_nonzero(held) < FEWEST:
        return NoteResult(place, turn, goal, None, None, late, None)
    clock, off = heard.clock[held], 100.0 * (heard.pitch[held] - goal.number)
    return NoteResult(
        place, turn, goal, float(np.median(off)), float(np.std(_without_line(clock, off))), late, vibrato_of(clock, off)
    )


def _late(goal: Goal, heard: Heard, of_turn: NDArray[np.bool_], sounds: NDArray[np.bool_]) -> float | None:
    """When the note was there, in seconds of the player's clock after it was due; None where it never was.

    It was there at the first moment of the stretch, from `EARLY` before its beginning on, in which it was heard at its
    pitch and that lasts into the note.
    """
    reached = np.flatnonzero(of_turn & (heard.at >= goal.start))
    if not reached.size:
        return None
    due = float(heard.clock[reached[0]])
    near = of_turn & sounds & (100.0 * np.abs(heard.pitch - goal.number) <= ARRIVED)
    window = near & (heard.clock >= due - EARLY) & (heard.at < goal.end)
    places = np.flatnonzero(window & (heard.at >= goal.start))
    if not places.size:
        return None
    first = int(places[0])
    while first > 0 and window[first - 1]:
        first -= 1
    return float(heard.clock[first] - due)


def _without_line(times: Floats, values: Floats) -> Floats:
    """What is left of values when their least-squares straight line is taken away."""
    centred = times - times.mean()
    spread = float(centred @ centred)
    slope = float(centred @ values) / spread if spread > 0.0 else 0.0
    return np.asarray(values - values.mean() - slope * centred)


def vibrato_of(times: Floats, pitch_cents: Floats) -> Measured | None:
    """The vibrato in a pitch, cents, at times, s, both (n,): see the module; None where there is none."""
    if times.size < FEWEST or times[-1] - times[0] < SHORTEST_VIBRATO:
        return None
    left = _without_line(times, pitch_cents)
    variance = float(np.mean(left**2))
    if variance <= 0.0:
        return None
    from scipy.signal import lombscargle  # heavy: only when a held note is judged

    rates = np.linspace(SLOWEST_VIBRATO, FASTEST_VIBRATO, VIBRATO_STEPS)
    power = lombscargle(times - times[0], left, 2.0 * math.pi * rates, floating_mean=True, normalize=True)
    best = int(np.argmax(power))
    width = math.sqrt(2.0 * float(power[best]) * variance)
    if best in (0, rates.size - 1) or power[best] < LEAST_SHARE or width < LEAST_VIBRATO:
        return None
    return Measured(float(rates[best]), width)


def _worst_leap(notes: Sequence[NoteResult]) -> tuple[NoteResult, NoteResult] | None:
    leaps = [
        (before, after)
        for before, after in pairwise(notes)
        if before.turn == after.turn and after.goal.number != before.goal.number and after.cents is not None
    ]
    return max(leaps, key=lambda leap: abs(leap[1].cents or 0.0), default=None)
