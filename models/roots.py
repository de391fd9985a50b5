"""Where a function of one number passes through zero between two places.

Bracketed, by inverse quadratic interpolation where that is safe and else by halving: T. R. Chandrupatla, Adv. Eng.
Softw. 28 (1997) 145 (from memory). As quick as scipy.optimize.brentq (tests compare them), and written out here since
that package takes a sixth of a second to load, for which every command would wait.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats

_ROUNDING = 4.0 * np.finfo(float).eps
_MOST_STEPS = 200


def root(function: Callable[[float], float], low: float, high: float, xtol: float) -> float:
    """A place between `low` and `high` at which `function` passes through zero, to `xtol` and rounding.

    Raises ValueError where its values at the ends have one sign.
    """
    a, b = float(low), float(high)
    fa, fb = function(a), function(b)
    if fa == 0.0 or fb == 0.0:
        return a if fa == 0.0 else b
    if not (fa < 0.0) != (fb < 0.0):
        raise ValueError(f"root: the function has one sign at both ends, {low:g} and {high:g}")
    share = 0.5
    for _ in range(_MOST_STEPS):
        place = a + share * (b - a)
        value = function(place)
        if (value < 0.0) == (fa < 0.0):
            c, fc = a, fa
        else:
            c, fc, b, fb = b, fb, a, fa
        a, fa = place, value
        best = a if abs(fa) < abs(fb) else b
        least = (xtol + _ROUNDING * abs(best)) / abs(b - a) if b != a else 1.0
        if least > 0.5 or fa == 0.0:
            return a if fa == 0.0 else best
        share = 0.5
        across, rise = (a - b) / (c - b), (fa - fb) / (fc - fb)
        if rise * rise < across and (1.0 - rise) ** 2 < 1.0 - across:
            share = fa / (fb - fa) * (fc / (fb - fc)) + (c - a) / (b - a) * (fa / (fc - fa)) * (fb / (fc - fb))
        share = min(max(share, least), 1.0 - least)
    raise ValueError(f"root: not found in {_MOST_STEPS} steps between {low:g} and {high:g}")


def roots(function: Callable[[Floats], Floats], low: ArrayLike, high: ArrayLike, xtol: float) -> Floats:
    """The same for many at once: `function` of an array of places, one of each; all shapes broadcast."""
    shape = np.broadcast_shapes(np.shape(low), np.shape(high))
    a, b = (np.array(np.broadcast_to(np.asarray(end, dtype=np.float64), shape)) for end in (low, high))
    fa, fb = function(a), function(b)
    if (fa * fb > 0.0).any():
        raise ValueError("roots: the function has one sign at both ends")
    b, fb = np.where(fa == 0.0, a, b), np.where(fa == 0.0, fa, fb)
    share = np.full(shape, 0.5)
    for _ in range(_MOST_STEPS):
        place = a + share * (b - a)
        value = function(place)
        same = (value < 0.0) == (fa < 0.0)
        c, fc = np.where(same, a, b), np.where(same, fa, fb)
        b, fb = np.where(same, b, a), np.where(same, fb, fa)
        a, fa = place, value
        best = np.where(np.abs(fa) < np.abs(fb), a, b)
        with np.errstate(divide="ignore", invalid="ignore"):
            least = (xtol + _ROUNDING * np.abs(best)) / np.abs(b - a)
            if ((least > 0.5) | (fa == 0.0) | (fb == 0.0)).all():
                return best
            least = np.minimum(least, 0.5)
            across, rise = (a - b) / (c - b), (fa - fb) / (fc - fb)
            quick = fa / (fb - fa) * (fc / (fb - fc)) + (c - a) / (b - a) * (fa / (fc - fa)) * (fb / (fc - fb))
            safe = (rise * rise < across) & ((1.0 - rise) ** 2 < 1.0 - across)
        share = np.clip(np.where(safe & np.isfinite(quick), quick, 0.5), least, 1.0 - least)
    raise ValueError(f"roots: not found in {_MOST_STEPS} steps")
