"""Inductance and stray capacitances from readings on the bench, each with its 95 % interval.

Weighted nonlinear least squares on the logarithm of the frequencies (`models.readings.tank_model`), errors in
variables: every distinct marking of a fitted capacitor has one unknown error of its own, the same in all readings with
that marking (one part, put in again), held by a normal prior; the counter's error is normal and independent from
reading to reading. Both are given as 95 % limits of a normal distribution: standard deviation = limit / 1.96. They are
inputs, not estimated from the residuals, so the intervals use the normal quantile, 1.96, not Student's t (G. A. F.
Seber, C. J. Wild, Nonlinear Regression, 1989, ch. 10 for errors in variables; from memory). Linearised at the solution.

Directions that the readings do not hold at all are found by singular values, left where they started and never
reported as values; `models.readings.identify` names the sums that are held.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import least_squares

from models.arrays import Floats
from models.checks import one_of
from models.readings.start import search_start
from models.readings.tank_model import (
    NORMAL_95,
    PICO,
    UNKNOWNS,
    FrequencyReading,
    ReadingModel,
    ReadingSet,
    reading_model,
    unknowns_in,
)

NOT_HELD: Final = 1e-7
"""Singular value over the largest, below which a direction counts as not held by the readings at all."""
LEAST_CREDIBLE: Final = 0.1
"""pF: a tank of less is a slip in the readings."""


@dataclass(frozen=True, slots=True)
class Fit:
    """A solved set of readings. Vectors in the units of `models.readings.tank_model` (ln H, pF), over UNKNOWNS.

    names: the unknowns fitted or known with a limit. not_held: (6, m) orthonormal directions, scaled by `scale`, that
    the readings leave open. residuals: read less fitted, Hz (n,). capacitor_errors: marking, F -> estimated ratio.
    fit_quality: sum of squared residuals in standard deviations, expected to be near `freedom`.
    """

    given: ReadingSet
    names: tuple[str, ...]
    values: Floats
    covariance: Floats
    scale: Floats
    not_held: Floats
    residuals: Floats
    capacitor_errors: Mapping[float, float]
    fit_quality: float
    freedom: int

    @property
    def inductance(self) -> float:
        """H."""
        return math.exp(self.values[0])

    def held(self, direction: Floats) -> bool:
        """Whether the readings say anything about this sum of unknowns, (6,)."""
        scaled = direction * self.scale
        return bool(np.linalg.norm(self.not_held.T @ scaled) <= 1e-6 * np.linalg.norm(scaled))

    def combination(self, direction: Floats) -> tuple[float, float]:
        """Value and standard deviation of a sum of unknowns in their units; ValueError where it is not held."""
        if not self.held(direction):
            raise ValueError("the readings do not hold this sum")
        variance = float(direction @ self.covariance @ direction)
        return float(direction @ self.values), math.sqrt(max(variance, 0.0))

    def interval(self, name: str) -> tuple[float, float, float] | None:
        """Value and 95 % interval of one unknown, H or F; None where the readings do not hold it."""
        direction = unit_direction(one_of("unknown", name, UNKNOWNS))
        if not self.held(direction):
            return None
        value, deviation = self.combination(direction)
        ends = value, value - NORMAL_95 * deviation, value + NORMAL_95 * deviation
        turned = [math.exp(end) if name == "inductance" else end * PICO for end in ends]
        return turned[0], turned[1], turned[2]

    def predicted(self, reading: FrequencyReading) -> tuple[float, float, float] | None:
        """Frequency and 95 % interval, Hz, with another setting; None where the readings do not hold it.

        A capacitor with a marking used already is taken as another part of the same tolerance.
        """
        model = reading_model([reading], self.given.surroundings)
        logarithm, slopes, by_fitted = model.log_frequency(self.values, model.fitted)
        if not self.held(slopes[0]):
            return None
        own = float(by_fitted[0] * model.fitted[0]) * self.given.errors.capacitor_deviation
        spread = NORMAL_95 * math.hypot(math.sqrt(max(float(slopes[0] @ self.covariance @ slopes[0]), 0.0)), own)
        middle = float(logarithm[0])
        return math.exp(middle), math.exp(middle - spread), math.exp(middle + spread)


def unit_direction(name: str) -> Floats:
    """The direction of one unknown, (6,)."""
    return np.array([1.0 if name == other else 0.0 for other in UNKNOWNS])


def fit_readings(given: ReadingSet) -> Fit:
    """Fit the unknowns of `given`. Raises ValueError where the readings contradict a tank."""
    model = reading_model(given.readings, given.surroundings)
    free = tuple(
        name for name in unknowns_in(given.readings) if name not in given.known or given.known[name].limit > 0.0
    )
    if not free:
        raise ValueError("everything is known already; one unknown must be left to fit")
    start = search_start(given, model, free)
    scale = np.full(len(UNKNOWNS), max(float(np.median(model.total(start, model.fitted))), 1.0))
    scale[0] = 1.0
    system = _System(given, model, free, start, scale)
    solution = least_squares(
        system.residuals,
        np.zeros(system.size),
        jac=system.jacobian,
        method="lm",
        x_scale="jac",
        xtol=1e-13,
        ftol=1e-13,
        gtol=1e-13,
        max_nfev=400,
    )
    if not solution.success:
        raise ValueError("the readings could not be fitted; check them for a slip")
    values, true_fitted = system.unfolded(solution.x)
    if (model.total(values, true_fitted) <= LEAST_CREDIBLE).any():
        raise ValueError("the readings leave no capacitance for the tank; check them for a slip")
    return _finished(system, solution.x, values, true_fitted)


class _System:
    """Residuals and Jacobian in the coordinates of the search: held directions, scaled, then capacitor errors / s."""

    def __init__(
        self, given: ReadingSet, model: ReadingModel, free: tuple[str, ...], start: Floats, scale: Floats
    ) -> None:
        self.given, self.model, self.free, self.start, self.scale = given, model, free, start, scale
        self.frequencies = np.array([reading.frequency for reading in given.readings], dtype=np.float64)
        self.deviations = np.array([given.errors.counter_deviation(float(f)) for f in self.frequencies])
        deviation = given.errors.capacitor_deviation
        self.markings = tuple(sorted({float(value) for value in model.fitted if value > 0.0} if deviation else ()))
        self.which = np.array(
            [[value == marking for marking in self.markings] for value in model.fitted], dtype=np.float64
        ).reshape(len(model.fitted), len(self.markings))
        self.spread = deviation * self.which  # (n, k): relative change of a fitted capacitor for one deviation
        self.priors = _prior_rows(given, free)
        self.held, self.not_held = self._directions()
        self.size = self.held.shape[1] + len(self.markings)

    def _directions(self) -> tuple[Floats, Floats]:
        """Orthonormal bases of what the readings and the known values hold, and of what they do not; scaled."""
        slopes = self.model.log_frequency(self.start, self.model.fitted)[1] * self.scale
        active = [UNKNOWNS.index(name) for name in self.free]
        unit = np.zeros((len(self.priors), len(UNKNOWNS)))
        for row, (index, _, _) in zip(unit, self.priors, strict=True):
            row[index] = 1.0
        rows = np.vstack([slopes, unit])[:, active]
        _, sizes, basis = np.linalg.svd(rows, full_matrices=True)
        rank = int((sizes > NOT_HELD * sizes[0]).sum())
        whole = np.zeros((len(UNKNOWNS), len(active)))
        whole[active] = basis.T
        return whole[:, :rank], whole[:, rank:]

    def unfolded(self, point: Floats) -> tuple[Floats, Floats]:
        """The unknowns, (6,), and the fitted capacitors as they are, pF (n,)."""
        count = self.held.shape[1]
        values = self.start + self.scale * (self.held @ point[:count])
        return values, self.model.fitted * (1.0 + self.spread @ point[count:])

    def residuals(self, point: Floats) -> Floats:
        """In standard deviations: readings, capacitors, known values."""
        values, fitted = self.unfolded(point)
        modelled = self.model.log_frequency(values, fitted)[0]
        read = (np.log(self.frequencies) - modelled) / self.deviations
        known = [(values[index] - value) / deviation for index, value, deviation in self.priors]
        return np.concatenate([read, point[self.held.shape[1] :], known])

    def jacobian(self, point: Floats) -> Floats:
        """Derivatives of `residuals`."""
        values, fitted = self.unfolded(point)
        _, slopes, by_fitted = self.model.log_frequency(values, fitted)
        count, markings = self.held.shape[1], len(self.markings)
        weight = -1.0 / self.deviations[:, None]
        by_error = by_fitted[:, None] * self.model.fitted[:, None] * self.spread
        top = np.hstack([weight * (slopes * self.scale) @ self.held, weight * by_error])
        middle = np.hstack([np.zeros((markings, count)), np.eye(markings)])
        bottom = np.zeros((len(self.priors), self.size))
        for row, (index, _, deviation) in zip(bottom, self.priors, strict=True):
            row[:count] = self.scale[index] * self.held[index] / deviation
        return np.vstack([top, middle, bottom])


def _finished(system: _System, point: Floats, values: Floats, true_fitted: Floats) -> Fit:
    jacobian, count = system.jacobian(point), system.held.shape[1]
    triangle = np.linalg.qr(jacobian, mode="r")
    root = np.linalg.solve(triangle, np.eye(system.size))
    inverse = (root @ root.T)[:count, :count]
    spread = system.scale[:, None] * system.held
    modelled = np.exp(system.model.log_frequency(values, true_fitted)[0])
    misfit = system.residuals(point)
    return Fit(
        given=system.given,
        names=system.free,
        values=values,
        covariance=spread @ inverse @ spread.T,
        scale=system.scale,
        not_held=system.not_held,
        residuals=system.frequencies - modelled,
        capacitor_errors={
            marking * PICO: float(step) * system.given.errors.capacitor_deviation
            for marking, step in zip(system.markings, point[count:], strict=True)
        },
        fit_quality=float(misfit @ misfit),
        freedom=len(system.frequencies) + len(system.priors) - count,
    )


def _prior_rows(given: ReadingSet, free: tuple[str, ...]) -> list[tuple[int, float, float]]:
    """Index, value and standard deviation of every free unknown known with a limit, in the fit's units."""
    rows = []
    for name in free:
        known = given.known.get(name)
        if known is not None:
            by_ratio = name == "inductance"
            value = math.log(known.value) if by_ratio else known.value / PICO
            limit = known.limit / known.value if by_ratio else known.limit / PICO
            rows.append((UNKNOWNS.index(name), value, limit / NORMAL_95))
    return rows
