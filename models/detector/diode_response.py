"""The diode detector in time: v(t) for any envelope, and its cycle when the beat repeats itself.

    d(y)/dt = (rho f(x, y) - y) / (R C)        (symbols as in models.detector.diode)

Each step is a two-stage Radau IIA step (third order, L-stable: E. Hairer, G. Wanner, Solving Ordinary Differential
Equations II, section IV.5, from memory), because the diode answers a hundred times faster than R C while it conducts
and not at all while it does not. All steps of a block are solved together by Newton: each iteration is one linear
recurrence from step to step. Diagonal clipping, where the capacitor cannot follow the falling envelope, arises by
itself.

For two oscillators f_o apart that pull each other within f_L the beat phase phi moves at 2 pi (f_o - f_L sin phi),
and the steady v is a function of phi alone; with the hand at rest this is exact. A moving hand is taken as one that
rests at each instant, which errs by about R C times the share by which the waveform changes in a second.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import finite_array, non_negative, non_negative_array, positive, positive_array, whole
from models.detector.diode import AveragedDiode, DiodeLoad, static_output, sum_envelope

TOLERANCE = 1e-9  # of n V_T
MOST_ITERATIONS = 200


def respond(load: DiodeLoad, envelope: ArrayLike, sample_rate: float, start: float | None = None) -> Floats:
    """v, V, at the instants of `envelope` (V, shape (n,), n >= 4), 1 / sample_rate apart, Hz.

    `start`: v at the first instant; None: at rest there. A capacitor that starts emptier than at rest is charged by
    one backward Euler step, as the higher order would overshoot where nothing discharges it again. Between the
    samples the squared envelope is taken as the cubic through the nearest four. Raises ValueError for other shapes
    and bad numbers.
    """
    row = non_negative_array("envelope", envelope)
    if row.ndim != 1 or row.size < 4:
        raise ValueError(f"envelope must be a row of at least 4 numbers; got shape {row.shape}")
    load.drive(row)
    first = float(static_output(load, row[0])) if start is None else non_negative("start", start)
    between = np.sqrt(np.maximum(_at_a_third(row * row), 0.0))
    step = np.full((row.size - 1, 1), 1.0 / (positive("sample_rate", sample_rate) * load.time_constant))
    at_rest = static_output(load, row)
    grid = _Grid(load, between[:, None], row[1:, None], step, step, plunge=first < at_rest[0] - load.unit)
    guess = _held(at_rest[:, None], np.vstack([step[:1], step]), first)
    return np.concatenate([[first], load.unit * grid.solve(guess[1:] / load.unit, first / load.unit)[:, 0]])


def beat_cycle(
    load: DiodeLoad,
    reference: float,
    variable: ArrayLike,
    offset: ArrayLike,
    lock_range: float = 0.0,
    points: int = 4096,
) -> Floats:
    """v, V, along one turn of the beat phase, shape (points, rows): row k at phase 2 pi k / points, axis 1 the cases.

    `reference` and `variable` (V; variable a number or (rows,)): peak voltages of the two signals; `offset` (rows,),
    Hz: above `lock_range` (Hz) in size, either sign, where a negative one turns backwards. Raises ValueError for
    other shapes and bad numbers.
    """
    positive("reference", reference)
    whole("points", points, 4)
    offsets = np.atleast_1d(finite_array("offset", offset))
    lock = non_negative("lock_range", lock_range)
    if not (np.abs(offsets) > lock).all():
        raise ValueError(f"offset must be above the lock range, {lock:g} Hz; got {np.abs(offsets).min():g}")
    amplitudes = positive_array("variable", variable)
    if offsets.ndim != 1 or offsets.size == 0 or amplitudes.shape not in ((), (1,), offsets.shape):
        raise ValueError(
            "offset must be a row of at least one number and variable a number or such a row; "
            f"got shapes {offsets.shape} and {amplitudes.shape}"
        )
    amplitudes = np.broadcast_to(amplitudes, offsets.shape)
    if np.ptp(amplitudes) == 0.0:
        amplitudes = amplitudes[:1]
    turn = 2.0 * math.pi / points
    ends = (turn * np.arange(1, points + 1))[:, None]
    thirds = ends - turn * (2.0 / 3.0)
    size = np.abs(offsets)

    envelopes = [sum_envelope(reference, amplitudes, phase) for phase in (thirds, ends)]
    for envelope in envelopes:
        load.drive(envelope)
    rates = [size - lock * np.sin(phase) for phase in (thirds, ends)]
    steps = [np.asarray(1.0 / (points * load.time_constant * rate)) for rate in rates]
    grid = _Grid(load, envelopes[0], envelopes[1], steps[0], steps[1])
    guess = _held(static_output(load, envelopes[1]), steps[1], None)
    turned = np.roll(load.unit * grid.solve(guess / load.unit, None), 1, axis=0)  # ends at 2 pi: that is phase 0
    backward = offsets < 0.0
    turned[1:, backward] = turned[:0:-1, backward]
    return turned


def _at_a_third(values: Floats) -> Floats:
    """Values a third of the way from each sample to the next, by the cubic through the nearest four."""
    result = np.empty(values.size - 1)
    before, here, there, after = values[:-3], values[1:-2], values[2:-1], values[3:]
    result[1:-1] = (-5.0 * before + 60.0 * here + 30.0 * there - 4.0 * after) / 81.0
    result[0] = (40.0 * values[0] + 60.0 * values[1] - 24.0 * values[2] + 5.0 * values[3]) / 81.0
    last = values[-4:][::-1]
    result[-1] = (14.0 * last[0] + 84.0 * last[1] - 21.0 * last[2] + 4.0 * last[3]) / 81.0
    return result


def _held(static: Floats, steps: Floats, start: float | None) -> Floats:
    """What an ideal diode would do: the static output, or what exp(-t / RC) has left of an earlier one."""
    elapsed = np.cumsum(steps, axis=0)
    logs = np.log(np.maximum(np.broadcast_to(static, elapsed.shape), 1e-12)) + elapsed
    if start is not None:
        logs[0] = np.maximum(logs[0], math.log(max(start, 1e-12)) + elapsed[0])
        return np.asarray(np.exp(np.maximum.accumulate(logs, axis=0) - elapsed))
    logs[0] = np.maximum(logs[0], logs.max(axis=0) - elapsed[-1])  # the turn before
    return np.asarray(np.exp(np.maximum.accumulate(logs, axis=0) - elapsed))


_RADAU = (5.0 / 12.0, -1.0 / 12.0, 0.75, 0.25)
_EULER = (1.0 / 3.0, 0.0, 0.0, 1.0)


@dataclass(slots=True)
class _Trial:
    """Newton's matrices of all steps, reduced: change of y over a step from the change before it."""

    alpha: Floats
    beta: Floats
    first: tuple[Floats, Floats]  # d_1 = first[0] d_before + first[1]


class _Grid:
    """All steps of a block: envelopes at the two stages, (steps, rows or 1), and each step over R C there.

    `plunge`: the first step by backward Euler.
    """

    def __init__(
        self, load: DiodeLoad, third: Floats, end: Floats, third_step: Floats, end_step: Floats, plunge: bool = False
    ) -> None:
        self._weights: tuple[Floats | float, ...] = _RADAU
        if plunge:
            rows = np.tile(np.array(_RADAU)[:, None, None], (1, end.shape[0], 1))
            rows[:, 0, 0] = _EULER
            self._weights = tuple(rows)
        self._rho = load.load_strength
        drives = [stage / load.unit for stage in (third, end)]
        self._diode = AveragedDiode(load, max(float(drive.max()) for drive in drives))
        self._prepared = [self._diode.prepare(drive) for drive in drives]
        self._steps = (third_step, end_step)

    def solve(self, guess: Floats, start: float | None) -> Floats:
        """y at the ends of the steps (steps, rows); from y = `start`, or None: repeating itself."""
        end = guess.copy()
        before = self._before(end, start)
        third = before + (end - before) / 3.0
        for _ in range(MOST_ITERATIONS):
            trial = self._trial(third, end, self._before(end, start))
            change, product = recurrence(trial.alpha, trial.beta)
            if start is None:
                change += product * (change[-1] / (1.0 - product[-1]))
            shifted = np.vstack([change[-1:] if start is None else np.zeros_like(change[:1]), change[:-1]])
            moves = trial.first[0] * shifted + trial.first[1], change
            size = max(float(np.abs(move).max()) for move in moves)
            third += self._limited(moves[0])
            end += self._limited(moves[1])
            if size < TOLERANCE:
                return end
        raise ArithmeticError(f"the diode detector's equations did not converge: the last change was {size:.3g} n V_T")

    def _limited(self, move: Floats) -> Floats:
        """Toward more current: as far as gives the diode the current that the straight line had promised."""
        return np.where(move < 0.0, -np.log1p(np.maximum(-move, 0.0)), move) if self._diode.abrupt else move

    @staticmethod
    def _before(end: Floats, start: float | None) -> Floats:
        return np.vstack([end[-1:] if start is None else np.full_like(end[:1], start), end[:-1]])

    def _trial(self, third: Floats, end: Floats, before: Floats) -> _Trial:
        rates, slopes = [], []
        for y, prepared, step in zip((third, end), self._prepared, self._steps, strict=True):
            current, slope = self._diode.evaluate(prepared, y)
            rates.append(step * (self._rho * current - y))
            slopes.append(step * (self._rho * slope - 1.0))
        first, second, third_weight, fourth = self._weights
        error_third = third - before - first * rates[0] - second * rates[1]
        error_end = end - before - third_weight * rates[0] - fourth * rates[1]
        # [[a, b], [c, d]] (d_third, d_end) = d_before - errors
        a, b = 1.0 - first * slopes[0], -second * slopes[1]
        c, d = -third_weight * slopes[0], 1.0 - fourth * slopes[1]
        scale = 1.0 / (a * d - b * c)
        return _Trial(
            alpha=(a - c) * scale,
            beta=(c * error_third - a * error_end) * scale,
            first=((d - b) * scale, (b * error_end - d * error_third) * scale),
        )


def recurrence(alpha: Floats, beta: Floats, length: int = 64) -> tuple[Floats, Floats]:
    """z_k = alpha_k z_(k-1) + beta_k from z = 0, and the running products of alpha; both (n, rows), along axis 0."""
    count, rows = beta.shape
    blocks = -(-count // length)
    factors, sums = np.ones((blocks * length, rows)), np.zeros((blocks * length, rows))
    factors[:count], sums[:count] = alpha, beta
    factors, sums = factors.reshape(blocks, length, rows), sums.reshape(blocks, length, rows)
    for place in range(1, length):
        sums[:, place] += factors[:, place] * sums[:, place - 1]
        factors[:, place] *= factors[:, place - 1]
    for block in range(1, blocks):
        sums[block] += factors[block] * sums[block - 1, -1]
        factors[block] *= factors[block - 1, -1]
    return sums.reshape(-1, rows)[:count], factors.reshape(-1, rows)[:count]
