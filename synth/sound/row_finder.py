"""Between which two rows of a table an offset lies, and how far: straight lines, read by the bits of the number.

The bits of a double above 0, taken as a whole number, rise as it does: its exponent and the first bits of its fraction
number a bucket, 2^BUCKET_BITS to an octave (`buckets_of`, for the pitch law's lines as well). Nearly every bucket lies
within one straight line and takes no search; what falls into one where a line ends is interpolated as usual.
"""

from __future__ import annotations

import math

import numpy as np

from models.arrays import Floats, Ints, Singles

BUCKET_BITS = 10
STEEPEST = (
    40.0  # of a share's line, as its share at 0: single precision leaves 5e-6 of a row; steeper ones are searched
)
_FRACTION_BITS = 52  # of a double
_LINE = np.dtype([("beginning", np.int64), ("slope", np.float32), ("at_zero", np.float32)])
"""The straight line of a bucket: where its row begins, the slope, and the share at 0."""


def buckets_of(values: Floats, bits: int) -> Ints:
    """Numbers (n,) of the buckets, 2^`bits` to an octave, that hold values (n,), each above 0."""
    return values.view(np.int64) >> (_FRACTION_BITS - bits)


def bucket_of(value: float, bits: int) -> int:
    """`buckets_of` for one value."""
    return int(np.float64(value).view(np.int64)) >> (_FRACTION_BITS - bits)


def bucket_starts(first: int, last: int, bits: int) -> Floats:
    """Where the buckets from number `first` to `last` begin, and where the last one ends (last - first + 2,)."""
    return (np.arange(first, last + 2) << (_FRACTION_BITS - bits)).view(np.float64)


class RowFinder:
    """Straight lines between `points` (n,), rising, at which the place among the rows is `places` (n,): whole numbers
    but for the first. Beyond the points the place is that at the end. Rows begin `stride` apart.
    """

    def __init__(self, points: Floats, places: Floats, stride: int) -> None:
        self._points, self._places, self._stride = points, places, stride
        above = points[points > 0.0]
        lowest, highest = (above[0], above[-1]) if above.size else (1.0, 1.0)
        self._first = bucket_of(2.0 ** math.floor(math.log2(0.5 * lowest)), BUCKET_BITS)
        edges = bucket_starts(self._first, bucket_of(2.0 * highest, BUCKET_BITS), BUCKET_BITS)
        start, end = edges[:-1], edges[1:]
        # the lines, with what stands before the first and beyond the last
        rises, widths = np.diff(places), np.diff(points)
        slopes = np.concatenate([[0.0], np.divide(rises, widths, out=np.zeros(rises.size), where=widths > 0.0), [0.0]])
        rows = np.floor(np.minimum(np.append(places[:1], places), np.append(places, places[-1:])))
        at_zero = np.append(places[:1], places) - rows - slopes * np.append(points[:1], points)  # the share at 0
        lines = np.searchsorted(points, start, side="right")
        searched = (np.searchsorted(points, end) > lines) | (np.abs(at_zero[lines]) > STEEPEST)
        self._lines = np.empty(lines.size, dtype=_LINE)  # side by side: one look-up brings all of a line
        self._lines["beginning"], self._lines["slope"] = (rows.astype(np.int64) * stride)[lines], slopes[lines]
        self._lines["at_zero"] = np.where(searched, np.nan, at_zero[lines])
        self._numbers = np.where(searched, -1, lines)
        # from where to where each line is read so; the last of several values written to a place stays
        self._from, self._to = np.full(rows.size, np.inf), np.full(rows.size, -np.inf)
        read = lines[~searched]
        self._from[read[::-1]], self._to[read] = start[~searched][::-1], end[~searched]
        if not searched[0]:
            self._from[lines[0]] = 0.0
        if not searched[-1]:
            self._to[lines[-1]] = np.inf
        self._last = (np.inf, -np.inf, 0, np.float32(0.0), np.float32(0.0))

    def find(self, sizes: Floats, least: float, most: float) -> tuple[Ints | int, Singles]:
        """Where the row below each of the sizes (n,), n >= 1, begins, and the share of the next; none of them is
        negative, and all lie from `least` to `most`. One number where the row is the same for all.

        The share is single precision's, within 5e-6: neighbouring rows differ by some hundredths.
        """
        shares = sizes.astype(np.float32)
        lowest, highest, beginning, slope, at_zero = self._last
        if not lowest <= least <= most < highest:
            lowest, highest, beginning, slope, at_zero = self._last = self._line_at(least)
        if lowest <= least <= most < highest:  # one line for all, mostly that of the call before
            shares *= slope
            shares += at_zero
            return beginning, shares
        buckets = buckets_of(sizes, BUCKET_BITS)
        buckets -= self._first
        lines = self._lines.take(buckets, mode="clip")
        beginnings: Ints = lines["beginning"]
        shares *= lines["slope"]
        shares += lines["at_zero"]
        bent = np.isnan(shares).nonzero()[0]
        if bent.size:
            places = np.interp(sizes[bent], self._points, self._places)
            rows = np.floor(places)
            beginnings[bent] = rows * self._stride
            shares[bent] = places - rows
        return beginnings, shares

    def _line_at(self, size: float) -> tuple[float, float, int, np.float32, np.float32]:
        """From where to where the line of a size is read by its bits, where its row begins, slope, and share at 0."""
        bucket = min(max(bucket_of(size, BUCKET_BITS) - self._first, 0), self._numbers.size - 1)
        number = int(self._numbers[bucket])
        if number < 0:
            return np.inf, -np.inf, 0, np.float32(0.0), np.float32(0.0)
        beginning, slope, at_zero = self._lines[bucket]
        return float(self._from[number]), float(self._to[number]), int(beginning), slope, at_zero
