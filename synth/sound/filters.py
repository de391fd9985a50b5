"""The voice's linear filters: the hand's 5 ms pole, the tone stage's RC pole and the coupling capacitor.

Symbols: f_s sample rate, Hz; f_c corner frequency, Hz; tau time constant, s; p pole of the discrete filter.
Each keeps its state from call to call, so that the way a sound is cut into blocks does not show.

A sample hangs on the one before it, which is slow to work out one by one. `RowFilter` works out ROW samples at once, by
products of matrices, and goes step by step from row to row only.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from models.arrays import Floats, Singles
from models.checks import positive
from models.quick_dataclass import dataclass
from synth.sound.extent import extent

MATCHED = 0.37  # of the sample rate: where the low-pass has exactly the gain of its circuit
RESTS = (0.0, 1.0)  # values that p x + (1 - p) x gives back exactly
FADED = 1e-30  # states below this are set to 0: far below hearing, far above the slow subnormal numbers
ROW = 16  # samples worked out at once
STACK = 32
"""Rows in one product of matrices. All products have this shape, and so the same order of sums in every row (tried with
OpenBLAS's code for six kinds of x86-64 processors, which differ where rows are left over from eights): how many samples
a call brings changes no bit."""
MOST_SHAPES = 64  # of calls, for which the rooms are kept ready
STEPS = 2.0**53  # to 1, of the coefficients of a smoother


def triangular_solver() -> Callable[..., Any]:
    """BLAS's solver of a system of few diagonals: loaded with the first filter that is made, and by no block. A window
    whose sound is made by another process need not load it.
    """
    from scipy.linalg.blas import dtbsv

    solver: Callable[..., Any] = dtbsv
    return solver


def smoothing_pole(time_constant: float, sample_rate: float) -> float:
    """p = exp(-1 / (tau f_s)): pole of y[n] = p y[n-1] + (1 - p) x[n], which reaches 1 - 1/e after tau."""
    return math.exp(-1.0 / (positive("time_constant", time_constant) * positive("sample_rate", sample_rate)))


def low_pass_coefficients(corner: float, sample_rate: float) -> tuple[Floats, Floats]:
    """(b, a) of a one-pole low-pass like an RC stage of corner f_c, p = exp(-2 pi f_c / f_s).

    Gain 1 at 0 Hz and the RC stage's exact gain g = 1 / sqrt(1 + (f_m / f_c)^2) at f_m = MATCHED f_s:
    (b_0 + b_1)^2 = s^2 = (1 - p)^2 and s^2 - 2 b_0 b_1 (1 - cos w) = g^2 |1 - p exp(-jw)|^2 with
    w = 2 pi f_m / f_s.
    Any corner > 0 is allowed, also above f_s/2, where the stage then hardly acts. Neglected: at 48 kHz the gain
    is up to 0.3 dB off the RC stage's below 20 kHz; a higher sample rate pushes that up with it.
    """
    ratio = positive("corner", corner) / positive("sample_rate", sample_rate)
    pole = math.exp(-2.0 * math.pi * ratio)
    cosine = math.cos(2.0 * math.pi * MATCHED)
    total = 1.0 - pole
    there = (1.0 + pole * pole - 2.0 * pole * cosine) / (1.0 + (MATCHED / ratio) ** 2)
    product = (total * total - there) / (2.0 * (1.0 - cosine))
    spread = math.sqrt(total * total - 4.0 * product)
    return np.array([0.5 * (total + spread), 0.5 * (total - spread)]), np.array([1.0, -pole])


def dc_block_coefficients(corner: float, sample_rate: float) -> tuple[Floats, Floats]:
    """(b, a) of a first-order high-pass like a coupling capacitor: gain 0 at 0 Hz, 1 at f_s/2.

    p = exp(-2 pi f_c / f_s).
    """
    pole = math.exp(-2.0 * math.pi * positive("corner", corner) / positive("sample_rate", sample_rate))
    gain = 0.5 * (1.0 + pole)
    return np.array([gain, -gain]), np.array([1.0, -pole])


@dataclass(frozen=True, slots=True, eq=False)
class _Fitting:
    """Where the numbers of one call go, as views of the filter's rooms: made once for a shape of calls."""

    kept: Floats
    parts: list[tuple[Floats, slice]]
    """Rows that are full, or what is left of one, and which of the new samples go there."""
    aligned: Floats | None
    """Where all samples go that begin and end with a row."""
    rest: Floats
    """Of the last row, where no sample is yet."""
    inputs: Floats
    sums: Floats
    added: Floats
    """What each row adds to its state (rows, states), of the sums."""
    before: Floats
    after: Floats
    states: Floats
    diagonals: Floats
    starts: Floats
    """Of the rows, the states before them: those found, but for the last."""
    found: Floats
    last: Floats
    left: Floats
    stacked: Floats
    out: slice


class RowFilter:
    """A linear filter with a state s of one or two numbers, a row of R = ROW samples at a time.

        y[n] = c s[n-1] + d x[n],    s[n] = A s[n-1] + b x[n]

    From the state s_0 before a row of inputs x_0 .. x_(R-1) all of it follows at once:

        y_i = c A^i s_0 + d x_i + sum over j < i of c A^(i-1-j) b x_j
        s_R = A^R s_0 + sum over j of A^(R-1-j) b x_j

    The sums are products of all rows with one matrix each; the states at the rows' ends alone are found one after the
    other, as the triangular system s_R - A^R s_0 = the sum, A being lower triangular. Rows are counted from where the
    filter was settled: the samples are the same to the last bit however they are cut, a row that is not full being
    worked out again with the next samples.
    """

    def __init__(self, onward: Floats, entry: Floats, exit_: Floats, through: float, exact: bool = False) -> None:
        """A (states, states), lower triangular, b (states,), c (states,) and d. `exact`: a steady 1 comes out as 1 to
        the last bit, from a first-order filter of gain 1 with positive coefficients.
        """
        order = self._order = entry.size
        powers = [np.eye(order)]
        for _ in range(ROW):
            powers.append(onward @ powers[-1])
        impulse = [through, *(float(exit_ @ power @ entry) for power in powers[: ROW - 1])]
        inside = np.zeros((ROW + order, ROW))
        for place in range(ROW):
            inside[place, place:] = impulse[: ROW - place]
            inside[ROW:, place] = exit_ @ powers[place]
        ends = np.stack([power @ entry for power in powers[ROW - 1 :: -1]])
        whole = powers[ROW]
        if exact:
            inside = _summing_to_one(inside)
            ends, whole = inside[:ROW, -1:], inside[ROW:, -1:]
        self._onward, self._entry = onward, entry
        self._inside = inside
        self._ends = np.zeros((ROW, max(order, 2)))  # a product with one column would be of another kind
        self._ends[:, :order] = ends
        # below the diagonal, column by column: what each state leaves in those after it
        self._coefficients = np.zeros((2 * order, order))
        for row in range(order):
            for column in range(row + 1):
                self._coefficients[order + row - column, column] = -whole[row, column]
        self._solve = triangular_solver()
        self._make_room(1)
        self.settle(np.zeros(order))

    def settle(self, state: Floats) -> None:
        """Go on from this state (states,)."""
        self._state, self._kept = state, np.empty(0)

    def state(self) -> Floats:
        """The state after the last sample."""
        state = self._state
        for value in self._kept.tolist():
            state = self._onward @ state + self._entry * value
        return state

    def filter(self, samples: Floats | Singles) -> Floats:
        """The next samples, filtered; `samples` is not empty."""
        shape = self._kept.size, samples.size
        fitting = self._fitting.get(shape) or self._fit(*shape)
        if fitting.aligned is not None:
            fitting.aligned[:] = samples.reshape(-1, ROW)
        else:
            fitting.kept[:] = self._kept
            for place, part in fitting.parts:
                place[:] = samples[part].reshape(place.shape)
            fitting.rest[:] = 0.0
        np.matmul(fitting.inputs, self._ends, out=fitting.sums)
        fitting.before[:] = [value if abs(value) >= FADED else 0.0 for value in self._state.tolist()]
        fitting.after[:] = fitting.added
        self._solve(2 * self._order - 1, fitting.diagonals, fitting.states, lower=1, diag=1, overwrite_x=1)
        fitting.starts[:] = fitting.found
        self._state, self._kept = fitting.last.copy(), fitting.left.copy()
        return np.asarray(np.matmul(fitting.stacked, self._inside).reshape(-1)[fitting.out])

    def _fit(self, kept: int, size: int) -> _Fitting:
        """The rooms of the samples kept and `size` new ones, which the last few shapes of calls find ready."""
        order, end = self._order, kept + size
        count = -(-end // ROW)
        stacks = -(-count // STACK)
        if self._rows.shape[0] < stacks or len(self._fitting) > MOST_SHAPES:
            self._make_room(max(stacks, self._rows.shape[0]))
        rows, stacked = self._flat, self._rows[:stacks]
        first, full, (last, left) = ROW - kept, end // ROW, divmod(end, ROW)
        if size <= first:
            parts = [(rows[0, kept:end], slice(0, size))]
        else:
            start, middle = first if kept else 0, first + (full - 1) * ROW
            parts = [(rows[1 if kept else 0 : full, :ROW], slice(start, middle))]
            parts += [(rows[0, kept:ROW], slice(0, first))] if kept else []
            parts += [(rows[full, : size - middle], slice(middle, size))] if left else []
        sums, states = self._sums[:stacks], self._states[: (count + 1) * order]
        found = states.reshape(-1, order)
        fitting = _Fitting(
            kept=rows[0, :kept],
            parts=parts,
            aligned=None if kept or left else rows[:count, :ROW],
            rest=rows[last, left:ROW] if left else rows[0, :0],
            inputs=stacked[..., :ROW],
            sums=sums,
            added=sums.reshape(-1, sums.shape[2])[:count, :order],
            before=states[:order],
            after=found[1:],
            states=states,
            diagonals=self._diagonals[:, : states.size],
            starts=rows[:count, ROW:],
            found=found[:-1],
            last=found[last],
            left=rows[last, :left],
            stacked=stacked,
            out=slice(kept, end),
        )
        self._fitting[kept, size] = fitting
        return fitting

    def _make_room(self, stacks: int) -> None:
        """Rows of inputs with the state before each, and one more, and the triangular system of all states."""
        room = np.zeros((stacks + 1, STACK, ROW + self._order))
        self._rows, self._flat = room[:-1], room.reshape(-1, ROW + self._order)
        self._sums = np.empty((stacks, STACK, self._ends.shape[1]))
        self._states = np.empty((stacks * STACK + 1) * self._order)
        self._diagonals = np.asfortranarray(np.tile(self._coefficients, stacks * STACK + 1))
        self._fitting: dict[tuple[int, int], _Fitting] = {}

    def rest(self, samples: Floats) -> bool:
        """Whether the next samples are the same 0 or 1 as the past of an exact filter: they pass it as they are."""
        value, kept = float(samples[0]), self._kept.size
        if value not in RESTS or float(self._state[0]) != value or (kept and not (self._kept == value).all()):
            return False
        if samples.strides != (0,) and extent(samples) != (value, value):
            return False
        if (kept + samples.size) % ROW != kept:
            self._kept = np.full((kept + samples.size) % ROW, value)
        return True


def _summing_to_one(coefficients: Floats) -> Floats:
    """Each column in whole parts of 2^53, which add up to it: with these a sum of fewer than all is exact too."""
    parts = np.rint(coefficients * STEPS).astype(np.int64)
    columns = np.arange(parts.shape[1])
    parts[np.argmax(parts, axis=0), columns] += int(STEPS) - parts.sum(axis=0)
    return np.asarray(parts / STEPS)


class FirstOrder:
    """y[n] = b_0 x[n] + b_1 x[n-1] - a_1 y[n-1] with state: at rest until it is settled otherwise.

    The state is what the past adds to the next sample, b_1 x[n] - a_1 y[n].
    """

    def __init__(self, coefficients: tuple[Floats, Floats]) -> None:
        numerator, denominator = coefficients
        through, self._second, self._feedback = float(numerator[0]), float(numerator[1]), float(denominator[1])
        entry = np.array([self._second - self._feedback * through])
        self._filter = RowFilter(np.array([[-self._feedback]]), entry, np.ones(1), through)
        self.filter = self._filter.filter

    def settle(self, entered: float, left: float) -> None:
        """Go on as if the sample `entered` had been the last to come in and `left` the last to go out."""
        self._filter.settle(np.array([self._second * entered - self._feedback * left]))


class Smoother:
    """y[n] = p y[n-1] + (1 - p) x[n] on rows of control data; each starts settled on the first value it is given."""

    def __init__(self, time_constant: float, sample_rate: float) -> None:
        self._pole = smoothing_pole(time_constant, sample_rate)
        self._filters: list[RowFilter] = []
        self._settled = False

    def reset(self) -> None:
        """Forget the past."""
        self._settled = False

    def smooth(self, *rows: Floats) -> list[Floats]:
        """The next samples of each row, smoothed: (n,), n >= 1, for each; as many rows each time.

        A row that rests at 0 or 1, which the pole keeps to the last bit, comes back as it is.
        """
        while len(self._filters) < len(rows):
            pole, gain = np.array([self._pole]), np.array([1.0 - self._pole])
            self._filters.append(RowFilter(pole[:, None], gain, pole, 1.0 - self._pole, exact=True))
        if not self._settled:
            for each, values in zip(self._filters, rows, strict=True):
                each.settle(values[:1].copy())
            self._settled = True
        return [
            values if each.rest(values) else each.filter(values)
            for each, values in zip(self._filters, rows, strict=True)
        ]


class ToneFilter:
    """Tone low-pass, then DC block, as one filter of the second order; what comes out is times a level, 0 to 1.

    Symbols: x input, v what leaves the low-pass, y output; b_0, b_1 and p of the low-pass, g and q of the DC block.
    v[n] = p v[n-1] + b_0 x[n] + b_1 x[n-1] and y[n] = q y[n-1] + g (v[n] - v[n-1]). The state is what the past adds to
    the next v and y: w[n] = p v[n] + b_1 x[n] and u[n] = q y[n] - g v[n], so that

        v[n] = w[n-1] + b_0 x[n]    w[n] = p w[n-1] + (p b_0 + b_1) x[n]
        y[n] = u[n-1] + g v[n]      u[n] = q u[n-1] - g (1 - q) v[n]
    """

    def __init__(self, low_pass: float, dc_block: float, sample_rate: float, level: float = 1.0) -> None:
        self._corner, self._level = dc_block, level
        low_numerator, low_denominator = low_pass_coefficients(low_pass, sample_rate)
        high_numerator, high_denominator = dc_block_coefficients(dc_block, sample_rate)
        first, self._second, self._pole = float(low_numerator[0]), float(low_numerator[1]), -float(low_denominator[1])
        self._gain, self._block_pole = float(high_numerator[0]), -float(high_denominator[1])
        returned = -self._gain * (1.0 - self._block_pole)
        self._filter = RowFilter(
            np.array([[self._pole, 0.0], [returned, self._block_pole]]),
            np.array([self._pole * first + self._second, returned * first]),
            level * np.array([self._gain, 1.0]),
            level * self._gain * first,
        )
        self._entered, self._left = 0.0, 0.0

    def settle(self, value: float) -> None:
        """Go on from an endless past of `value`, all of it blocked: what stands still makes no step."""
        self._go_on(value, value, 0.0)

    def follow(self, other: ToneFilter, raised: float = 0.0) -> None:
        """Go on from the last samples of `other`'s stages, so that what it holds back is held back on.

        On a sounding note the part held back is in proportion to the DC block's corner. `raised`: how much higher the
        steady part is that comes in from now on; it counts as blocked already.
        """
        passed = (other._block_pole * other._left - float(other._filter.state()[1])) / other._gain
        held = (passed - other._left) * self._corner / other._corner
        self._go_on(other._entered + raised, passed + raised, passed - held)

    def filter(self, samples: Floats | Singles) -> Floats:
        """The next samples, filtered; `samples` is not empty."""
        filtered = self._filter.filter(samples)
        self._entered = float(samples[-1])
        self._left = float(filtered[-1]) / self._level if self._level > 0.0 else 0.0  # silent: as if all were blocked
        return filtered

    def _go_on(self, entered: float, passed: float, left: float) -> None:
        """Go on from x, v and y at the last sample."""
        self._entered, self._left = entered, left
        before = self._pole * passed + self._second * entered, self._block_pole * left - self._gain * passed
        self._filter.settle(np.array(before))
