"""A part of the picture that changes more slowly than the pictures come, drawn on what stands still when it changes."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from synth.window.canvas import PlayCanvas
from synth.window.painter import DrawnText

if TYPE_CHECKING:
    import pygame


class Layer:
    """One such part. `texts`: those it holds."""

    def __init__(self) -> None:
        self.texts: tuple[DrawnText, ...] = ()
        self._key: object = None
        self._places: list[pygame.Rect] = []

    def forget(self) -> None:
        """What it was drawn on is drawn anew."""
        self.texts, self._key, self._places = (), None, []

    @property
    def empty(self) -> bool:
        """Whether it was not drawn since what it is drawn on was."""
        return self._key is None

    def shows(self, key: object) -> bool:
        """Whether it shows what `key` stands for."""
        return key == self._key

    def draw(
        self, canvas: PlayCanvas, still: pygame.Surface, empty: pygame.Surface, key: object, drawn: Callable[[], None]
    ) -> list[pygame.Rect]:
        """Let `drawn` draw on `still` what `key` stands for, if that is not there already; return where it was and is.

        `empty` is what stands still without any layer.
        """
        if self.shows(key):
            return []
        before = self._places
        for place in before:
            still.blit(empty, place, place)
        canvas.onto(still)
        drawn()
        self._key, self.texts = key, tuple(canvas.texts)
        self._places = [touched.inflate(4, 4) for touched in canvas.touched]
        return joined(before, self._places)


def joined(before: list[pygame.Rect], after: list[pygame.Rect]) -> list[pygame.Rect]:
    """Both in few rectangles: what was drawn in two pictures that follow each other lies at nearly the same place."""
    if len(before) != len(after):
        return before + after
    found = []
    for one, other in zip(before, after, strict=True):
        found += [one.union(other)] if one.colliderect(other) else [one, other]
    return found
