"""The pitch field: which note sounds at which hand distance, and how evenly the notes lie.

The capacitance falls as the hand withdraws, both modes of the circuit fall as it grows, so the offset
(reference minus variable) falls strictly with distance and crosses zero at one place at most. On either side
of that place the pitch is a one-to-one function of distance. The field described here is the side that
reaches the higher note:

- "rising": between the nearest distance and zero beat, the pitch rises as the hand comes nearer (the usual tuning);
- "falling": from zero beat outward, the pitch falls as the hand comes nearer.

Taken for a hand at rest (steady pulled beat). Neglected: the tone filter and the ear's own threshold against
frequency; a note counts as playable from LOWEST_AUDIBLE to HIGHEST_AUDIBLE (the usual bounds of hearing,
common practice).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.arrays import Floats
from models.checks import finite, finite_array, positive, positive_array
from models.instrument import Instrument
from models.pitch import REFERENCE_A, cents, frequency_of_note, note_name, note_number, parse_note, rms_from_line
from models.pulling import held_from
from models.quick_dataclass import dataclass
from models.roots import root, roots

LOWEST_AUDIBLE = 20.0  # Hz
HIGHEST_AUDIBLE = 20_000.0  # Hz
HELD_ROUNDS = 100
LINE_SAMPLES = 2000  # distances of a straight-line fit: the spacing adds an error of order 1e-7 of the result


@dataclass(frozen=True, slots=True)
class OctaveSpan:
    """One whole octave in space: its two notes, their frequencies (Hz) and hand distances (m)."""

    low_note: str
    high_note: str
    low_frequency: float
    high_frequency: float
    far_distance: float
    near_distance: float

    @property
    def width(self) -> float:
        """Room the octave takes, m."""
        return self.far_distance - self.near_distance


@dataclass(frozen=True, slots=True)
class NoteLine:
    """One note in space: its number (69 is A4), name, frequency (Hz) and hand distance (m)."""

    number: int
    name: str
    frequency: float
    distance: float


@dataclass(frozen=True, slots=True)
class PitchField:
    """The field of an instrument; made by `pitch_field`. Distances m, frequencies Hz.

    `zero_beat_distance` is None if out of reach; `locked_span` the distances (near, far) at which the
    oscillators are locked and silent, None if there are none. The four playable values are None together if
    no distance gives a note.
    """

    instrument: Instrument
    reference_a: float
    direction: str
    zero_beat_distance: float | None
    locked_span: tuple[float, float] | None
    playable_near: float | None
    playable_far: float | None
    lowest_frequency: float | None
    highest_frequency: float | None

    def frequency_at(self, distance: ArrayLike) -> Floats:
        """Pitch in Hz (never negative) at hand distances in m: the size of the beat."""
        return np.abs(self.instrument.beat_frequency(distance))

    def pitch_cents(self, distance: ArrayLike) -> Floats:
        """Pitch in cents above A4 at hand distances in m within the playable span."""
        return cents(self.frequency_at(self._playable("distance", distance)), self.reference_a)

    def reaches(self, frequency: ArrayLike) -> NDArray[np.bool_]:
        """Whether the field plays each frequency (Hz)."""
        wanted = positive_array("frequency", frequency)
        if self.lowest_frequency is None or self.highest_frequency is None:
            return np.zeros(wanted.shape, dtype=np.bool_)
        return np.asarray((wanted >= self.lowest_frequency) & (wanted <= self.highest_frequency))

    def distance_at(self, frequency: ArrayLike) -> Floats:
        """Hand distances (m) that sound frequencies (Hz), within 1e-9 m; ValueError if out of reach.

        All are searched side by side (T. R. Chandrupatla, Adv. Eng. Softw. 28 (1997) 145, as scipy has it).
        """
        wanted = positive_array("frequency", frequency)
        near, far = self._span()
        within = self.reaches(wanted)
        if not np.all(within):
            raise ValueError(
                f"frequency must be within the field, {self.lowest_frequency:.6g} to "
                f"{self.highest_frequency:.6g} Hz; got {wanted[~within].flat[0]:.6g}"
            )
        sign = 1.0 if self.direction == "rising" else -1.0
        offset = sign * np.hypot(wanted, self.instrument.lock_range)
        law = self.instrument.offset_frequency
        aims = np.clip(offset, law(far), law(near))  # the offset falls with distance; the ends round
        return roots(lambda places: law(places) - aims, near, np.full(aims.shape, far), xtol=1e-12)

    def cents_per_mm(self, distance: ArrayLike) -> Floats:
        """Size of the change of pitch with hand distance, cents per mm (not negative), at distances in m."""
        where = self._playable("distance", distance)
        offset = self.instrument.offset_frequency(where)
        # beat = sqrt(offset^2 - lock^2), so d(beat) / beat = offset d(offset) / beat^2
        per_metre = offset * self.instrument.offset_slope(where) / self.instrument.beat_frequency(where) ** 2
        return np.asarray(np.abs(1200.0 / math.log(2.0) * per_metre) * 1e-3)

    def lowest_held(self, sway: float, hold_cents: float, lock_range: float | None = None) -> float | None:
        """Lowest note, Hz, that a `sway` of the hand, m (peak), moves by no more than `hold_cents` (peak).

        `lock_range`, Hz, in place of the instrument's. The note that a lock range allows, `held_from`, depends on
        the slope of the offset at its own distance: with a wider lock range that note lies nearer, where the field is
        steeper. Taken from the
        edge of lock inwards until the two agree; None where no note in reach is held, less than the field's lowest note
        where that is held already. To first order in the sway.
        """
        lock = self.instrument.lock_range if lock_range is None else lock_range
        sign, note = (1.0 if self.direction == "rising" else -1.0), 1.0
        for _ in range(HELD_ROUNDS):
            offset = math.hypot(note, lock)
            place = _crossing(self.instrument, sign * offset)
            if sign * float(self.instrument.offset_frequency(place)) < offset * (1.0 - 1e-9):
                return None  # nearer than the hand can come
            wander = positive("sway", sway) * abs(float(self.instrument.offset_slope(place)))
            before, note = note, held_from(lock, wander, hold_cents)
            if abs(note - before) <= 1e-9 * note:
                return note
        return None

    def linearity_error(self, near: float, far: float) -> float:
        """RMS cents by which the pitch leaves its best straight line against distance, over near..far (m).

        The line is the least-squares one with every distance counting alike.
        """
        if not finite("near", near) < finite("far", far):
            raise ValueError(f"near must be < far; got {near:g} and {far:g}")
        self._playable("near", near)
        self._playable("far", far)
        steps = (np.arange(LINE_SAMPLES) + 0.5) / LINE_SAMPLES - 0.5
        return float(rms_from_line(self.pitch_cents(0.5 * (near + far) + (far - near) * steps)))

    def linearity_error_between(self, low_frequency: float, high_frequency: float) -> float:
        """`linearity_error` over the distances that sound these two frequencies (Hz)."""
        low, high = positive("low_frequency", low_frequency), positive("high_frequency", high_frequency)
        ends = self.distance_at([low, high])
        return self.linearity_error(float(ends.min()), float(ends.max()))

    def notes(self) -> tuple[NoteLine, ...]:
        """Every note of the scale in reach, lowest first."""
        if self.lowest_frequency is None or self.highest_frequency is None:
            return ()
        ends = note_number([self.lowest_frequency, self.highest_frequency], self.reference_a)
        numbers = np.arange(math.floor(ends[0]), math.ceil(ends[1]) + 1)
        numbers = numbers[self.reaches(frequency_of_note(numbers, self.reference_a))]
        frequencies = frequency_of_note(numbers, self.reference_a)
        distances = self.distance_at(frequencies)
        return tuple(
            NoteLine(int(number), note_name(int(number)), float(frequency), float(distance))
            for number, frequency, distance in zip(numbers, frequencies, distances, strict=True)
        )

    def octaves(self, base: str = "C") -> tuple[OctaveSpan, ...]:
        """Every whole octave in reach from one note called `base` ("C", "F#") to the next, lowest first."""
        step = parse_note(f"{base}4") % 12
        lines = {line.number: line for line in self.notes()}
        spans = []
        for number, low in lines.items():
            high = lines.get(number + 12)
            if number % 12 == step and high is not None:
                near, far = sorted((low.distance, high.distance))
                spans.append(OctaveSpan(low.name, high.name, low.frequency, high.frequency, far, near))
        return tuple(spans)

    def _span(self) -> tuple[float, float]:
        if self.playable_near is None or self.playable_far is None:
            raise ValueError("the field is silent: no hand distance in reach gives an audible beat")
        return self.playable_near, self.playable_far

    def _playable(self, name: str, distance: ArrayLike) -> Floats:
        near, far = self._span()
        where = finite_array(name, distance)
        outside = (where < near) | (where > far)
        if np.any(outside):
            raise ValueError(
                f"{name} must be within the playable span, {near:.6g} to {far:.6g} m; got {where[outside].flat[0]:.6g}"
            )
        return where


def pitch_field(instrument: Instrument, reference_a: float = REFERENCE_A) -> PitchField:
    """The pitch field of an instrument, with A4 at `reference_a` Hz."""
    positive("reference_a", reference_a)
    near, far = instrument.curve.nearest, instrument.curve.farthest
    nearest, farthest = (float(value) for value in instrument.offset_frequency([near, far]))
    lock = instrument.lock_range
    rising = abs(nearest) >= abs(farthest) if nearest > 0.0 > farthest else nearest > 0.0
    sign = 1.0 if rising else -1.0
    bounds = [sign * math.hypot(bound, lock) for bound in (LOWEST_AUDIBLE, HIGHEST_AUDIBLE)]
    ends = sorted(_crossing(instrument, offset) for offset in bounds)
    pitches = sorted(float(abs(instrument.beat_frequency(end))) for end in ends)
    audible = ends[0] < ends[1]
    locked = _crossing(instrument, lock), _crossing(instrument, -lock)
    return PitchField(
        instrument=instrument,
        reference_a=reference_a,
        direction="rising" if rising else "falling",
        zero_beat_distance=_crossing(instrument, 0.0) if nearest >= 0.0 >= farthest else None,
        locked_span=locked if lock > 0.0 and locked[0] < locked[1] else None,
        playable_near=ends[0] if audible else None,
        playable_far=ends[1] if audible else None,
        lowest_frequency=pitches[0] if audible else None,
        highest_frequency=pitches[1] if audible else None,
    )


def _crossing(instrument: Instrument, offset: float) -> float:
    """Distance (m) at which the offset (Hz) falls through a value, or the end of the curve nearest to it."""
    near, far = instrument.curve.nearest, instrument.curve.farthest
    if float(instrument.offset_frequency(near)) <= offset:
        return near
    if float(instrument.offset_frequency(far)) >= offset:
        return far
    return root(lambda distance: float(instrument.offset_frequency(distance)) - offset, near, far, xtol=1e-13)
