"""Amplitude of an exponential device: the describing function by modified Bessel functions.

Symbols: x = V_1 / V_T drive (peak fundamental over the thermal voltage), I_n modified Bessel functions of the first
kind, g_m transconductance at the mean current, G_m its value for the fundamental at that drive.
Source: K. K. Clarke and D. T. Hess, Communication Circuits: Analysis and Design (1971), chapter 4 (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import i0e, i1e

from models.checks import finite, finite_array, non_negative_array


def relative_transconductance(drive: ArrayLike) -> NDArray[np.float64]:
    """Return G_m / g_m = 2 I_1(x) / (x I_0(x)) for a drive x >= 0, the mean current held; 1 at x = 0; broadcasts."""
    x = non_negative_array("drive", drive)
    safe = np.where(x > 1e-4, x, 1.0)
    # the series about 0: 1 - x^2 / 8
    result: NDArray[np.float64] = np.where(x > 1e-4, 2.0 * i1e(safe) / (safe * i0e(safe)), 1.0 - x * x / 8.0)
    return result


def drive_at(ratio: float) -> float:
    """Return the drive x at which G_m / g_m has fallen to `ratio` (0 < ratio < 1). Raises ValueError outside."""
    if not 0.0 < finite("ratio", ratio) < 1.0:
        raise ValueError(f"ratio must be between 0 and 1 (both excluded); got {ratio:g}")
    # for large x, 2 I_1 / (x I_0) is just below 2 / x
    return float(brentq(lambda x: float(relative_transconductance(x)) - ratio, 0.0, 2.0 / ratio, xtol=1e-13))


def bias_shift(drive: ArrayLike) -> NDArray[np.float64]:
    """Return how far the mean junction voltage falls at a drive x for the same mean current, in thermal voltages.

    ln I_0(x): the mean of exp(x cos) is I_0(x).
    """
    x = np.abs(finite_array("drive", drive))
    result: NDArray[np.float64] = np.log(i0e(x)) + x
    return result
