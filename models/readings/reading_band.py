"""How far a reading may be off while every part is within its tolerance, to first order.

Symbols: y reading, x_i value of part i, t_i its relative tolerance, S_i = (x_i / y) dy/dx_i its sensitivity.
    all parts at their worst ends: sum |S_i| t_i;   root sum of squares, parts independent: sqrt(sum (S_i t_i)^2)
First order: the bend of y over the tolerance is neglected (a reading as 1/sqrt(x) bends by 0.4 % over t = 10 %).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from models.checks import finite, non_negative
from models.quick_dataclass import dataclass

STEP = 1e-3  # relative, either side


@dataclass(frozen=True, slots=True)
class ReadingBand:
    """Relative half-widths of a reading's band: root sum of squares, and everything at its worst."""

    root_sum_square: float
    worst_case: float


def relative_sensitivity(reading: Callable[[float], float], step: float = STEP) -> float:
    """S of a `reading` that is a function of a part's value over its nominal one, by a central difference at 1.

    Raises ValueError where the reading is 0, of which there is no relative change.
    """
    low, middle, high = (finite("reading", reading(1.0 + change)) for change in (-step, 0.0, step))
    if middle == 0.0:
        raise ValueError("reading must not be 0 for a relative sensitivity")
    return (high - low) / (2.0 * step * middle)


def reading_band(sensitivities: Mapping[str, float], tolerances: Mapping[str, float]) -> ReadingBand:
    """The band from each part's sensitivity and relative tolerance (a part without one counts as exact)."""
    shares = [
        abs(finite(f"sensitivity of {part}", value)) * non_negative(f"tolerance of {part}", tolerances.get(part, 0.0))
        for part, value in sensitivities.items()
    ]
    return ReadingBand(math.sqrt(math.fsum(share * share for share in shares)), math.fsum(shares))


def explaining_change(sensitivity: float, reading_change: float) -> float:
    """Relative change of a part that explains a relative change of the reading: dx/x = (dy/y) / S; S not 0."""
    if finite("sensitivity", sensitivity) == 0.0:
        raise ValueError("sensitivity must not be 0: the part does not move the reading")
    return finite("reading_change", reading_change) / sensitivity
