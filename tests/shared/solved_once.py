"""What many tests ask for is solved once: circuits in a process (a circuit is frozen, and so is its solution), hand
fields in all processes of a run.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

MOST_SOLUTIONS = 1000


def share_solutions() -> None:
    """Keep steady states and start-ups from now on; to be called before any module takes the functions by name."""
    from models.circuit import oscillator, start_up

    oscillator.steady_state = kept_states(oscillator.steady_state)
    start_up.start_up = functools.lru_cache(start_up.start_up)


def fields_in_turn(solve: Callable[..., Any], locks: Path) -> Callable[..., Any]:
    """`kept_field` that waits where another process is about to solve the same field for the common cache."""

    @functools.wraps(solve)
    def asked(key: str, how: Any, notice: Any, folder: Path | None) -> Any:
        if folder is not None:
            return solve(key, how, notice, folder)
        with alone(locks / f"{key}.lock"):
            return solve(key, how, notice, None)

    return asked


@contextmanager
def alone(lock: Path) -> Iterator[None]:
    """Hold a file that one process at a time may hold; where the system knows no such thing, go on at once."""
    try:
        import fcntl
    except ImportError:
        yield
        return
    with lock.open("wb") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def kept_states(solve: Callable[..., Any]) -> Callable[..., Any]:
    """`steady_state` that looks first whether the same circuit was solved from the same start."""
    kept: dict[Any, tuple[Any, Any]] = {}

    @functools.wraps(solve)
    def asked(circuit: Any, harmonics: Any = None, warm_start: Any = None, near_frequency: Any = None) -> Any:
        key = circuit, harmonics, id(warm_start), near_frequency
        if key not in kept:
            if len(kept) == MOST_SOLUTIONS:
                kept.clear()
            state = solve(circuit, harmonics, warm_start, near_frequency)
            kept[key] = state, warm_start  # this too, so that its id stays its own
        return kept[key][0]

    return asked
