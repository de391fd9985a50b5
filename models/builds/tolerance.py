"""What tolerances do to a design: seeded Monte-Carlo, worst case, root sum of squares, sensitivities, yield.

Symbols: x_i relative deviation of part i, t_i its limit, s_i = dy/dx_i, sigma_i its standard deviation.

    worst case   least and greatest outcome over all 2^k corners x_i = -t_i or +t_i
    RSS          sqrt(sum (s_i t_i)^2), the limits added as squares
    sigma        sqrt(sum (s_i sigma_i)^2); part i contributes (s_i sigma_i)^2 of it
    uniform      sigma = t / sqrt(3)
    normal       a normal with 3 sigma = t, cut at the limits (parts beyond are sorted out):
                 sigma = (t / 3) sqrt(1 - 2 c phi(c) / (2 Phi(c) - 1)), c = 3     (cut normal distribution, textbook)

Worst case, RSS and sigma are those of a build brought to zero beat, whatever that takes beyond its trimmer.
RSS and sigma are linear estimates; the Monte-Carlo runs every build through the whole pitch law. A worst case at the
corners is the true one wherever the outcome is monotone in each part. Parts are independent of one another, but for
those of one reel: the reference's part of a kind then deviates by r x_v + (1 - r) x_r, with x_v the deviation of the
variable oscillator's, x_r one of its own and r the share that parts of one reel have in common. It stays within its
limit, and is linear in x_v and x_r, which are independent, so that all of the above holds for them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from models.arrays import Floats
from models.branch.loss import mode_starts
from models.builds.tuned_builds import OUTCOMES, QUANTITIES, Outcomes, TunedBuilds, joined
from models.checks import fraction, non_negative, one_of
from models.normal_law import quantile, share_below
from models.quick_dataclass import dataclass

SCATTERS = ("uniform", "normal")
CUT = 3.0  # sigmas at the limits
CHUNK = 1024  # builds at a time: the tables of a chunk stay in a processor's cache
STEP = 0.02  # of a part's limit, for the central differences
ROUNDING = 1e-9
MOST_CORNERS = 15  # parts whose corners are all looked at, some 2^15
RANDOM_CORNERS = 256
MOST_TIGHTER = 8  # parts


@dataclass(frozen=True, slots=True)
class ToleratedPart:
    """One part that varies: the column it is in, its nominal value (SI), relative limit, how it scatters.

    `bought`: can be had with a tighter limit. `label` names it to a person.
    """

    quantity: str
    label: str
    nominal: float
    limit: float
    scatter: str = "uniform"
    bought: bool = True

    def __post_init__(self) -> None:
        one_of("scatter", self.scatter, SCATTERS)
        non_negative("nominal", self.nominal)
        if fraction("limit", self.limit) == 1.0:
            raise ValueError("limit must be < 1; got 1")

    @property
    def sigma(self) -> float:
        """Standard deviation of the relative deviation."""
        if self.scatter == "uniform":
            return self.limit / math.sqrt(3.0)
        density = math.exp(-0.5 * CUT**2) / math.sqrt(2.0 * math.pi)
        return self.limit / CUT * math.sqrt(1.0 - 2.0 * CUT * density / math.erf(CUT / math.sqrt(2.0)))

    @property
    def varies(self) -> bool:
        """Whether there is such a part and it may be off."""
        return self.nominal > 0.0 and self.limit > 0.0

    def deviation(self, share: Floats) -> Floats:
        """Relative deviation for uniform random numbers from 0 to 1."""
        return self.limit * of_limit(share, self.scatter)


@dataclass(frozen=True, slots=True)
class BuildGoals:
    """What one build must do: lowest note (Hz) or lower, highest or higher, unevenness (cents RMS); None: not asked."""

    lowest: float | None = None
    highest: float | None = None
    unevenness: float | None = None

    def met(self, outcomes: Outcomes) -> NDArray[np.bool_]:
        """Whether each build reaches zero beat and meets every goal asked for (NaN meets none)."""
        good = outcomes.reached.copy()
        if self.lowest is not None:
            good &= outcomes.lowest <= self.lowest
        if self.highest is not None:
            good &= outcomes.highest >= self.highest
        if self.unevenness is not None:
            good &= outcomes.unevenness <= self.unevenness
        return good


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """One part's hold on one outcome: slope dy/dx (x relative), and its share of the outcome's variance."""

    part: ToleratedPart
    slope: float
    share: float


@dataclass(frozen=True, slots=True)
class LinearEstimate:
    """Linear estimates of one outcome: nominal value, RSS of the limits, sigma, and the parts, strongest first."""

    outcome: str
    nominal: float
    rss: float
    sigma: float
    sensitivities: tuple[Sensitivity, ...]


@dataclass(frozen=True, slots=True)
class Trial:
    """A design with parts that vary: the law all builds share, and one part for each of its quantities, in order.

    reel: the share of their deviation that bought parts of one kind in both oscillators have in common (module text).
    """

    law: TunedBuilds
    parts: tuple[ToleratedPart, ...]
    reel: float = 0.0

    def __post_init__(self) -> None:
        fraction("reel", self.reel)
        names = tuple(part.quantity for part in self.parts)
        if names != self.law.quantities:
            raise ValueError(f"parts must be one for each quantity in order; got {', '.join(names)}")

    @property
    def varying(self) -> tuple[ToleratedPart, ...]:
        """The parts that vary."""
        return tuple(part for part in self.parts if part.varies)

    @property
    def limits(self) -> Floats:
        """Limits of the parts that vary (varying,)."""
        return np.array([part.limit for part in self.varying])

    def values(self, deviations: Floats) -> Floats:
        """Part values (n, all) from relative deviations (n, varying)."""
        factors = np.ones((deviations.shape[0], len(self.parts)))
        factors[:, [part.varies for part in self.parts]] += deviations
        if pairs := self._of_one_reel():
            own, common = (list(columns) for columns in zip(*pairs, strict=True))
            factors[:, own] = self.reel * factors[:, common] + (1.0 - self.reel) * factors[:, own]
        return np.asarray(factors * np.array([part.nominal for part in self.parts]))

    def _of_one_reel(self) -> list[tuple[int, int]]:
        """Columns of the reference's bought parts, each with that of the variable oscillator's part of its kind; none
        where parts of one reel have nothing in common."""
        columns = {part.quantity: column for column, part in enumerate(self.parts)}
        found = []
        for part in self.parts if self.reel > 0.0 else ():
            other = part.quantity.replace("reference", "variable", 1)
            if part.bought and part.quantity.startswith("reference") and other in columns:
                found.append((columns[part.quantity], columns[other]))
        return found

    def nominal(self) -> Outcomes:
        """The build with every part as written."""
        return self.law.outcomes(self.values(np.zeros((1, len(self.varying)))))

    def halved(self, values: Floats, quantity: str) -> Floats:
        """Part values (n, all) of the same builds with one part bought to half its limit."""
        column = [part.quantity for part in self.parts].index(quantity)
        nominal = np.array([part.nominal for part in self.parts])
        reel = self._of_one_reel()
        off = values[:, column] / nominal[column] - 1.0
        for own, common in reel:
            if own == column:  # what it has in common with the other stays
                off -= self.reel * (values[:, common] / nominal[common] - 1.0)
        changed = values.copy()
        changed[:, column] -= 0.5 * nominal[column] * off
        for own, common in reel:
            if common == column:
                changed[:, own] -= 0.5 * nominal[own] * self.reel * off
        return changed


def of_limit(share: Floats, scatter: str) -> Floats:
    """Deviations in units of the limit for uniform random numbers from 0 to 1 (the inverse of the distribution)."""
    if scatter == "uniform":
        return 2.0 * share - 1.0
    below = share_below(-CUT)
    return quantile(below + share * (1.0 - 2.0 * below)) / CUT


def drawn_builds(trial: Trial, builds: int, seed: int, chunk: int = CHUNK) -> Iterator[Floats]:
    """Deviations of random builds (n, varying) in units of each part's limit, `chunk` builds at a time.

    A seed gives the same builds, however they are divided and whatever the limits are.
    """
    if isinstance(builds, bool) or builds < 1 or chunk < 1:
        raise ValueError(f"builds must be >= 1; got {builds}")
    random = np.random.default_rng(seed)
    scatters = np.array([part.scatter for part in trial.varying])
    for start in range(0, builds, chunk):
        share = random.random((min(chunk, builds - start), len(scatters)))
        for scatter in set(scatters.tolist()):
            share[:, scatters == scatter] = of_limit(share[:, scatters == scatter], scatter)
        yield share


def build_values(trial: Trial, builds: int, seed: int, chunk: int = CHUNK) -> Iterator[Floats]:
    """Part values of random builds, `chunk` at a time (see `drawn_builds`)."""
    for drawn in drawn_builds(trial, builds, seed, chunk):
        yield trial.values(drawn * trial.limits)


def build_runs(trial: Trial, builds: int, seed: int, chunk: int = CHUNK, evenness: bool = True) -> Iterator[Outcomes]:
    """Outcomes of random builds, `chunk` at a time (see `build_values`), with their unevenness or without."""
    for values in build_values(trial, builds, seed, chunk):
        yield trial.law.outcomes(values, evenness=evenness)


def other_mode_share(
    trial: Trial, builds: int, seed: int, tank_resistance: float, branch_resistance: float
) -> tuple[float, float, float]:
    """Share of builds that start more easily in the other mode, hand at zero beat, with its 95 % interval.

    Coils with these series resistances, ohm, in every build (see `models.branch.loss`). 0 without a series inductor.
    """
    found = []
    capacitance = float(trial.law.law.curve.capacitance(trial.law.zero_beat))
    for values in build_values(trial, builds, seed):
        part = trial.law.variable_parts(values)
        low, high = mode_starts(
            part.tank_inductance,
            part.tank_capacitance,
            part.branch_inductance,
            capacitance + part.antenna_stray,
            part.self_capacitance,
            tank_resistance,
            branch_resistance,
        ).conductances
        found.append(np.asarray(high < low if trial.law.law.mode == "low" else low < high))
    return share_of(np.concatenate(found))


def reached_by_both(trial: Trial, values: Floats, ends: tuple[float, float]) -> NDArray[np.bool_]:
    """Which builds with these part values (n, all) reach zero beat with the variable oscillator's trimmer turned too.

    ends: that trimmer all out and all in, over its nominal setting; both ends scatter alike. The variable frequency
    falls as the trimmer goes in, so the reference's settings wanted are those between the ones wanted at the two ends.
    """
    column = QUANTITIES.index("variable_trimmer")
    place, wanted = trial.law.law.curve.capacitance([trial.law.zero_beat]), []
    for end in ends:
        turned = values.copy()
        turned[:, column] *= end
        wanted.append(trial.law.needed_setting(turned, trial.law.variable_frequency(turned, place))[:, 0])
    return np.asarray((np.minimum(*wanted) <= 1.0) & (np.maximum(*wanted) >= 0.0))


def reached_by_selection(trial: Trial, values: Floats, factors: Sequence[float]) -> NDArray[np.bool_]:
    """Which builds with these part values (n, all) reach zero beat where the reference's fixed capacitor is exchanged
    for one of `factors` times its nominal value. The new one is off by as much as the first.
    """
    column, reached = QUANTITIES.index("reference_capacitance"), np.zeros(len(values), dtype=bool)
    wanted = trial.law.variable_frequency(values, trial.law.law.curve.capacitance([trial.law.zero_beat]))
    for factor in factors:
        fitted = values.copy()
        fitted[:, column] *= factor
        setting = trial.law.needed_setting(fitted, wanted)[:, 0]
        reached |= (setting >= 0.0) & (setting <= 1.0)
    return reached


def monte_carlo(trial: Trial, builds: int, seed: int) -> Outcomes:
    """Outcomes of `builds` random builds."""
    return joined(build_runs(trial, builds, seed))


def worst_cases(trial: Trial, estimates: Sequence[LinearEstimate]) -> dict[str, tuple[float, float]]:
    """Least and greatest of every outcome over all corners of the limits; NaN where no corner has the outcome.

    Of more than MOST_CORNERS varying parts the corners are searched: from those to which the slopes of the `estimates`
    (`linear_estimates`) point and from RANDOM_CORNERS others, turning one part after the other over as long as that
    goes further (the true ones wherever an outcome is monotone in each part).
    """
    limits = trial.limits

    def at(signs: Floats) -> dict[str, Floats]:
        runs = (
            trial.law.outcomes(trial.values(signs[start : start + CHUNK] * limits), always_tuned=True)
            for start in range(0, len(signs), CHUNK)
        )
        found = joined(runs)
        return {name: getattr(found, name) for name in OUTCOMES}

    if limits.size <= MOST_CORNERS:
        patterns = np.arange(2**limits.size)[:, None] >> np.arange(limits.size)
        signs = np.where(patterns & 1, 1.0, -1.0)
        return {name: _extremes(row) for name, row in at(signs).items()}
    return _searched_corners(trial, estimates, at)


def _searched_corners(
    trial: Trial, estimates: Sequence[LinearEstimate], at: Callable[[Floats], dict[str, Floats]]
) -> dict[str, tuple[float, float]]:
    """The extremes over corners found by turning single parts over; `at` gives the outcomes of signs (n, parts)."""
    parts = {part.quantity: place for place, part in enumerate(trial.varying)}
    goals = [(name, way) for name in OUTCOMES for way in (-1.0, 1.0)]
    rows = []
    for estimate in estimates:
        slopes = np.zeros(len(parts))
        for held in estimate.sensitivities:
            slopes[parts[held.part.quantity]] = held.slope
        rows += [np.where(way * np.nan_to_num(slopes) < 0.0, -1.0, 1.0) for way in (-1.0, 1.0)]
    others = 2.0 * np.random.default_rng(0).integers(0, 2, (RANDOM_CORNERS, len(parts))) - 1.0
    corners = np.concatenate([np.array(rows), others])
    start = at(corners)

    def gained(values: Floats, way: float) -> Floats:
        return np.where(np.isnan(values), -np.inf, way * values)

    best = []
    for name, way in goals:
        reached = gained(start[name], way)
        place = int(np.argmax(reached))
        best.append((float(reached[place]), corners[place].copy()))
    open_goals = set(range(len(goals)))
    turned = 1.0 - 2.0 * np.eye(len(parts))
    while open_goals:
        order = sorted(open_goals)
        near = at(np.concatenate([best[goal][1] * turned for goal in order]))
        for index, goal in enumerate(order):
            name, way = goals[goal]
            reached = gained(near[name][index * len(parts) : (index + 1) * len(parts)], way)
            place = int(np.argmax(reached))
            if reached[place] > best[goal][0]:
                best[goal] = float(reached[place]), best[goal][1] * turned[place]
            else:
                open_goals.discard(goal)
    found: dict[str, list[float]] = {name: [] for name in OUTCOMES}
    for (name, way), (value, _) in zip(goals, best, strict=True):
        found[name].append(way * value if math.isfinite(value) else math.nan)
    return {name: (low, high) for name, (low, high) in found.items()}


def linear_estimates(trial: Trial) -> tuple[LinearEstimate, ...]:
    """Sensitivities by central differences, with RSS and sigma, for every outcome; NaN where the nominal has none."""
    parts = trial.varying
    steps = STEP * np.array([part.limit for part in parts])
    moved = trial.law.outcomes(trial.values(np.concatenate([np.diag(steps), -np.diag(steps)])), always_tuned=True)
    nominal = trial.law.outcomes(trial.values(np.zeros((1, len(parts)))), always_tuned=True)
    return tuple(
        _estimate(name, parts, steps, getattr(moved, name), float(getattr(nominal, name)[0])) for name in OUTCOMES
    )


def _estimate(
    name: str, parts: Sequence[ToleratedPart], steps: Floats, moved: Floats, nominal: float
) -> LinearEstimate:
    slopes = (moved[: len(parts)] - moved[len(parts) :]) / (2.0 * steps)
    limits, sigmas = np.array([part.limit for part in parts]), np.array([part.sigma for part in parts])
    variances = (slopes * sigmas) ** 2
    variance = float(variances.sum())
    rounding = (ROUNDING * nominal) ** 2  # what is left of a part, or of all, that tuning takes away
    total = variance if variance > rounding else math.inf
    shares = np.where(variances <= rounding, 0.0, variances / total)
    order = np.argsort(-shares, kind="stable")
    return LinearEstimate(
        outcome=name,
        nominal=nominal,
        rss=float(np.sqrt(((slopes * limits) ** 2).sum())),
        sigma=math.sqrt(variance) if variance >= 0.0 else math.nan,
        sensitivities=tuple(Sensitivity(parts[i], float(slopes[i]), float(shares[i])) for i in order),
    )


@dataclass(frozen=True, slots=True)
class Tighter:
    """One part bought to half its limit: share of builds that reach zero beat, and that are good, then."""

    part: ToleratedPart
    limit: float
    reached: float
    good: float


def tighter_parts(
    trial: Trial, estimates: Sequence[LinearEstimate], goals: BuildGoals, builds: int, seed: int
) -> tuple[Tighter, ...]:
    """Each bought part to half its limit, the others as they are, on the same random builds; the best first.

    Of more than MOST_TIGHTER those that hold the largest share of any outcome by the `estimates`.
    """
    found = []
    hold = {part.quantity: 0.0 for part in trial.varying if part.bought}
    for estimate in estimates:
        for held in estimate.sensitivities:
            if held.part.bought:
                hold[held.part.quantity] = max(hold[held.part.quantity], held.share)
    most = sorted(hold, key=lambda quantity: -hold[quantity])[:MOST_TIGHTER]
    evenness, rows = goals.unevenness is not None, tuple(build_values(trial, builds, seed))
    for part in trial.varying:
        if part.quantity in most:
            halves = (trial.halved(row, part.quantity) for row in rows)
            run = joined(trial.law.outcomes(row, evenness=evenness, distances=False) for row in halves)
            found.append(Tighter(part, 0.5 * part.limit, share_of(run.reached)[0], share_of(goals.met(run))[0]))
    return tuple(sorted(found, key=lambda choice: (-choice.good, -choice.reached)))


def share_of(met: NDArray[np.bool_]) -> tuple[float, float, float]:
    """Share of True with the ends of its 95 % interval.

    E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209: (p + z^2/2n -+ z sqrt(p(1-p)/n + z^2/4n^2)) / (1 + z^2/n).
    ValueError for no builds at all.
    """
    count = met.size
    if count == 0:
        raise ValueError("share must be of 1 build or more; got 0")
    share, z = float(met.mean()), NormalDist().inv_cdf(0.975)
    middle = share + z * z / (2.0 * count)
    half = z * math.sqrt(share * (1.0 - share) / count + (z / (2.0 * count)) ** 2)
    scale = 1.0 + z * z / count
    return share, max(0.0, (middle - half) / scale), min(1.0, (middle + half) / scale)


def _extremes(values: Floats) -> tuple[float, float]:
    known = values[~np.isnan(values)]
    return (float(known.min()), float(known.max())) if known.size else (math.nan, math.nan)
