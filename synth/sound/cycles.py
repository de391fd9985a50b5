"""Cycles of a waveform in rows, read at a beat phase: straight between points, and between a row and the next."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from synth.sound.beat_phase import TURN_BITS

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Cycles:
    """Rows of one cycle each, (rows, size + 1) with the first point repeated at the end; size is a power of two."""

    def __init__(self, rows: Floats) -> None:
        self._stride = rows.shape[1]
        size = self._stride - 1
        self._points = rows.ravel()
        self._following = self._points[1:]
        self._shift = TURN_BITS - int(math.log2(size))
        self._mask, self._part_mask = size - 1, 2**self._shift - 1
        self._part_scale = 2.0**-self._shift

    def row(self, phase: Ints, number: int) -> Floats:
        """Row `number` at beat phases (n,), in steps of synth.sound.beat_phase."""
        index, part = self._places(phase)
        index += number * self._stride
        return self._between(index, part)

    def across(self, phase: Ints, position: Floats) -> Floats:
        """At each phase (n,) the mixture of two neighbouring rows that `position` (n,), a row number, lies between."""
        index, part = self._places(phase)
        number = position.astype(np.int64)
        share = position - number
        number *= self._stride
        index += number
        first = self._between(index, part)
        index += self._stride
        second = self._between(index, part)
        second -= first
        second *= share
        second += first
        return second

    def _places(self, phase: Ints) -> tuple[Ints, Floats]:
        """Point of the cycle before each phase, and the share of the way to the next."""
        index = phase >> self._shift
        index &= self._mask
        return index, (phase & self._part_mask) * self._part_scale

    def _between(self, index: Ints, part: Floats) -> Floats:
        low = self._points.take(index)
        rise = self._following.take(index)
        rise -= low
        rise *= part
        rise += low
        return rise
