"""Readings taken by ear of the sound card: what is heard now in one line, and a reading at each press of Enter."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from models.arrays import Floats
from models.pitch import REFERENCE_A, cents, nearest_note
from synth.analysis.listen_figures import AWAY, Beating, Mark, RestFigures, rest_rows
from synth.designs.quantity import format_quantity, parse
from synth.errors import DesignError
from synth.listening.rests import Rest, rest_of
from synth.listening.tracker import SILENCE, STEP, track_pitch
from synth.report.listen import small_capacitance

SHOWN, JUDGED = 0.5, 1.0  # s of sound behind the line that is shown, and behind a reading
UNSTEADY = 30.0  # cents
NEAREST, FARTHEST = 0.005, 5.0  # m, of a hand
HELP = "Enter takes a reading at the next distance; a distance and Enter one there; u the last one back; q ends"


class Heard(Protocol):
    """What hears."""

    @property
    def sample_rate(self) -> int: ...

    def latest(self, seconds: float) -> Floats: ...


def hand_mark(text: str) -> Mark:
    """A hand distance, m, from "12.5 cm", or AWAY; raises DesignError."""
    if text.strip().lower() == AWAY:
        return AWAY
    distance = parse(text.strip(), "m")
    if not NEAREST <= distance <= FARTHEST:
        raise DesignError(f"must be within {format_quantity(NEAREST, 'm')} to {format_quantity(FARTHEST, 'm')}")
    return distance


def evenly(first: float, step: float) -> Iterator[Mark]:
    """Hand distances `first`, m, and on by `step`, m, while a hand can be there."""
    number = 0
    while NEAREST <= (distance := round(first + number * step, 9)) <= FARTHEST:
        yield distance
        number += 1


@dataclass(frozen=True, slots=True)
class HeardNow:
    """What is heard: frequency, Hz (None: no steady pitch), level, dB of full scale, whether it is silent; the nearest
    note, cents above it, cents by which the pitch wavers, and whether its octave is in doubt.
    """

    frequency: float | None
    level: float | None
    silent: bool
    note: str = ""
    above: float = 0.0
    wavers: float = 0.0
    octave_doubt: bool = False

    @property
    def why_none(self) -> str:
        """Why there is no frequency."""
        return "silence" if self.silent else "no steady pitch"


@dataclass(slots=True)
class LiveReadings:
    """The readings of one session. `marks`: the distances to come; `changed` is told the rows after every change."""

    heard: Heard
    marks: Iterator[Mark]
    ratio: float = 1.0
    beating: Beating = field(default_factory=Beating)
    silence: float = SILENCE
    reference_a: float = REFERENCE_A
    changed: Callable[[Sequence[RestFigures]], None] = lambda rows: None
    _taken: list[tuple[Rest, Mark | None]] = field(default_factory=list)
    _again: list[Mark] = field(default_factory=list)
    _next: Mark | None = None

    def __post_init__(self) -> None:
        self._next = next(self.marks, None)

    @property
    def rows(self) -> tuple[RestFigures, ...]:
        """The readings so far."""
        return rest_rows(self._taken, self.ratio, self.beating, self.reference_a)

    def now(self) -> HeardNow:
        """What is heard now."""
        sound = self.heard.latest(SHOWN)
        track = track_pitch(sound, self.heard.sample_rate, self.silence)
        level = float(track.levels[-1]) if track.levels.size else None
        pitches = track.frequencies[np.isfinite(track.frequencies) & (track.confidence > 0.6)]
        if 2 * pitches.size < track.times.size or not pitches.size:
            return HeardNow(None, level, bool(2 * np.count_nonzero(track.silent) >= track.times.size))
        middle = float(np.median(pitches))
        steps = cents(pitches, middle)
        wavers = float(np.std(steps[np.abs(steps) < 300.0]))
        note, above = nearest_note(middle * self.ratio, self.reference_a)
        doubt = bool(track.octave_doubts.mean() > 0.3)
        return HeardNow(middle * self.ratio, level, False, note, float(above), wavers, doubt)

    def status(self) -> str:
        """What is heard now, in one line."""
        now = self.now()
        level = "" if now.level is None else f"{now.level:4.0f} dB"
        if now.frequency is None:
            return f"{now.why_none:<44}{level}   {self.asked()}"
        doubt = " octave?" if now.octave_doubt else ""
        pitch = f"{now.note:<4}{now.above:+5.0f} ct {now.frequency:9.2f} Hz  wavers {now.wavers:4.1f} ct{doubt}"
        return f"{pitch:<44}{level}   {self.asked()}"

    def command(self, text: str) -> str | None:
        """Do what a typed line asks for and return what there is to say; None where it asks to end."""
        asked = text.strip().lower()
        if asked in ("q", "quit", "end"):
            return None
        if asked == "u":
            return self._take_back()
        if asked in ("h", "?", "help"):
            return HELP
        if not asked:
            if self._next is None:
                return "no distance is left: type one, such as 12 cm, before Enter"
            return self._read(self._next, planned=True)
        try:
            mark = hand_mark(text)
        except DesignError as error:
            return f"{text.strip()[:40]}: {error}. {HELP}"
        return self._read(mark, planned=False)

    def _read(self, mark: Mark, planned: bool) -> str:
        sound = self.heard.latest(JUDGED)
        track = track_pitch(sound, self.heard.sample_rate, self.silence)
        rest = rest_of(
            sound, self.heard.sample_rate, track, slice(0, round(sound.size / self.heard.sample_rate / STEP))
        )
        if rest is None:
            return "no steady pitch was heard: hold the hand still for a second, then press Enter"
        self._taken.append((rest, mark))
        if planned:
            self._next = self._again.pop() if self._again else next(self.marks, None)
        rows = self.rows
        self.changed(rows)
        row = rows[-1]
        more = "".join(f", oscillator {frequency:.2f} Hz" for frequency in row.oscillator_hz)
        if row.added_capacitance_f is not None:
            more += f", {small_capacitance(row.added_capacitance_f)} since the first"
        warning = f"; it wavers by {rest.steadiness:.0f} cents: u takes it back" if rest.steadiness > UNSTEADY else ""
        warning += "; its octave is in doubt" if rest.octave_doubt else ""
        where = mark if isinstance(mark, str) else f"{100.0 * mark:g} cm"
        pitch = f"{row.frequency_hz:.3f} Hz, {row.note} {row.note_cents:+.1f} ct"
        return f"reading {len(rows)}: {where}, {pitch}{more}{warning}"

    def _take_back(self) -> str:
        if not self._taken:
            return "there is no reading to take back"
        _, mark = self._taken.pop()
        if mark is not None:
            if self._next is not None:
                self._again.append(self._next)
            self._next = mark
        self.changed(self.rows)
        return f"reading {len(self._taken) + 1} is taken back"

    def asked(self) -> str:
        """Which reading is next."""
        if self._next is None:
            return "distance and Enter: reading"
        where = self._next if isinstance(self._next, str) else f"{100.0 * self._next:g} cm"
        return f"Enter: reading at {where}"
