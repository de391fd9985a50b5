"""What ripple of the supply does to the beat, as figures: vibrato and lines beside every note, and the hum itself.

All from the laws that the voice renders (models.circuit.ripple_law). First order in the ripple, and slow against the
beat where the oscillators pull each other. Levels are those at the detector, ahead of the tone filter.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from models.arrays import Complexes, Floats
from models.circuit.modulation import HUM_FREQUENCIES, stronger_sideband, vibrato_cents
from models.circuit.ripple_law import RippleLaw
from models.instrument import Instrument
from models.pitch_field import NoteLine
from models.quick_dataclass import dataclass
from synth.analysis.adjoint_figures import MILLIVOLT, steepness
from synth.analysis.figures import known
from synth.build.workbench import OpenedDesign
from synth.sound.row_table import amplitude_changes, note_rows

FIRST_ORDER = 0.5
"""Largest swing (of the phase, rad, and of an amplitude, as a share) whose lines are told: a quarter of a dB off."""
NOTE_LEVEL = 70.0
"""dB SPL of a note, where it is said whether hum beside it is heard."""
HEARING = (
    (10.0, 95.0),
    (20.0, 78.5),
    (31.5, 59.5),
    (50.0, 44.0),
    (80.0, 31.5),
    (125.0, 22.1),
    (250.0, 11.4),
    (1e3, 2.4),
)
"""Threshold of hearing, Hz and dB SPL (ISO 226:2003, from memory; 10 Hz a guess)."""
SILENT = 1e-12
"""Of the note: a line below it is none."""


@dataclass(frozen=True, slots=True)
class NoteHum:
    """What the ripple does to one note: cents of vibrato (peak), and the stronger of the two lines beside it, dB below
    it; None where the ripple is too strong for its law, and where there is no line."""

    note: str
    cents: float
    sidebands_db: float | None


@dataclass(frozen=True, slots=True)
class BeatHum:
    """What a ripple of `ripple_v` (peak) and `ripple_hz` that enters there does to the beat: its peak deviation at zero
    beat for each volt, the cents of vibrato at the lowest note, every note of the field, and the line at the ripple's
    own frequency in the sound of a slow beat, dB below the note (None: the detector gives none)."""

    ripple_v: float
    ripple_hz: float
    enters: str
    beat_hz_per_v: float
    lowest_note_cents: float | None
    line_db: float | None
    notes: tuple[NoteHum, ...]


def beat_hum(opened: OpenedDesign, lines: tuple[NoteLine, ...]) -> tuple[BeatHum, ...]:
    """What 1 mV of every usual frequency does wherever it may enter; none without solved circuits."""
    if opened.adjoints is None:
        return ()
    return tuple(_all_hum(opened, lines))


def given_hum(opened: OpenedDesign, lines: tuple[NoteLine, ...]) -> BeatHum | None:
    """What the ripple of the design's [supply] does; None without one."""
    part = opened.design.supply
    if part is None or opened.ripple is None:
        return None
    return _hum(_Field(opened, lines), opened.ripple, part.ripple, part.ripple_at)


def _all_hum(opened: OpenedDesign, lines: tuple[NoteLine, ...]) -> Iterator[BeatHum]:
    field = _Field(opened, lines)
    for frequency in HUM_FREQUENCIES:
        for entry, law in opened.ripple_laws[frequency].items():
            yield _hum(field, law.times(MILLIVOLT), MILLIVOLT, entry)


class _Field:
    """The notes of a field, and how far the sound of each goes with both amplitudes."""

    def __init__(self, opened: OpenedDesign, lines: tuple[NoteLine, ...]) -> None:
        instrument = opened.instrument
        self.names = [line.name for line in lines]
        self.frequencies = np.array([line.frequency for line in lines], dtype=np.float64)
        places = np.array([line.distance for line in lines], dtype=np.float64)
        self.capacitances = instrument.antenna_capacitance(places)
        self.steepness = steepness(self.frequencies, instrument.lock_range)
        self.zero_beat, self.lowest = opened.tuning_capacitance, opened.field.lowest_frequency
        if self.lowest is not None:
            self.lowest_capacitance = float(instrument.antenna_capacitance(opened.field.distance_at(self.lowest)))
            self.lowest_steepness = float(steepness(self.lowest, instrument.lock_range))
        self.swelling, self.rising = _amplitude_shares(instrument, places)


def _amplitude_shares(instrument: Instrument, places: Floats) -> tuple[Floats, Floats]:
    """By how much the note at each place (n,), m, and the steady part beside it, grow with the reference's and the
    variable oscillator's amplitude: shares of the note, (2, n) each.
    """
    if places.size == 0:
        return np.empty((2, 0)), np.empty((2, 0))

    def rows(reference: float, variable: float) -> Complexes:
        return note_rows(instrument, places, reference, variable)

    note = rows(1.0, 1.0)[:, 1]
    changes = amplitude_changes(rows)
    swelling = np.array([(change[:, 1] / note).real for change in changes])
    return swelling, np.array([change[:, 0].real / np.abs(note) for change in changes])


def _hum(field: _Field, law: RippleLaw, volts: float, entry: str) -> BeatHum:
    deviations = law.deviation(field.capacitances) * field.steepness
    variable = law.variable_amplitude(field.capacitances)
    both = np.stack([np.full_like(variable, law.reference_amplitude), variable])
    swelling = np.sum(field.swelling * both, axis=0)
    swings = np.maximum(np.abs(swelling), np.abs(deviations) / law.frequency)
    lines = _decibels(stronger_sideband(swelling, deviations, law.frequency))
    levels = np.where(swings <= FIRST_ORDER, lines, np.nan)
    cents = vibrato_cents(field.frequencies, np.abs(deviations)) if field.names else np.empty(0)
    lowest, steady = None, np.nan
    if field.lowest is not None:
        sway = abs(complex(law.deviation(field.lowest_capacitance))) * field.lowest_steepness
        lowest = float(vibrato_cents(field.lowest, sway))
    if field.names:  # the lowest comes first
        steady = float(_decibels(np.abs(np.sum(field.rising * both, axis=0)))[0])
    return BeatHum(
        ripple_v=volts,
        ripple_hz=law.frequency,
        enters=entry,
        beat_hz_per_v=abs(complex(law.deviation(field.zero_beat))) / volts,
        lowest_note_cents=lowest,
        line_db=known(steady),
        notes=tuple(
            NoteHum(name, float(one), known(float(level)))
            for name, one, level in zip(field.names, cents, levels, strict=True)
        ),
    )


def heard_line(level: float, frequency: float) -> str:
    """Whether a line of `level`, dB below a note of NOTE_LEVEL, is above the threshold of hearing at its frequency, Hz.

    The note may mask it, and the loudspeaker may not give it: heard at most.
    """
    pitches, thresholds = zip(*HEARING, strict=True)
    above = NOTE_LEVEL + level - float(np.interp(math.log(frequency), np.log(pitches), thresholds))
    if above >= 0.0:
        return "can be heard"
    return "far below hearing" if above < -20.0 else "below hearing"


def _decibels(shares: Floats) -> Floats:
    """Levels, dB; NaN where there is nothing."""
    there = shares > SILENT
    return np.where(there, 20.0 * np.log10(np.where(there, shares, 1.0)), np.nan)
