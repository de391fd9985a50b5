"""The sum of two tones and the same sum behind an ideal half-wave rectifier, line by line.

Sum: s = cos(t1) + m cos(t2), m the weaker over the stronger amplitude, t1 and t2 the running phases. It is also one
wave of slowly changing size, s = E cos(a), with E exp(j a) = exp(j t1) + m exp(j t2). A rectifier that lets only the
positive half through gives

    max(s, 0) = E (1 / pi + cos(a) / 2 + (2 / pi) sum over k >= 1 of (-1)^(k + 1) cos(2 k a) / (4 k^2 - 1))

the Fourier series of the half-wave rectified cosine (a handbook formula, from memory; a test compares it with max(s, 0)
itself). Neglected: the threshold, resistance and charge of a real diode.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import finite_array, fraction, whole


def sum_of_tones(first: ArrayLike, second: ArrayLike, amplitude_ratio: float) -> tuple[Floats, Floats]:
    """Envelope E and angle a (rad, within -pi to pi) of cos(first) + m cos(second); phases in rad; broadcasts."""
    ratio = fraction("amplitude_ratio", amplitude_ratio)
    both = np.exp(1j * finite_array("first", first)) + ratio * np.exp(1j * finite_array("second", second))
    return np.abs(both), np.angle(both)


def half_wave_rectified(envelope: ArrayLike, angle: ArrayLike, pairs: int) -> Floats:
    """max(E cos(a), 0) from its Fourier series, even harmonics up to 2 `pairs` (whole number >= 0); broadcasts.

    Cut off there, it has no lines beyond the last harmonic: what a recording of a finite band can hold.
    """
    whole("pairs", pairs, 0)
    size, turn = finite_array("envelope", envelope), finite_array("angle", angle)
    series = 1.0 / math.pi + 0.5 * np.cos(turn)
    for order in range(1, pairs + 1):
        sign = 1.0 if order % 2 else -1.0
        series = series + (2.0 / math.pi) * sign / (4.0 * order**2 - 1.0) * np.cos(2.0 * order * turn)
    return np.asarray(size * series)


def curved_detector_lines(
    first: float, second: float, amplitude_ratio: float, curvature: float
) -> tuple[tuple[int, int, float], ...]:
    """Lines of s + c s^2 without the steady part: (p, q, amplitude) of cos(p t1 + q t2), by the product formula.

    `curvature` c >= 0: how strongly the detector bends. The amplitudes do not depend on where `first` and `second`
    (Hz, only their order counts: the difference line is counted upwards) lie.
    """
    ratio, bend = fraction("amplitude_ratio", amplitude_ratio), float(curvature)
    if not bend >= 0.0 or not math.isfinite(bend):
        raise ValueError(f"curvature must be >= 0; got {curvature!r}")
    difference = (1, -1) if first > second else (-1, 1)
    return (
        (1, 0, 1.0),
        (0, 1, ratio),
        (*difference, bend * ratio),
        (2, 0, 0.5 * bend),
        (0, 2, 0.5 * bend * ratio**2),
        (1, 1, bend * ratio),
    )


def rectified_side_line(pair: int, order: int, amplitude_ratio: float) -> float:
    """Amplitude (with its sign) of the rectified sum's line at 2 pair f1 + order (f2 - f1); pair >= 1.

    The coefficient of z^order in |1 + m z| ((1 + m z) / |1 + m z|)^(2 pair) on the unit circle, by a discrete Fourier
    sum over 4096 points, times the rectifier's series coefficient. For m < 1.
    """
    ratio = fraction("amplitude_ratio", amplitude_ratio)
    if pair < 1 or ratio == 1.0:
        raise ValueError(f"pair must be >= 1 and amplitude_ratio < 1; got {pair} and {ratio:g}")
    points = 4096
    vector = 1.0 + ratio * np.exp(2j * math.pi * np.arange(points) / points)
    coefficient = float(np.fft.fft(np.abs(vector) * (vector / np.abs(vector)) ** (2 * pair))[order].real) / points
    return (2.0 / math.pi) * (1.0 if pair % 2 else -1.0) / (4.0 * pair**2 - 1.0) * coefficient
