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


class Recursion:
    """y[n] = x[n] - a_1 y[n-1] - a_2 y[n-2] ... with the feedback coefficients a_1, a_2 ... of one filter.

    It is a triangular system of as many diagonals, which BLAS solves downwards, y[n] after y[n-1]: the same to the last
    bit however the samples are cut, and for a live block in a fraction of the time a call of scipy's general filter
    takes. The first outputs of a row are those known already: the system leaves them as they are.
    """

    def __init__(self, *feedback: float) -> None:
        self._feedback = feedback
        self._diagonals = np.empty((1 + len(feedback), 0), order="F")
        self._solve = triangular_solver()

    def solve(self, fed: Floats) -> Floats:
        """The outputs for a row of inputs that begins with as many outputs as there are coefficients; `fed` is used up.

        Known outputs too faint to hear count as 0.
        """
        order = len(self._feedback)
        if self._diagonals.shape[1] < fed.size:
            self._diagonals = np.ones((1 + order, fed.size), order="F")
            self._diagonals[1:] = np.array(self._feedback)[:, None]
            for known in range(order - 1):  # no known output changes the one after it
                self._diagonals[1 : order - known, known] = 0.0
        for known in range(order):
            if abs(fed[known]) < FADED:
                fed[known] = 0.0
        diagonals = self._diagonals[:, : fed.size]
        return np.asarray(self._solve(order, diagonals, fed, lower=1, diag=1, overwrite_x=1)[order:])


class FirstOrder:
    """y[n] = b_0 x[n] + b_1 x[n-1] - a_1 y[n-1] with state: at rest until it is settled otherwise."""

    def __init__(self, coefficients: tuple[Floats, Floats]) -> None:
        numerator, denominator = coefficients
        self._first, self._second = float(numerator[0]), float(numerator[1])
        self._recursion = Recursion(float(denominator[1]))
        self.settle(0.0, 0.0)

    def settle(self, entered: float, left: float) -> None:
        """Go on as if the sample `entered` had been the last to come in and `left` the last to go out."""
        self._last = (entered, left)

    def filter(self, samples: Floats) -> Floats:
        """The next samples, filtered; `samples` is not empty."""
        entered, left = self._last
        fed = np.empty(samples.size + 1)
        fed[0] = left
        np.multiply(samples, self._first, out=fed[1:])
        if self._second != 0.0:
            fed[2:] += self._second * samples[:-1]
            fed[1] += self._second * entered
        filtered = self._recursion.solve(fed)
        self._last = (float(samples[-1]), float(filtered[-1]))
        return filtered


class Smoother:
    """y[n] = p y[n-1] + (1 - p) x[n] on rows of control data; each starts settled on the first value it is given."""

    def __init__(self, time_constant: float, sample_rate: float) -> None:
        pole = smoothing_pole(time_constant, sample_rate)
        self._gain = 1.0 - pole
        self._recursion = Recursion(-pole)
        self._last: list[float] = []

    def reset(self) -> None:
        """Forget the past."""
        self._last = []

    def smooth(self, *rows: Floats) -> list[Floats]:
        """The next samples of each row, smoothed: (n,), n >= 1, for each; as many rows each time.

        A row that rests at 0 or 1, which the pole keeps to the last bit, comes back as it is.
        """
        last = self._last or [float(values[0]) for values in rows]
        smoothed = list(rows)
        for number, (values, before) in enumerate(zip(rows, last, strict=True)):
            if before in RESTS and (values == before).all():
                continue
            fed = np.empty(values.size + 1)
            fed[0] = before
            np.multiply(values, self._gain, out=fed[1:])
            smoothed[number] = self._recursion.solve(fed)
            last[number] = float(smoothed[number][-1])
        self._last = last
        return smoothed


class ToneFilter:
    """Tone low-pass, then DC block, as one recursion of the second order.

    Symbols: x input, v what leaves the low-pass, y output; b_0, b_1 and p of the low-pass, g and q of the DC block.
    v[n] = p v[n-1] + b_0 x[n] + b_1 x[n-1] and y[n] = q y[n-1] + g (v[n] - v[n-1]) together are, with d[n] = x[n] -
    x[n-1]:

        y[n] = (p + q) y[n-1] - p q y[n-2] + g b_0 d[n] + g b_1 d[n-1]
    """

    def __init__(self, low_pass: float, dc_block: float, sample_rate: float) -> None:
        self._corner = dc_block
        low_numerator, low_denominator = low_pass_coefficients(low_pass, sample_rate)
        high_numerator, high_denominator = dc_block_coefficients(dc_block, sample_rate)
        self._gain = float(high_numerator[0])
        self._first, self._second = self._gain * float(low_numerator[0]), self._gain * float(low_numerator[1])
        self._pole = -float(low_denominator[1])
        block_pole = -float(high_denominator[1])
        self._product = self._pole * block_pole
        self._recursion = Recursion(-self._pole - block_pole, self._product)
        self._entered, self._rise, self._owed = 0.0, 0.0, 0.0
        self._last = (0.0, 0.0)  # y at the last sample and at the one before

    def settle(self, value: float) -> None:
        """Go on from an endless past of `value`, all of it blocked: what stands still makes no step."""
        self._go_on(value, value, 0.0)

    def follow(self, other: ToneFilter, raised: float = 0.0) -> None:
        """Go on from the last samples of `other`'s stages, so that what it holds back is held back on.

        On a sounding note the part held back is in proportion to the DC block's corner. `raised`: how much higher the
        steady part is that comes in from now on; it counts as blocked already.
        """
        passed, left = other._passed, other._last[0]
        held = (passed - left) * self._corner / other._corner
        self._go_on(other._entered + raised, passed + raised, passed - held)

    def filter(self, samples: Floats) -> Floats:
        """The next samples, filtered; `samples` is not empty."""
        rises = np.empty(samples.size + 1)
        rises[0], rises[1] = self._rise, samples[0] - self._entered
        np.subtract(samples[1:], samples[:-1], out=rises[2:])
        self._entered, self._rise = float(samples[-1]), float(rises[-1])
        fed = np.empty(samples.size + 2)
        fed[1], fed[0] = self._last
        inside = fed[2:]
        np.multiply(rises[1:], self._first, out=inside)
        rises *= self._second
        inside += rises[:-1]
        inside[0] += self._owed
        self._owed = 0.0
        left = float(fed[1])
        filtered = self._recursion.solve(fed)
        self._last = (float(filtered[-1]), float(filtered[-2]) if filtered.size > 1 else left)
        return filtered

    def _go_on(self, entered: float, passed: float, left: float) -> None:
        """Go on from x, v and y at the last sample; what d and y of the one before would add is owed to the next."""
        self._entered, self._rise, self._last = entered, 0.0, (left, 0.0)
        self._owed = self._gain * (1.0 - self._pole) * (entered - passed) - self._pole * left

    @property
    def _passed(self) -> float:
        """v at the last sample."""
        left, before = self._last
        remembered = self._second * self._rise - self._product * before + self._owed + self._pole * left
        return self._entered - remembered / (self._gain * (1.0 - self._pole))
