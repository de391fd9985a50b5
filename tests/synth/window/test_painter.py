"""What is drawn once and kept looks as if drawn anew."""

from __future__ import annotations

import numpy as np
import pytest

from synth.window.box import Box
from synth.window.changed import changed
from synth.window.painter import Painter
from synth.window.state import WindowState


def painter_on(ground: np.ndarray) -> Painter:
    import pygame

    painter = Painter()
    painter.onto(pygame.surfarray.make_surface(ground))
    return painter


def pixels(painter: Painter) -> np.ndarray:
    import pygame

    return pygame.surfarray.array3d(painter.surface).astype(int)


def test_a_stamp_is_what_it_was_made_of_on_any_ground() -> None:
    """Glass, thick and smooth lines over random pixels; what is seen through is rounded twice."""
    ground = np.random.default_rng(3).integers(0, 256, (120, 90, 3)).astype(np.uint8)

    def drawn(painter: Painter, place: tuple[int, int]) -> None:
        x, y = place[0] + 0.25, place[1] + 0.6
        shape = [(x + across, y + down) for across, down in ((5, 5), (60, 12), (44, 50), (9, 40))]
        painter.glass(shape, (200, 120, 40), 200)
        painter.smooth([*shape, shape[0]], (86, 180, 233), 3)
        painter.curve([(x + 2, y + 30), (x + 64, y + 33.3)], (240, 240, 240))

    direct, stamped = painter_on(ground), painter_on(ground)
    drawn(direct, (20, 11))
    for _ in range(2):  # made, and used again
        stamped.surface = painter_on(ground).surface
        stamped.stamp("shape", (70, 60), (20, 11), lambda place: drawn(stamped, place))
    difference = np.abs(pixels(direct) - pixels(stamped))
    assert difference.max() <= 3
    assert np.abs(pixels(direct) - ground).max() > 100
    assert len(stamped.touched) == 2


def test_glass_lies_within_the_clip_alone_and_leaves_no_trace() -> None:
    painter = painter_on(np.zeros((60, 60, 3), np.uint8))
    with painter.clipped(Box(0, 0, 40, 60)), painter.clipped(Box(10, 10, 50, 20)):
        painter.glass([(-9, -9), (80, -9), (80, 80), (-9, 80)], (255, 255, 255), 100)
    painter.glass([(50, 50), (55, 50), (55, 55)], (255, 0, 0), 255)
    seen = pixels(painter)
    assert (seen[10:40, 10:30] == 100).all()
    assert np.count_nonzero(seen[..., 1]) == 30 * 20
    assert 10 < np.count_nonzero(seen[50:, 50:, 0]) < 30


def test_a_state_with_other_values() -> None:
    state = WindowState(distance=0.3, level=0.1)
    other = changed(state, distance=0.2, held=True)
    assert (other.distance, other.held, other.level) == (0.2, True, 0.1)
    assert state == WindowState(distance=0.3, level=0.1)
    assert other == WindowState(distance=0.2, level=0.1, held=True)
    with pytest.raises(TypeError, match="has no nearness"):
        changed(state, nearness=0.2)  # type: ignore[call-arg]
