"""The page before practice, what to play and how, and the page after it, how it went; in figures and two plots."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.pitch import note_name
from models.quick_dataclass import dataclass
from synth.files.plain_text import counted
from synth.practice.judgement import Judgement, NoteResult
from synth.practice.progress import Run, by_day
from synth.practice.score import Score
from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import PlayCanvas
from synth.window.draw_stage import shown_name
from synth.window.picture import MINUS
from synth.window.practice import Result, Row

TITLE = "Practice"
ANSWER = "Arrows: choose and change · Enter: start · X or Esc: close"
REACHES = (25.0, 50.0, 100.0, 200.0, 400.0, 800.0, 1200.0)  # cents, of a plot's axis; an octave at most
AFTER_ANSWER = "Enter: again · X: choose something else · Esc: close"


def row_boxes(canvas_page: Box, normal: int, large: int, count: int) -> tuple[Box, ...]:
    """Where the rows of the page before practice stand."""
    room = canvas_page.shrunk(round(1.6 * normal), round(1.1 * normal))
    top = room.top + round(1.9 * large) + round(3.0 * normal)
    foot = room.bottom - round(2.0 * normal)
    height = min(round(2.3 * normal), (foot - top) // max(count, 1))
    width = min(room.width, max(round(0.56 * room.width), 27 * normal), 46 * normal)
    return tuple(Box(room.left, top + number * height, width, height) for number in range(count))


@dataclass(frozen=True, slots=True)
class PracticePage:
    """The page before practice: its rows, the selected one, what the exercise is for, its runs so far, and its notes
    with the first and last of the part that is played.
    """

    rows: tuple[Row, ...]
    selected: int
    advice: str
    runs: tuple[Run, ...] = ()
    score: Score | None = None
    part: tuple[int, int] = (0, 0)


def draw_practice_page(canvas: PlayCanvas, shown: PracticePage) -> None:
    """The page before practice: what to play and how."""
    rows, selected, advice = shown.rows, shown.selected, shown.advice
    page, size = canvas.layout.page, canvas.normal
    canvas.fill(page, palette.PANEL, canvas.px(8))
    room = page.shrunk(round(1.6 * size), round(1.1 * size))
    canvas.fitted(
        TITLE,
        Box(room.left, room.top, room.width, round(1.5 * canvas.large)),
        (canvas.large, size),
        palette.TEXT,
        bold=True,
    )
    canvas.paragraph(
        advice,
        Box(room.left, room.top + round(1.8 * canvas.large), room.width, round(2.8 * size)),
        size,
        palette.QUIET_TEXT,
    )
    for number, (row, box) in enumerate(zip(rows, row_boxes(page, size, canvas.large, len(rows)), strict=True)):
        inner = box.shrunk(round(0.6 * size), round(0.12 * size))
        chosen = number == selected
        if chosen:
            canvas.fill(box, palette.OCTAVE, canvas.px(5))
            canvas.frame(box, palette.STRONG_LINE, canvas.px(1.5, 1), canvas.px(5))
        if row.action:
            canvas.fitted(f"\N{BLACK RIGHT-POINTING TRIANGLE} {row.label}", inner, (size, 8), palette.ORANGE, bold=True)
            continue
        label, value = inner.columns((0.36, 0.64), size)
        canvas.fitted(row.label, label, (size, 8), palette.TEXT if chosen else palette.QUIET_TEXT)
        canvas.fitted(
            f"\N{LEFTWARDS ARROW} {row.value} \N{RIGHTWARDS ARROW}" if chosen else row.value,
            value,
            (size, 8),
            palette.TEXT,
            "right",
        )
    boxes = row_boxes(page, size, canvas.large, len(rows))
    left, top = boxes[-1].right + 2 * size, boxes[0].top
    if room.right - left > 14 * size:
        beside = Box(left, top, room.right - left, boxes[-1].bottom - top)
        notes, days = beside.rows((0.5, 0.5), 2 * size) if shown.runs else (beside, beside)
        if shown.score is not None:
            _score_plot(canvas, notes, shown.score, shown.part)
        if shown.runs:
            _days_plot(canvas, days, shown.runs)
    foot = Box(room.left, room.bottom - round(1.5 * size), room.width, round(1.5 * size))
    canvas.fitted(ANSWER, foot, (size, 8), palette.QUIET_TEXT)


def _score_plot(canvas: PlayCanvas, room: Box, score: Score, part: tuple[int, int]) -> None:
    """The notes against time: as thick as loud, with their vibrato; those of the part that is played are bright."""
    size, row = canvas.small, round(1.4 * canvas.small)
    count = part[1] - part[0] + 1
    caption = f"{counted(count, 'note')}, {score.goals[part[1]].end - score.goals[part[0]].start:.0f} s"
    canvas.fitted(caption, Box(room.left, room.top, room.width, row), (size, 8), palette.QUIET_TEXT)
    numbers = sorted({goal.number for goal in score.goals})
    names = {number: shown_name(note_name(number)) for number in numbers}
    left = max(canvas.width_of(name, size) for name in names.values()) + size
    box = Box(room.left + left, room.top + 2 * row, room.width - left, room.height - 3 * row)
    step = min(box.height / max(numbers[-1] - numbers[0], 1), 4.0 * size)
    middle = box.center[1] + 0.5 * (numbers[0] + numbers[-1]) * step
    last = float(box.bottom + 2 * row)
    for number in numbers:
        y = middle - number * step
        canvas.line((box.left, y), (box.right - 1, y), palette.EDGE)
        if last - y >= row:
            canvas.text(names[number], Box(room.left, round(y) - row // 2, left - size, row), size, palette.QUIET_TEXT)
            last = y
    for place, goal in enumerate(score.goals):
        x, end = (box.left + box.width * moment / score.seconds for moment in (goal.start, goal.end))
        y, colour = middle - goal.number * step, palette.SKY if part[0] <= place <= part[1] else palette.EDGE
        at = np.linspace(0.0, 1.0, 61 if goal.vibrato is None else 2 + round(16 * goal.vibrato.rate * goal.seconds))
        across = x + at * (end - x - canvas.px(2, 1))
        if goal.vibrato is not None:
            swing = step * goal.vibrato.width / 100.0
            down = y - swing * np.sin(2.0 * np.pi * goal.vibrato.rate * goal.seconds * at)
            canvas.curve(list(zip(across.tolist(), down.tolist(), strict=True)), colour, canvas.px(2, 1))
            continue
        half = np.maximum(min(0.38 * step, 0.8 * size) * np.array([goal.loudness_at(share) for share in at]), 1.0)
        outline = [*zip(across, y - half, strict=True), *zip(across[::-1], y + half[::-1], strict=True)]
        canvas.shape([(float(one), float(other)) for one, other in outline], colour)


@dataclass(frozen=True, slots=True)
class FoundPage:
    """What was found of the player's hand, a line each."""

    lines: tuple[str, ...]


def draw_found_page(canvas: PlayCanvas, shown: FoundPage) -> None:
    """The page after the minute that measures a hand."""
    page, size = canvas.layout.page, canvas.normal
    canvas.fill(page, palette.PANEL, canvas.px(8))
    room = page.shrunk(round(1.6 * size), round(1.1 * size))
    title = Box(room.left, room.top, room.width, round(1.5 * canvas.large))
    canvas.fitted("Your hand", title, (canvas.large, size), palette.TEXT, bold=True)
    top = title.bottom + size
    for line in shown.lines:
        below = Box(room.left, top, room.width, room.bottom - 2 * size - top)
        top = canvas.paragraph(line, below, size, palette.TEXT) + round(0.5 * size)
    foot = Box(room.left, room.bottom - round(1.5 * size), room.width, round(1.5 * size))
    canvas.fitted("Enter or Esc: close", foot, (size, 8), palette.QUIET_TEXT)


@dataclass(frozen=True, slots=True)
class Axes:
    """A plot: its box and the values at its foot and top."""

    box: Box
    low: float
    high: float

    def y(self, value: float) -> float:
        """Pixel row of a value, kept within the box."""
        share = (value - self.low) / (self.high - self.low)
        return self.box.bottom - min(max(share, 0.0), 1.0) * self.box.height


def summary(judgement: Judgement) -> tuple[str, ...]:
    """A run in words, a line a figure."""
    notes = counted(len(judgement.notes), "note")
    if judgement.rms_cents is None:
        return (f"none of {notes} was heard",)
    was = "was" if judgement.heard == 1 else "were"
    lines = [
        f"{judgement.heard} of {notes} {was} heard, {judgement.rms_cents:.0f} cents off (RMS)",
        f"the middle of them is {_signed(judgement.bias_cents or 0.0)} cents; within a note the pitch moved by "
        f"{judgement.spread_cents:.0f} cents (RMS)",
    ]
    if judgement.late is not None:
        when = "late" if judgement.late >= 0.0 else "early"
        late, spread = 1000.0 * judgement.late, 1000.0 * (judgement.late_spread or 0.0)
        lines.append(f"the notes came {abs(late):.0f} ms {when}, with a spread of {spread:.0f} ms")
    vibratos = [note for note in judgement.notes if note.goal.vibrato is not None or note.vibrato is not None]
    lines += [_vibrato(note) for note in vibratos[:4]]
    if judgement.worst_leap is not None:
        before, after = judgement.worst_leap
        off = after.cents or 0.0
        way = "sharp" if off >= 0.0 else "flat"
        lines.append(f"worst leap: {_name(before)} to {_name(after)}, {abs(off):.0f} cents {way}")
    return tuple(lines)


def _vibrato(note: NoteResult) -> str:
    wanted = (
        ""
        if note.goal.vibrato is None
        else f" (wanted {note.goal.vibrato.rate:.1f} a second, {note.goal.vibrato.width:.0f} cents)"
    )
    if note.vibrato is None:
        return f"vibrato on {_name(note)}: none found{wanted}"
    return (
        f"vibrato on {_name(note)}: {note.vibrato.rate:.1f} a second, {note.vibrato.width:.0f} cents each way{wanted}"
    )


def _name(note: NoteResult) -> str:
    return shown_name(note_name(note.goal.number))


def _signed(value: float) -> str:
    return "0" if round(value) == 0 else f"{value:+.0f}".replace("-", MINUS)


def draw_result_page(canvas: PlayCanvas, result: Result) -> None:
    """The page after a run: figures in words, every note's cents with its spread, and the days."""
    page, size, small = canvas.layout.page, canvas.normal, canvas.small
    canvas.fill(page, palette.PANEL, canvas.px(8))
    room = page.shrunk(round(1.6 * size), round(1.1 * size))
    title = Box(room.left, room.top, room.width, round(1.5 * canvas.large))
    canvas.fitted(f"{result.score.title}: how it went", title, (canvas.large, size), palette.TEXT, bold=True)
    lines, line = summary(result.judgement), round(1.45 * size)
    top = title.bottom + round(0.4 * size)
    for line_text in lines:
        text = line_text[0].upper() + line_text[1:]
        canvas.fitted(text, Box(room.left, top, room.width, line), (size, small), palette.TEXT)
        top += line
    foot = Box(room.left, room.bottom - round(1.5 * size), room.width, round(1.5 * size))
    canvas.fitted(AFTER_ANSWER, foot, (size, 8), palette.QUIET_TEXT)
    below = Box(room.left, top + small, room.width, foot.top - small - top - small)
    notes, days = below.columns((0.64, 0.36), 2 * size)
    _notes_plot(canvas, notes, result.judgement.notes)
    _days_plot(canvas, days, result.runs)


def _plot(canvas: PlayCanvas, room: Box, caption: str, low: float, high: float, marks: Sequence[float]) -> Axes:
    size = canvas.small
    row = round(1.4 * size)
    canvas.fitted(caption, Box(room.left, room.top, room.width, row), (size, 8), palette.QUIET_TEXT)
    left = max(canvas.width_of(_signed(mark), size) for mark in marks) + size
    top = row + row // 2 + 2  # the highest mark stays clear of the caption
    axes = Axes(
        Box(room.left + left, room.top + top, room.width - left, room.height - top - row - size // 2), low, high
    )
    for mark in marks:
        y = round(axes.y(mark))
        canvas.line((axes.box.left, y), (axes.box.right - 1, y), palette.EDGE)
        text = _signed(mark) if low < 0.0 else f"{mark:g}"
        canvas.text(text, Box(room.left, y - row // 2, left - size // 2, row), size, palette.QUIET_TEXT, "right")
    return axes


def _notes_plot(canvas: PlayCanvas, room: Box, notes: Sequence[NoteResult]) -> None:
    """Every note in its order: a bar from true to how far it was off, and a stroke for its spread."""
    most = max((abs(note.cents or 0.0) + (note.spread or 0.0) for note in notes), default=0.0)
    reach = next((limit for limit in REACHES if most <= limit), REACHES[-1])
    axes = _plot(canvas, room, "Cents off, note by note; the stroke is its spread", -reach, reach, (-reach, 0.0, reach))
    size, box = canvas.small, axes.box
    step = box.width / max(1, len(notes))
    last = float(box.left - size)
    for number, note in enumerate(notes):
        x, wide = box.left + (number + 0.5) * step, max(2, round(min(0.55 * step, 2.0 * size)))
        name, row = _name(note), round(1.4 * size)
        width = canvas.width_of(name, size) + 2
        if x - width / 2 >= last + size // 3 and x + width / 2 <= box.right + size:
            canvas.text(name, Box(round(x - width / 2), box.bottom + size // 3, width, row), size, palette.QUIET_TEXT)
            last = x + width / 2
        if note.cents is None:
            canvas.ring((x, axes.y(0.0)), max(3.0, 0.3 * size), palette.QUIET_TEXT, canvas.px(1.5, 1))
            continue
        low, high = sorted((axes.y(0.0), axes.y(note.cents)))
        good = abs(note.cents) <= 10.0
        canvas.fill(
            Box(round(x) - wide // 2, round(low), wide, max(2, round(high - low))),
            palette.GREEN if good else palette.ORANGE,
        )
        spread = note.spread or 0.0
        canvas.line((x, axes.y(note.cents - spread)), (x, axes.y(note.cents + spread)), palette.TEXT, canvas.px(2, 1))


def _days_plot(canvas: PlayCanvas, room: Box, runs: Sequence[Run]) -> None:
    """The error of each day this score was played on, so that the newest is at the right."""
    days = by_day(runs)
    most = max((error for _, error in days), default=0.0)
    reach = next((limit for limit in REACHES if most <= limit), REACHES[-1])
    count = len(days)
    caption = f"Cents off (RMS), {counted(count, 'day')} so far"
    axes = _plot(canvas, room, caption, 0.0, reach, (0.0, reach / 2.0, reach))
    if not days:
        return
    box, size = axes.box, canvas.small
    step = (box.width - size) / max(1, count - 1)
    points = [
        (box.left + size / 2 + (number * step if count > 1 else 0.5 * (box.width - size)), axes.y(error))
        for number, (_, error) in enumerate(days)
    ]
    if count > 1:
        canvas.curve(points, palette.SKY, canvas.px(2, 1))
    for point in points:
        canvas.disc(point, max(3.0, 4.0 * canvas.layout.scale), palette.SKY)
    row = Box(box.left, box.bottom + size // 3, box.width, round(1.4 * size))
    if count == 1:
        canvas.fitted(f"{days[0][0]:%d %b}", row, (size, 8), palette.QUIET_TEXT, "centre")
        return
    first, last = row.columns((0.5, 0.5), 0)
    canvas.fitted(f"{days[0][0]:%d %b}", first, (size, 8), palette.QUIET_TEXT)
    canvas.fitted(f"{days[-1][0]:%d %b}", last, (size, 8), palette.QUIET_TEXT, "right")
