"""The screen of either window: opened, followed by its events, lost, closed. pygame's display and font only, no mixer.

Under X the library ends the program from inside a call that never returns where the screen goes away; what has to be
done first is done there.
"""

from __future__ import annotations

import ctypes
import math
import os
import select
import sys
import time
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from synth.errors import DeviceError
from synth.libraries import require
from synth.window import palette

if TYPE_CHECKING:
    import pygame
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


def fill_screen(windowed: tuple[int, int] | None) -> tuple[int, int] | None:
    """Let the open window fill the screen, and return the size it had; or, if it does, give it that size again.

    The library's own toggle draws a picture of the old size and says so on the terminal.
    """
    import pygame

    if windowed is not None:
        with warnings.catch_warnings():  # X leaves the screen at its first call and takes the size at the second
            warnings.simplefilter("ignore", RuntimeWarning)
            for _ in range(2):
                if pygame.display.set_mode(windowed, pygame.RESIZABLE).get_size() == windowed:
                    break
        return None
    size = pygame.display.get_window_size()
    pygame.display.set_mode((0, 0), pygame.FULLSCREEN)
    return size


def _icon() -> Surface:
    """A rod and the rings of its field."""
    import pygame

    icon = pygame.Surface((64, 64))
    icon.fill(palette.GROUND)
    for radius, colour in ((14, palette.YELLOW), (26, palette.SKY), (40, palette.QUIET_TEXT)):
        pygame.draw.circle(icon, colour, (50, 32), radius, 3, draw_top_left=True, draw_bottom_left=True)
    pygame.draw.line(icon, palette.TEXT, (51, 6), (51, 57), 5)
    return icon


@contextmanager
def opened_screen(title: str, size: tuple[int, int], end: Callable[[], None]) -> Iterator[Surface]:
    """An open window's surface, closed on leaving; `end` is called where the screen goes away (`on_lost_screen`)."""
    surface = open_screen(title, size)
    import pygame

    try:
        on_lost_screen(end)
        yield surface
    finally:
        pygame.font.quit()
        pygame.display.quit()


def run_events(
    surface: pygame.Surface,
    handle: Callable[[pygame.event.Event, float], None],
    picture: Callable[[pygame.Surface, float], None],
    closing: Callable[[], bool],
    frame_time: float,
) -> None:
    """Call `handle` with every event and when it happened, and `picture` every `frame_time` s, until `closing`.

    `picture` gets the window's surface, which is `surface` until a change of size replaces it, and the time
    (time.monotonic), s.
    """
    import pygame

    read = _reading()
    due = last = time.monotonic()
    drawn = True  # the library may have read events meanwhile
    while not closing():
        remaining = math.ceil(1000.0 * (due - time.monotonic()))  # rounded down it would spin for the last fraction
        waiting = read(0 if drawn else max(remaining, 0))
        now = time.monotonic()
        for place, one in enumerate(waiting, start=1):
            handle(one, moment_of(place, len(waiting), last, now))
        last, drawn = now, now >= due
        if not drawn:
            continue
        surface = pygame.display.get_surface() or surface
        picture(surface, now)
        due = max(due + frame_time, now)


def _reading() -> Callable[[int], list[pygame.event.Event]]:
    """What waits so many ms for the first event, and returns all that are there then.

    The library's own wait looks for them a thousand times a second, which takes several per cent of a core. Under X the
    connection says when something has come; a gamepad does not come by it.
    """
    import pygame

    number, connection = _connection(), select.poll() if hasattr(select, "poll") else None
    if number is not None and connection is not None:
        connection.register(number, select.POLLIN)

    def read(longest: int) -> list[pygame.event.Event]:
        if longest == 0:
            return pygame.event.get()
        if number is None or connection is None or (pygame.joystick.get_init() and pygame.joystick.get_count()):
            first = pygame.event.wait(longest)
            return [] if first.type == pygame.NOEVENT else [first, *pygame.event.get()]
        connection.poll(longest)
        return pygame.event.get()

    return read


class _WindowInfo(ctypes.Structure):
    """SDL_SysWMinfo of SDL 2 (SDL_syswm.h) for a window of X; the union in it is at most 64 bytes."""

    _fields_ = (
        ("version", ctypes.c_uint8 * 3),
        ("system", ctypes.c_int),
        ("display", ctypes.c_void_p),
        ("window", ctypes.c_ulong),
        ("rest", ctypes.c_uint8 * 64),
    )


_SYSTEM_X11 = 2  # SDL_SYSWM_X11
_MOST_WINDOWS = 64  # numbers that are looked through: SDL counts the windows of a process from 1 on


def _connection() -> int | None:
    """The file number of the window's connection to X; None where the window is not X's or it is not found.

    SDL itself is asked: the wrapper's `get_wm_info` reads fields that SDL does not set under X, and may crash.
    """
    import pygame

    library = _x_library()
    if library is None:
        return None
    try:
        sdl = ctypes.CDLL(pygame.display.__file__)  # what it is linked to is found through it
        by_number, information = sdl.SDL_GetWindowFromID, sdl.SDL_GetWindowWMInfo
    except (OSError, AttributeError):
        return None
    by_number.restype, information.argtypes = ctypes.c_void_p, [ctypes.c_void_p, ctypes.c_void_p]
    info = _WindowInfo()
    sdl.SDL_GetVersion(ctypes.byref(info))
    for window in filter(None, map(by_number, range(1, _MOST_WINDOWS))):
        if information(window, ctypes.byref(info)) == 1 and info.system == _SYSTEM_X11 and info.display:
            library.XConnectionNumber.argtypes = [ctypes.c_void_p]
            return int(library.XConnectionNumber(info.display))
    return None


def moment_of(place: int, count: int, last: float, now: float) -> float:
    """When the `place`-th (from 1) of `count` events happened, s, that were read together at `now`.

    The library gives events no time of their own. While a picture is drawn they wait, and are then read at once; a
    pointer moves at a steady rate, so they are spread evenly from the last reading to this one. Events that come while
    nothing is drawn are read one by one, within a fraction of a millisecond, and keep that time.
    """
    return now - (count - place) * (now - last) / count


def _x_library() -> ctypes.CDLL | None:
    """The library that the window's connection to X belongs to; None where the window is not X's or it is not found."""
    import pygame

    if pygame.display.get_driver() != "x11":
        return None
    try:
        return ctypes.CDLL("libX11.so.6")
    except OSError:
        return None


MESSAGE = "beatfield: the screen went away; the sound is ended and a running recording is finished"
EXIT_CODE = 1
_kept: list[Any] = []  # the library calls back into it as long as the program lives


def on_lost_screen(end: Callable[[], None]) -> None:
    """Let `end` be called, and the program end with a message and exit code 1, when the X server is gone.

    Call it once the window is open. Does nothing where the window is not X's or its library is not found.
    """
    library = _x_library()
    if library is None:
        return

    def lost(_: int | None) -> int:
        try:
            end()
        finally:
            print(MESSAGE, file=sys.stderr, flush=True)
            os._exit(EXIT_CODE)

    handler = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p)(lost)
    _kept.append(handler)
    library.XSetIOErrorHandler.restype = ctypes.c_void_p
    library.XSetIOErrorHandler(handler)
