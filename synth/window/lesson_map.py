"""Behind the lesson's pad: the frequencies of the computed lines at every place of the hand."""

from __future__ import annotations

import functools
import math
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from synth.lessons.live import LiveChoice
from synth.window import palette
from synth.window.box import Box
from synth.window.painter import Painter

PLACES: Final = 161
FAINTEST_DB: Final = -60.0  # against the strongest line of the place; fainter ones are left out
FARTHEST: Final = 0.025  # of the pad's height, that a line may move from one place to the next and still be joined
CAPTION: Final = "grey: the lines of the spectrum at every place"


def band_place(frequency: NDArray[np.float64], band: tuple[float, float]) -> NDArray[np.float64]:
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
