"""Moves the pointer of an X screen through XTest at a rate no player reaches; xdotool waits too long between two moves.

    python fast_pointer.py RATE SECONDS Y LEFT RIGHT

sweeps along a row of the screen, LEFT to RIGHT and back once a second, RATE moves a second, and prints how many were
sent and the seconds it took.
"""

from __future__ import annotations

import ctypes
import math
import sys
import time


def main() -> None:
    rate, seconds, y, left, right = (float(text) for text in sys.argv[1:6])
    x11, xtest = ctypes.CDLL("libX11.so.6"), ctypes.CDLL("libXtst.so.6")
    x11.XOpenDisplay.restype = ctypes.c_void_p
    display = ctypes.c_void_p(x11.XOpenDisplay(None))
    assert display.value, "no screen"
    start = time.perf_counter()
    count = round(rate * seconds)
    for number in range(count):
        share = 0.5 - 0.5 * math.cos(2.0 * math.pi * number / rate)
        x = round(left + share * (right - left))
        xtest.XTestFakeMotionEvent(display, -1, x, round(y) + number % 2, 0)  # another pixel every time
        x11.XFlush(display)
        time.sleep(max(0.0, start + (number + 1) / rate - time.perf_counter()))
    x11.XSync(display, 0)
    print(count, time.perf_counter() - start)


if __name__ == "__main__":
    main()
