"""The page for listening live: the note heard, how far it is off and how steady, the readings taken, and its keys."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import TYPE_CHECKING, Final, Protocol

from models.pitch import cents
from synth.analysis.listen_figures import AWAY, RestFigures
from synth.live.live_readings import HeardNow, LiveReadings
from synth.report.listen import small_capacitance
from synth.window import palette
from synth.window.box import Box
from synth.window.painter import Painter
from synth.window.screen import FIRST_SIZE, opened_screen, run_events

if TYPE_CHECKING:
    import pygame

FRAME_TIME: Final = 1.0 / 10.0  # s
KEPT: Final = 100  # pictures whose pitch the curve shows: ten seconds
SPAN: Final = 50.0  # cents either way of the scale and of the curve
QUIETEST: Final = -80.0  # dB of full scale at the level's left end
LONGEST_ENTRY: Final = 12
KEYS: Final = "Enter: reading    12.5 cm, Enter: reading there    U: take the last one back    Esc, Q: end"


class Running(Protocol):
    """The sound input."""

    @property
    def running(self) -> bool: ...


class ListenPage:
    """State and picture of the page. `readings` takes the readings; typed text is a distance."""

    def __init__(self, readings: LiveReadings, hearing: Running) -> None:
        self.readings, self.hearing = readings, hearing
        self.entry, self.said, self.closing = "", "", False
        self.course: deque[float | None] = deque(maxlen=KEPT)
        self.painter = Painter()

    def handle(self, event: pygame.event.Event, moment: float = 0.0) -> None:
        """Act on one event."""
        import pygame

        if event.type == pygame.QUIT:
            self.closing = True
        if event.type != pygame.KEYDOWN:
            return
        if event.key in (pygame.K_RETURN, pygame.K_KP_ENTER):
            self._command(self.entry)
        elif event.key == pygame.K_BACKSPACE:
            self.entry = self.entry[:-1]
        elif event.key == pygame.K_ESCAPE:
            self.entry, self.closing = "", not self.entry
        elif not self.entry and event.unicode.lower() in ("u", "q"):
            self._command(event.unicode)
        elif event.unicode.isprintable():
            self.entry = (self.entry + event.unicode)[:LONGEST_ENTRY]

    def _command(self, text: str) -> None:
        said, self.entry = self.readings.command(text), ""
        self.closing, self.said = said is None, said or ""

    def draw(self, surface: pygame.Surface, moment: float = 0.0) -> None:
        """Draw the page."""
        now, paint = self.readings.now(), self.painter
        self.course.append(now.frequency)
        paint.onto(surface)
        whole = Box(0, 0, *surface.get_size())
        paint.fill(whole, palette.GROUND)
        page, foot = whole.shrunk(whole.width // 32, whole.height // 24).rows((12.0, 1.0), 8)
        left, right = page.columns((3.0, 2.0), whole.width // 40)
        note, frequency, scale, level, course = left.rows((4.0, 1.5, 1.2, 1.0, 4.0), 8)
        if now.frequency is None:
            paint.fitted(now.why_none, note, (note.height // 2, 11), palette.QUIET_TEXT)
        else:
            doubt = "  octave?" if now.octave_doubt else ""
            paint.fitted(f"{now.note}{doubt}", note, (note.height, 11), palette.TEXT)
            told = f"{now.frequency:.2f} Hz   {now.above:+.0f} cents   wavers by {now.wavers:.1f} cents"
            paint.fitted(_signed(told), frequency, (frequency.height // 2, 11), palette.TEXT)
        self._scale(scale, now)
        self._level(level, now)
        self._curve(course, now)
        paint.fitted(KEYS, foot, (foot.height // 2, 9), palette.QUIET_TEXT)
        self._readings(right)

    def _scale(self, box: Box, now: HeardNow) -> None:
        """Where the pitch stands within half a semitone of its note."""
        middle, top, bottom = box.center[0], box.top, box.bottom
        self.painter.line((box.left, bottom), (box.right, bottom), palette.LINE)
        for tens in range(-5, 6):
            across = middle + round(10.0 * tens / SPAN * 0.5 * box.width)
            height = box.height // (2 if tens % 5 == 0 else 4)
            self.painter.line((across, bottom - height), (across, bottom), palette.LINE)
        if now.frequency is not None:
            at = middle + now.above / SPAN * 0.5 * box.width
            self.painter.shape([(at, bottom), (at - 9.0, top), (at + 9.0, top)], palette.SKY)

    def _level(self, box: Box, now: HeardNow) -> None:
        bar, text = box.columns((4.0, 1.0), 8)
        self.painter.frame(bar, palette.EDGE)
        if now.level is None:
            return
        share = min(max(1.0 - now.level / QUIETEST, 0.0), 1.0)
        inner = bar.shrunk(2, 2)
        self.painter.fill(Box(inner.left, inner.top, round(share * inner.width), inner.height), palette.GREEN)
        told = _signed(f"{now.level:.0f} dB")
        self.painter.fitted(told, text, (text.height // 2, 9), palette.QUIET_TEXT, "right")

    def _curve(self, box: Box, now: HeardNow) -> None:
        """The last ten seconds, in cents from what is heard now."""
        self.painter.fill(box, palette.PANEL)
        if now.frequency is None:
            return
        before: tuple[float, float] | None = None
        for place, one in enumerate(self.course, KEPT - len(self.course)):
            off = SPAN if one is None else float(cents(one, now.frequency))
            at = box.left + box.width * place / KEPT, box.center[1] - off / SPAN * 0.5 * box.height
            if abs(off) < SPAN and before is not None:
                self.painter.line(before, at, palette.SKY, 2)
            before = at if abs(off) < SPAN else None

    def _readings(self, box: Box) -> None:
        head, said, listed = box.rows((1.0, 1.5, 8.0), 8)
        if not self.hearing.running:
            asked, colour = "The sound input has gone", palette.VERMILLION
        else:
            asked, colour = self.entry + "_" if self.entry else self.readings.asked(), palette.TEXT
        self.painter.fitted(asked, head, (head.height // 2, 9), colour, bold=True)
        self.painter.paragraph(self.said, said, max(said.height // 6, 9), palette.QUIET_TEXT)
        size = max(listed.height // 28, 9)
        lines = [_reading(number, row) for number, row in enumerate(self.readings.rows, 1)] or ["no reading yet"]
        for number, line in enumerate(lines[-max(listed.height // (2 * size), 1) :]):
            row = Box(listed.left, listed.top + 2 * size * number, listed.width, 2 * size)
            self.painter.fitted(line, row, (size, 7), palette.TEXT)


def _reading(number: int, row: RestFigures) -> str:
    """One reading in a line."""
    where = AWAY if row.hand_away else "-" if row.hand_distance_m is None else f"{100.0 * row.hand_distance_m:g} cm"
    radio = "".join(f"   {frequency:.1f} Hz" for frequency in row.oscillator_hz)
    more = "" if row.added_capacitance_f is None else f"   {small_capacitance(row.added_capacitance_f)}"
    pitch = f"{row.frequency_hz:.2f} Hz   {row.note} {row.note_cents:+.0f} cents"
    return _signed(f"{number}   {where}   {pitch}{radio}{more}")


def _signed(text: str) -> str:
    return text.replace("-", "\N{MINUS SIGN}")


def run(
    readings: LiveReadings,
    hearing: Running,
    *,
    size: tuple[int, int] = FIRST_SIZE,
    each_frame: Callable[[ListenPage], None] = lambda page: None,
    lost: Callable[[], None] = lambda: None,
) -> None:
    """Open the window and show what is heard until it is closed. Raises DeviceError where no window can be opened.

    `lost` ends what runs, where the screen goes away: the program ends with it.
    """
    page = ListenPage(readings, hearing)

    def picture(surface: pygame.Surface, moment: float) -> None:
        import pygame

        page.draw(surface, moment)
        pygame.display.flip()
        each_frame(page)

    with opened_screen("Beatfield listens", size, lost) as surface:
        run_events(surface, page.handle, picture, lambda: page.closing, FRAME_TIME)
