"""Fingers on a touch screen as two hands: the first one down is the pitch hand, the second the volume hand. Pure.

FINGERDOWN, FINGERMOTION and FINGERUP give a finger's number and its place as shares of the window. A single finger is
both hands, as the pointer is; once a second one has been down, the volume stays where that one left it until the pitch
hand goes. The system also sends touches as pointer motion, with `event.touch` set: leave those out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

Place = tuple[float, float]
Kind = Literal["down", "motion", "up"]


@dataclass(frozen=True, slots=True)
class Touch:
    """The fingers down: `pitch` and `volume` are their numbers; places are shares (0..1) of the window, from the left
    upper corner. `volume_place` outlasts its finger."""

    pitch: int | None = None
    pitch_place: Place = (0.0, 0.0)
    volume: int | None = None
    volume_place: Place | None = None


def touched(touch: Touch, kind: Kind, finger: int, place: Place) -> Touch:
    """The fingers after an event; events of third fingers and of unknown ones change nothing."""
    if kind == "down":
        return _down(touch, finger, place)
    if kind == "motion":
        return _moved(touch, finger, place)
    if finger == touch.pitch:
        kept = touch.volume_place if touch.volume is not None else None
        return replace(touch, pitch=None, volume_place=kept)
    if finger == touch.volume:
        moved = _moved(touch, finger, place)
        return replace(moved, volume=None, volume_place=moved.volume_place if touch.pitch is not None else None)
    return touch


def pointer_of(touch: Touch, size: tuple[int, int]) -> tuple[int, int] | None:
    """The pixel that stands for both hands in a window of `size`: the pitch finger's column, the volume finger's row.

    None while the pitch hand is away: nothing sounds then.
    """
    if touch.pitch is None:
        return None
    row = touch.pitch_place if touch.volume_place is None else touch.volume_place
    return round(touch.pitch_place[0] * (size[0] - 1)), round(row[1] * (size[1] - 1))


def _down(touch: Touch, finger: int, place: Place) -> Touch:
    if touch.pitch is None and finger != touch.volume:
        return replace(touch, pitch=finger, pitch_place=place)
    if touch.volume is None and finger != touch.pitch:
        return replace(touch, volume=finger, volume_place=place)
    return touch


def _moved(touch: Touch, finger: int, place: Place) -> Touch:
    if finger == touch.pitch:
        return replace(touch, pitch_place=place)
    if finger == touch.volume:
        return replace(touch, volume_place=place)
    return touch
