"""Straightness against sensitivity and drift: circuits of which none is better in all three.

For every bound on the carrier frequency and on the room that the notes must take, the straightest field is searched;
of what is found, those that another beats in all three figures are left out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.checks import finite_array
from models.straight.cost import Price, price
from models.straight.evenness import FieldTable, Goal
from models.straight.search import Parts, Place, Progress, Search, Solution

FILLS = (0.5, 0.65, 0.8)
CARRIERS = (130e3, 180e3, 250e3, 500e3)
GENERATIONS = 70
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
    table: FieldTable,
    goal: Goal,
    parts: Parts,
    places: Sequence[Place],
    seed: int,
    progress: Progress = lambda share: None,
) -> tuple[FrontPoint, ...]:
    """The front over the given places in continuous values, least RMS cents first."""
    points = []
    tasks = [(place, fill, carrier) for place in places for fill in FILLS for carrier in CARRIERS]
    for number, (place, fill, carrier) in enumerate(tasks):
        progress(number / len(tasks))
        if carrier <= parts.lowest_carrier:
            continue
        bounded = replace(parts, highest_carrier=min(carrier, parts.highest_carrier))
        search = Search(table, replace(goal, fill=fill), bounded, place)
        found = search.best(seed, GENERATIONS)
        if found is not None:
            points.append(point_of(table, goal, parts, found))
    if not points:
        return ()
    alike = {_rounded(point): point for point in sorted(points, key=lambda point: -point.rms_cents)}
    kept = [point for point, good in zip(alike.values(), not_dominated(list(alike)), strict=True) if good]
    return tuple(sorted(kept, key=lambda point: point.rms_cents))


def _rounded(point: FrontPoint) -> tuple[float, ...]:
    """The three figures in steps of ALIKE: circuits that differ by less are one."""
    figures = point.rms_cents, point.price.cents_per_mm, point.price.drift_hz_per_ppm
    return tuple(round(math.log(max(figure, 1e-3)) / ALIKE) for figure in figures)


def point_of(table: FieldTable, goal: Goal, parts: Parts, solution: Solution) -> FrontPoint:
    """The figures of a solution that holds the goal's notes."""
    rows = solution.candidates(parts)
    even = table.evenness(rows, goal)
    return FrontPoint(
        solution,
        float(even.rms_cents[0]),
        price(table.curve, rows, even, goal),
        float(even.carrier[0]),
        float(even.zero_beat[0]),
    )
