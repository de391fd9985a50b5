"""The loop of any window: events as they arrive, each with its time, and a picture whenever one is due."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pygame


def run_events(
    surface: pygame.Surface,
    handle: Callable[[pygame.event.Event, float], None],
    picture: Callable[[pygame.Surface, float], None],
    closing: Callable[[], bool],
    frame_time: float,
) -> None:
    """Call `handle` with every event and when it happened, and `picture` every `frame_time` s, until `closing`.

    `picture` gets the window's surface, which is `surface` until a change of size replaces it, and the time
    (time.monotonic), s.
    """
    import pygame

    due = last = time.monotonic()
    while not closing():
        remaining = round(1000.0 * (due - time.monotonic()))
        event = pygame.event.wait(remaining) if remaining > 0 else pygame.event.poll()
        waiting = [] if event.type == pygame.NOEVENT else [event, *pygame.event.get()]
        now = time.monotonic()
        for place, one in enumerate(waiting, start=1):
            handle(one, moment_of(place, len(waiting), last, now))
        last = now
        if now < due:
            continue
        surface = pygame.display.get_surface() or surface
        picture(surface, now)
        due = max(due + frame_time, now)


def moment_of(place: int, count: int, last: float, now: float) -> float:
    """When the `place`-th (from 1) of `count` events happened, s, that were read together at `now`.

    The library gives events no time of their own. While a picture is drawn they wait, and are then read at once; a
    pointer moves at a steady rate, so they are spread evenly from the last reading to this one. Events that come while
    nothing is drawn are read one by one, within a fraction of a millisecond, and keep that time.
    """
    return now - (count - place) * (now - last) / count
