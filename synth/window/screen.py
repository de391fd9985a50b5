"""Opening and closing the window: pygame's display and font only, never its mixer."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from synth.errors import DeviceError
from synth.libraries import require
from synth.window import palette

if TYPE_CHECKING:
    from pygame import Surface

FIRST_SIZE = (1280, 720)
_INVISIBLE = ("dummy", "offscreen")
_REMEDY = "Start it from a graphical session (ssh: with X forwarding), or write a file with `beatfield render`"


def open_screen(title: str, size: tuple[int, int] = FIRST_SIZE) -> Surface:
    """Open a resizable window and return its surface; DeviceError with the remedy where there is no screen.

    Without a screen SDL quietly picks a driver that shows nothing; that counts as no screen unless
    SDL_VIDEODRIVER asks for it by name.
    """
    os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
    pygame = require("pygame", "the window")
    try:
        pygame.display.init()
        driver = pygame.display.get_driver()
        if driver in _INVISIBLE and os.environ.get("SDL_VIDEODRIVER", "") != driver:
            pygame.display.quit()
            raise DeviceError(f"No window: there is no screen to open it on. {_REMEDY}")
        if driver == "x11":  # plain shared-memory pictures: only what changed is sent, and no software OpenGL draws it
            os.environ.setdefault("SDL_FRAMEBUFFER_ACCELERATION", "0")
        pygame.font.init()
        pygame.display.set_icon(_icon())
        surface: Surface = pygame.display.set_mode(size, pygame.RESIZABLE)
    except pygame.error as error:
        pygame.display.quit()
        raise DeviceError(f"No window: {error}. {_REMEDY}") from error
    pygame.display.set_caption(title)
    if pygame.display.get_driver() not in _INVISIBLE:
        pygame.mouse.set_cursor(pygame.SYSTEM_CURSOR_CROSSHAIR)
    return surface


def _icon() -> Surface:
    """A rod and the rings of its field."""
    import pygame

    icon = pygame.Surface((64, 64))
    icon.fill(palette.GROUND)
    for radius, colour in ((14, palette.YELLOW), (26, palette.SKY), (40, palette.QUIET_TEXT)):
        pygame.draw.circle(icon, colour, (50, 32), radius, 3, draw_top_left=True, draw_bottom_left=True)
    pygame.draw.line(icon, palette.TEXT, (51, 6), (51, 57), 5)
    return icon


def close_screen() -> None:
    """Close the window."""
    import pygame

    pygame.font.quit()
    pygame.display.quit()
