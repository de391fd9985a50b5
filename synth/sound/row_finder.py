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
        # the lines, with what stands before the first and beyond the last
        rises, widths = np.diff(places), np.diff(points)
        slopes = np.concatenate([[0.0], np.divide(rises, widths, out=np.zeros(rises.size), where=widths > 0.0), [0.0]])
        rows = np.floor(np.minimum(np.append(places[:1], places), np.append(places, places[-1:])))
        at_zero = np.append(places[:1], places) - rows - slopes * np.append(points[:1], points)  # the share at 0
        lines = np.searchsorted(points, start, side="right")
        searched = (np.searchsorted(points, end) > lines) | (np.abs(at_zero[lines]) > STEEPEST)
        # a bucket's line takes one look-up: where its row begins, then slope and share at 0
        self._lines = np.empty(start.size, dtype=np.complex128)
        self._lines.view(np.int64)[::2] = (rows.astype(np.int64) * stride)[lines]
        self._lines.view(np.float32)[2::4] = slopes[lines]
        self._lines.view(np.float32)[3::4] = np.where(searched, np.nan, at_zero[lines])
        self._numbers = np.where(searched, -1, lines)

    def find(self, sizes: Floats, least: float, most: float) -> tuple[Ints | int, Singles]:
        """Where the row below each of the sizes (n,), n >= 1, begins, and the share of the next; none of them is
        negative, and all lie from `least` to `most`. One number where the row is the same for all.

        The share is single precision's, within 5e-6: neighbouring rows differ by some hundredths.
        """
        shares = sizes.astype(np.float32)
        lowest, highest = (min(max(_bucket(end) - self._first, 0), self._lines.size - 1) for end in (least, most))
        if self._numbers[lowest] == self._numbers[highest] >= 0:  # one line for all
            line = self._lines[lowest : lowest + 1]
            slope, at_zero = line.view(np.float32)[2:]
            shares *= slope
            shares += at_zero
            return int(line.view(np.int64)[0]), shares
        buckets = sizes.view(np.int64) >> _SHIFT
        buckets -= self._first
        found = self._lines.take(buckets, mode="clip")
        beginnings, (slopes, zeros) = found.view(np.int64)[::2], found.view(np.float32).reshape(-1, 4).T[2:]
        shares *= slopes
        shares += zeros
        bent = np.isnan(shares).nonzero()[0]
        if bent.size:
            places = np.interp(sizes[bent], self._points, self._places)
            rows = np.floor(places)
            beginnings[bent] = rows * self._stride
            shares[bent] = places - rows
        return beginnings, shares


def _bucket(size: float) -> int:
    return int(np.float64(size).view(np.int64)) >> _SHIFT
