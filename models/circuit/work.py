"""A bound on the work of harmonic balance, start-ups and integration in time, counted and not timed.

It so ends at the same step on every machine. 10^7 of its units take about a second of processor time (measured on one
core of a virtual machine: 0.8 to 1.6 s, whatever the work is).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

SQUARE, CUBE = 0.25, 1.6e-4
"""Work of a real matrix by the square and the cube of its size (measured: within a factor of 1.6 from 66 to 4100)."""

_left: ContextVar[list[float] | None] = ContextVar("work that is left", default=None)
_counted: ContextVar[list[float] | None] = ContextVar("work that is counted", default=None)


class TooMuchWorkError(ValueError):
    """The work allowed is used up before a steady state is found."""


@contextmanager
def bounded_work(elements: float) -> Iterator[None]:
    """Allow what is solved inside so many matrix elements together; a bound around this one goes on instead.

    TooMuchWorkError ends the solution that needs more, and every later one inside.
    """
    if _left.get() is not None:
        yield
        return
    token = _left.set([elements])
    try:
        yield
    finally:
        _left.reset(token)


@contextmanager
def counted_work() -> Iterator[list[float]]:
    """Give a list whose one number is the work done inside so far, within bounds and without."""
    count = [0.0]
    token = _counted.set(count)
    try:
        yield count
    finally:
        _counted.reset(token)


def elimination(size: int) -> float:
    """Return the work of making a real matrix of so many rows and solving with it."""
    return SQUARE * size**2 + CUBE * size**3


def spend(elements: float) -> None:
    """Take `elements` from the work allowed, if there is a bound; TooMuchWorkError when none is left."""
    left, counted = _left.get(), _counted.get()
    if left is not None:
        left[0] -= elements
    if counted is not None and (left is None or left[0] >= 0.0):
        counted[0] += elements
    if left is not None and left[0] < 0.0:
        raise TooMuchWorkError(
            "no steady state is found within the work allowed: the waveform is too abrupt, or the values lie too far "
            "from usual ones; raise the emitter resistor for less current, or go back towards values that oscillate"
        )
