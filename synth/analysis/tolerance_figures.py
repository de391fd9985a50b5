"""What tolerances do to a design as one set of figures: random builds, worst cases, what each part is behind."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from models.arrays import Floats
from models.builds.tolerance import (
    BuildGoals,
    LinearEstimate,
    Sensitivity,
    Trial,
    build_values,
    linear_estimates,
    other_mode_share,
    reached_by_both,
    reached_by_selection,
    share_of,
    tighter_parts,
    worst_cases,
)
from models.builds.tuned_builds import OUTCOMES, Outcomes
from models.pitch import nearest_note
from models.quick_dataclass import dataclass
from synth.analysis.figures import DENSE, OfDesign, collected, known, of, rows
from synth.analysis.tolerance import goals_of, selection_factors, trial_of, variable_trimmer_ends
from synth.beside import Beside
from synth.build.workbench import OpenedDesign
from synth.designs.build_sections import GoalsSection

MOST_TIGHTER_BUILDS = 20_000
MODE_BUILDS = 4000
FEWEST_RARE = 0.001  # share of builds from which a start in the other mode is spoken of
AFTER_TUNING = frozenset({"zero_beat_distance", "lowest", "highest", "unevenness"})
UNITS = {"trimmer_setting": "", "zero_beat_distance": "m", "unevenness": "cents RMS"}  # all others Hz
SELECTION_SERIES = "E12"  # that a capacitor is selected from on test
TrimmerEnds = tuple[float, float] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class VaryingPart:
    """One part that varies, its value in SI units and its limit as a fraction."""

    part: str = of("part.label")
    quantity: str = of("part.quantity")
    nominal: float = of("part.nominal")
    limit: float = of("part.limit")
    scatter: str = of("part.scatter")
    bought: bool = of("part.bought")


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldFigure:
    """One part's hold on an outcome: change for 1 % more, and share of the variance."""

    part: str = of("held.part.label")
    change_per_percent: float = of("held.slope", lambda slope: 0.01 * slope)
    share: float = of("held.share")


def _holds(sensitivities: Iterable[Sensitivity]) -> tuple[HoldFigure, ...]:
    """Those that have a hold."""
    return rows(HoldFigure, "held")(held for held in sensitivities if not math.isnan(held.slope) and held.share > 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class OutcomeFigure:
    """One outcome: nominal, what the random builds gave, linear estimates, worst case; None where there is none.

    What is read after tuning counts only builds that reach zero beat.
    """

    outcome: str = of("estimate.outcome")
    unit: str = of("estimate.outcome", lambda name: UNITS.get(name, "Hz"))
    nominal: float | None = of("estimate.nominal", known)
    count: int = of("values", len)
    mean: float | None = of("values", lambda values: known(values.mean()) if values.size else None)
    sigma: float | None = of("values", lambda values: known(values.std(ddof=1)) if values.size > 1 else None)
    p05: float | None = of("quantiles.0", known)
    median: float | None = of("quantiles.1", known)
    p95: float | None = of("quantiles.2", known)
    linear_sigma: float | None = of("estimate.sigma", known)
    rss: float | None = of("estimate.rss", known)
    worst_low: float | None = of("worst.0", known)
    worst_high: float | None = of("worst.1", known)
    held_by: tuple[HoldFigure, ...] = of("estimate.sensitivities", _holds)


@dataclass(frozen=True, slots=True)
class ShareFigure:
    """A share of builds with its 95 % interval."""

    share: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class GoalFigure:
    """One stated goal: how many builds meet it, how many must; None where only all goals together have a share."""

    goal: str
    share: float
    asked: float | None
    met: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TighterFigure:
    """One part bought to half its limit: share of builds that then reach zero beat, and that meet every goal."""

    part: str = of("choice.part.label")
    limit: float = of("choice.limit")
    zero_beat_share: float = of("choice.reached")
    good_share: float = of("choice.good")


@dataclass(frozen=True, slots=True, kw_only=True)
class ToleranceFigures(OfDesign):
    """Every figure of the builds, SI units; `interrupted`: with fewer builds than asked for, or without `tighter`.

    zero_beat_reached: by the reference's trimmer, the variable's as set; zero_beat_by_both: with that turned too, None
    where it has none; zero_beat_by_selection: with a preferred value (SELECTION_SERIES) selected on test in place of
    the reference's fixed capacitor.
    """

    law: str = of("design.law")
    builds_asked: int
    builds: int
    interrupted: bool
    seed: int
    zero_beat_m: float = of("trial.law.zero_beat")
    nearest_m: float = of("section.nearest")
    farthest_m: float = of("section.farthest")
    even_from_hz: float = of("section.even_from")
    even_to_hz: float = of("section.even_to")
    parts: tuple[VaryingPart, ...] = of("trial.varying", rows(VaryingPart, "part"))
    outcomes: tuple[OutcomeFigure, ...]
    zero_beat_reached: ShareFigure
    zero_beat_by_both: ShareFigure | None
    zero_beat_by_selection: ShareFigure
    good: ShareFigure
    goals: tuple[GoalFigure, ...]
    tighter_builds: int
    tighter_base: TighterFigure | None
    tighter: tuple[TighterFigure, ...] = of("tighter", rows(TighterFigure, "choice"))
    notices: tuple[str, ...]
    runs: Outcomes = field(metadata=DENSE)  # one entry for each build

    @property
    def goals_met(self) -> bool:
        """Whether no stated goal is missed."""
        return all(goal.met is not False for goal in self.goals)

    def outcome(self, name: str) -> OutcomeFigure:
        """The figures of one outcome."""
        return next(figure for figure in self.outcomes if figure.outcome == name)


class BuildsDone(NamedTuple):
    """Random builds: what they do, which reach zero beat with both trimmers and with a capacitor selected on test, and
    whether Ctrl-C cut them short.
    """

    runs: Outcomes
    by_both: NDArray[np.bool_]
    by_selection: NDArray[np.bool_]
    cut_short: bool


def run_builds(
    trial: Trial, builds: int, seed: int, ends: TrimmerEnds, factors: Sequence[float], each: Callable[[int], None]
) -> BuildsDone:
    """Random builds. ends: of the variable oscillator's trimmer, where it has one; factors: of the capacitors to select
    from. `each` is told how many are done.
    """
    runs = Outcomes(*np.empty((len(OUTCOMES), builds)))  # filled as they come: so many are in memory once
    by_both, by_selection = np.zeros((2, builds), dtype=bool)
    done, cut_short = 0, False
    try:
        for values in build_values(trial, builds, seed):
            run, now = trial.law.outcomes(values), slice(done, done + len(values))
            for name in OUTCOMES:
                getattr(runs, name)[now] = getattr(run, name)
            by_both[now] = ends is not None and reached_by_both(trial, values, ends)
            by_selection[now] = reached_by_selection(trial, values, factors)
            done = now.stop
            each(done)
    except KeyboardInterrupt:
        if not done:
            raise
        cut_short = True
    finished = Outcomes(*(getattr(runs, name)[:done] for name in OUTCOMES))
    return BuildsDone(finished, by_both[:done], by_selection[:done], cut_short)


def tolerance_figures(
    opened: OpenedDesign,
    builds: int,
    seed: int,
    each: Callable[[int], None] = lambda done: None,
    beside: Beside | None = None,
) -> ToleranceFigures:
    """Run the builds and collect the figures. Ctrl-C ends the builds; the rest is made from those that are done.

    beside: does the corners and the tighter parts meanwhile; None: they are done here.
    """
    trial, section = trial_of(opened), goals_of(opened)
    goals = BuildGoals(section.lowest, section.highest, section.unevenness)
    estimates, fewer = linear_estimates(trial), min(builds, MOST_TIGHTER_BUILDS)
    beside = beside or Beside(here=True)
    beside.work(worst_cases, trial, estimates)
    beside.work(tighter_parts, trial, estimates, goals, fewer, seed)
    ends, factors = variable_trimmer_ends(opened), selection_factors(opened, SELECTION_SERIES)
    runs, by_both, by_selection, cut_short = run_builds(trial, builds, seed, ends, factors, each)
    worst, tighter = beside.worked(), ()
    if not cut_short:
        try:
            tighter = beside.worked()
        except KeyboardInterrupt:
            cut_short = True
    return collected(
        ToleranceFigures,
        {"design": opened.design, "trial": trial, "section": section, "tighter": tighter},
        builds_asked=builds,
        builds=len(runs),
        seed=seed,
        outcomes=tuple(_outcome(estimate, runs, worst[estimate.outcome]) for estimate in estimates),
        zero_beat_reached=ShareFigure(*share_of(runs.reached)),
        zero_beat_by_both=None if ends is None else ShareFigure(*share_of(by_both)),
        zero_beat_by_selection=ShareFigure(*share_of(by_selection)),
        good=ShareFigure(*share_of(goals.met(runs))),
        goals=_goals(section, goals, runs),
        interrupted=cut_short,
        tighter_builds=fewer if tighter else 0,
        tighter_base=_base(goals, runs, fewer) if tighter else None,
        notices=_notices(opened, trial, min(len(runs), MODE_BUILDS), seed) + opened.notices,
        runs=runs,
    )


def _base(goals: BuildGoals, runs: Outcomes, builds: int) -> TighterFigure:
    """What those same builds do with every part as it is."""
    good, reached = goals.met(runs)[:builds], runs.reached[:builds]
    return TighterFigure(
        part="all as they are", limit=0.0, zero_beat_share=float(reached.mean()), good_share=float(good.mean())
    )


def _outcome(estimate: LinearEstimate, runs: Outcomes, worst: tuple[float, float]) -> OutcomeFigure:
    name = estimate.outcome
    values: Floats = getattr(runs, name)
    if name in AFTER_TUNING:
        values = values[runs.reached]
    values = values[~np.isnan(values)]
    quantiles = None
    if values.size:  # as np.percentile, which loads masked arrays for it, longer than this takes
        quantiles = np.interp([0.05, 0.5, 0.95], np.linspace(0.0, 1.0, values.size), np.sort(values))
    return collected(OutcomeFigure, {"estimate": estimate, "values": values, "quantiles": quantiles, "worst": worst})


def _goals(section: GoalsSection, goals: BuildGoals, runs: Outcomes) -> tuple[GoalFigure, ...]:
    reached = float(runs.reached.mean())
    found = []
    if section.zero_beat is not None:
        found.append(
            GoalFigure("the trimmer reaches zero beat", reached, section.zero_beat, reached >= section.zero_beat)
        )
    asked = 0
    for name, words in {"lowest": "goes down to", "highest": "goes up to", "unevenness": "unevenness"}.items():
        limit = getattr(goals, name)
        if limit is None:
            continue
        asked += 1
        written = f"{limit:g} cents RMS or less" if name == "unevenness" else _note_text(limit)
        share = float(BuildGoals(**{name: limit}).met(runs).mean())
        found.append(GoalFigure(f"{words} {written}", share, None, None))
    if asked:
        good = float(goals.met(runs).mean())
        found.append(GoalFigure("a build meets all of these", good, section.good_builds, good >= section.good_builds))
    return tuple(found)


def _note_text(frequency: float) -> str:
    name, off = nearest_note(frequency)
    return f"{frequency:.1f} Hz ({name}{f' {off:+.0f} cents' if abs(off) >= 0.5 else ''})"


def _notices(opened: OpenedDesign, trial: Trial, builds: int, seed: int) -> tuple[str, ...]:
    instrument = opened.instrument
    if opened.design.law == "circuit":
        return (
            "every part acts as in the solved circuit to first order, and by the exact resonance beyond; "
            "whether each build starts is not solved again",
        )
    branch = instrument.branch
    tank = instrument.variable_tank
    share, low, high = other_mode_share(
        trial, builds, seed, tank.series_resistance, branch.series_resistance(tank.frequency)
    )
    if share < FEWEST_RARE:
        return ()
    return (
        f"{100.0 * share:.1f} % of the builds (95 %: {100.0 * low:.1f} to {100.0 * high:.1f}, of {builds}) start more "
        f"easily in the other mode than the {instrument.mode} one; the figures here take them in the {instrument.mode} "
        "one: set the series inductor further from the tank's frequency, or trim the variable tank",
    )
