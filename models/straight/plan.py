"""The whole search: every place of the series inductor, ideal, in real chokes, in preferred values, and over builds."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import field, replace
from functools import lru_cache, partial
from itertools import product

from models.branch.tapped_coil import Tap
from models.hand.capacitance_curve import CapacitanceCurve
from models.quick_dataclass import dataclass
from models.straight.buyable_field import Buyable, RobustSearch, TankParts, buyable
from models.straight.evenness import NOT_HELD, BuildSpread, FieldGoal, Tolerances, retuned_spread, spread
from models.straight.front import FrontPoint, front, lossy_rms, point_of
from models.straight.search import (
    FULL_EFFORT,
    UNHEARD,
    Effort,
    FieldParts,
    Mapped,
    Place,
    Progress,
    Search,
    one_by_one,
    with_ideal_coils,
)
from models.straight.shelf import Shelf

BOUND_PLACES = (Place(2, "high"), Place(2, "low"))  # where the cost of the bounds is looked at
ANY_TANK = 10e-9  # F, most the tank may have in the ideal
SHARES = {"places": 0.45, "robust": 0.6, "front": 1.0}  # of the time, where each part ends (measured, roughly)


@dataclass(frozen=True, slots=True)
class SearchTask:
    """What to search with: hand field, goal, parts, what stands across the tank, the shelf of parts,
    tolerances, seed. `free`: parts with wider bounds on tank and carrier, to tell what those of `parts` cost; None:
    they are not asked.
    """

    curve: CapacitanceCurve
    goal: FieldGoal
    parts: FieldParts
    tank: TankParts
    shelf: Shelf = field(default_factory=Shelf)
    tolerances: Tolerances = field(default_factory=Tolerances)
    seed: int = 1
    free: FieldParts | None = None
    effort: Effort = FULL_EFFORT

    def search(self, place: Place, parts: FieldParts | None = None) -> Search:
        """The search at one place, with other parts if given, else with those of the shelf."""
        return Search(self.curve, self.goal, parts or self.shelf.limited(self.parts, place), place, self.effort)

    @property
    def places(self) -> tuple[Place, ...]:
        """The places of the effort that there are chokes for."""
        return tuple(place for place in self.effort.places if self.shelf.holds(place))


@dataclass(frozen=True, slots=True)
class Steps:
    """RMS cents of one place from the ideal down to real parts; None where nothing keeps to the goal.

    `ideal`: lossless, no self-capacitance, any tank. `trimmable`: a tank its trimmer can make up for. `real_chokes`:
    self-capacitance and joint stray. `preferred`: preferred values. `lossy`: coil loss too. `builds`: over tolerances,
    zero beat tuned again; `retuned`: the variable trimmer set for the straightest field too.
    """

    ideal: float | None
    trimmable: float | None
    real_chokes: float | None
    preferred: float
    lossy: float | None
    builds: BuildSpread
    retuned: BuildSpread


@dataclass(frozen=True, slots=True)
class FieldOption:
    """One place worked out in preferred values."""

    option: Buyable
    point: FrontPoint
    steps: Steps


@dataclass(frozen=True, slots=True)
class FieldPlan:
    """What was found: every place's nominal best, the straightest of them, the most robust, the front; and, in
    continuous values, the straightest within the bounds of the task and without (None where not asked). interrupted:
    the search was cut short: `not_searched` are missing, or robust search and front are not whole.
    """

    places: tuple[tuple[Place, FieldOption | None], ...]
    nominal: FieldOption
    robust: FieldOption
    front: tuple[FrontPoint, ...]
    bounded: FrontPoint | None = None
    free: FrontPoint | None = None
    interrupted: bool = False
    not_searched: tuple[Place, ...] = ()


def make_plan(
    task: SearchTask, progress: Progress = lambda share: None, mapped: Mapped = one_by_one
) -> FieldPlan | None:
    """Search everything; None where no place keeps to the goal. `progress` hears the share of the work done; `mapped`
    may share it out.

    A KeyboardInterrupt ends the search with what is found, once one place has been worked out.
    """
    found: dict[int, FieldOption | None] = {}
    robust: FieldOption | None = None
    bounded: FrontPoint | None = None
    free: FrontPoint | None = None
    points: tuple[FrontPoint, ...] = ()
    interrupted = False
    try:
        progress(0.0)
        for number, option in mapped(partial(_nominal, task), task.places):
            found[number] = option
            progress(SHARES["places"] * len(found) / len(task.places))
        if options := _options(found):
            robust = _robust(task, options, progress, mapped)
            if task.free is not None:
                bounded, free = _straightest(task, (task.parts, task.free), mapped)
            points = front(task.search, _best_places(options), task.seed, partial(_of_front, progress), mapped)
    except KeyboardInterrupt:
        if not _options(found):
            raise
        interrupted = True
    if not (options := _options(found)):
        return None
    progress(1.0)
    nominal, robust = _steadiest(options, _straightness), robust or _steadiest(options, _over_builds)
    places = tuple((task.places[number], option) for number, option in sorted(found.items()))
    left = tuple(place for number, place in enumerate(task.places) if number not in found)
    return FieldPlan(places, nominal, robust, points, bounded, free, interrupted, left)


def _options(found: Mapping[int, FieldOption | None]) -> list[FieldOption]:
    return [option for _, option in sorted(found.items()) if option is not None]


def _best_places(options: Sequence[FieldOption]) -> list[Place]:
    """The place of the straightest option of each mode."""
    modes = ([option for option in options if option.point.solution.place.mode == mode] for mode in ("high", "low"))
    return [min(same, key=_straightness).point.solution.place for same in modes if same]


def _of_front(progress: Progress, share: float) -> None:
    progress(SHARES["robust"] + (SHARES["front"] - SHARES["robust"]) * share)


def _ideals(task: SearchTask, place: Place) -> tuple[float | None, float | None]:
    """RMS cents of the ideal, and of the ideal with a tank that its trimmer can make up for. Ideal chokes in series are
    one coil, and with any tank there is no need of a tap.
    """
    trimmable = with_ideal_coils(task.parts)
    one = Place(min(place.chokes, 1), place.mode)
    wider = replace(trimmable, most_tank_capacitance=max(ANY_TANK, trimmable.most_tank_capacitance))
    found = _ideal(task, one, wider), _ideal(task, replace(one, tap=place.tap), trimmable)
    ideal = min((value for value in found if value is not None), default=None)  # the wider search holds the narrower
    return ideal, found[1]


@lru_cache(maxsize=64)
def _ideal(task: SearchTask, place: Place, parts: FieldParts) -> float | None:
    """RMS cents of what a search finds, kept: several places have the same ideal."""
    solution = (search := task.search(place, parts)).best(task.seed)
    return None if solution is None else search.rms_cents(solution)


def _straightest(task: SearchTask, bounds: Sequence[FieldParts], mapped: Mapped) -> list[FrontPoint | None]:
    """Of the places BOUND_PLACES the straightest field in continuous values, or None: with each of several parts."""
    tried = list(product(bounds, BOUND_PLACES))
    found = dict(mapped(partial(_continuous, task), tried))
    points = [(parts, found[number]) for number, (parts, _) in enumerate(tried)]
    return [
        min((point for its, point in points if its is parts and point is not None), key=_cents, default=None)
        for parts in bounds
    ]


def _continuous(task: SearchTask, tried: tuple[FieldParts, Place]) -> FrontPoint | None:
    parts, place = tried
    found = (search := task.search(place, parts)).best(task.seed)
    return None if found is None else point_of(search, found)


def _cents(point: FrontPoint) -> float:
    return point.rms_cents


def _nominal(task: SearchTask, place: Place) -> FieldOption | None:
    """The nominal best of a place."""
    ideals, search = _ideals(task, place), task.search(place)
    solution = search.best(task.seed)
    if solution is None:
        return None
    option = buyable(search, solution, task.tank, task.shelf)
    return None if option is None else judged(task, option, (*ideals, search.rms_cents(solution)))


def _robust(task: SearchTask, options: list[FieldOption], progress: Progress, mapped: Mapped) -> FieldOption:
    """The least mean over builds: of every nominal option, and of a robust search of the two most promising places."""
    promising = sorted(options, key=_over_builds)[:2]
    found: dict[int, FieldOption | None] = {}
    for number, option in mapped(partial(_robust_option, task), promising):
        found[number] = option
        progress(SHARES["places"] + (SHARES["robust"] - SHARES["places"]) * len(found) / len(promising))
    return _steadiest([*options, *_options(found)], _over_builds)


def _robust_option(task: SearchTask, start: FieldOption) -> FieldOption | None:
    """What a robust search finds at the place of an option."""
    factors = task.tolerances.factors(task.effort.search_builds, task.seed)
    place, steps = start.point.solution.place, start.steps
    search = RobustSearch(task.curve, task.goal, task.search(place).parts, place, task.effort, factors)
    solution = search.best(task.seed, task.effort.robust_draws)
    option = None if solution is None else buyable(search, solution, task.tank, task.shelf)
    return None if option is None else judged(task, option, (steps.ideal, steps.trimmable, steps.real_chokes))


def judged(task: SearchTask, option: Buyable, before: tuple[float | None, float | None, float | None]) -> FieldOption:
    """All figures of a buyable option; `before` are its ideal steps."""
    search, rows = task.search(option.solution.place), option.solution.build(task.parts)
    point, law = point_of(search, option.solution), search.law
    factors = task.tolerances.factors(task.effort.judge_builds, task.seed + 1)  # not those of a robust search
    span = task.tank.maximum - task.tank.minimum
    seen = span / Tap(option.solution.place.tap, task.parts.tap_coupling).ratio ** 2  # by the branch
    trim = (-option.trimmer * seen, (1.0 - option.trimmer) * seen)
    steps = Steps(
        *before,
        preferred=point.rms_cents,
        lossy=lossy_rms(law, rows, task.parts, task.goal, point.zero_beat),
        builds=spread(law, task.goal, rows, point.zero_beat, factors),
        retuned=retuned_spread(law, task.goal, rows, point.zero_beat, factors, trim),
    )
    return FieldOption(option, point, steps)


def _steadiest(options: Sequence[FieldOption], judge: Callable[[FieldOption], float]) -> FieldOption:
    """Of the options within UNHEARD of the best by `judge`, the one whose zero beat drifts least."""
    best = min(judge(option) for option in options)
    alike = [option for option in options if judge(option) <= best + UNHEARD]
    return min(alike, key=lambda option: option.point.price.drift_hz_per_ppm)


def ranked(plan: FieldPlan, choice: str) -> list[FieldOption]:
    """The chosen option ("robust" or "nominal") first, then those of every place, best first."""
    judge, first = (_over_builds, plan.robust) if choice == "robust" else (_straightness, plan.nominal)
    others = [option for _, option in plan.places if option is not None and option != first]
    return [first, *sorted(others, key=judge)]


def _straightness(option: FieldOption) -> float:
    """Nominal RMS cents with loss; infinity where loss takes the notes away."""
    return float("inf") if option.steps.lossy is None else option.steps.lossy


def _over_builds(option: FieldOption) -> float:
    """Mean RMS cents over builds, the missing ones counted heavily."""
    builds = option.steps.builds
    if builds.mean_cents is None:
        return float("inf")
    return builds.held * builds.mean_cents + (1.0 - builds.held) * NOT_HELD
