"""Practice in the window: what is played, how far it is, what sounded, and the two pages: before it and after it.

Pure but for the file of progress; `synth/window/draw_practice.py` draws it, the window tells it where the hand is.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

import numpy as np

from models.pitch import frequency_of_note, note_name, note_number
from models.pitch_field import NoteLine
from synth.errors import InstrumentError
from synth.hands.gestures import minimum_jerk
from synth.practice.course import FASTEST, SLOWEST, Course, Terms, advanced, begun, sounding
from synth.practice.exercises import EXERCISES, placed
from synth.practice.guidance import guidance_share, is_lit
from synth.practice.judgement import Heard, Judgement, judged
from synth.practice.progress import Run, add_run, of_score, read_runs, run_of
from synth.practice.score import Goal, Score

TRAVEL = 0.5  # s before the next note at which the way to it begins to be shown as walked
TEMPO_STEP = 0.05
GUIDANCES = {"fading": "fades by itself", "full": "all notes", "none": "no notes"}
MOST_MOMENTS = 200_000  # an hour of pictures; the oldest are dropped
AHEAD = 3  # places shown: the one now and the next two


@dataclass(frozen=True, slots=True)
class Lit:
    """One place on the stage. `order` 0: where the hand must rest now; 1, 2: next. `near`, `far`, m: as much of the
    room as is in tune. `left`: share of the note's time that is left (1 before it begins). `swing`, m each way, and
    `phase`, 0 to 1: of the vibrato. `lit`: whether its place is shown, and not only its name.
    """

    name: str
    order: int
    distance: float
    near: float
    far: float
    left: float = 1.0
    swing: float = 0.0
    phase: float = 0.0
    lit: bool = True


@dataclass(frozen=True, slots=True)
class Shown:
    """What one picture shows of a run. `walked`: share of the way to the next place that is over, None while the hand
    rests. `gain` now and `then` at the note's end: of the volume hand. `words`: one line.
    """

    places: tuple[Lit, ...]
    walked: float | None
    gain: float | None
    then: float | None
    words: str


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the page before practice: its name, its value in words, and whether it is an action."""

    name: str
    label: str
    value: str
    action: bool = False


@dataclass(slots=True)
class Moments:
    """What sounded, moment by moment."""

    clock: list[float] = field(default_factory=list)
    at: list[float] = field(default_factory=list)
    pitch: list[float] = field(default_factory=list)
    gain: list[float] = field(default_factory=list)
    turn: list[int] = field(default_factory=list)

    def add(self, clock: float, course: Course, pitch: float, gain: float) -> None:
        """One more moment."""
        for column, value in zip(
            (self.clock, self.at, self.pitch, self.gain), (clock, course.at, pitch, gain), strict=True
        ):
            column.append(value)
        self.turn.append(course.turn)
        if len(self.clock) > MOST_MOMENTS:
            for old in (self.clock, self.at, self.pitch, self.gain, self.turn):
                del old[: MOST_MOMENTS // 10]

    def heard(self) -> Heard:
        """All of it."""
        clock, at, pitch, gain, turn = (
            np.array(column, dtype=np.float64) for column in (self.clock, self.at, self.pitch, self.gain, self.turn)
        )
        return Heard(clock, at, pitch, gain, turn)


@dataclass(frozen=True, slots=True)
class Result:
    """The page after a run."""

    score: Score
    judgement: Judgement
    runs: tuple[Run, ...]


class Practice:
    """The scores on offer and the run of one of them."""

    def __init__(self, tunes: Sequence[Score] = (), file: Path | None = None, design: str = "") -> None:
        self._tunes = tuple(tunes)
        self._file = file
        self.design = design
        self.terms = Terms()
        self.place = 0  # of the chosen score among `names`
        self.selected = 0  # row of the page
        self.course: Course | None = None
        self.result: Result | None = None
        self._moments = Moments()
        self._notes: Mapping[int, NoteLine] = {}
        self._reference_a = 440.0
        self._score: Score | None = None
        self._runs: tuple[Run, ...] = ()
        self._share = 1.0
        self.fault = ""
        self.file_fault = ""  # why the runs are neither read nor kept
        self._read()

    def _read(self) -> None:
        """The runs kept so far; a file that cannot be read is told of and left as it is."""
        if self._file is None:
            return
        try:
            self._runs = read_runs(self._file)
        except InstrumentError as error:
            self.file_fault, self._file = str(error), None

    @property
    def titles(self) -> tuple[str, ...]:
        """What may be played: the player's own tunes and then the exercises."""
        return (*(tune.title for tune in self._tunes), *(exercise.title for exercise in EXERCISES))

    def choose(self, name: str) -> None:
        """Choose the tune or exercise of this name. KeyError for no such one."""
        names = [*(tune.name for tune in self._tunes), *(exercise.name for exercise in EXERCISES)]
        if name not in names:
            raise KeyError(name)
        self.place, self._score = names.index(name), None

    def follow(self, notes: Sequence[NoteLine], reference_a: float) -> None:
        """The field that plays changed: the places of its notes."""
        before = self._notes.keys()
        self._notes, self._reference_a = {line.number: line for line in notes}, reference_a
        if before != self._notes.keys() and self.course is None:
            self._score = None

    @property
    def notes(self) -> Sequence[NoteLine]:
        """The notes of the field that plays."""
        return tuple(self._notes.values())

    @property
    def score(self) -> Score | None:
        """What is chosen, on the notes of this instrument; None where they do not reach, with `fault` saying so."""
        if self._score is None:
            if self.place < len(self._tunes):
                self._score = self._tunes[self.place]
            else:
                try:
                    self._score = placed(EXERCISES[self.place - len(self._tunes)], self._notes.keys())
                except InstrumentError as error:
                    self.fault = str(error)
        return self._score

    @property
    def runs(self) -> tuple[Run, ...]:
        """The runs of the chosen score so far."""
        return () if self.score is None else of_score(self._runs, self.score.name)

    @property
    def span(self) -> tuple[float, float] | None:
        """The nearest and farthest place of the part that is played, m; None where none of it is in reach."""
        if self.score is None:
            return None
        first, last = self.terms.part(self.score)
        goals = (self._notes.get(goal.number) for goal in self.score.goals[first : last + 1])
        places = [line.distance for line in goals if line is not None]
        return (min(places), max(places)) if places else None

    @property
    def running(self) -> bool:
        """Whether a score is being played."""
        return self.course is not None

    @property
    def share(self) -> float:
        """Share of the notes whose place is lit."""
        if self.terms.guidance != "fading":
            return 1.0 if self.terms.guidance == "full" else 0.0
        return guidance_share([run.rms_cents for run in self.runs])

    def start(self) -> bool:
        """Count in; False where the instrument does not reach the notes."""
        score = self.score
        if score is None:
            return False
        self.course, self._moments, self._share = begun(score, self.terms), Moments(), self.share
        return True

    def stop(self) -> str:
        """End the run, judge it and keep it; what to tell the player, or nothing."""
        score, self.course = self._score, None
        if score is None or not self._moments.clock:
            return ""
        judgement = judged(score, self._moments.heard())
        kept = run_of(judgement, score.name, self.design, self.terms, self._share, datetime.now())
        told = f"This run is not kept: {self.file_fault}" if self.file_fault else ""
        if kept is not None:
            self._runs = (*self._runs, kept)
            if self._file is not None:
                try:
                    self._runs = add_run(self._file, kept)
                except (InstrumentError, OSError) as error:
                    told = f"This run is not kept: {error}"
        self.result = Result(score, judgement, of_score(self._runs, score.name)) if judgement.notes else None
        return told

    def advance(self, clock: float, seconds: float, frequency: float, gain: float) -> bool:
        """The hand sounds `frequency`, Hz, at `gain`, `seconds` after the last time, s; True when the run is over."""
        score, course = self._score, self.course
        if course is None or score is None:
            return False
        pitch = float(note_number(abs(frequency), self._reference_a)) if abs(frequency) > 1.0 else math.nan
        self._moments.add(clock, course, pitch, gain)
        self.course = advanced(course, score, self.terms, seconds, pitch, gain, frozenset(self._notes))
        return self.course.done

    @property
    def target(self) -> float | None:
        """Frequency, Hz, of the wanted note, where it is to sound now."""
        course, score = self.course, self._score
        goal = None if course is None or score is None or not self.terms.target else sounding(score, course.at)
        return None if goal is None else float(frequency_of_note(goal.number, self._reference_a))

    def shown(self) -> Shown | None:
        """What the stage shows; None while nothing is played."""
        course, score = self.course, self._score
        if course is None or score is None:
            return None
        first, last = self.terms.part(score)
        now = max(score.index_at(course.at), first)
        goal = score.goals[now]
        share = min(max((course.at - goal.start) / goal.seconds, 0.0), 1.0)
        places = []
        for order in range(AHEAD):
            place = now + order
            turn = course.turn
            if place > last:
                if not self.terms.looped:
                    break
                place, turn = first + (place - last - 1) % (last - first + 1), turn + 1
            lit = self._lit(score.goals[place], order, is_lit(place, turn, self._share), course.at)
            if lit is None:
                break
            places.append(replace(lit, left=1.0 - share) if order == 0 else lit)
        begins = course.at < goal.start
        until = (goal.start if begins else goal.end) - course.at
        travel = min(TRAVEL * self.terms.tempo, 0.5 * goal.seconds)
        walked = None if begins or until > travel else float(minimum_jerk(1.0 - until / travel))
        return Shown(tuple(places), walked, goal.loudness_at(share), goal.loudness_at(1.0), self._words(score, now))

    def _lit(self, goal: Goal, order: int, lit: bool, at: float) -> Lit | None:
        """The place of a goal; None where it is out of reach."""
        line = self._notes.get(goal.number)
        if line is None:
            return None
        flat, sharp = self._beside(goal.number, -0.25), self._beside(goal.number, 0.25)
        swing, phase = 0.0, 0.0
        if goal.vibrato is not None:
            swing = 0.5 * abs(flat - sharp) * goal.vibrato.width / 25.0
            phase = ((at - goal.start) * goal.vibrato.rate / self.terms.tempo) % 1.0 if order == 0 else 0.0
        return Lit(line.name, order, line.distance, min(flat, sharp), max(flat, sharp), 1.0, swing, phase, lit)

    def _beside(self, number: int, semitones: float) -> float:
        """The distance, m, some part of a semitone beside a note: by a straight line to its neighbour."""
        here = self._notes[number].distance
        other, sign = self._notes.get(number + (1 if semitones > 0.0 else -1)), 1.0
        if other is None:
            other, sign = self._notes.get(number - (1 if semitones > 0.0 else -1)), -1.0
        return here if other is None else here + sign * abs(semitones) * (other.distance - here)

    def _words(self, score: Score, now: int) -> str:
        pieces = [score.title, f"note {now + 1} of {len(score.goals)}"]
        if self._notes.get(score.goals[now].number) is None:
            pieces.append(f"{note_name(score.goals[now].number)} is out of reach")
        if self.terms.waits:
            pieces.append("waits for your hand")
        elif self.terms.tempo != 1.0:
            pieces.append(f"tempo {100.0 * self.terms.tempo:.0f} %")
        if self._share < 1.0:
            pieces.append(f"{100.0 * self._share:.0f} % of the notes are lit")
        return ", ".join(pieces)

    def rows(self, drone: str) -> tuple[Row, ...]:
        """The page before practice; `drone`: what the drone is set to."""
        score, terms = self.score, self.terms
        count = 0 if score is None else len(score.goals)
        lit = f"{GUIDANCES[terms.guidance]}: {100.0 * self.share:.0f} %"
        return (
            Row("what", "What to play", self.titles[self.place]),
            Row("tempo", "Tempo", f"{100.0 * terms.tempo:.0f} %"),
            Row("waits", "Time", "waits for your hand" if terms.waits else "keeps going"),
            Row("first", "From note", "the first" if terms.first is None else _of(terms.first, count)),
            Row("last", "To note", "the last" if terms.last is None else _of(terms.last, count)),
            Row("again", "At the end", "again and again" if terms.looped else "stop"),
            Row("target", "The wanted note", "sounds softly" if terms.target else "is silent"),
            Row("drone", "Drone", drone),
            Row("guidance", "Places lit", lit if terms.guidance == "fading" else GUIDANCES[terms.guidance]),
            Row("start", "Start", "", action=True),
        )

    def turn(self, steps: int) -> None:
        """Change the value of the selected row by steps."""
        terms, score = self.terms, self.score
        name = self.rows("")[self.selected].name
        count = 1 if score is None else len(score.goals)
        match name:
            case "what":
                self.place, self._score, self.fault = (self.place + steps) % len(self.titles), None, ""
                self.terms = replace(terms, first=None, last=None)
            case "tempo":
                tempo = round(terms.tempo + steps * TEMPO_STEP, 2)
                self.terms = replace(terms, tempo=min(max(tempo, SLOWEST), FASTEST))
            case "waits":
                self.terms = replace(terms, waits=not terms.waits)
            case "first":
                moved = (terms.first or 0) + steps
                self.terms = replace(terms, first=None if moved <= 0 else min(moved, count - 1))
            case "last":
                moved = (count - 1 if terms.last is None else terms.last) + steps
                self.terms = replace(terms, last=None if moved >= count - 1 else max(moved, 0))
            case "again":
                self.terms = replace(terms, again=not terms.again)
            case "target":
                self.terms = replace(terms, target=not terms.target)
            case "guidance":
                names = list(GUIDANCES)
                chosen = names[(names.index(terms.guidance) + steps) % len(names)]
                self.terms = replace(terms, guidance=chosen)

    def select(self, steps: int) -> None:
        """Go to another row, around the ends."""
        self.selected = (self.selected + steps) % len(self.rows(""))


def _of(place: int, count: int) -> str:
    return f"{place + 1} of {count}"
