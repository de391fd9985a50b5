"""Time and memory of an action, and of several in turn, so that a busy machine lengthens all of them alike.

Time is processor time of this process (all its threads): other programs lengthen it less than the time on the wall.
"""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable, Mapping
from statistics import median
from time import process_time
from typing import TypeVar

Result = TypeVar("Result")


def timed(action: Callable[[], Result]) -> tuple[Result, float]:
    """What `action` returns, and the processor time it took, s."""
    start = process_time()
    result = action()
    return result, process_time() - start


def side_by_side(actions: Mapping[str, Callable[[], object]], rounds: int) -> dict[str, float]:
    """Median processor time, s, of each action over `rounds` rounds, each of which takes all of them once."""
    times: dict[str, list[float]] = {name: [] for name in actions}
    for _ in range(rounds):
        for name, action in actions.items():
            times[name].append(timed(action)[1])
    return {name: median(found) for name, found in times.items()}


def peak_memory(action: Callable[[], object]) -> int:
    """Most memory, bytes, that `action` had taken from Python and numpy at one time beyond what was taken before."""
    tracemalloc.start()
    try:
        tracemalloc.reset_peak()
        before = tracemalloc.get_traced_memory()[0]
        action()
        return tracemalloc.get_traced_memory()[1] - before
    finally:
        tracemalloc.stop()
