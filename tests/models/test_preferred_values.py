"""Preferred values against the published series (IEC 60063:2015, tables; from memory)."""

from __future__ import annotations

import math
from functools import partial

import numpy as np
import pytest

from models.preferred_values import (
    SERIES,
    nearest,
    nearest_pair,
    next_above,
    next_below,
    series_figures,
    values_in_range,
)

close = partial(pytest.approx, abs=0.0)  # by ratio alone: approx by itself lets 1e-12 (1 pF) pass

# IEC 60063, table of E3 to E24; from memory
E24 = [10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91]
E12 = [10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82]
E6, E3 = [10, 15, 22, 33, 47, 68], [10, 22, 47]
# IEC 60063, table of E48 to E192; from memory
E48 = """
    100 105 110 115 121 127 133 140 147 154 162 169 178 187 196 205 215 226 237 249 261 274 287 301
    316 332 348 365 383 402 422 442 464 487 511 536 562 590 619 649 681 715 750 787 825 866 909 953
"""
E96_BETWEEN = """
    102 107 113 118 124 130 137 143 150 158 165 174 182 191 200 210 221 232 243 255 267 280 294 309
    324 340 357 374 392 412 432 453 475 499 523 549 576 604 634 665 698 732 768 806 845 887 931 976
"""
E192_LAST = [866, 876, 887, 898, 909, 920, 931, 942, 953, 965, 976, 988]


@pytest.mark.parametrize(
    ("series", "published"),
    [
        ("E3", E3),
        ("E6", E6),
        ("E12", E12),
        ("E24", E24),
        ("E48", [int(figures) for figures in E48.split()]),
        ("E96", sorted(int(figures) for figures in (E48 + E96_BETWEEN).split())),
    ],
)
def test_series_are_the_published_ones(series, published):
    assert list(series_figures(series)) == published


def test_e192_has_its_one_exception_and_ends_as_published():
    figures = list(series_figures("E192"))
    assert figures[-12:] == E192_LAST
    by_rule = [round(100 * 10 ** (n / 192)) for n in range(192)]
    assert [(a, b) for a, b in zip(by_rule, figures, strict=True) if a != b] == [(919, 920)]
    assert figures[::2] == list(series_figures("E96"))


@pytest.mark.parametrize("series", SERIES)
def test_series_rise_evenly(series):
    count = int(series[1:])
    values = np.array(values_in_range(series, 1.0, 10.0))
    assert values.size == count + 1
    assert values[0] == 1.0
    ratios = values[1:] / values[:-1] / 10 ** (1 / count)
    assert ((ratios > 0.93) & (ratios < 1.07)).all()


def test_neighbours_in_every_decade():
    for decade in (1e-12, 1e-9, 1e-3, 1.0, 1e6):
        assert nearest("E12", 3.5 * decade) == close(3.3 * decade, rel=1e-12)
        assert next_above("E12", 8.2 * decade) == close(10 * decade, rel=1e-12)
        assert next_below("E12", 10 * decade) == close(8.2 * decade, rel=1e-12)
    assert nearest("E12", 330e-12) == 330e-12
    assert next_above("E6", 47e-12) == 68e-12
    assert next_below("E6", 47.0001e-12) == 47e-12


def test_neighbours_are_those_of_a_plain_search():
    generator = np.random.default_rng(4)
    for series in SERIES:
        every = np.array(values_in_range(series, 1e-4, 9.99e4))
        for value in 10.0 ** generator.uniform(-3, 3, 60):
            assert next_above(series, value) == close(every[every > value].min(), rel=1e-12)
            assert next_below(series, value) == close(every[every < value].max(), rel=1e-12)
            best = every[np.abs(np.log(every / value)).argmin()]
            assert nearest(series, value) == close(best, rel=1e-12)


def test_range_includes_its_ends():
    assert values_in_range("E6", 47e-12, 220e-12) == (47e-12, 68e-12, 100e-12, 150e-12, 220e-12)
    assert values_in_range("E3", 5.0, 9.0) == ()
    assert values_in_range("E3", 10.0, 10.0) == (10.0,)


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf, True, "1"])
def test_bad_values(value):
    for function in (nearest, next_above, next_below):
        with pytest.raises(ValueError, match="value"):
            function("E12", value)


def test_bad_series_and_range():
    with pytest.raises(ValueError, match="series"):
        values_in_range("E7", 1.0, 2.0)
    with pytest.raises(ValueError, match="high"):
        values_in_range("E12", 2.0, 1.0)


def test_pair_of_values_adds_up_to_what_is_wanted():
    assert nearest_pair("E24", 134.7e-12, 1e-12) == (130e-12, 4.7e-12)
    assert nearest_pair("E12", 2e-12, 1e-12) == (1e-12, 1e-12)
    for wanted in np.geomspace(20e-12, 900e-12, 60):
        large, small = nearest_pair("E12", wanted, 1e-12)
        every = [a + b for a in values_in_range("E12", 1e-12, 1e-9) for b in values_in_range("E12", 1e-12, a)]
        assert abs(large + small - wanted) <= min(abs(total - wanted) for total in every) + 1e-9 * wanted
        assert large >= small >= 1e-12 * (1.0 - 1e-9)
    with pytest.raises(ValueError, match="two of"):
        nearest_pair("E12", 1.5e-12, 1e-12)
