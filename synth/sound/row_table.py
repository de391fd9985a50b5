"""Waveforms that change with the offset: a diode detector's, and any detector's whose amplitudes the hand changes.

One row per offset on a fine grid holds the cycle that belongs to it, with only those harmonics that fit the band there;
between two rows the sound crosses over in proportion. The hand's distance fixes offset and amplitudes together, so the
offset alone finds the row. A steady note repeats exactly, so nothing aliases whatever the rows hold.

Symbols: f offset, f_L lock range, g = sqrt(f^2 - f_L^2) pulled beat, Hz. Rows lie at g = g_0 sinh(k / ROWS_PER_E):
evenly below g_0, in even ratios above. Within the lock range, where the phase only creeps, rows cross over from the
waveform at the edge to the one at rest: exact at rest and at the edge, but for a steady part that the DC block takes
out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from models.arrays import Complexes, Floats, Ints
from models.detector.diode_response import beat_cycle
from models.detector.memoryless import Detector
from models.instrument import Instrument
from synth.sound.band_edges import FADE_FROM, FADE_TO, highest_offset
from synth.sound.wavetable import FAINT, MOST_HARMONICS, SMALLEST_SIZE, Cycles, table_size

SLOWEST = 8.0  # Hz, g_0
ROWS_PER_E = 17.0
GRADES = 49  # variable amplitudes at which a memoryless detector is worked out
_EDGE = 1e-6  # relative: the row at the edge of lock
_EDGES = 32  # harmonic numbers at which the band's edge is worked out


class RowTable:
    """Rows over `offsets` (rows,), Hz, rising, and their coefficients C_0..C_K (rows, K + 1), never changed.

    y(phi) = C_0 + sum over k >= 1 of Re(C_k exp(j k phi)), each already fit for its band. `mirrored`: the rows are for
    offsets >= 0, and a negative one sounds like the positive with the phase running backwards. The steady part of the
    slowest row counts as 0.
    """

    def __init__(self, offsets: Floats, coefficients: Complexes, mirrored: bool) -> None:
        size = max((table_size(np.abs(row)) for row in coefficients if row[1:].any()), default=SMALLEST_SIZE)
        spectrum = np.zeros((offsets.size + 1, size // 2 + 1), dtype=np.complex128)
        spectrum[:-1, : coefficients.shape[1]] = 0.5 * size * coefficients
        self._steady = coefficients[:, 0].real - coefficients[int(np.argmin(np.abs(offsets))), 0].real
        spectrum[:-1, 0] = size * self._steady
        spectrum[-1] = spectrum[-2]  # a neighbour for the last row
        cycles = np.fft.irfft(spectrum, n=size, axis=1)
        self._cycles = Cycles(np.concatenate([cycles, cycles[:, :1]], axis=1))
        self._offsets, self._mirrored = offsets, mirrored
        self._numbers = np.arange(float(offsets.size))

    def steady(self, offset: float) -> float:
        """Steady part at an offset, Hz, against that of the slowest beat."""
        return float(np.interp(abs(offset) if self._mirrored else offset, self._offsets, self._steady))

    def sound(self, phase: Ints, offset: Floats) -> Floats:
        """Waveform (n,) at beat phases (n,), in steps of synth.sound.beat_phase, and offsets (n,), Hz."""
        if self._mirrored and offset.min() < 0.0:
            phase = np.where(offset < 0.0, -phase, phase)
            offset = np.abs(offset)
        return self._cycles.across(phase, np.interp(offset, self._offsets, self._numbers))


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """What a `RowTable` is made of: its offsets, coefficients and whether it is mirrored, as there."""

    offsets: Floats
    coefficients: Complexes
    mirrored: bool


def row_coefficients(instrument: Instrument, sample_rate: float) -> Rows:
    """The rows of an instrument at a sample rate, Hz, at a peak of 1 where its slow beat is strongest."""
    if instrument.amplitude_varies:
        return _hand_rows(instrument, sample_rate)
    return _even_rows(instrument.detector, sample_rate, instrument.lock_range)


def row_table(instrument: Instrument, sample_rate: float) -> RowTable:
    """The rows of an instrument as a table."""
    if instrument.amplitude_varies:
        return _hand_table(instrument, sample_rate)
    return _even_table(instrument.detector, sample_rate, instrument.lock_range)


@lru_cache(maxsize=8)
def _even_table(detector: Detector, sample_rate: float, lock_range: float) -> RowTable:
    """Rows of a detector whose amplitudes stay, for any offset."""
    rows = _even_rows(detector, sample_rate, lock_range)
    return RowTable(rows.offsets, rows.coefficients, rows.mirrored)


@lru_cache(maxsize=4)
def _hand_table(instrument: Instrument, sample_rate: float) -> RowTable:
    """Rows along the hand's way, each with the amplitudes of the distance at which its offset occurs."""
    rows = _hand_rows(instrument, sample_rate)
    return RowTable(rows.offsets, rows.coefficients, rows.mirrored)


def _even_rows(detector: Detector, sample_rate: float, lock_range: float) -> Rows:
    offsets = row_offsets(sample_rate, lock_range)
    weaker = np.full(offsets.size, detector.amplitude * detector.amplitude_ratio)
    rows = _diode_rows(detector, detector.amplitude, weaker, offsets, lock_range, sample_rate)
    return Rows(offsets, _in_band(rows, offsets, sample_rate, lock_range) / detector.peak, mirrored=True)


def _hand_rows(instrument: Instrument, sample_rate: float) -> Rows:
    distances = np.geomspace(instrument.curve.nearest, instrument.curve.farthest, 4097)
    found = instrument.offset_frequency(distances)
    one_side = row_offsets(sample_rate, instrument.lock_range)
    grid = np.concatenate([-one_side[:0:-1], one_side])
    # one row beyond either end of the reach; there the end's amplitudes stand
    first = max(int(np.searchsorted(grid, found[-1], side="right")) - 1, 0)
    last = min(int(np.searchsorted(grid, found[0])), grid.size - 1)
    if last <= first:  # all of the reach between two rows, or beyond every offset that sounds
        first = min(max(first - 1, 0), grid.size - 2)
        last = first + 1
    offsets = grid[first : last + 1]
    places = np.interp(offsets, found[::-1], distances[::-1])
    detectors = [instrument.detector_at(float(place)) for place in places]
    if instrument.detector.kind == "diode":
        reference, variable = instrument.reference_amplitude or 1.0, instrument.variable_amplitude(places)
        rows = _diode_rows(detectors[0], reference, variable, offsets, instrument.lock_range, sample_rate)
    else:
        rows = graded_rows(instrument, places)
    highest = max(made.strength * made.peak for made in detectors)
    return Rows(offsets, _in_band(rows, offsets, sample_rate, instrument.lock_range) / highest, mirrored=False)


def graded_rows(instrument: Instrument, places: Floats) -> Complexes:
    """C_0..C_K of a detector without memory at hand distances (rows,), read between `GRADES` solved amplitudes.

    The hand moves the variable amplitude over a narrow range, whatever the tuning: the solved rows stay when a control
    tunes the instrument otherwise. Off by less than 5e-6 of the strongest harmonic for demos/willow.toml (a test).
    """
    everywhere = instrument.variable_amplitude(
        np.geomspace(instrument.curve.nearest, instrument.curve.farthest, GRADES)
    )
    lowest, highest = float(everywhere.min()), float(everywhere.max())
    reference = instrument.reference_amplitude or 1.0
    rows = _grades(instrument.detector, reference, lowest, highest)
    share = 0.0 if highest <= lowest else (instrument.variable_amplitude(places) - lowest) / (highest - lowest)
    position = np.clip(np.broadcast_to(share, places.shape) * (GRADES - 1), 0.0, GRADES - 1)
    below = np.minimum(position.astype(int), GRADES - 2)
    onward = (position - below)[:, None]
    return np.asarray((1.0 - onward) * rows[below] + onward * rows[below + 1], dtype=np.complex128)


@lru_cache(maxsize=8)
def _grades(detector: Detector, reference: float, lowest: float, highest: float) -> Floats:
    """Harmonics times strength (GRADES, K + 1) of a detector with variable amplitudes from lowest to highest, V."""
    made = [detector.with_amplitudes(reference, value) for value in np.linspace(lowest, highest, GRADES).tolist()]
    return np.array([one.strength * one.harmonics(MOST_HARMONICS) for one in made])


def row_offsets(sample_rate: float, lock_range: float) -> Floats:
    """Offsets of the rows, Hz, from 0 to where nothing sounds any more."""
    silent = FADE_TO * sample_rate
    count = math.ceil(ROWS_PER_E * math.asinh(silent / SLOWEST))
    beats = SLOWEST * np.sinh(np.arange(count) / ROWS_PER_E)
    offsets = np.hypot(beats, lock_range)
    if lock_range > 0.0:
        offsets[0] = lock_range * (1.0 + _EDGE)
        offsets = np.concatenate([[0.0], offsets])
    return np.append(offsets[offsets < silent], silent)


def _diode_rows(
    detector: Detector, reference: float, variable: Floats, offsets: Floats, lock_range: float, sample_rate: float
) -> Complexes:
    """C_0..C_K of the diode's cycles; as many points a cycle as the harmonics in the band ask for."""
    rows = np.zeros((offsets.size, MOST_HARMONICS + 1), dtype=np.complex128)
    size = np.abs(offsets)
    resting = size <= lock_range
    for index in np.flatnonzero(resting):
        made = detector.with_amplitudes(reference, float(variable[index]))
        rows[index] = made.harmonics(MOST_HARMONICS)
    wanted = np.minimum(sample_rate / (2.0 * np.maximum(size, 1e-3)), MOST_HARMONICS)
    fewest = 1024 if detector.diode.source_resistance == 0.0 else 512  # a resistor rounds the diode's corners
    points = np.clip(2.0 ** np.ceil(np.log2(4.0 * wanted)), fewest, 4.0 * MOST_HARMONICS).astype(int)
    for count in np.unique(points[~resting]):
        chosen = np.flatnonzero(~resting & (points == count))
        cycles = beat_cycle(detector.diode, reference, variable[chosen], offsets[chosen], lock_range, int(count))
        kept = min(count // 2, MOST_HARMONICS + 1)
        # a wave of cosines and sines: 2 / n times the transform, and half of that for the steady part
        rows[chosen, :kept] = np.fft.rfft(cycles, axis=0)[:kept].T * (2.0 / count)
        rows[chosen, 0] *= 0.5
    return rows


def _in_band(rows: Complexes, offsets: Floats, sample_rate: float, lock_range: float) -> Complexes:
    """The rows without the harmonics that would fold back anywhere up to their neighbours, and without faint ones."""
    strengths = np.abs(rows).max(axis=0)
    highest = int(np.flatnonzero(strengths[1:] > FAINT * strengths[1:].max())[-1]) + 1
    rows = rows[:, : highest + 1]
    orders = np.arange(1.0, highest + 1.0)
    tops = np.unique(np.geomspace(1, highest, _EDGES).astype(int))
    ends = np.array([highest_offset(strengths[: highest + 1], int(top), sample_rate, lock_range) for top in tops])
    edges = np.interp(orders, tops, np.minimum.accumulate(ends) * tops) / orders
    size = np.abs(offsets)
    farthest = np.maximum(np.append(size[1:], size[-1]), np.append(size[:1], size[:-1]))
    farthest[size >= FADE_TO * sample_rate] = math.inf
    room = 1.0 - FADE_FROM / FADE_TO
    fitting = rows.copy()
    fitting[:, 1:] *= np.clip((1.0 - farthest[:, None] / np.maximum(edges, 1e-9)) / room, 0.0, 1.0)
    return fitting
