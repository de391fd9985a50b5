"""Straightness against sensitivity and drift: circuits of which none is better in all three.

For every bound on the carrier frequency and on the room that the notes must take, the straightest field is searched;
of what is found, those that another beats in all three figures are left out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.checks import finite_array
from models.straight.cost import Price, price
from models.straight.search import Place, Progress, Search, Solution

ALIKE = 0.02  # of a logarithm: 2 %


@dataclass(frozen=True, slots=True)
class FrontPoint:
    """One circuit of the front."""

    solution: Solution
    rms_cents: float
    price: Price
    carrier: float
    zero_beat: float


def not_dominated(figures: ArrayLike) -> NDArray[np.bool_]:
    """Which rows of (n, k) figures, less being better, no other row equals or beats in all and beats in one."""
    rows = finite_array("figures", figures)
    better = (rows[:, None, :] <= rows[None]).all(axis=2) & (rows[:, None, :] < rows[None]).any(axis=2)
    return np.asarray(~better.any(axis=0))


def front(
    search_of: Callable[[Place], Search],
    places: Sequence[Place],
    seed: int,
    progress: Progress = lambda share: None,
) -> tuple[FrontPoint, ...]:
    """The front over the given places in continuous values, least RMS cents first; `search_of` a place: its search."""
    points = []
    whole = [search_of(place) for place in places]
    bounds = [(search, bound) for search in whole for bound in product(*search.effort.front_bounds)]
    for number, (search, (fill, carrier)) in enumerate(bounds):
        progress(number / len(bounds))
        if carrier <= search.parts.lowest_carrier:
            continue
        parts = replace(search.parts, highest_carrier=min(carrier, search.parts.highest_carrier))
        bounded = Search(search.law.curve, replace(search.goal, fill=fill), parts, search.place, search.effort)
        found = bounded.best(seed, search.effort.front_generations)
        if found is not None:
            points.append(point_of(search, found))
    if not points:
        return ()
    alike = {_rounded(point): point for point in sorted(points, key=lambda point: -point.rms_cents)}
    kept = [point for point, good in zip(alike.values(), not_dominated(list(alike)), strict=True) if good]
    return tuple(sorted(kept, key=lambda point: point.rms_cents))


def _rounded(point: FrontPoint) -> tuple[float, ...]:
    """The three figures in steps of ALIKE: circuits that differ by less are one."""
    figures = point.rms_cents, point.price.cents_per_mm, point.price.drift_hz_per_ppm
    return tuple(round(math.log(max(figure, 1e-3)) / ALIKE) for figure in figures)


def point_of(search: Search, solution: Solution) -> FrontPoint:
    """The figures of a solution that holds the notes of the search's goal."""
    even = search.evenness(solution)
    return FrontPoint(
        solution,
        float(even.rms_cents[0]),
        price(search.law, solution.build(search.parts), even, search.goal),
        float(even.carrier[0]),
        float(even.zero_beat[0]),
    )
