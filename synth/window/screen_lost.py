"""A screen that goes away while the window is open: the sound is ended in order before the program is.

Under X the library ends the program from inside a call that never returns; what has to be done first is done there.
"""

from __future__ import annotations

import ctypes
import os
import sys
from collections.abc import Callable
from typing import Any

MESSAGE = "beatfield: the screen went away; the sound is ended and a running recording is finished"
EXIT_CODE = 1
_kept: list[Any] = []  # the library calls back into it as long as the program lives


def on_lost_screen(end: Callable[[], None]) -> None:
    """Let `end` be called, and the program end with a message and exit code 1, when the X server is gone.

    Call it once the window is open. Does nothing where the window is not X's or its library is not found.
    """
    import pygame

    if pygame.display.get_driver() != "x11":
        return
    try:
        library = ctypes.CDLL("libX11.so.6")
    except OSError:
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
