"""Waveforms that change with the offset: a diode detector's, a drawn mixer's, and any detector's whose amplitudes the
hand changes.

One row per offset on a fine grid holds the cycle that belongs to it, with only those harmonics that fit the band there;
between two rows the sound crosses over in proportion. The hand's distance fixes offset and amplitudes together, so the
offset alone finds the row. A steady note repeats exactly, so nothing aliases whatever the rows hold.

Symbols: f offset, f_L lock range, g = sqrt(f^2 - f_L^2) pulled beat, Hz. Rows lie at g = g_0 sinh(k / ROWS_PER_E):
evenly below g_0, in even ratios above. Within the lock range, where the phase only creeps, rows cross over from the
waveform at the edge to the one at rest: exact at rest and at the edge, but for a steady part that the DC block takes
out.

Where ripple sways the two amplitudes, two more tables hold what a relative change of each does to every row, the steady
part whole: it is heard as hum. They follow the waveform as it stands, which a ripple slow against the radio frequency
and against the diode's RC allows.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np

from models.arrays import Complexes, Floats, Ints, Singles
from models.circuit.mixer_table import DrawnDetector
from models.detector.diode_response import beat_cycle
from models.detector.memoryless import Detector, harmonics_of
from models.hand.capacitance_curve import CapacitanceCurve
from models.instrument import Instrument
from models.quick_dataclass import dataclass
from synth.sound.band_edges import FADE_FROM, FADE_TO, FoldingLines, highest_offsets
from synth.sound.extent import extent
from synth.sound.wavetable import FAINT, MOST_HARMONICS, SMALLEST_SIZE, Cycles, table_size

SLOWEST = 8.0  # Hz, g_0
ROWS_PER_E = 17.0
WAY_POINTS = 4097  # of the hand's way, at which offsets are worked out
GRADES = 49  # variable amplitudes at which a memoryless detector is worked out
FEW_HARMONICS = 128  # tried first
CLOSE = 1e-3  # relative, of the strongest swing: more than the harmonics left out may add
_EDGE = 1e-6  # relative: the row at the edge of lock
_EDGES = 32  # harmonic numbers at which the band's edge is worked out
AMPLITUDE_STEP = 1e-4  # relative, of the central differences by an amplitude
NOTE_RATE = 48000.0  # Hz: how many harmonics of a note `note_rows` gives where a diode makes them
Scaled = Callable[[float, float], Complexes]
"""Rows of coefficients with the reference's and the variable oscillator's amplitude times a factor each."""


class RowTable:
    """Rows over `offsets` (rows,), Hz, rising, and their coefficients C_0..C_K (rows, K + 1), never changed.

    y(phi) = C_0 + sum over k >= 1 of Re(C_k exp(j k phi)), each already fit for its band. `mirrored`: the rows are for
    offsets >= 0, and a negative one sounds like the positive with the phase running backwards. The steady part of the
    slowest row counts as 0, unless it is `whole`. `folding`: the lines of C_1 that are taken away again.
    """

    def __init__(
        self,
        offsets: Floats,
        coefficients: Complexes,
        mirrored: bool,
        whole: bool = False,
        folding: FoldingLines | None = None,
    ) -> None:
        self._folding, self._fundamental = folding, coefficients[:, 1]
        heard = np.abs(coefficients[coefficients[:, 1:].any(axis=1)])
        size = table_size(heard) if heard.size else SMALLEST_SIZE
        steady = coefficients[:, 0].real
        self._steady = steady if whole else steady - steady[int(np.argmin(np.abs(offsets)))]
        waves = np.concatenate([self._steady[:, None], coefficients[:, 1:]], axis=1)
        self._cycles = Cycles.of_waves(np.concatenate([waves, waves[-1:]]), size)  # with a neighbour for the last row
        self._offsets, self._mirrored = offsets, mirrored
        numbers = np.arange(float(offsets.size))
        rising, falling = offsets > 0.0, offsets < 0.0
        at_rest = float(np.interp(0.0, offsets, numbers))
        self._forward = self._cycles.finder(np.append(0.0, offsets[rising]), np.append(at_rest, numbers[rising]))
        self._backward = self._cycles.finder(
            np.append(0.0, -offsets[falling][::-1]), np.append(at_rest, numbers[falling][::-1])
        )

    def steady(self, offset: float) -> float:
        """Steady part at an offset, Hz, against that of the slowest beat."""
        return float(np.interp(abs(offset) if self._mirrored else offset, self._offsets, self._steady))

    def sound(self, phase: Ints, offset: Floats) -> Singles:
        """Waveform (n,) at beat phases (n,), in steps of synth.sound.beat_phase, and offsets (n,), Hz."""
        lowest, highest = extent(offset)
        if self._mirrored and lowest < 0.0:
            phase = np.where(offset < 0.0, -phase, phase)
            offset = np.abs(offset)
        waveform = self._cycles.across(phase, *self._rows(offset, lowest, highest))
        if self._folding is not None and max(highest, -lowest) > self._folding.lowest:
            strength = np.interp(offset, self._offsets, self._fundamental)
            waveform -= (strength * self._folding.wave(phase, offset)).real
        return waveform

    def _rows(self, offset: Floats, lowest: float, highest: float) -> tuple[Ints | int, Singles]:
        """What `Cycles.across` reads at each offset (n,), Hz, all of which lie from `lowest` to `highest`."""
        if lowest >= 0.0:
            return self._forward.find(offset, lowest, highest)
        if self._mirrored:  # sizes, of which 0 is the least that is known
            return self._forward.find(offset, max(-highest, 0.0), max(highest, -lowest))
        if highest <= 0.0:
            return self._backward.find(np.abs(offset), -highest, -lowest)
        forward = self._forward.find(np.maximum(offset, 0.0), 0.0, highest)
        backward = self._backward.find(np.maximum(-offset, 0.0), 0.0, -lowest)
        return np.where(offset >= 0.0, forward[0], backward[0]), np.where(offset >= 0.0, forward[1], backward[1])


def row_table(instrument: Instrument, sample_rate: float) -> RowTable:
    """The rows of an instrument at a sample rate, Hz, at a peak of 1 where its slow beat is strongest."""
    if instrument.amplitude_varies:
        return _hand_table(instrument, sample_rate)
    return _even_table(instrument.detector, sample_rate, instrument.lock_range)


def instrument_rows(instrument: Instrument, sample_rate: float) -> Rows:
    """What `row_table` is made of."""
    if instrument.amplitude_varies:
        return _hand_rows(instrument, sample_rate)
    return _even_rows(instrument.fixed_detector, sample_rate, instrument.lock_range)


def change_tables(instrument: Instrument, sample_rate: float) -> tuple[RowTable, RowTable]:
    """What the whole of the reference's amplitude, and of the variable oscillator's, would add to the sound of
    `row_table` or `synth.sound.wavetable` if it stayed as small a change as ripple makes, in the same scale.
    """
    if instrument.amplitude_varies:
        return _hand_changes(instrument, sample_rate)
    return _even_changes(instrument.detector, sample_rate, instrument.lock_range)


def amplitude_changes(rows: Scaled) -> tuple[Complexes, Complexes]:
    """The derivatives of rows by the relative change of the reference's and of the variable oscillator's amplitude."""
    low, high = 1.0 - AMPLITUDE_STEP, 1.0 + AMPLITUDE_STEP
    scale = 0.5 / AMPLITUDE_STEP
    return (rows(high, 1.0) - rows(low, 1.0)) * scale, (rows(1.0, high) - rows(1.0, low)) * scale


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows to be: their offsets, Hz, what makes them, their highest peak, and what fits them to the band."""

    offsets: Floats
    made: Scaled
    highest: float
    mirrored: bool
    sample_rate: float
    lock_range: float

    @property
    def coefficients(self) -> Complexes:
        """C_0..C_K of every row, as `RowTable` takes them."""
        return self._fitting(self.made(1.0, 1.0))

    def table(self) -> RowTable:
        """The table of them."""
        folding = FoldingLines(self.sample_rate, self.lock_range)
        return RowTable(self.offsets, self.coefficients, self.mirrored, folding=folding)

    def changes(self) -> tuple[RowTable, RowTable]:
        """What a relative change of each amplitude adds."""
        of_reference, of_variable = (
            RowTable(self.offsets, self._fitting(rows), self.mirrored, whole=True)
            for rows in amplitude_changes(self.made)
        )
        return of_reference, of_variable

    def _fitting(self, rows: Complexes) -> Complexes:
        return _in_band(rows, self.offsets, self.sample_rate, self.lock_range) / self.highest


@lru_cache(maxsize=8)
def _even_table(detector: Detector, sample_rate: float, lock_range: float) -> RowTable:
    return _even_rows(detector, sample_rate, lock_range).table()


@lru_cache(maxsize=8)
def _even_changes(detector: Detector, sample_rate: float, lock_range: float) -> tuple[RowTable, RowTable]:
    return _even_rows(detector, sample_rate, lock_range).changes()


@lru_cache(maxsize=4)
def _hand_table(instrument: Instrument, sample_rate: float) -> RowTable:
    return _hand_rows(instrument, sample_rate).table()


@lru_cache(maxsize=4)
def _hand_changes(instrument: Instrument, sample_rate: float) -> tuple[RowTable, RowTable]:
    return _hand_rows(instrument, sample_rate).changes()


def _even_rows(detector: Detector, sample_rate: float, lock_range: float) -> Rows:
    """Rows of a detector whose amplitudes stay, for any offset; the stronger signal is taken as the reference's."""
    offsets = row_offsets(sample_rate, lock_range)
    stronger, weaker = detector.amplitudes
    at_rest = detector if detector.kind == "diode" else detector.with_amplitudes(stronger, weaker)

    def made(reference: float, variable: float) -> Complexes:
        one, other = reference * stronger, variable * weaker
        if detector.kind == "diode":
            return _diode_rows(detector, one, np.full(offsets.size, other), offsets, lock_range, sample_rate)
        now = detector.with_amplitudes(one, other)
        row = now.strength * now.harmonics(MOST_HARMONICS)
        return np.broadcast_to(row, (offsets.size, row.size)).astype(np.complex128)

    return Rows(offsets, made, at_rest.strength * at_rest.peak, True, sample_rate, lock_range)


@lru_cache(maxsize=4)
def _along_the_way(curve: CapacitanceCurve, stray: float) -> tuple[Floats, Floats]:
    """Distances (WAY_POINTS,), m, even in ln(distance) along a curve, and the antenna capacitances there, F, with its
    stray: what stays while a control moves the oscillators.
    """
    distances = np.geomspace(curve.nearest, curve.farthest, WAY_POINTS)
    return distances, curve.capacitance(distances) + stray


def _hand_rows(instrument: Instrument, sample_rate: float) -> Rows:
    """Rows along the hand's way, each with the amplitudes of the distance at which its offset occurs."""
    distances, capacitances = _along_the_way(instrument.curve, instrument.antenna_stray)
    found = instrument.offset_with(capacitances)
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

    def made(reference: float, variable: float) -> Complexes:
        strong = reference * (instrument.reference_amplitude or 1.0)
        weak = variable * instrument.variable_amplitude(places)
        if isinstance(instrument.detector, DrawnDetector):
            return _drawn_rows(instrument.detector, strong, weak, offsets, instrument.lock_range)
        if instrument.detector.kind != "diode":
            return graded_rows(instrument, places, reference, variable)
        return _diode_rows(instrument.detector, strong, weak, offsets, instrument.lock_range, sample_rate)

    if isinstance(instrument.detector, DrawnDetector):
        highest = _highest_peak(made(1.0, 1.0))  # its filters may let a faster beat through better
    else:
        highest = _highest_grade(
            instrument.fixed_detector, instrument.reference_amplitude or 1.0, *_amplitudes(instrument)
        )
    return Rows(offsets, made, highest, False, sample_rate, instrument.lock_range)


def note_rows(instrument: Instrument, places: Floats, reference: float = 1.0, variable: float = 1.0) -> Complexes:
    """C_0 and C_1 (rows, 2) of the sound at hand distances, m, none of them locked, each amplitude times its factor."""
    stronger, weaker = instrument.detector.amplitudes
    first, others = reference * stronger, np.full(places.shape, variable * weaker)
    if instrument.amplitude_varies:
        first = reference * (instrument.reference_amplitude or 1.0)
        others = variable * instrument.variable_amplitude(places)
    offsets = instrument.offset_frequency(places)
    if isinstance(instrument.detector, DrawnDetector):
        return _drawn_rows(instrument.detector, first, others, offsets, instrument.lock_range)[:, :2]
    if instrument.detector.kind == "diode":
        return _diode_rows(instrument.detector, first, others, offsets, instrument.lock_range, NOTE_RATE)[:, :2]
    made = [instrument.fixed_detector.with_amplitudes(first, other) for other in others.tolist()]
    return np.array([one.strength * one.harmonics(1) for one in made], dtype=np.complex128).reshape(-1, 2)


def graded_rows(
    instrument: Instrument, places: Floats, reference_factor: float = 1.0, variable_factor: float = 1.0
) -> Complexes:
    """C_0..C_K of a detector without memory at hand distances (rows,), read between `GRADES` solved amplitudes, each
    of the two times its factor. K leaves out what is faint at every amplitude without them.

    The hand moves the variable amplitude over a narrow range, whatever the tuning: the solved rows stay when a control
    tunes the instrument otherwise. Off by less than 5e-6 of the strongest harmonic for demos/willow.toml (a test).
    """
    lowest, highest = _amplitudes(instrument)
    reference = instrument.reference_amplitude or 1.0
    detector, kept = instrument.fixed_detector, _kept_harmonics(instrument.fixed_detector, reference, lowest, highest)
    rows = _grades(detector, reference_factor * reference, variable_factor * lowest, variable_factor * highest, kept)
    share = 0.0 if highest <= lowest else (instrument.variable_amplitude(places) - lowest) / (highest - lowest)
    position = np.clip(np.broadcast_to(share, places.shape) * (GRADES - 1), 0.0, GRADES - 1)
    below = np.minimum(position.astype(int), GRADES - 2)
    onward = (position - below)[:, None]
    return np.asarray((1.0 - onward) * rows[below] + onward * rows[below + 1], dtype=np.complex128)


def _amplitudes(instrument: Instrument) -> tuple[float, float]:
    """Least and greatest variable amplitude along the hand's way, V."""
    places = np.geomspace(instrument.curve.nearest, instrument.curve.farthest, GRADES)
    everywhere = instrument.variable_amplitude(places)
    return float(everywhere.min()), float(everywhere.max())


@lru_cache(maxsize=16)
def _highest_grade(detector: Detector, reference: float, lowest: float, highest: float) -> float:
    """The highest peak of a slow beat with variable amplitudes from lowest to highest, V."""
    heard = _grades(detector, reference, lowest, highest, _kept_harmonics(detector, reference, lowest, highest))[:, 1:]
    # the ends of the swing, but for the harmonics left out: which grades to look at closely
    swings = np.maximum(np.abs(heard.sum(axis=1)), np.abs(heard[:, 1::2].sum(axis=1) - heard[:, ::2].sum(axis=1)))
    made = _graded(detector, reference, lowest, highest)
    close = np.flatnonzero(swings > (1.0 - CLOSE) * swings.max())
    return max(made[grade].strength * made[grade].peak for grade in close.tolist())


@lru_cache(maxsize=16)
def _kept_harmonics(detector: Detector, reference: float, lowest: float, highest: float) -> int:
    """The highest harmonic that is a tenth of faint, or more, at any variable amplitude from lowest to highest, V."""
    last = FEW_HARMONICS
    for count in (FEW_HARMONICS, MOST_HARMONICS):
        last = _last_above(0.1 * FAINT, _grades(detector, reference, lowest, highest, count))
        if last < FEW_HARMONICS:
            break
    return last


@lru_cache(maxsize=16)
def _grades(detector: Detector, reference: float, lowest: float, highest: float, count: int) -> Floats:
    """Harmonics 0..count times strength (GRADES, count + 1) of a detector with variable amplitudes from lowest to
    highest, V.
    """
    if count not in (FEW_HARMONICS, MOST_HARMONICS):
        wider = FEW_HARMONICS if count < FEW_HARMONICS else MOST_HARMONICS
        return _grades(detector, reference, lowest, highest, wider)[:, : count + 1]
    made = _graded(detector, reference, lowest, highest)
    return np.asarray(harmonics_of(made, count) * np.array([one.strength for one in made])[:, None])


@lru_cache(maxsize=4)
def _graded(detector: Detector, reference: float, lowest: float, highest: float) -> tuple[Detector, ...]:
    """The detector with `GRADES` variable amplitudes from lowest to highest, V."""
    return tuple(detector.with_amplitudes(reference, value) for value in np.linspace(lowest, highest, GRADES).tolist())


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


def _drawn_rows(
    detector: DrawnDetector, reference: float, variable: Floats, offsets: Floats, lock_range: float
) -> Complexes:
    """C_0..C_N of a drawn mixer at the beats that the offsets make; within the lock range the phase stands still."""
    beats = np.sign(offsets) * np.sqrt(np.maximum(offsets**2 - lock_range**2, 0.0))
    return detector.table.read(beats, reference, variable)


def _highest_peak(rows: Complexes) -> float:
    """The greatest value of any row without its steady part."""
    swinging = rows.copy()
    swinging[:, 0] = 0.0
    count = 8 * rows.shape[1]
    return float(np.abs(np.fft.irfft(0.5 * count * swinging, n=count, axis=1)).max())


def _last_above(share: float, rows: Complexes | Floats) -> int:
    """The highest harmonic that reaches this share of the strongest in any of the rows (n, K + 1)."""
    strengths = np.abs(rows[:, 1:]).max(axis=0)
    return int(np.flatnonzero(strengths > share * strengths.max())[-1]) + 1


def _in_band(rows: Complexes, offsets: Floats, sample_rate: float, lock_range: float) -> Complexes:
    """The rows without the harmonics that would fold back anywhere up to their neighbours, and without faint ones."""
    highest = _last_above(FAINT, rows)
    rows = rows[:, : highest + 1]
    strengths = np.abs(rows).max(axis=0)
    orders = np.arange(1.0, highest + 1.0)
    tops = np.unique(np.geomspace(1, highest, _EDGES).astype(int))
    ends = highest_offsets(strengths, tops, sample_rate, lock_range)
    edges = np.interp(orders, tops, np.minimum.accumulate(ends) * tops) / orders
    size = np.abs(offsets)
    farthest = np.maximum(np.append(size[1:], size[-1]), np.append(size[:1], size[:-1]))
    farthest[size >= FADE_TO * sample_rate] = math.inf
    room = 1.0 - FADE_FROM / FADE_TO
    fitting = rows.copy()
    fitting[:, 1:] *= np.clip((1.0 - farthest[:, None] / np.maximum(edges, 1e-9)) / room, 0.0, 1.0)
    return fitting
