"""What readings can tell apart, and which one more reading would tell most.

Before the readings every unknown has a standard deviation; what is left of it afterwards says what was learnt. An
unknown that keeps most of it was not told by the readings, and its value is the one assumed beforehand. Where sums or
differences of capacitances are told although none of them is by itself, those are given. A further reading with row a
(over its standard deviation) changes the covariance C of the coordinates by a rank-one update,

    C' = C - C a a^T C / (1 + a^T C a),

so no new frequency is needed to judge it; the best one leaves the least sum of variances, each over what it was
beforehand.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from models.arrays import Floats
from models.quick_dataclass import dataclass
from models.readings.fit import Fit
from models.readings.unknowns import NORMAL_95, slopes_of

NOT_TOLD: Final = 0.5
"""Share of its deviation that an unknown keeps, from which the readings do not tell it."""
SUM_TOLD: Final = 0.5
"""A sum is told where its deviation is at most this share of that of the best known of its parts."""
MOST_PARTS: Final = 6
"""Capacitances whose sums are looked through."""
ENTANGLED: Final = 0.95
"""Size of a correlation from which two unknowns are hardly told apart, where one of them is BLURRED as well."""
BLURRED: Final = 0.1
"""Half the width of an interval over its value, from which an unknown is known badly."""


@dataclass(frozen=True, slots=True)
class SumTold:
    """A sum of capacitances that is told although not each of them; F, with its 95 % interval."""

    parts: tuple[tuple[str, int], ...]
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class NextReading:
    """The best of several further readings: its place among them, what is left of the variances, and half widths of the
    95 % intervals after it, SI."""

    place: int
    remaining: float
    half_widths: dict[str, float]


def asked(fit: Fit) -> list[int]:
    """Places of the unknowns that somebody asks for and that are not known exactly."""
    return [place for place, one in enumerate(fit.problem.unknowns) if one.free and not one.nuisance]


def not_told(fit: Fit) -> tuple[str, ...]:
    """Unknowns of which the readings say little or nothing."""
    return tuple(fit.problem.unknowns[place].name for place in asked(fit) if fit.told(place) > NOT_TOLD)


def sums_told(fit: Fit) -> tuple[SumTold, ...]:
    """The simplest sums and differences of capacitances not told that the readings do tell, independent ones."""
    unknowns = fit.problem.unknowns
    places = [place for place in asked(fit) if unknowns[place].unit == "F"][:MOST_PARTS]
    vague = {place for place in places if fit.told(place) > NOT_TOLD}
    found: list[SumTold] = []
    taken: list[Floats] = []
    signs = [row for row in itertools.product((1, 0, -1), repeat=len(places)) if sum(map(abs, row)) > 1]
    signs = [row for row in signs if next(sign for sign in row if sign) > 0]
    for row in sorted(signs, key=lambda row: (sum(map(abs, row)), sum(sign < 0 for sign in row))):
        direction = np.zeros(len(unknowns))
        for place, sign in zip(places, row, strict=True):
            direction[place] = sign
        inside = [place for place, sign in zip(places, row, strict=True) if sign]
        alone = [fit.spread_of(np.eye(len(unknowns))[place]) for place in inside]
        after = fit.spread_of(direction)
        if not vague.intersection(inside) or after > SUM_TOLD * min(alone):
            continue
        if taken and np.linalg.matrix_rank(np.array([*taken, direction])) == len(taken):
            continue
        taken.append(direction)
        value, spread = float(direction @ fit.values), NORMAL_95 * after
        parts = tuple((unknowns[place].name, sign) for place, sign in zip(places, row, strict=True) if sign)
        low = max(value - spread, 0.0) if all(sign > 0 for _, sign in parts) else value - spread
        found.append(SumTold(parts, value, low, value + spread))
    return tuple(found)


def entangled(fit: Fit) -> tuple[tuple[str, str, float], ...]:
    """Pairs of unknowns that are told but hardly told apart, with their correlation; the strongest first."""
    unknowns = fit.problem.unknowns
    places = [place for place in asked(fit) if 0.0 < fit.told(place) <= NOT_TOLD]
    pairs = []
    for one, other in itertools.combinations(places, 2):
        blurred = any(high - low > 2.0 * BLURRED * value for value, low, high in map(fit.interval, (one, other)))
        size = float(fit.covariance[one, other]) / (fit.told(one) * fit.told(other))
        if blurred and abs(size) >= ENTANGLED:
            pairs.append((unknowns[one].name, unknowns[other].name, size))
    return tuple(sorted(pairs, key=lambda pair: -abs(pair[2])))


def best_next_reading(fit: Fit, rows: Sequence[Floats]) -> NextReading | None:
    """The reading that tells most of several, or None where there are none.

    rows: of each its derivatives (k,) by the values of the unknowns, over its standard deviation.
    """
    if not rows:
        return None
    places = asked(fit)
    slopes = slopes_of(fit.problem.unknowns, fit.coordinates)
    before = sum(float(fit.covariance[place, place]) for place in places)
    best: NextReading | None = None
    for number, given in enumerate(rows):
        row = given * slopes
        moved = fit.covariance @ row
        left = np.diag(fit.covariance) - moved**2 / (1.0 + float(row @ moved))
        remaining = float(sum(max(left[place], 0.0) for place in places)) / before if before else 1.0
        if best is None or remaining < best.remaining - 1e-12:
            widths = {
                fit.problem.unknowns[place].name: NORMAL_95
                * math.sqrt(max(float(left[place]), 0.0))
                * float(slopes[place])
                for place in places
            }
            best = NextReading(number, remaining, widths)
    return best
