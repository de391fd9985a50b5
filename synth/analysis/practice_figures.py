"""What was practised and how it went: every score with its runs, first and last error, and what is lit next time."""

from __future__ import annotations

from collections.abc import Sequence

from models.quick_dataclass import dataclass
from synth.designs.schema import did_you_mean
from synth.errors import DesignError
from synth.practice.exercises import EXERCISES, NAMES
from synth.practice.guidance import guidance_share
from synth.practice.progress import Run, by_day, of_score


@dataclass(frozen=True, slots=True)
class ScoreProgress:
    """One score: its runs, the RMS error of its first and of its newest day, cents, and the share of notes lit next."""

    score: str
    runs: int
    days: int
    first_cents: float
    newest_cents: float
    lit_share: float


@dataclass(frozen=True, slots=True)
class DayProgress:
    """The RMS error of a day, cents."""

    score: str
    day: str
    rms_cents: float


@dataclass(frozen=True, slots=True)
class PracticeFigures:
    """exercises: (name, advice) of those to choose from. scores: what was practised, by name; days: of each, oldest
    first. runs: as the file has them.
    """

    exercises: tuple[tuple[str, str], ...]
    scores: tuple[ScoreProgress, ...]
    days: tuple[DayProgress, ...]
    runs: tuple[Run, ...]


def practice_figures(runs: Sequence[Run], score: str | None = None) -> PracticeFigures:
    """The figures of all runs, or of one score's. DesignError where there is no such score."""
    names = sorted({run.score for run in runs})
    if score is not None and score not in names and score not in NAMES:
        known = (*NAMES, *names)
        raise DesignError(f"{score}: was never practised; exercises are {', '.join(NAMES)}{did_you_mean(score, known)}")
    chosen = names if score is None else [name for name in names if name == score]
    kept = tuple(run for run in runs if run.score in chosen)
    progress, days = [], []
    for name in chosen:
        own = of_score(runs, name)
        dates = by_day(own)
        days += [DayProgress(name, day.isoformat(), error) for day, error in dates]
        share = guidance_share([run.rms_cents for run in own])
        progress.append(ScoreProgress(name, len(own), len(dates), dates[0][1], dates[-1][1], share))
    exercises = tuple(
        (exercise.name, exercise.advice) for exercise in EXERCISES if score is None or exercise.name == score
    )
    return PracticeFigures(exercises, tuple(progress), tuple(days), kept)
