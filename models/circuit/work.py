"""A bound on the work of harmonic balance, start-ups and integration in time, counted and not timed.

It so ends at the same step on every machine. Some 10^7 of its units take a second of processor time.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_left: ContextVar[list[float] | None] = ContextVar("work that is left", default=None)


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


def spend(elements: float) -> None:
    """Take `elements` from the work allowed, if there is a bound; TooMuchWorkError when none is left."""
    left = _left.get()
    if left is None:
        return
    left[0] -= elements
    if left[0] < 0.0:
        raise TooMuchWorkError(
            "no steady state is found within the work allowed: the waveform is too abrupt, or the values lie too far "
            "from usual ones; raise the emitter resistor for less current, or go back towards values that oscillate"
        )
