"""The unknowns of a built instrument from its readings, each with its 95 % interval.

Symbols: u coordinates of the unknowns (`models.readings.unknowns`: before the readings 0 +- 1 each), y_i a reading,
m_i(u) what the model says of it, s_i its standard deviation, r_i = (y_i - m_i) / s_i.

    least of  sum_i rho(r_i) + sum_j u_j^2,      rho(r) = r^2 up to H, 2 H |r| - H^2 beyond  (P. J. Huber, Annals of
                                                  Mathematical Statistics 35 (1964) 73; from memory)

Errors in variables: every marking of a fitted capacitor is an unknown of its own, the same in all readings with that
marking (one part, put in again); its standard deviation is that of parts spread within their tolerance. All other
limits given are 95 % limits of a normal distribution. About the least the sum is taken as that of a normal
distribution, of covariance C = (J^T J + 1)^-1 with J = dm/du / s (linearised there); what lies below an unknown's least
value is cut off. Of what the model leaves out, with derivatives K, only the size is known; it is not fitted, and C
grows by D D^T, D = C J^T K (S. F. Schmidt's consider covariance; A. H. Jazwinski, Stochastic Processes and Filtering
Theory, 1970; from memory).

Modes: a tank behind a series inductor swings in one of two. Which one is settled for each row, jointly with the
unknowns: from several starts every row takes the mode that lies nearer to its reading until none changes, and the
least of all wins.

One reading that does not belong: its residual were it left out has the size t_i = r_i / sqrt(1 - h_i), with
h_i = J_i C J_i^T (J. Neter et al., Applied Linear Statistical Models; from memory). The largest above REFUSED is left
out if the fit without it says so too, and the fit is made again. Where two fit that description equally, neither is
left out and both are named.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from models.arrays import Floats
from models.normal_law import quantile, share_below
from models.quick_dataclass import dataclass
from models.readings.instrument_model import FrequencyOf, InstrumentModel
from models.readings.unknowns import NORMAL_95, Unknown, slopes_of, values_of

HUBER: Final = 3.0
REFUSED: Final = 4.5
"""Residual of a reading left out, in standard deviations of both, from which it does not belong."""
ALIKE: Final = 0.9
"""Share of the largest such residual from which a second one describes the slip as well."""
MOST_CHANGES: Final = 8
LEAST_GAIN: Final = 0.5
"""Change of the objective below which two assignments of modes count as alike: then the first is kept."""
MOST_SPLITS: Final = 8


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """Everything a fit starts from: `read` and `deviations` (n,), in the units of the model's readings.

    starts: coordinates (k,) worth starting at, beside all zero.
    """

    unknowns: tuple[Unknown, ...]
    model: InstrumentModel
    read: Floats
    deviations: Floats
    starts: tuple[Floats, ...] = ()

    def __post_init__(self) -> None:
        if not self.model.readings:
            raise ValueError("readings must be one or more; got none")
        if not (np.isfinite(self.read).all() and (self.deviations > 0.0).all()):
            raise ValueError("readings must be finite and their deviations above 0")

    def without(self, place: int) -> Problem:
        """The same with one reading left out."""
        kept = [one for one in range(len(self.model.readings)) if one != place]
        return replace(self, model=self.model.only(kept), read=self.read[kept], deviations=self.deviations[kept])


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A solved problem. coordinates, values (k,); covariance (k, k) of the coordinates; jacobian (n, k) over
    deviations.

    free: the coordinates as they would be without a least value. residuals: (n,) read less predicted.
    """

    problem: Problem
    coordinates: Floats
    free: Floats
    covariance: Floats
    jacobian: Floats
    residuals: Floats
    objective: float

    @property
    def values(self) -> Floats:
        """Values of the unknowns, SI."""
        return values_of(self.problem.unknowns, self.coordinates)

    @property
    def scaled(self) -> Floats:
        """Residuals in standard deviations, (n,)."""
        return self.residuals / self.problem.deviations

    def place(self, name: str) -> int:
        """The place of an unknown; ValueError where there is none of this name."""
        names = [one.name for one in self.problem.unknowns]
        if name not in names:
            raise ValueError(f"unknown must be one of {', '.join(names)}; got {name!r}")
        return names.index(name)

    def told(self, place: int) -> float:
        """What is left of the deviation of an unknown: 0 told exactly, 1 nothing learnt."""
        return math.sqrt(max(float(self.covariance[place, place]), 0.0))

    def interval(self, place: int) -> tuple[float, float, float]:
        """Value and 95 % interval of an unknown, SI, cut off at its least value."""
        one, spread = self.problem.unknowns[place], self.told(place)
        value, at_end = float(self.values[place]), float(self.coordinates[place]) <= self.problem.unknowns[place].lowest
        middle = float(self.free[place] if at_end else self.coordinates[place])
        if not one.free or spread == 0.0:
            return value, value, value
        below = share_below((one.lowest - middle) / spread) if one.lowest > -math.inf else 0.0
        if below >= 1.0 - 1e-12:
            return value, value, one.value(one.lowest + NORMAL_95 * spread)
        if at_end:
            return value, value, one.value(middle + spread * float(quantile(below + 0.95 * (1.0 - below))))
        ends = (middle + spread * float(quantile(below + share * (1.0 - below))) for share in (0.025, 0.975))
        low, high = (one.value(end) for end in ends)
        return value, min(low, value), max(high, value)

    def spread_of(self, slopes: Floats) -> float:
        """Standard deviation of a sum of unknowns, slopes (k,) by their values."""
        row = slopes * slopes_of(self.problem.unknowns, self.coordinates)
        return math.sqrt(max(float(row @ self.covariance @ row), 0.0))


def solved(problem: Problem) -> Fit:
    """Return the fit of all readings. Raises ValueError where none is found."""
    best: Fit | None = None
    for start in (*problem.starts, np.zeros(len(problem.unknowns))):
        for modes in _first_modes(problem, start):
            found = _settled(problem, start, modes)
            if found is not None and (best is None or found.objective < best.objective - LEAST_GAIN):
                best = found
            if best is not None and best.objective <= problem.read.size:
                return best  # as good as the errors let it be
    if best is None:
        raise ValueError("the readings could not be fitted; check them for a slip")
    return best


def _read_rows(problem: Problem) -> list[tuple[int, float]]:
    """Rows with the logarithm of the frequency read of them."""
    pairs = zip(problem.model.readings, problem.read, strict=True)
    return [(one.row, float(read)) for one, read in pairs if isinstance(one, FrequencyOf)]


def _nearest_modes(problem: Problem, coordinates: Floats) -> NDArray[np.bool_]:
    """The mode of every row that is nearer to what was read of it; rows of which nothing was read stay."""
    rows = problem.model.rows
    low, high = rows.both_modes(values_of(problem.unknowns, coordinates))
    chosen = rows.high.copy()
    for row, read in _read_rows(problem):
        if rows.branched[row]:
            chosen[row] = abs(high[row] - read) < abs(low[row] - read)
    return chosen


def _first_modes(problem: Problem, start: Floats) -> list[NDArray[np.bool_]]:
    """Assignments to start from: the nearer, as given, and every split by the tank's capacitance, the upper mode for
    the smaller ones: a tank below its branch's resonance starts in the lower one."""
    rows = problem.model.rows
    found = [rows.high]
    if rows.branched.any():
        found.insert(0, _nearest_modes(problem, start))
        tank = rows.arguments(values_of(problem.unknowns, start))[1]
        levels = sorted({float(one) for one in tank[rows.branched]})
        for level in [-math.inf, *levels][: MOST_SPLITS + 1]:
            found.append(np.asarray(rows.branched & (tank <= level)))
    unique: list[NDArray[np.bool_]] = []
    for modes in found:
        if not any(np.array_equal(modes, other) for other in unique):
            unique.append(modes)
    return unique


def _settled(problem: Problem, start: Floats, modes: NDArray[np.bool_]) -> Fit | None:
    """The fit from a start and modes, the modes changed until none does."""
    at, found = start, None
    for _ in range(MOST_CHANGES):
        here = replace(problem, model=problem.model.with_modes(modes))
        found = _least(here, at)
        if found is None or not problem.model.rows.branched.any():
            return found
        nearer = _nearest_modes(here, found.coordinates)
        if np.array_equal(nearer, modes):
            return found
        modes, at = nearer, found.coordinates
    return found


def _huber(scaled: Floats) -> tuple[Floats, Floats]:
    """Residuals whose square is rho, and their change with the plain residual."""
    size = np.abs(scaled)
    far = size > HUBER
    root = np.sqrt(np.where(far, 2.0 * HUBER * size - HUBER**2, 1.0))
    return np.where(far, np.sign(scaled) * root, scaled), np.where(far, HUBER / root, 1.0)


def _least(problem: Problem, start: Floats) -> Fit | None:
    """The least from `start`, modes as they are; None where it is not found."""
    unknowns = problem.unknowns
    free = [place for place, one in enumerate(unknowns) if one.free]
    held: dict[int, float] = {}
    point = np.where([one.free for one in unknowns], start, 0.0)
    unbounded: Floats | None = None
    for _ in range(len(free) + 1):
        moving = [place for place in free if place not in held]
        for place, at in held.items():
            point[place] = at
        found = _unbounded(problem, point, moving)
        if found is None:
            return None
        point = found
        if unbounded is None:
            unbounded = found.copy()
        below = [place for place in moving if point[place] < unknowns[place].lowest]
        if not below:
            break
        held |= {place: unknowns[place].lowest for place in below}
    return _finished(problem, point, point if unbounded is None else unbounded, free)


def _unbounded(problem: Problem, start: Floats, moving: list[int]) -> Floats | None:
    """Levenberg and Marquardt's search over the coordinates that move."""
    point = start.copy()
    if not moving:
        return point
    pick = np.asarray(moving, dtype=np.intp)

    last: list[tuple[bytes, Floats, Floats]] = []

    def model(part: Floats) -> tuple[Floats, Floats]:
        """Predictions and slopes; the search asks for both at the same place."""
        key = part.tobytes()
        if not last or last[0][0] != key:
            point[pick] = part
            last[:] = [(key, *problem.model.predicted(values_of(problem.unknowns, point)))]
        point[pick] = part
        return last[0][1], last[0][2]

    from scipy.optimize import leastsq  # heavy, as above

    def residuals(part: Floats) -> Floats:
        predicted, _ = model(part)
        return np.concatenate([_huber((problem.read - predicted) / problem.deviations)[0], part])

    def jacobian(part: Floats) -> Floats:
        predicted, slopes = model(part)
        by_coordinate = slopes * slopes_of(problem.unknowns, point)
        bend = _huber((problem.read - predicted) / problem.deviations)[1]
        top = -(bend / problem.deviations)[:, None] * by_coordinate[:, pick]
        return np.vstack([top, np.eye(pick.size)])

    with np.errstate(all="ignore"):
        try:
            found, *_ = leastsq(
                residuals, start[pick], Dfun=jacobian, full_output=True, xtol=1e-10, ftol=1e-10, gtol=1e-10, maxfev=100
            )
        except (ValueError, np.linalg.LinAlgError):
            return None
    if not np.isfinite(found).all():
        return None
    point[pick] = found
    return point


def _finished(problem: Problem, point: Floats, unbounded: Floats, free: list[int]) -> Fit:
    predicted, slopes = problem.model.predicted(values_of(problem.unknowns, point))
    jacobian = slopes * slopes_of(problem.unknowns, point) / problem.deviations[:, None]
    residuals = problem.read - predicted
    scaled, bend = _huber(residuals / problem.deviations)
    pick = np.asarray(free, dtype=np.intp)
    covariance = np.zeros((point.size, point.size))
    if free:
        weighted = np.where(bend < 1.0, bend, 1.0)[:, None] * jacobian[:, pick]
        triangle = np.linalg.qr(np.vstack([weighted, np.eye(pick.size)]), mode="r")
        root = np.linalg.solve(triangle, np.eye(pick.size))
        found = root @ root.T
        beside = np.asarray([place for place, one in enumerate(problem.unknowns) if one.considered], dtype=np.intp)
        moved = found @ weighted.T @ jacobian[:, beside]  # by one deviation of what is considered
        covariance[np.ix_(pick, pick)] = found + moved @ moved.T
        covariance[np.ix_(beside, beside)] = np.eye(beside.size)
        covariance[np.ix_(pick, beside)] = -moved
        covariance[np.ix_(beside, pick)] = -moved.T
    objective = float(scaled @ scaled + point @ point)
    return Fit(problem, point, unbounded, covariance, jacobian, residuals, objective)


@dataclass(frozen=True, slots=True)
class Slip:
    """A reading that does not belong to the others: its place, and by how many standard deviations.

    others: places that would explain it as well; then none of them was left out. expected: what the others say.
    """

    place: int
    size: float
    expected: float
    others: tuple[int, ...] = ()


def fit_readings(problem: Problem) -> tuple[Fit, tuple[Slip, ...], tuple[int, ...]]:
    """Fit, leaving out single readings that do not belong. Returns the fit, the slips, and the places kept.

    At most a third of the readings is left out. Raises ValueError where nothing is found.
    """
    kept = list(range(len(problem.model.readings)))
    slips: list[Slip] = []
    here, fit = problem, solved(problem)
    for _ in range(len(kept) // 3):
        sizes = _left_out_sizes(fit)
        worst = int(np.argmax(sizes))
        if sizes[worst] < REFUSED:
            break
        tried = {}
        for place in np.argsort(-sizes)[:3].tolist():
            tried[place] = _left_out(replace(here, starts=(fit.coordinates, *here.starts)), place)
        told = {place: size for place, (_, size, _) in tried.items() if size >= REFUSED}
        if not told:
            break
        gains = {place: fit.objective - tried[place][0].objective for place in told}
        worst = max(gains, key=gains.__getitem__)
        alike = tuple(kept[place] for place in told if place != worst and gains[place] > ALIKE * gains[worst])
        expected, size = tried[worst][2], tried[worst][1]
        if alike:
            slips.append(Slip(kept[worst], size, expected, alike))
            break
        slips.append(Slip(kept[worst], size, expected))
        del kept[worst]
        here, fit = here.without(worst), tried[worst][0]
    return fit, tuple(slips), tuple(kept)


def _left_out_sizes(fit: Fit) -> Floats:
    """Residual of every reading were it left out, in standard deviations of both (n,)."""
    scaled, bend = _huber(fit.scaled)
    weighted = bend[:, None] * fit.jacobian
    leverage = np.einsum("nk,kl,nl->n", weighted, fit.covariance, weighted)
    return np.asarray(np.abs(scaled) / np.sqrt(np.maximum(1.0 - leverage, 1e-9)))


def _left_out(problem: Problem, place: int) -> tuple[Fit, float, float]:
    """The fit without a reading, how far that reading is from it in standard deviations, and what it should be."""
    fit = solved(problem.without(place))
    rows = fit.problem.model.rows
    model = problem.model.with_modes(
        _nearest_modes(replace(problem, model=problem.model.with_modes(rows.high)), fit.coordinates)
    )
    predicted, slopes = model.predicted(fit.values)
    spread = math.hypot(fit.spread_of(slopes[place]), float(problem.deviations[place]))
    return fit, abs(float(problem.read[place] - predicted[place])) / spread, float(predicted[place])
