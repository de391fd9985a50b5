"""One picture of a lesson's window: the script of the stage, what sounds as oscillogram and spectrum, and the pad."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from models.arrays import Floats
from synth.lessons.live import Axis, LiveChoice
from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import Canvas
from synth.window.caution import CAUTION, CAUTION_TITLE
from synth.window.curves import LESSON_FLOOR_DB, live_oscillogram, live_spectrum, steps_of
from synth.window.draw_overlay import draw_too_small
from synth.window.layout import SMALLEST, LessonLayout, lay_out_lesson, too_small
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


LessonCanvas = Canvas[LessonLayout]


class LessonView:
    """Draws the lesson's window."""

    def __init__(self) -> None:
        self.canvas = LessonCanvas()
        self.layout: LessonLayout | None = None
        self.size = (0, 0)
        self.text_scale = 1.0

    def resize(self, size: tuple[int, int], text_scale: float | None = None) -> None:
        """Lay out anew."""
        self.size = size
        self.text_scale = self.text_scale if text_scale is None else text_scale
        self.layout = None if too_small(size) else lay_out_lesson(size, self.text_scale)
        if self.layout is not None:
            self.canvas.lay_out(self.layout)

    def draw(self, surface: pygame.Surface, state: LessonState, heard: Heard) -> None:
        """Draw the whole picture."""
        canvas = self.canvas
        if state.text_scale != self.text_scale:
            self.resize(self.size, state.text_scale)
        canvas.onto(surface)
        if self.layout is None:
            draw_too_small(canvas, surface.get_size(), SMALLEST)
            return
        canvas.fill(Box(0, 0, *surface.get_size()), palette.GROUND)
        _header(canvas, state)
        if state.caution_open:
            _caution(canvas)
        else:
            _script(canvas, state, heard.fault)
            _oscillogram(canvas, state, heard)
            _spectrum(canvas, state, heard)
            _choices(canvas, state)
            _pad(canvas, state)
        canvas.fitted(state.keys, canvas.layout.footer, (canvas.small, 9), palette.QUIET_TEXT)


def _header(canvas: LessonCanvas, state: LessonState) -> None:
    count = len(state.lesson.stages)
    where = f"{state.lesson.title}   ·   {state.stage_number + 1} of {count}"
    canvas.fitted(where, canvas.layout.title, (canvas.normal, 11), palette.QUIET_TEXT)
    decibels = 20.0 * math.log10(state.level)
    flags = f"{'■ MUTED   ' if state.muted else ''}level {decibels:.0f} dB".replace("-", "\N{MINUS SIGN}")
    colour = palette.ORANGE if state.muted else palette.QUIET_TEXT
    canvas.fitted(flags, canvas.layout.flags, (canvas.normal, 11), colour, "right", bold=state.muted)


def _caution(canvas: LessonCanvas) -> None:
    canvas.fill(canvas.layout.page, palette.PANEL, canvas.px(10))
    room = canvas.layout.page.shrunk(max(canvas.layout.page.width // 12, 1), canvas.px(30))
    heading = Box(room.left, room.top, room.width, 2 * canvas.large)
    canvas.fitted(CAUTION_TITLE, heading, (canvas.large, 14), palette.TEXT, bold=True)
    row, left = heading.bottom, len(CAUTION)
    for number, text in enumerate(CAUTION):
        rest = Box(room.left, row, room.width, (room.bottom - row) // left)
        size = canvas.paragraph_size(text, rest, round(1.2 * canvas.normal), 11)
        colour = palette.YELLOW if number == len(CAUTION) - 1 else palette.TEXT
        row, left = canvas.paragraph(text, rest, size, colour) + size, left - 1


def _script(canvas: LessonCanvas, state: LessonState, fault: str) -> None:
    """The stage's title, what the pointer does, what to hear."""
    room = canvas.layout.script
    heading = Box(room.left, room.top, room.width, round(1.5 * canvas.large))
    canvas.fitted(state.stage.title, heading, (canvas.large, 14), palette.TEXT, bold=True)
    row, gap = heading.bottom + canvas.small // 2, canvas.small // 2
    largest = round(1.15 * canvas.normal)
    for text, colour, share in (
        (state.stage.pointer + " Up: louder.", palette.SKY, 0.3),
        (state.choice.hear, palette.TEXT, 0.65 if fault else 1.0),
        (f"▲ {fault}" if fault else "", palette.ORANGE, 1.0),
    ):
        if text:
            rest = Box(room.left, row, room.width, round(share * (room.bottom - row)))
            size = canvas.paragraph_size(text, rest, largest, 10)
            row = canvas.paragraph(text, rest, size, colour) + gap


def _panel(canvas: LessonCanvas, box: Box, title: str, note: str) -> Box:
    """A panel with its title and a note; returns the room below."""
    canvas.fill(box, palette.PANEL, canvas.px(6))
    inner = box.shrunk(canvas.px(10), canvas.px(4))
    head = Box(inner.left, inner.top, inner.width, round(1.5 * canvas.small))
    first, second = head.columns((0.35, 0.65), 4)
    canvas.fitted(title, first, (canvas.small, 9), palette.TEXT)
    canvas.fitted(note, second, (canvas.small, 9), palette.QUIET_TEXT, align="right")
    return Box(inner.left, head.bottom, inner.width, inner.bottom - head.bottom)


def _oscillogram(canvas: LessonCanvas, state: LessonState, heard: Heard) -> None:
    span = heard.span(state.stage.span)
    room = _panel(canvas, canvas.layout.oscillogram, "The wave", f"{1000.0 * span:.0f} ms, size as large as fits")
    low, high = live_oscillogram(heard.samples, heard.sample_rate, span, room.width)
    middle, half = room.top + room.height / 2.0, 0.46 * room.height
    canvas.line((room.left, round(middle)), (room.right - 1, round(middle)), palette.LINE)
    if np.array_equal(low, high):
        points = [(room.left + column, middle - half * value) for column, value in enumerate(high.tolist())]
        canvas.curve(points, palette.SKY)
        return
    for column, (bottom, top) in enumerate(zip(low.tolist(), high.tolist(), strict=True)):
        across = room.left + column
        canvas.line((across, round(middle - half * top)), (across, round(middle - half * bottom)), palette.SKY)


def _spectrum(canvas: LessonCanvas, state: LessonState, heard: Heard) -> None:
    """Levels below the strongest line; circles where the lesson says that lines are."""
    room = _panel(canvas, canvas.layout.spectrum, "Its spectrum", "circles: the lines computed for this place")
    band = state.stage.band
    below = Box(room.left, room.bottom - round(1.5 * canvas.small), room.width, round(1.5 * canvas.small))
    field_box = Box(room.left, room.top + 4, room.width, below.top - room.top - 4)

    def row(level: float) -> float:
        return field_box.top + (field_box.height - 2) * min(max(level / LESSON_FLOOR_DB, 0.0), 1.0)

    for mark in band_marks(band):
        across = field_box.left + round(float(band_place(np.array(mark), band)) * (field_box.width - 1))
        canvas.line((across, field_box.top), (across, field_box.bottom - 1), palette.OCTAVE)
        text = f"{mark:g} Hz" if mark < 1000.0 else f"{mark / 1000.0:g} kHz"
        width = canvas.width_of(text, canvas.small)
        left = min(max(across - width // 2, below.left), below.right - width - 1)
        canvas.text(text, Box(left, below.top, width + 1, below.height), canvas.small, palette.QUIET_TEXT)
    frequency, level = live_spectrum(heard.samples, heard.sample_rate, band)
    columns = steps_of(frequency, level, band_place(np.maximum(frequency, 1e-3), band), field_box.width)
    points = [(field_box.left + column, row(value)) for column, value in enumerate(columns.tolist())]
    if state.volume > 0.0 and frequency.size:
        canvas.curve(points, palette.SKY)
    lines = [(at, size) for at, size in state.choice.source.recipe.lines(state.value) if band[0] <= at <= band[1]]
    strongest = max((size for _, size in lines), default=1.0)
    for at, size in lines:
        decibels = 20.0 * math.log10(size / strongest)
        if decibels >= FAINTEST_LINE_DB:
            place = field_box.left + float(band_place(np.array(at), band)) * (field_box.width - 1)
            canvas.ring((place, row(decibels)), max(4.0, 5.0 * canvas.layout.scale), palette.YELLOW, 2)


def _choices(canvas: LessonCanvas, state: LessonState) -> None:
    """A button for each sound; the chosen one is framed and marked."""
    boxes = canvas.layout.choice_boxes(len(state.stage.choices))
    for number, (box, choice) in enumerate(zip(boxes, state.stage.choices, strict=True)):
        chosen = number == state.choice_number
        radius = canvas.px(6)
        canvas.fill(box, palette.PANEL, radius)
        canvas.frame(box, palette.YELLOW if chosen else palette.EDGE, 3 if chosen else 1, radius)
        text = f"{'● ' if chosen else ''}{number + 1}   {choice.name}"
        colour = palette.TEXT if chosen else palette.QUIET_TEXT
        canvas.fitted(text, box.shrunk(8, 2), (canvas.normal, 10), colour, "centre", bold=chosen)


def _pad(canvas: LessonCanvas, state: LessonState) -> None:
    """Where the hand is on the axis, and how loud."""
    axis, pad = state.choice.source.axis, canvas.layout.pad
    reading = f"{axis.name}  {axis.text(state.value)}"
    left, right = canvas.layout.reading.columns((0.6, 0.4), 8)
    canvas.fitted(reading, left, (canvas.large, 12), palette.YELLOW, bold=True)
    canvas.fitted(f"volume {100.0 * state.volume:.0f} %", right, (canvas.normal, 11), palette.QUIET_TEXT, "right")
    canvas.fill(pad, palette.PANEL, canvas.px(6))
    band = state.stage.band
    draw_map(canvas, pad, line_map(state.choice, band), canvas.px(1.2, 1), state.place)
    _draw_marks(canvas, axis)
    across = pad.left + state.place * (pad.width - 1)
    down = pad.bottom - 1 - math.sqrt(state.volume) * (pad.height - 1)
    canvas.dashed((round(across), pad.top), (round(across), pad.bottom - 1), palette.STRONG_LINE, 4)
    draw_map_scale(canvas, pad, band, canvas.small)
    with canvas.clipped(pad):
        canvas.disc((across, down), max(7.0, 9.0 * canvas.layout.scale), palette.YELLOW)
        canvas.ring((across, down), max(11.0, 14.0 * canvas.layout.scale), palette.YELLOW, 2)


def _draw_marks(canvas: LessonCanvas, axis: Axis) -> None:
    """The axis's marks; a text that would touch the one before is left out, its line stays."""
    pad, marks, gap = canvas.layout.pad, canvas.layout.marks, canvas.small // 2
    taken = marks.left - 1
    for value, text in sorted(axis.marks, key=lambda mark: axis.place(mark[0])):
        across = pad.left + round(axis.place(value) * (pad.width - 1))
        canvas.line((across, pad.top), (across, pad.bottom - 1), palette.LINE)
        width = canvas.width_of(text, canvas.small)
        start = min(max(across - width // 2, marks.left), marks.right - width - 1)
        if start > taken:
            room = Box(start, marks.top, width + 1, marks.height)
            canvas.text(text, room, canvas.small, palette.QUIET_TEXT)
            taken = start + width + gap


PLACES: Final = 161
FAINTEST_DB: Final = -60.0  # against the strongest line of the place; fainter ones are left out
FARTHEST: Final = 0.025  # of the pad's height, that a line may move from one place to the next and still be joined
CAPTION: Final = "grey: the lines of the spectrum at every place"


def band_place(frequency: Floats, band: tuple[float, float]) -> Floats:
    """Place of a frequency in a drawn band, 0 to 1: by octaves where the band is wide, else by hertz."""
    if band[1] > 5.0 * band[0]:
        return np.asarray(np.log(frequency / band[0]) / np.log(band[1] / band[0]))
    return np.asarray((frequency - band[0]) / (band[1] - band[0]))


def band_marks(band: tuple[float, float]) -> tuple[float, ...]:
    """Frequencies to write below a spectrum."""
    if band[1] > 5.0 * band[0]:
        powers = range(math.ceil(math.log10(band[0])), math.floor(math.log10(band[1])) + 1)
        return tuple(10.0**power for power in powers)
    step = next(step for step in (10.0, 20.0, 50.0, 100.0, 200.0, 500.0) if (band[1] - band[0]) / step <= 6.0)
    return tuple(np.arange(math.ceil(band[0] / step) * step, band[1] + 0.5 * step, step).tolist())


@functools.lru_cache(maxsize=8)
def line_map(choice: LiveChoice, band: tuple[float, float]) -> tuple[tuple[float, ...], ...]:
    """For each of `PLACES` places from left to right the heights of the lines, 0 to 1 from end to end of `band`, Hz."""
    source = choice.source
    columns = []
    for number in range(PLACES):
        lines = source.recipe.lines(float(source.axis.value(number / (PLACES - 1))))
        strongest = max((abs(size) for _, size in lines), default=0.0)
        least = strongest * 10.0 ** (FAINTEST_DB / 20.0)
        kept = [at for at, size in lines if size and abs(size) >= least and band[0] <= at <= band[1]]
        columns.append(tuple(sorted(float(band_place(np.array(at), band)) for at in kept)))
    return tuple(columns)


def draw_map(painter: Painter, pad: Box, columns: tuple[tuple[float, ...], ...], thickness: int, place: float) -> None:
    """The lines as curves over the pad, and rings where those of the hand's own `place` are."""

    def point(across: float, height: float) -> tuple[float, float]:
        return pad.left + across * (pad.width - 1), pad.bottom - 1 - height * (pad.height - 1)

    with painter.clipped(pad):
        for number, (here, there) in enumerate(pairwise(columns)):
            for height in there:
                before = _nearest(here, height)
                if before is not None and abs(before - height) <= FARTHEST and _nearest(there, before) == height:
                    ends = point(number / (PLACES - 1), before), point((number + 1) / (PLACES - 1), height)
                    painter.curve(ends, palette.LINE, thickness)
        for height in columns[round(place * (PLACES - 1))]:
            painter.ring(point(place, height), 2.0 + 2.0 * thickness, palette.YELLOW, 2)


def _nearest(heights: tuple[float, ...], height: float) -> float | None:
    return min(heights, key=lambda one: abs(one - height), default=None)


def draw_map_scale(painter: Painter, pad: Box, band: tuple[float, float], size: int) -> None:
    """Frequencies at the left edge, where they are apart, and what the grey curves are, above."""
    row = round(1.3 * size)
    last = pad.bottom + row
    for mark in band_marks(band):
        middle = pad.bottom - 1 - round(float(band_place(np.array(mark), band)) * (pad.height - 1))
        top = min(max(middle - row // 2, pad.top + 2), pad.bottom - row - 2)
        if top + row > last or top < pad.top + 2 + row or not pad.top <= middle < pad.bottom:
            continue
        text = f"{mark:g} Hz" if mark < 1000.0 else f"{mark / 1000.0:g} kHz"
        painter.line((pad.left, middle), (pad.left + size // 2, middle), palette.EDGE)
        _words(painter, text, Box(pad.left + size, top, painter.width_of(text, size) + 2, row), size)
        last = top
    _words(painter, CAPTION, Box(pad.left + size // 2, pad.top + 2, pad.width - size, row), size)


def _words(painter: Painter, text: str, room: Box, size: int) -> None:
    """A text on a ground of its own: no line runs through it."""
    behind = min(painter.width_of(text, size), room.width)
    painter.fill(Box(room.left, room.top, behind, room.height), palette.PANEL)
    painter.fitted(text, room, (size, 8), palette.QUIET_TEXT)
