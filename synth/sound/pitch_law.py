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

    The points are even in ln(distance). Covers the instrument's capacitance curve, `nearest` to `farthest`;
    beyond its ends the end value holds. The test compares it with `Instrument.offset_frequency`: less than
    0.01 cent off at beats of 20 Hz and more.
    """

    def __init__(self, instrument: Instrument, intervals: int = INTERVALS) -> None:
        self.nearest = instrument.curve.nearest
        self.farthest = instrument.curve.farthest
        distances = np.geomspace(self.nearest, self.farthest, intervals + 1)
        self._offsets = np.asarray(instrument.offset_frequency(distances), dtype=np.float64)
        self.highest = float(np.abs(self._offsets).max())
        self._rises = np.append(np.diff(self._offsets), 0.0)
        self._intervals = float(intervals)
        self._scale = intervals / math.log(self.farthest / self.nearest)
        self._start = self._scale * math.log(self.nearest)

    def offset(self, distance: Floats) -> Floats:
        """Offset frequency, Hz, at each distance, m > 0."""
        position = np.log(distance)
        position *= self._scale
        position -= self._start
        np.maximum(position, 0.0, out=position)
        np.minimum(position, self._intervals, out=position)
        index = position.astype(np.int64)
        position -= index
        position *= self._rises.take(index)
        position += self._offsets.take(index)
        return position
