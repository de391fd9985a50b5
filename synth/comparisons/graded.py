"""Nodes of graded grids for the finite elements: fine where charge crowds, growing away from there."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def outward(start: float, stop: float, first: float, growth: float) -> Floats:
    """Nodes from `start` to `stop` (either way), the first step about `first`, each next one `growth` times as long."""
    span = abs(stop - start)
    count = max(1, math.ceil(math.log1p(span * (growth - 1.0) / first) / math.log(growth)))
    steps = growth ** np.arange(count)
    nodes = np.concatenate([[0.0], np.cumsum(steps) / steps.sum()])
    return np.asarray(start + (stop - start) * nodes)


def between(start: float, stop: float, first: float, last: float, growth: float) -> Floats:
    """Nodes from `start` to `stop`, the first step about `first`, the last about `last`, growing towards the middle."""
    middle = 0.5 * (start + stop)
    lower = outward(start, middle, first, growth)
    upper = outward(stop, middle, last, growth)[::-1]
    return np.concatenate([lower, upper[1:]])


def along(cells: Mapping[float, float], low: float | None, high: float, growth: float) -> Floats:
    """Nodes with cells of `cells[edge]` at each edge, down to `low` (None: the lowest edge) and up to `high`."""
    places = sorted(cells)
    parts = [between(a, b, cells[a], cells[b], growth) for a, b in pairwise(places)]
    if low is not None and low < places[0]:
        parts.insert(0, outward(places[0], low, cells[places[0]], growth)[::-1])
    parts.append(outward(places[-1], high, cells[places[-1]], growth))
    return np.concatenate([parts[0], *(part[1:] for part in parts[1:])])
