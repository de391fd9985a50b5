"""What readings on the bench can tell apart, and which one more reading would tell most.

The Fisher information of the readings, J^T W J, holds some directions of the unknowns and leaves others open
(`models.readings.fit` finds them by singular values). Where an unknown by itself is open, the plain sums and
differences that are held are reported in its place. A further reading is judged by the information it would add, a
rank-one update (no new frequency is needed for that): first by how many directions it newly holds, then by the sum of
the relative variances that remain, of the inductance and of every capacitance over the tank's own. Where directions are
open, the figures hold for the values at which the fit stands along them: an estimate.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.arrays import Floats
from models.readings.fit import NOT_HELD, Fit, unit_direction
from models.readings.tank_model import NORMAL_95, PICO, UNKNOWNS, FrequencyReading, reading_model

ENTANGLED = 0.95
"""Size of a correlation from which two unknowns count as hardly told apart, if one of them is also
"""
BLURRED = 0.25
"""known to no better than this share of its value."""


@dataclass(frozen=True, slots=True)
class SumHeld:
    """A sum of capacitances that the readings hold although not each by itself; F, with its 95 % interval."""

    parts: tuple[tuple[str, int], ...]
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class NextReading:
    """A further reading and what it would do; `new_directions` it newly holds; `remaining` share of the variance.

    half_widths: of each 95 % interval after it, unknown -> ratio (inductance) or F; unknowns still open left out.
    """

    reading: FrequencyReading
    new_directions: int
    remaining: float
    half_widths: dict[str, float]


def open_unknowns(fit: Fit) -> tuple[str, ...]:
    """Unknowns that the readings do not hold one by one."""
    return tuple(name for name in fit.names if not fit.held(unit_direction(name)))


def sums_held(fit: Fit) -> tuple[SumHeld, ...]:
    """The simplest sums and differences of the open capacitances that the readings do hold, independent ones."""
    names = [name for name in open_unknowns(fit) if name != "inductance"]
    found: list[SumHeld] = []
    taken: list[Floats] = []
    signs = [combination for combination in itertools.product((1, 0, -1), repeat=len(names)) if any(combination)]
    signs = [combination for combination in signs if next(sign for sign in combination if sign) > 0]
    simple_first = sorted(signs, key=lambda row: (sum(map(abs, row)), sum(sign < 0 for sign in row)))
    for combination in simple_first:
        parts = [(name, sign) for name, sign in zip(names, combination, strict=True) if sign]
        direction = np.sum([sign * unit_direction(name) for name, sign in parts], axis=0)
        if not fit.held(direction) or np.linalg.matrix_rank(np.array([*taken, direction])) == len(taken):
            continue
        taken.append(direction)
        value, deviation = fit.combination(direction)
        spread = NORMAL_95 * deviation
        found.append(SumHeld(tuple(parts), value * PICO, (value - spread) * PICO, (value + spread) * PICO))
    return tuple(found)


def entangled(fit: Fit) -> tuple[tuple[str, str, float], ...]:
    """Pairs of unknowns that are held, but hardly told apart, with their correlation; the strongest first."""
    names = [name for name in fit.names if fit.held(unit_direction(name))]
    index = [UNKNOWNS.index(name) for name in names]
    spread = np.sqrt(np.diag(fit.covariance)[index])
    if not (spread > 0.0).all():
        return ()
    matrix = fit.covariance[np.ix_(index, index)] / np.outer(spread, spread)
    sizes = [1.0 if name == "inductance" else abs(float(fit.values[UNKNOWNS.index(name)])) for name in names]
    blurred = NORMAL_95 * spread > BLURRED * np.array(sizes)
    pairs = [
        (names[i], names[j], float(matrix[i, j]))
        for i, j in itertools.combinations(range(len(names)), 2)
        if blurred[i] or blurred[j]
    ]
    return tuple(sorted((pair for pair in pairs if abs(pair[2]) >= ENTANGLED), key=lambda pair: -abs(pair[2])))


def best_next_reading(fit: Fit, candidates: Sequence[FrequencyReading]) -> NextReading | None:
    """The candidate that tells most (see the module's text), or None where there are none.

    Candidates may use a capacitor marking read before: it is taken as the same part, put in again.
    """
    if not candidates:
        return None
    information = _Information(fit)
    return min((information.with_reading(reading) for reading in candidates), key=_order)


def _order(judged: NextReading) -> tuple[int, float]:
    return -judged.new_directions, judged.remaining


class _Information:
    """Fisher information of the fit over its unknowns (scaled) and the errors of its capacitors."""

    def __init__(self, fit: Fit) -> None:
        self.fit = fit
        self.active = [UNKNOWNS.index(name) for name in fit.names]
        self.markings = sorted(fit.capacitor_errors)
        self.rows: list[Floats] = []
        for reading in fit.given.readings:
            self.rows.append(self._row(reading))
        size = len(self.active)
        for position, name in enumerate(fit.names):
            known = fit.given.known.get(name)
            if known is not None:
                limit = known.limit / known.value if name == "inductance" else known.limit / PICO
                row = np.zeros(size + len(self.markings))
                row[position] = fit.scale[self.active[position]] * NORMAL_95 / limit
                self.rows.append(row)
        priors = np.hstack([np.zeros((len(self.markings), size)), np.eye(len(self.markings))])
        self.rows += list(priors)
        self._solved(np.array(self.rows))

    def _row(self, reading: FrequencyReading) -> Floats:
        fit = self.fit
        model = reading_model([reading], fit.given.surroundings)
        error = fit.capacitor_errors.get(self._marking(reading), 0.0)
        logarithm, slopes, by_fitted = model.log_frequency(fit.values, model.fitted * (1.0 + error))
        deviation = fit.given.errors.counter_deviation(math.exp(float(logarithm[0])))
        own = float(by_fitted[0] * model.fitted[0]) * fit.given.errors.capacitor_deviation
        shares = np.zeros(len(self.markings))
        if self._marking(reading) in self.markings:
            shares[self.markings.index(self._marking(reading))] = own
        else:
            deviation = math.hypot(deviation, own)  # a part of its own: its error adds to the counter's
        row = np.concatenate([(slopes[0] * fit.scale)[self.active], shares])
        return np.asarray(row / deviation)

    def _marking(self, reading: FrequencyReading) -> float:
        """The marking as the fit keeps it (rounding in and out of pF)."""
        wanted = reading.fitted_capacitor
        return next((known for known in self.markings if math.isclose(known, wanted, rel_tol=1e-9)), wanted)

    def with_reading(self, reading: FrequencyReading) -> NextReading:
        """What this reading would do.

        Symbols: C covariance of what is held and of the capacitor errors, a the reading's row over its deviation, c its
        part along the open directions. c = 0: C' = C - C a a^T C / (1 + a^T C a). Else a newly held direction w along
        c has var w = (1 + a^T C a) / c^2 and cov w = -C a / c, and C stays.
        """
        row, size = self._row(reading), len(self.active)
        across = np.concatenate([row[:size] @ self.held, row[size:]])
        opened = row[:size] @ self.open
        length, count = float(np.linalg.norm(opened)), self.held.shape[1]
        moved = self.covariance @ across
        gain = 1.0 + float(across @ moved)
        new = length > NOT_HELD * float(np.linalg.norm(row[:size]))
        if not new:
            rest = self.covariance - np.outer(moved, moved) / gain
            spread, left = self.held @ rest[:count, :count] @ self.held.T, self.open
        else:
            direction = self.open @ opened / length
            cross = np.outer(self.held @ moved[:count], direction) / length
            spread = self.held @ self.covariance[:count, :count] @ self.held.T - cross - cross.T
            spread += np.outer(direction, direction) * gain / length**2
            left = self.open - np.outer(direction, direction @ self.open)
        return self._judged(reading, spread, left, int(new))

    def _judged(self, reading: FrequencyReading, spread: Floats, left: Floats, new: int) -> NextReading:
        """The figures of a further reading from the scaled covariance after it and the directions still open."""
        variances = self._alone(spread, left)
        count = self.held.shape[1]
        old = self._alone(self.held @ self.covariance[:count, :count] @ self.held.T, self.open)
        total, before = sum(variances.values()), sum(old.values())
        widths = {}
        for index, variance in variances.items():
            name = self.fit.names[index]
            width = NORMAL_95 * math.sqrt(variance) * float(self.fit.scale[self.active[index]])
            widths[name] = width if name == "inductance" else width * PICO
        return NextReading(reading, new, total if new or before == 0.0 else total / before, widths)

    @staticmethod
    def _alone(spread: Floats, left: Floats) -> dict[int, float]:
        """Scaled variances of the unknowns held by themselves."""
        return {
            index: max(float(spread[index, index]), 0.0)
            for index in range(len(spread))
            if np.linalg.norm(left[index]) <= 1e-6
        }

    def _solved(self, rows: Floats) -> None:
        """Directions held and open, and the covariance of what is held with the capacitor errors."""
        size = len(self.active)
        lengths = np.linalg.norm(rows[:, :size], axis=1)
        bare = rows[lengths > 0.0, :size] / lengths[lengths > 0.0, None]
        _, sizes, basis = np.linalg.svd(bare, full_matrices=True)
        rank = int((sizes > NOT_HELD * sizes[0]).sum())
        self.held, self.open = basis[:rank].T, basis[rank:].T
        reduced = np.hstack([rows[:, :size] @ self.held, rows[:, size:]])
        triangle = np.asarray(np.linalg.qr(reduced, mode="r"), dtype=np.float64)
        root = np.linalg.solve(triangle, np.eye(triangle.shape[1]))
        self.covariance = np.asarray(root @ root.T, dtype=np.float64)
