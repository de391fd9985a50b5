"""Offset frequency against hand distance as a dense table: what the voice reads at every sample."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from models.instrument import Instrument

Floats = NDArray[np.float64]
INTERVALS = 32768


class PitchLaw:
    """Reference minus variable frequency, Hz, against distance, m: straight lines between dense points.

    The points are even in ln(distance). Covers the instrument's capacitance curve, `nearest` to `farthest`. The test
    compares it with `Instrument.offset_frequency`: less than 0.01 cent off at beats of 20 Hz and more.
    """

    def __init__(self, instrument: Instrument, intervals: int = INTERVALS) -> None:
        self.nearest = instrument.curve.nearest
        self.farthest = instrument.curve.farthest
        distances = np.geomspace(self.nearest, self.farthest, intervals + 1)
        offsets = np.asarray(instrument.offset_frequency(distances), dtype=np.float64)
        self.highest = float(np.abs(offsets).max())
        self._slopes = np.diff(offsets)
        self._intercepts = offsets[:-1] - self._slopes * np.arange(intervals)
        self._scale = intervals / math.log(self.farthest / self.nearest)
        self._start = self._scale * math.log(self.nearest)

    def within(self, distance: Floats) -> Floats:
        """Each distance, m, or the end of the law it lies beyond."""
        limited = np.maximum(distance, self.nearest)
        return np.minimum(limited, self.farthest, out=limited)

    def offset(self, distance: Floats) -> Floats:
        """Offset frequency, Hz, at each distance, m, from `nearest` to `farthest`; rounding beyond them does no harm.

        intercept[i] + slope[i] p at the place p = ln(d / nearest) intervals / ln(farthest / nearest), i its whole part.
        """
        position = np.log(distance)
        position *= self._scale
        position -= self._start
        index = position.astype(np.int64)
        position *= self._slopes.take(index, mode="clip")
        position += self._intercepts.take(index, mode="clip")
        return position
