"""Between which two rows of a table an offset lies, and how far: straight lines, read by the bits of the number.

The bits of a double above 0, taken as a whole number, rise as it does: its exponent and the first bits of its fraction
number a bucket, 2^BUCKET_BITS to an octave. Nearly every bucket lies within one straight line and takes no search; what
falls into one where a line ends is interpolated as usual.
"""

from __future__ import annotations

import math

import numpy as np

from models.arrays import Floats, Ints, Singles

BUCKET_BITS = 10
STEEPEST = (
    40.0  # of a share's line, as its share at 0: single precision leaves 5e-6 of a row; steeper ones are searched
)
_SHIFT = 52 - BUCKET_BITS


class RowFinder:
    """Straight lines between `points` (n,), rising, at which the place among the rows is `places` (n,): whole numbers
    but for the first. Beyond the points the place is that at the end. Rows begin `stride` apart.
    """

    def __init__(self, points: Floats, places: Floats, stride: int) -> None:
        self._points, self._places, self._stride = points, places, stride
        above = points[points > 0.0]
        lowest, highest = (above[0], above[-1]) if above.size else (1.0, 1.0)
        self._first = _bucket(2.0 ** math.floor(math.log2(0.5 * lowest)))
        edges = (np.arange(self._first, _bucket(2.0 * highest) + 2) << _SHIFT).view(np.float64)
        start, end = edges[:-1], edges[1:]
        middle = 0.5 * (start + end)
        there = np.interp(middle, points, places)
        rows = np.floor(there)
        slopes = np.diff(np.interp(edges, points, places)) / (end - start)
        at_zero = there - rows - slopes * middle  # the share at 0, were the line as long
        bent = np.searchsorted(points, end) > np.searchsorted(points, start, side="right")
        at_zero[bent | (np.abs(at_zero) > STEEPEST)] = np.nan
        # a bucket's line takes one look-up: where its row begins, then slope and share at 0
        self._lines = np.empty(rows.size, dtype=np.complex128)
        self._lines.view(np.int64)[::2] = rows.astype(np.int64) * stride
        self._lines.view(np.float32)[2::4], self._lines.view(np.float32)[3::4] = slopes, at_zero

    def find(self, sizes: Floats) -> tuple[Ints, Singles]:
        """Where the row below each of the sizes (n,), n >= 1, none of them negative, begins, and the share of the next.

        The share is single precision's, within 5e-6: neighbouring rows differ by some hundredths.
        """
        buckets = sizes.view(np.int64) >> _SHIFT
        buckets -= self._first
        found = self._lines.take(buckets, mode="clip")
        beginnings, (slopes, at_zero) = found.view(np.int64)[::2], found.view(np.float32).reshape(-1, 4).T[2:]
        shares = sizes.astype(np.float32)
        shares *= slopes
        shares += at_zero
        bent = np.isnan(shares).nonzero()[0]
        if bent.size:
            places = np.interp(sizes[bent], self._points, self._places)
            rows = np.floor(places)
            beginnings[bent] = rows * self._stride
            shares[bent] = places - rows
        return beginnings, shares


def _bucket(size: float) -> int:
    return int(np.float64(size).view(np.int64)) >> _SHIFT
