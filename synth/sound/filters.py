"""The voice's linear filters: the hand's 5 ms pole, the tone stage's RC pole and the coupling capacitor.

Symbols: f_s sample rate, Hz; f_c corner frequency, Hz; tau time constant, s; p pole of the discrete filter.
Each keeps its state from call to call, so that the way a sound is cut into blocks does not show.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from models.arrays import Floats
from models.checks import positive

MATCHED = 0.37  # of the sample rate: where the low-pass has exactly the gain of its circuit
RESTS = (0.0, 1.0)  # values that p x + (1 - p) x gives back exactly
FADED = 1e-30  # states below this are set to 0: far below hearing, far above the slow subnormal numbers


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


class FirstOrder:
    """y[n] = b_0 x[n] + b_1 x[n-1] - a_1 y[n-1] with state: at rest until it is settled otherwise.

    The recursion is a triangular system of two diagonals, which BLAS solves downwards, y[n] after y[n-1]: the same
    to the last bit however the samples are cut, and for a live block in a fraction of the time a call of scipy's
    general filter takes.
    """

    def __init__(self, coefficients: tuple[Floats, Floats]) -> None:
        numerator, denominator = coefficients
        self._first, self._second = float(numerator[0]), float(numerator[1])
        self._feedback = float(denominator[1])
        self._diagonals = np.empty((2, 0), order="F")
        self._solve = triangular_solver()
        self.settle(0.0, 0.0)

    def settle(self, entered: float, left: float) -> None:
        """Go on as if the sample `entered` had been the last to come in and `left` the last to go out."""
        self.last = (entered, left)

    def filter(self, samples: Floats) -> Floats:
        """The next samples, filtered; `samples` is not empty."""
        size = samples.size + 1
        if self._diagonals.shape[1] < size:
            self._diagonals = np.full((2, size), self._feedback, order="F")
            self._diagonals[0] = 1.0
        entered, left = self.last
        fed = np.empty(size)
        fed[0] = 0.0 if abs(left) < FADED else left
        np.multiply(samples, self._first, out=fed[1:])
        if self._second != 0.0:
            fed[2:] += self._second * samples[:-1]
            fed[1] += self._second * entered
        filtered = self._solve(1, self._diagonals[:, :size], fed, lower=1, diag=1, overwrite_x=1)[1:]
        self.last = (float(samples[-1]), float(filtered[-1]))
        return np.asarray(filtered)


class Smoother:
    """y[n] = p y[n-1] + (1 - p) x[n] on rows of control data; each starts settled on the first value it is given.

    Solved like `FirstOrder`, all rows in one system, in which no row depends on the one before.
    """

    def __init__(self, time_constant: float, sample_rate: float) -> None:
        self._pole = smoothing_pole(time_constant, sample_rate)
        self._gain = 1.0 - self._pole
        self._diagonals = np.empty((2, 0), order="F")
        self._solve = triangular_solver()
        self._last: list[float] = []

    def reset(self) -> None:
        """Forget the past."""
        self._last = []

    def smooth(self, *rows: Floats) -> list[Floats]:
        """The next samples of each row, smoothed: (n,), n >= 1, for each; as many rows each time.

        A row that rests at 0 or 1, which the pole keeps to the last bit, comes back as it is.
        """
        last = self._last or [float(values[0]) for values in rows]
        moving = [
            number
            for number, (values, before) in enumerate(zip(rows, last, strict=True))
            if before not in RESTS or not (values == before).all()
        ]
        count, size = len(moving), rows[0].size + 1
        if self._diagonals.shape[1] != count * size:
            self._diagonals = np.full((2, count * size), -self._pole, order="F")
            self._diagonals[1, size - 1 :: size] = 0.0
        fed = np.empty(count * size)
        for place, number in enumerate(moving):
            start, before = place * size, last[number]
            fed[start] = 0.0 if abs(before) < FADED else before
            np.multiply(rows[number], self._gain, out=fed[start + 1 : start + size])
        smoothed = list(rows)
        if moving:
            fed = self._solve(1, self._diagonals, fed, lower=1, diag=1, overwrite_x=1)
        for place, number in enumerate(moving):
            smoothed[number] = fed[place * size + 1 : (place + 1) * size]
            last[number] = float(smoothed[number][-1])
        self._last = last
        return smoothed


class ToneFilter:
    """Tone low-pass, then DC block."""

    def __init__(self, low_pass: float, dc_block: float, sample_rate: float) -> None:
        self._corner = dc_block
        self._low = FirstOrder(low_pass_coefficients(low_pass, sample_rate))
        self._high = FirstOrder(dc_block_coefficients(dc_block, sample_rate))

    def settle(self, value: float) -> None:
        """Go on from an endless past of `value`, all of it blocked: what stands still makes no step."""
        self._low.settle(value, value)
        self._high.settle(value, 0.0)

    def follow(self, other: ToneFilter, raised: float = 0.0) -> None:
        """Go on from the last samples of `other`'s stages, so that what it holds back is held back on.

        On a sounding note the part held back is in proportion to the DC block's corner. `raised`: how much higher the
        steady part is that comes in from now on; it counts as blocked already.
        """
        entered, left = other._low.last
        self._low.settle(entered + raised, left + raised)
        entered, left = other._high.last
        held = (entered - left) * self._corner / other._corner
        self._high.settle(entered + raised, entered - held)

    def filter(self, samples: Floats) -> Floats:
        """The next samples, filtered; `samples` is not empty."""
        return self._high.filter(self._low.filter(samples))
