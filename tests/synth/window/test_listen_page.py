"""The page for listening live: what it shows of a sound, and what its keys do."""

from __future__ import annotations

from collections.abc import Iterator

import pygame
import pytest

from models.arrays import Floats
from synth.comparisons.made_sound import RATE, note
from synth.live.live_readings import LiveReadings, evenly
from synth.window.listen_page import ListenPage, run


class Hearing:
    """A sound input that hears A4, 12 cents sharp, or nothing."""

    sample_rate, running = RATE, True

    def __init__(self, frequency: float = 443.06) -> None:
        self.frequency = frequency

    def latest(self, seconds: float) -> Floats:
        sound = note(self.frequency or 440.0, seconds, "bright")
        return sound if self.frequency else 0.0 * sound


@pytest.fixture
def page() -> Iterator[ListenPage]:
    pygame.font.init()
    hearing = Hearing()
    yield ListenPage(LiveReadings(hearing, evenly(0.05, 0.02)), hearing)


def press(page: ListenPage, *keys: str) -> None:
    named = {"enter": pygame.K_RETURN, "escape": pygame.K_ESCAPE, "backspace": pygame.K_BACKSPACE}
    for key in keys:
        page.handle(pygame.event.Event(pygame.KEYDOWN, key=named.get(key, 0), unicode="" if key in named else key))


def shown(page: ListenPage, size: tuple[int, int] = (1280, 720)) -> str:
    page.draw(pygame.Surface(size))
    texts = page.painter.texts
    assert all(text.whole for text in texts), [text.shown for text in texts if not text.whole]
    return "\n".join(text.shown for text in texts)


def test_it_shows_note_cents_level_and_what_is_next(page: ListenPage) -> None:
    text = shown(page)
    for word in ("A4", "443.06 Hz", "+12 cents", "dB", "Enter: reading at 5 cm", "no reading yet"):
        assert word in text


@pytest.mark.parametrize("size", [(640, 480), (1280, 720), (2560, 1440)])
def test_every_text_fits_at_every_size(page: ListenPage, size: tuple[int, int]) -> None:
    press(page, "enter", "enter")
    shown(page, size)


def test_keys_take_readings_and_take_them_back(page: ListenPage) -> None:
    press(page, "enter", *"12 cm", "enter", "enter")
    assert [row.hand_distance_m for row in page.readings.rows] == [0.05, 0.12, 0.07]
    assert "3   7 cm   443.06 Hz   A4 +12 cents" in shown(page)
    press(page, "u")
    assert "reading 3 is taken back" in shown(page)
    assert "7 cm" in page.readings.asked()
    press(page, *"9 x", "backspace", "escape")
    assert page.entry == ""
    assert not page.closing, "the first Esc takes back what was typed"
    press(page, "escape")
    assert page.closing


def test_silence_and_an_input_that_has_gone_are_told() -> None:
    pygame.font.init()
    hearing = Hearing(0.0)
    hearing.running = False
    text = shown(ListenPage(LiveReadings(hearing, evenly(0.05, 0.02)), hearing))
    assert "silence" in text
    assert "The sound input has gone" in text


@pytest.mark.usefixtures("dummy_screen")
def test_the_window_opens_takes_a_reading_and_closes() -> None:
    hearing, frames = Hearing(), []
    readings = LiveReadings(hearing, evenly(0.1, 0.1))

    def each(page: ListenPage) -> None:
        frames.append(page)
        if len(frames) == 1:
            pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=pygame.K_RETURN, unicode="\r"))
        if len(frames) == 3:
            pygame.event.post(pygame.event.Event(pygame.QUIT))

    run(readings, hearing, size=(800, 600), each_frame=each)
    assert [row.hand_distance_m for row in readings.rows] == [0.1]
