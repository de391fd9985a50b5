"""One picture of the window from its state; the still part is kept on a surface of its own."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from synth.window import palette
from synth.window.draw_field import FieldPicture, draw_field
from synth.window.draw_hand import draw_hand
from synth.window.draw_overlay import draw_caution, draw_help, draw_too_small
from synth.window.draw_panels import (
    draw_chain,
    draw_level,
    draw_lines,
    draw_still_panels,
    draw_trace,
    draw_tuner,
)
from synth.window.layout import Layout, lay_out, too_small
from synth.window.painter import DrawnText, Painter
from synth.window.readings import Readings
from synth.window.scale import StageScale, stage_width
from synth.window.state import WindowState
from synth.window.volume_axis import PLAIN, VolumeAxis

if TYPE_CHECKING:
    import pygame

KEY_LINE = "M mute    R record    ↑ ↓ listening level    H help    Q quit"
TRACE_POINTS = 220


@dataclass(frozen=True, slots=True)
class Shown:
    """What one picture shows beside the state: readings, lines of text, levels, trace and its span, s."""

    readings: Readings
    flags: str = ""
    status: str = ""
    notice: str = ""
    listening: str = ""
    remarks: tuple[str, ...] = ()
    peak: float = 0.0
    rms: float = 0.0
    trace: NDArray[np.float64] = field(default_factory=lambda: np.zeros(TRACE_POINTS))
    trace_span: float = 0.01


class View:
    """Draws the window of one pitch field at whatever size it has."""

    def __init__(
        self,
        title: str,
        picture: FieldPicture,
        nearest: float,
        farthest: float,
        volume: VolumeAxis = PLAIN,
    ) -> None:
        self._title = title
        self._picture = picture
        self._ends = nearest, farthest
        self._volume = volume
        self._width = stage_width(picture.zero_beat, farthest)
        self._painter: Painter | None = None
        self._still: pygame.Surface | None = None
        self._still_texts: tuple[DrawnText, ...] = ()
        self.size = (0, 0)
        self.layout: Layout | None = None
        self.scale: StageScale | None = None

    def resize(self, size: tuple[int, int]) -> None:
        """Take a new window size; nothing is laid out while the window is too small."""
        self._still = None
        self.size = size
        self.layout = None if too_small(size) else lay_out(size)
        self.scale = None
        if self.layout is not None:
            self.scale = StageScale(self.layout.stage, self._width, *self._ends, self._volume)

    def renew(self) -> None:
        """Draw everything at the next picture, after the window was uncovered."""
        self._still = None

    @property
    def texts(self) -> tuple[DrawnText, ...]:
        """Every text of the last picture, for checks."""
        drawn = tuple(self._painter.texts) if self._painter is not None else ()
        return self._still_texts + drawn

    def draw(self, surface: pygame.Surface, state: WindowState, shown: Shown) -> list[pygame.Rect]:
        """Draw onto `surface`, which holds the last picture; return the rectangles that may have changed."""
        painter = self._painter = self._painter or Painter(surface)
        layout, scale = self.layout, self.scale
        if layout is None or scale is None:
            painter.onto(surface)
            self._still_texts = ()
            draw_too_small(painter, surface.get_size())
            return [surface.get_rect()]
        if self._still is None:
            self._still = self._draw_still(painter, surface, layout, scale)
            before = [surface.get_rect()]
        else:
            before = [touched.inflate(4, 4) for touched in painter.touched]
        for changed in before:
            surface.blit(self._still, changed, changed)
        painter.onto(surface)
        draw_lines(painter, layout, shown.flags, shown.status, shown.notice, shown.listening)
        if state.caution_open:
            draw_caution(painter, layout)
        elif state.help_open:
            draw_help(painter, layout, shown.remarks, has_ring=self._volume.top is not None)
        else:
            self._draw_playing(painter, layout, scale, state, shown)
        return before + [touched.inflate(4, 4) for touched in painter.touched]

    def _draw_playing(
        self, painter: Painter, layout: Layout, scale: StageScale, state: WindowState, shown: Shown
    ) -> None:
        draw_hand(painter, layout, scale, state, shown.readings.distance)
        draw_tuner(painter, layout, shown.readings)
        draw_trace(painter, layout, shown.trace, shown.trace_span)
        draw_chain(painter, layout, shown.readings)
        draw_level(painter, layout, shown.peak, shown.rms)

    def _draw_still(
        self, painter: Painter, surface: pygame.Surface, layout: Layout, scale: StageScale
    ) -> pygame.Surface:
        still = surface.copy()
        painter.onto(still)
        still.fill(palette.GROUND)
        draw_still_panels(painter, layout, self._title, KEY_LINE)
        draw_field(painter, layout, scale, self._picture)
        self._still_texts = tuple(painter.texts)
        return still
