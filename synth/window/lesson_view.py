"""One picture of a lesson's window: the script of the stage, what sounds as oscillogram and spectrum, and the pad."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from synth.lessons.live import Axis
from synth.window import palette
from synth.window.box import Box
from synth.window.caution import CAUTION, CAUTION_TITLE
from synth.window.layout import too_small
from synth.window.lesson_layout import LessonLayout, lay_out_lesson
from synth.window.lesson_map import band_marks, band_place, draw_map, draw_map_scale, line_map
from synth.window.lesson_sound import FLOOR_DB, live_oscillogram, live_spectrum, steps_of
from synth.window.lesson_state import LessonState
from synth.window.painter import Painter

if TYPE_CHECKING:
    import pygame

FAINTEST_LINE_DB = -60.0


@dataclass(frozen=True, slots=True)
class Heard:
    """What sounds: the newest samples, their rate (Hz), the note the wave is drawn by (Hz), and a fault in words."""

    samples: NDArray[np.float32] = field(default_factory=lambda: np.zeros(0, np.float32))
    sample_rate: float = 48_000.0
    frequency: float = 0.0
    fault: str = ""

    def span(self, wanted: float | None) -> float:
        """The oscillogram's length, s: as wanted, or four periods of the note between 5 and 100 ms."""
        if wanted is not None:
            return wanted
        return min(0.1, max(0.005, 4.0 / self.frequency)) if self.frequency > 0.0 else 0.1


class LessonView:
    """Draws the lesson's window."""

    def __init__(self) -> None:
        self.painter = Painter()
        self.layout: LessonLayout | None = None
        self.size = (0, 0)
        self.text_scale = 1.0

    def resize(self, size: tuple[int, int], text_scale: float | None = None) -> None:
        """Lay out anew."""
        self.size = size
        self.text_scale = self.text_scale if text_scale is None else text_scale
        self.layout = None if too_small(size) else lay_out_lesson(size, self.text_scale)

    def draw(self, surface: pygame.Surface, state: LessonState, heard: Heard) -> None:
        """Draw the whole picture."""
        painter = self.painter
        if state.text_scale != self.text_scale:
            self.resize(self.size, state.text_scale)
        painter.onto(surface)
        whole = Box(0, 0, *surface.get_size())
        painter.fill(whole, palette.GROUND)
        layout = self.layout
        if layout is None:
            room = whole.shrunk(whole.width // 20, whole.height // 10)
            text = "Please make the window larger"
            painter.paragraph(text, room, painter.paragraph_size(text, room, 20, 10), palette.TEXT)
            return
        _header(painter, layout, state)
        if state.caution_open:
            _caution(painter, layout)
        else:
            _script(painter, layout, state, heard.fault)
            _oscillogram(painter, layout, state, heard)
            _spectrum(painter, layout, state, heard)
            _choices(painter, layout, state)
            _pad(painter, layout, state)
        painter.fitted(state.keys, layout.footer, (layout.text_small, 9), palette.QUIET_TEXT)


def _header(painter: Painter, layout: LessonLayout, state: LessonState) -> None:
    count = len(state.lesson.stages)
    where = f"{state.lesson.title}   ·   {state.stage_number + 1} of {count}"
    painter.fitted(where, layout.title, (layout.text_normal, 11), palette.QUIET_TEXT)
    decibels = 20.0 * math.log10(state.level)
    flags = f"{'■ MUTED   ' if state.muted else ''}level {decibels:.0f} dB".replace("-", "\N{MINUS SIGN}")
    painter.fitted(
        flags,
        layout.flags,
        (layout.text_normal, 11),
        palette.ORANGE if state.muted else palette.QUIET_TEXT,
        align="right",
        bold=state.muted,
    )


def _caution(painter: Painter, layout: LessonLayout) -> None:
    painter.fill(layout.page, palette.PANEL, round(10 * layout.scale))
    room = layout.page.shrunk(max(layout.page.width // 12, 1), round(30 * layout.scale))
    heading = Box(room.left, room.top, room.width, 2 * layout.text_large)
    painter.fitted(CAUTION_TITLE, heading, (layout.text_large, 14), palette.TEXT, bold=True)
    row, left = heading.bottom, len(CAUTION)
    for number, text in enumerate(CAUTION):
        rest = Box(room.left, row, room.width, (room.bottom - row) // left)
        size = painter.paragraph_size(text, rest, round(1.2 * layout.text_normal), 11)
        colour = palette.YELLOW if number == len(CAUTION) - 1 else palette.TEXT
        row, left = painter.paragraph(text, rest, size, colour) + size, left - 1


def _script(painter: Painter, layout: LessonLayout, state: LessonState, fault: str) -> None:
    """The stage's title, what the pointer does, what to hear."""
    room = layout.script
    heading = Box(room.left, room.top, room.width, round(1.5 * layout.text_large))
    painter.fitted(state.stage.title, heading, (layout.text_large, 14), palette.TEXT, bold=True)
    row, gap = heading.bottom + layout.text_small // 2, layout.text_small // 2
    largest = round(1.15 * layout.text_normal)
    for text, colour, share in (
        (state.stage.pointer + " Up: louder.", palette.SKY, 0.3),
        (state.choice.hear, palette.TEXT, 0.65 if fault else 1.0),
        (f"▲ {fault}" if fault else "", palette.ORANGE, 1.0),
    ):
        if text:
            rest = Box(room.left, row, room.width, round(share * (room.bottom - row)))
            size = painter.paragraph_size(text, rest, largest, 10)
            row = painter.paragraph(text, rest, size, colour) + gap


def _panel(painter: Painter, layout: LessonLayout, box: Box, title: str, note: str) -> Box:
    """A panel with its title and a note; returns the room below."""
    painter.fill(box, palette.PANEL, round(6 * layout.scale))
    inner = box.shrunk(round(10 * layout.scale), round(4 * layout.scale))
    head = Box(inner.left, inner.top, inner.width, round(1.5 * layout.text_small))
    first, second = head.columns((0.35, 0.65), 4)
    painter.fitted(title, first, (layout.text_small, 9), palette.TEXT)
    painter.fitted(note, second, (layout.text_small, 9), palette.QUIET_TEXT, align="right")
    return Box(inner.left, head.bottom, inner.width, inner.bottom - head.bottom)


def _oscillogram(painter: Painter, layout: LessonLayout, state: LessonState, heard: Heard) -> None:
    span = heard.span(state.stage.span)
    room = _panel(painter, layout, layout.oscillogram, "The wave", f"{1000.0 * span:.0f} ms, size as large as fits")
    low, high = live_oscillogram(heard.samples, heard.sample_rate, span, room.width)
    middle, half = room.top + room.height / 2.0, 0.46 * room.height
    painter.line((room.left, round(middle)), (room.right - 1, round(middle)), palette.LINE)
    if np.array_equal(low, high):
        points = [(room.left + column, middle - half * value) for column, value in enumerate(high.tolist())]
        painter.curve(points, palette.SKY)
        return
    for column, (bottom, top) in enumerate(zip(low.tolist(), high.tolist(), strict=True)):
        across = room.left + column
        painter.line((across, round(middle - half * top)), (across, round(middle - half * bottom)), palette.SKY)


def _spectrum(painter: Painter, layout: LessonLayout, state: LessonState, heard: Heard) -> None:
    """Levels below the strongest line; circles where the lesson says that lines are."""
    room = _panel(painter, layout, layout.spectrum, "Its spectrum", "circles: the lines computed for this place")
    band = state.stage.band
    below = Box(room.left, room.bottom - round(1.5 * layout.text_small), room.width, round(1.5 * layout.text_small))
    field_box = Box(room.left, room.top + 4, room.width, below.top - room.top - 4)

    def row(level: float) -> float:
        return field_box.top + (field_box.height - 2) * min(max(level / FLOOR_DB, 0.0), 1.0)

    for mark in band_marks(band):
        across = field_box.left + round(float(band_place(np.array(mark), band)) * (field_box.width - 1))
        painter.line((across, field_box.top), (across, field_box.bottom - 1), palette.OCTAVE)
        text = f"{mark:g} Hz" if mark < 1000.0 else f"{mark / 1000.0:g} kHz"
        width = painter.width_of(text, layout.text_small)
        left = min(max(across - width // 2, below.left), below.right - width - 1)
        painter.text(text, Box(left, below.top, width + 1, below.height), layout.text_small, palette.QUIET_TEXT)
    frequency, level = live_spectrum(heard.samples, heard.sample_rate, band)
    columns = steps_of(frequency, level, band_place(np.maximum(frequency, 1e-3), band), field_box.width)
    points = [(field_box.left + column, row(value)) for column, value in enumerate(columns.tolist())]
    if state.volume > 0.0 and frequency.size:
        painter.curve(points, palette.SKY)
    lines = [(at, size) for at, size in state.choice.source.recipe.lines(state.value) if band[0] <= at <= band[1]]
    strongest = max((size for _, size in lines), default=1.0)
    for at, size in lines:
        decibels = 20.0 * math.log10(size / strongest)
        if decibels >= FAINTEST_LINE_DB:
            place = field_box.left + float(band_place(np.array(at), band)) * (field_box.width - 1)
            painter.ring((place, row(decibels)), max(4.0, 5.0 * layout.scale), palette.YELLOW, 2)


def _choices(painter: Painter, layout: LessonLayout, state: LessonState) -> None:
    """A button for each sound; the chosen one is framed and marked."""
    boxes = layout.choice_boxes(len(state.stage.choices))
    for number, (box, choice) in enumerate(zip(boxes, state.stage.choices, strict=True)):
        chosen = number == state.choice_number
        radius = round(6 * layout.scale)
        painter.fill(box, palette.PANEL, radius)
        painter.frame(box, palette.YELLOW if chosen else palette.EDGE, 3 if chosen else 1, radius)
        text = f"{'● ' if chosen else ''}{number + 1}   {choice.name}"
        painter.fitted(
            text,
            box.shrunk(8, 2),
            (layout.text_normal, 10),
            palette.TEXT if chosen else palette.QUIET_TEXT,
            align="centre",
            bold=chosen,
        )


def _pad(painter: Painter, layout: LessonLayout, state: LessonState) -> None:
    """Where the hand is on the axis, and how loud."""
    axis, pad = state.choice.source.axis, layout.pad
    reading = f"{axis.name}  {axis.text(state.value)}"
    left, right = layout.reading.columns((0.6, 0.4), 8)
    painter.fitted(reading, left, (layout.text_large, 12), palette.YELLOW, bold=True)
    painter.fitted(f"volume {100.0 * state.volume:.0f} %", right, (layout.text_normal, 11), palette.QUIET_TEXT, "right")
    painter.fill(pad, palette.PANEL, round(6 * layout.scale))
    band = state.stage.band

    draw_map(painter, pad, line_map(state.choice, band), max(1, round(1.2 * layout.scale)), state.place)
    _draw_marks(painter, layout, axis)
    across = pad.left + state.place * (pad.width - 1)
    down = pad.bottom - 1 - math.sqrt(state.volume) * (pad.height - 1)
    painter.dashed((round(across), pad.top), (round(across), pad.bottom - 1), palette.STRONG_LINE, 4)
    draw_map_scale(painter, pad, band, layout.text_small)
    with painter.clipped(pad):
        painter.disc((across, down), max(7.0, 9.0 * layout.scale), palette.YELLOW)
        painter.ring((across, down), max(11.0, 14.0 * layout.scale), palette.YELLOW, 2)


def _draw_marks(painter: Painter, layout: LessonLayout, axis: Axis) -> None:
    """The axis's marks; a text that would touch the one before is left out, its line stays."""
    pad, taken = layout.pad, layout.marks.left - 1
    gap = layout.text_small // 2
    for value, text in sorted(axis.marks, key=lambda mark: axis.place(mark[0])):
        across = pad.left + round(axis.place(value) * (pad.width - 1))
        painter.line((across, pad.top), (across, pad.bottom - 1), palette.LINE)
        width = painter.width_of(text, layout.text_small)
        start = min(max(across - width // 2, layout.marks.left), layout.marks.right - width - 1)
        if start > taken:
            painter.text(
                text,
                Box(start, layout.marks.top, width + 1, layout.marks.height),
                layout.text_small,
                palette.QUIET_TEXT,
            )
            taken = start + width + gap
