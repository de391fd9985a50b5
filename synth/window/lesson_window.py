"""The loop of a lesson's window: events move the hand and choose; 30 times a second the picture is drawn."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from synth.window.caution import caution_wanted, remember_caution
from synth.window.curves import RECENT
from synth.window.lesson_state import Action, LessonState, on_click, on_key, with_pointer, without_pointer
from synth.window.lesson_view import Heard, LessonView
from synth.window.screen import FIRST_SIZE, opened_screen, run_events

if TYPE_CHECKING:
    import pygame

    from synth.lessons.live import LiveLesson
    from synth.live.contract import LessonSound

FRAME_TIME = 1.0 / 30.0  # s
LONGEST_FRAME = 0.1  # s: what a picture that comes late counts at most
SLOWING_STEP = 1.25
FIRST_LEVEL = 0.5  # lesson sounds peak at -14 dB of full scale: at -20 dB with this


class LessonWindow:
    """Joins events, state, speaker and view. One per window."""

    def __init__(self, lesson: LiveLesson, speaker: LessonSound, caution: bool) -> None:
        self._speaker = speaker
        self.state = LessonState(lesson, FIRST_LEVEL, caution_open=caution)
        self.view = LessonView()
        self.closing = False
        self.frames = 0
        self._drawn = time.monotonic()
        speaker.mute(self.state.silenced)
        speaker.set_level(self.state.level)
        speaker.change(self.state.choice.source)
        speaker.move(self.state.place, 0.0)

    def handle(self, event: pygame.event.Event, moment: float | None = None) -> None:
        """Act on one event; `moment`: when it happened (time.monotonic), s, by default now."""
        import pygame

        layout = self.view.layout
        if event.type == pygame.QUIT:
            self.closing = True
        elif event.type == pygame.MOUSEMOTION and layout is not None:
            self._act(with_pointer(self.state, event.pos, layout.pad), "move", moment)
        elif event.type == pygame.WINDOWLEAVE:
            self._act(without_pointer(self.state), "move", moment)
        elif event.type == pygame.MOUSEBUTTONDOWN and event.button == 1 and layout is not None:
            self._act(*on_click(self.state, event.pos, layout.choice_boxes(len(self.state.stage.choices))))
        elif event.type == pygame.KEYDOWN:
            ctrl = bool(event.mod & pygame.KMOD_CTRL)
            self._act(*on_key(self.state, pygame.key.name(event.key), ctrl))

    def draw(self, surface: pygame.Surface) -> None:
        """Draw the next picture."""
        meters = self._speaker.meters()
        samples = self._speaker.recent(RECENT)
        fault = self._speaker.device_error or ""
        now = time.monotonic()
        passed, self._drawn = min(now - self._drawn, LONGEST_FRAME), now
        self.view.draw(surface, self.state, Heard(samples, meters.sample_rate, abs(meters.frequency), fault, passed))
        self.frames += 1

    def _act(self, state: LessonState, action: Action | None, moment: float | None = None) -> None:
        answered = self.state.caution_open and not state.caution_open
        self.state = state
        if action == "quit":
            self.closing = True
        elif action == "mute":
            self._speaker.mute(state.silenced)
        elif action == "level":
            self._speaker.set_level(state.level)
        elif action == "source":
            self._speaker.change(state.choice.source)
        elif action in ("slower", "faster"):
            self.view.waves.slow_by(SLOWING_STEP if action == "slower" else 1.0 / SLOWING_STEP)
        elif action == "move":
            self._speaker.move(state.place, state.volume, moment)
        if answered:
            remember_caution()


def run(
    lesson: LiveLesson,
    speaker: LessonSound,
    *,
    size: tuple[int, int] = FIRST_SIZE,
    caution: bool | None = None,
    each_frame: Callable[[LessonWindow], None] = lambda window: None,
) -> int:
    """Open the window on live sound that was started; return the number of pictures when it is closed.

    `caution`: show the hearing caution first, silent until it is answered; None shows it until it was answered once on
    this account. `each_frame` is called after each picture. Raises DeviceError where no window can be opened.
    """
    with opened_screen(f"Beatfield: {lesson.title}", size, lambda: speaker.stop()) as first:
        import pygame

        window = LessonWindow(lesson, speaker, caution_wanted(speaker.device_error) if caution is None else caution)
        window.view.resize(first.get_size())

        def show(surface: pygame.Surface, _: float) -> None:
            if surface.get_size() != window.view.size:
                window.view.resize(surface.get_size())
            window.draw(surface)
            pygame.display.update()
            each_frame(window)

        run_events(first, window.handle, show, lambda: window.closing, FRAME_TIME)
        return window.frames
