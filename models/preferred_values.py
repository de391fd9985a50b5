"""Preferred values of parts: the series E3 to E192 of IEC 60063.

Rule of the series EN: the N values of a decade are 10^(n / N), rounded to two figures (E3 to E24) or three (E48 to
E192). Published exceptions (IEC 60063:2015 and its table; from memory): in E24 eight values keep their historic
figures, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3 and 4.7 in place of the next lower and 8.2 in place of 8.3; in E192 9.20 stands
in place of 9.19. E12, E6 and E3 are every second, fourth and eighth value of E24; E96 and E48 every second and fourth
of E192.
"""

from __future__ import annotations

import math
from functools import cache
from typing import Final

from models.checks import one_of, positive

SERIES: Final = ("E3", "E6", "E12", "E24", "E48", "E96", "E192")
HISTORIC: Final = {26: 27, 29: 30, 32: 33, 35: 36, 38: 39, 42: 43, 46: 47, 83: 82}
"""E24: what the rule gives, and what is published, in tenths."""
CORRECTED: Final = {919: 920}
"""E192: likewise, in hundredths."""

SAME: Final = 1e-9
"""Relative difference within which a number counts as a value of the series."""


@cache
def series_figures(series: str) -> tuple[int, ...]:
    """The values of one decade as whole numbers: 10 to 99 for E3 to E24, 100 to 999 for E48 to E192."""
    count = int(one_of("series", series, SERIES)[1:])
    if count <= 24:
        fine = [round(10.0 * 10.0 ** (n / 24)) for n in range(24)]
        return tuple(HISTORIC.get(value, value) for value in fine)[:: 24 // count]
    fine = [round(100.0 * 10.0 ** (n / 192)) for n in range(192)]
    return tuple(CORRECTED.get(value, value) for value in fine)[:: 192 // count]


def values_in_range(series: str, low: float, high: float) -> tuple[float, ...]:
    """Every value of the series from `low` to `high` (any unit; both included), rising."""
    least, most = positive("low", low), positive("high", high)
    if most < least:
        raise ValueError(f"high must be >= low ({least:g}); got {most:g}")
    decades = range(_decade(least) - 1, _decade(most) + 2)
    values = (_scaled(figures, decade) for decade in decades for figures in series_figures(series))
    return tuple(value for value in values if least * (1.0 - SAME) <= value <= most * (1.0 + SAME))


def nearest(series: str, value: float) -> float:
    """The value of the series whose ratio to `value` is nearest to 1 (of two alike, the lower)."""
    wanted = positive("value", value)
    return min(_around(series, wanted), key=lambda near: (abs(math.log(near / wanted)), near))


def next_above(series: str, value: float) -> float:
    """The smallest value of the series above `value` (not `value` itself)."""
    wanted = positive("value", value)
    return min(near for near in _around(series, wanted) if near > wanted * (1.0 + SAME))


def next_below(series: str, value: float) -> float:
    """The largest value of the series below `value` (not `value` itself)."""
    wanted = positive("value", value)
    return max(near for near in _around(series, wanted) if near < wanted * (1.0 - SAME))


def nearest_pair(series: str, value: float, smallest: float) -> tuple[float, float]:
    """Two values of the series, larger first, whose sum is nearest to `value`: two capacitors in parallel.

    smallest: the least that is worth fitting, same unit as `value`, which must be at least twice that.
    """
    wanted, least = positive("value", value), positive("smallest", smallest)
    if wanted < 2.0 * least:
        raise ValueError(f"value must be >= {2.0 * least:g} for two of {least:g}; got {wanted:g}")
    pairs = [
        (large, small)
        for large in values_in_range(series, 0.4 * wanted, next_above(series, wanted))
        for rest in (max(wanted - large, least),)
        for small in (nearest(series, rest), next_above(series, rest), next_below(series, rest))
    ]
    kept = [(large, small) for large, small in pairs if large >= small >= least * (1.0 - SAME)]
    return min(kept, key=lambda pair: (round(abs(pair[0] + pair[1] - wanted) / wanted, 9), -pair[0]))


def _around(series: str, value: float) -> tuple[float, ...]:
    return values_in_range(series, value / 12.0, value * 12.0)


def _decade(value: float) -> int:
    return math.floor(math.log10(value))


def _scaled(figures: int, decade: int) -> float:
    """The float nearest to the decimal value: parts are written in decimals."""
    return float(f"{figures}e{decade - (2 if figures >= 100 else 1)}")
