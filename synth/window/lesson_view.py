"""One picture of a lesson's window: the script of the stage, what sounds as oscillogram and spectrum, and the pad."""

from __future__ import annotations

import functools
import math
from dataclasses import field
from itertools import pairwise
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from models.arrays import Floats
from models.pitch import nearest_note
from models.quick_dataclass import dataclass
from synth.lessons.live import Axis, LiveChoice
from synth.lessons.recipes import added_capacitance, difference_of
from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import Canvas
from synth.window.caution import CAUTION, CAUTION_TITLE
from synth.window.curves import LESSON_FLOOR_DB, live_oscillogram, live_spectrum, steps_of
from synth.window.draw_overlay import draw_too_small
from synth.window.layout import SMALLEST, LessonLayout, lay_out_lesson, too_small
from synth.window.lesson_state import LessonState
from synth.window.painter import Painter
from synth.window.picture import LOWEST_NOTE, MINUS
from synth.window.wave_picture import WavePicture, heard_phase

if TYPE_CHECKING:
    import pygame


FAINTEST_LINE_DB = -60.0
SMALLEST_TEXT = 11  # pixels
ROWS: Final = {
    "first": "first wave, {first}",
    "second": "second, {second}",
    "sum": "the sum of both",
    "square": "the sum, bent",
    "rectified": "its upper half",
    "product": "the product",
    "filtered": "filtered: the tone",
}
ROW_COLOURS: Final = {
    "first": palette.SKY,
    "second": palette.ORANGE,
    "sum": palette.STRONG_LINE,
    "square": palette.GREEN,
    "rectified": palette.GREEN,
    "product": palette.GREEN,
    "filtered": palette.PURPLE,
}


@dataclass(frozen=True, slots=True)
class Heard:
    """What sounds: the newest samples, their rate (Hz), the note the wave is drawn by (Hz), a fault in words, and
    the time since the picture before (s).
    """

    samples: NDArray[np.float32] = field(default_factory=lambda: np.zeros(0, np.float32))
    sample_rate: float = 48_000.0
    frequency: float = 0.0
    fault: str = ""
    passed: float = 0.0

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
        self.waves = WavePicture()
        self._waved: LiveChoice | None = None

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
            self._follow(state, heard)
            (_waves if state.waves_shown else _oscillogram)(canvas, state, heard, self.waves)
            _spectrum(canvas, state, heard)
            _choices(canvas, state)
            _pad(canvas, state)
        canvas.fitted(state.keys, canvas.layout.footer, (canvas.small, 9), palette.QUIET_TEXT)

    def _follow(self, state: LessonState, heard: Heard) -> None:
        """Let the waves run on; a slow beat that is heard sets the picture's."""
        choice, waves = state.choice, self.waves
        drawn = choice.source.recipe.waves
        if drawn is None:
            return
        if choice is not self._waved:
            self._waved = choice
            waves.show(choice.source.recipe, state.value)
        in_time = waves.slow == drawn.slowed and state.volume > 0.0 and not state.silenced
        beat = state.beat / drawn.slowed
        phase = heard_phase(heard.samples, heard.sample_rate, beat, drawn.heard == "sum") if in_time else None
        waves.step(heard.passed, state.value, phase)


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


def _waves(canvas: LessonCanvas, state: LessonState, heard: Heard, waves: WavePicture) -> None:
    """The waves behind the sound, one under the other on one time axis; now is at the right."""
    recipe = state.choice.source.recipe
    if recipe.waves is None:
        return
    speed = f"{_times(waves.slow)} times slower" if waves.slow > 1.0 else "in time with the sound"
    counted = "1 beat" if waves.beats == 1 else f"{waves.beats} beats"
    note = f"{counted}   {_time_text(waves.span)} to now   {speed}"
    room = _panel(canvas, canvas.layout.oscillogram, "The waves", note)
    one, two = recipe.waves.frequencies(difference_of(recipe, state.value))
    texts = {name: row.format(first=_hertz(one), second=_hertz(two)) for name, row in ROWS.items()}
    widest = max(canvas.width_of(f"▶ {text}", SMALLEST_TEXT) for text in texts.values())
    names = max(canvas.px(150), widest + canvas.px(10))
    rows = waves.rows(room.width - names)
    for row, box in zip(rows, room.rows((1.0,) * len(rows), canvas.px(3)), strict=True):
        label = Box(box.left, box.top, names - canvas.px(8), box.height)
        canvas.fitted(
            f"{'▶ ' if row.heard else ''}{texts[row.name]}", label, (canvas.small, SMALLEST_TEXT), palette.TEXT
        )
        left, height = box.left + names, box.height - 1
        low, high = ((box.bottom - 1 - height * values).tolist() for values in (row.low, row.high))
        colour = ROW_COLOURS[row.name]
        outline = [(left + at, y) for at, y in enumerate(high)]
        if max(foot - top for foot, top in zip(low, high, strict=True)) < 1.5:
            canvas.curve(outline, colour)
        else:
            canvas.shape([*outline, *((left + at, y) for at, y in reversed(list(enumerate(low))))], colour)


def _times(slow: float) -> str:
    return f"{slow:.0f}" if slow < 1000.0 else f"{float(f'{slow:.2g}'):,.0f}".replace(",", "\N{NARROW NO-BREAK SPACE}")


def _time_text(span: float) -> str:
    unit, scale = ("µs", 1e6) if span < 2e-3 else ("ms", 1e3) if span < 2.0 else ("s", 1.0)
    return f"\N{MINUS SIGN}{span * scale:.3g} {unit}"


def _hertz(frequency: float) -> str:
    return f"{frequency / 1e3:.3f} kHz" if frequency >= 2e4 else f"{frequency:.2f} Hz"


def _oscillogram(canvas: LessonCanvas, state: LessonState, heard: Heard, _: WavePicture) -> None:
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
    """Where both hands are: across on the axis, upwards how loud; and what comes of it."""
    axis, pad = state.choice.source.axis, canvas.layout.pad
    place, result, loud = canvas.layout.reading.columns((0.36, 0.46, 0.18), 8)
    canvas.fitted(f"{axis.name}  {axis.text(state.value)}", place, (canvas.large, 12), palette.YELLOW, bold=True)
    canvas.fitted(_result(state), result, (canvas.large, 11), palette.TEXT, "centre", bold=True)
    canvas.fitted(f"volume {100.0 * state.volume:.0f} %", loud, (canvas.normal, 11), palette.QUIET_TEXT, "right")
    canvas.fill(pad, palette.PANEL, canvas.px(6))
    band = state.stage.band
    draw_map(canvas, pad, line_map(state.choice, band), canvas.px(1.2, 1), state.place)
    _draw_marks(canvas, axis)
    across = pad.left + state.place * (pad.width - 1)
    down = pad.bottom - 1 - state.height * (pad.height - 1)
    canvas.dashed((round(across), pad.top), (round(across), pad.bottom - 1), palette.STRONG_LINE, 4)
    draw_map_scale(canvas, pad, band, canvas.small)
    _hands(canvas, pad, (across, down))


def _result(state: LessonState) -> str:
    """Beats a second, the note, and what the hand adds to the rod."""
    beat, recipe = state.beat, state.choice.source.recipe
    parts = [f"{beat:.2f} beats a second" if beat < 100.0 else f"{beat:.1f} beats a second"]
    bent = recipe.waves is not None and recipe.waves.bend != "none"
    if bent and beat >= LOWEST_NOTE:
        note, off = nearest_note(beat)
        parts.append(f"{note.replace('#', '♯')} {off:+.0f} ct".replace("-", MINUS))
    added = added_capacitance(recipe, state.value)
    if added is not None:
        parts.append(f"+{1e12 * added:.3f} pF")
    return "   ".join(parts)


def _hands(canvas: LessonCanvas, pad: Box, place: tuple[float, float]) -> None:
    """The pitch hand points along the axis, the volume hand lies at the left; a whole marker stands where they meet."""
    big = max(11.0, 14.0 * canvas.layout.scale)
    x = min(max(place[0], pad.left + big + 1), pad.right - big - 2)
    y = min(max(place[1], pad.top + big + 1), pad.bottom - big - 2)
    long, thick = canvas.px(46), canvas.px(14)
    left = pad.left + round(5.6 * canvas.small)  # beside the numbers of the scale
    with canvas.clipped(pad):
        canvas.dashed((left + long, round(y)), (round(x), round(y)), palette.EDGE, 4)
        lowest = pad.bottom - round(2.2 * thick)
        for box in (
            Box(left, min(max(round(y) - thick // 2, pad.top), pad.bottom - thick), long, thick),
            Box(round(place[0]) - long, lowest, long, thick),
        ):
            canvas.fill(box, palette.HAND, thick // 2)
            canvas.frame(box, palette.SKY, 2, thick // 2)
        canvas.disc((x, y), max(7.0, 9.0 * canvas.layout.scale), palette.YELLOW)
        canvas.ring((x, y), big, palette.YELLOW, 2)


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
LOWEST_SHARE: Final = 1e-3  # of the band's lower end: a line that falls to 0 Hz ends there, well outside the pad
BELOW: Final = -0.2  # height of what does not sound
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


class MappedLine(NamedTuple):
    """One line of a recipe at `PLACES` places from left to right: its heights, 0 to 1 from end to end of the band,
    below or above where it lies outside; and how strongly it is drawn, 1 for the strongest of the place to 0 at
    `FAINTEST_DB`.
    """

    heights: tuple[float, ...]
    strengths: tuple[float, ...]


@functools.lru_cache(maxsize=8)
def line_map(choice: LiveChoice, band: tuple[float, float]) -> tuple[MappedLine, ...]:
    """Every line of a sound in a `band`, Hz. One that is missing at a place lies where it was; where nothing sounds all
    lie below.
    """
    source = choice.source
    found = [source.recipe.lines(float(source.axis.value(number / (PLACES - 1)))) for number in range(PLACES)]
    heights = np.full((max(map(len, found), default=0), PLACES), BELOW)
    strengths = np.zeros_like(heights)
    for number, lines in enumerate(found):
        strongest = max((abs(size) for _, size in lines), default=1.0)
        if lines and number:
            heights[len(lines) :, number] = heights[len(lines) :, number - 1]
        for line, (at, size) in enumerate(lines):
            heights[line, number] = float(band_place(np.array(max(at, LOWEST_SHARE * band[0])), band))
            level = 20.0 * math.log10(max(abs(size) / strongest, 1e-9))
            strengths[line, number] = max(1.0 - level / FAINTEST_DB, 0.0)
    silent = [number for number, lines in enumerate(found) if not lines]
    for number in silent:  # at the edge of lock a line dives out of the pad
        beside = [at for at in (number - 1, number + 1) if 0 <= at < PLACES and found[at]]
        strengths[:, number] = strengths[:, beside].max(axis=1, initial=0.0)
    return tuple(MappedLine(*map(tuple, pair)) for pair in zip(heights.tolist(), strengths.tolist(), strict=True))


def draw_map(painter: Painter, pad: Box, lines: tuple[MappedLine, ...], thickness: int, place: float) -> None:
    """The lines as curves over the pad, paler where they are fainter, and rings at the hand's own `place`."""

    def point(number: int, height: float) -> tuple[float, float]:
        return pad.left + number / (PLACES - 1) * (pad.width - 1), pad.bottom - 1 - height * (pad.height - 1)

    here = place * (PLACES - 1)
    with painter.clipped(pad):
        for line in lines:
            for number, (one, two) in enumerate(pairwise(line.heights)):
                strength = min(line.strengths[number : number + 2])
                if strength > 0.0 and min(one, two) <= 1.0 and max(one, two) >= 0.0:
                    ends = point(number, one), point(number + 1, two)
                    painter.curve(ends, _paler(palette.LINE, strength), thickness)
        for line in lines:
            height, strength = (float(np.interp(here, np.arange(PLACES), values)) for values in line)
            if 0.0 <= height <= 1.0 and strength > 0.0:
                across = pad.left + place * (pad.width - 1)
                row = pad.bottom - 1 - height * (pad.height - 1)
                painter.ring((across, row), 2.0 + 2.0 * thickness, palette.YELLOW, 2)


def _paler(colour: palette.Colour, strength: float) -> palette.Colour:
    """A colour drawn towards the pad's ground."""
    red, green, blue = (
        round(ground + strength * (full - ground)) for ground, full in zip(palette.PANEL, colour, strict=True)
    )
    return red, green, blue


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
