"""One instrument sounding: hand distance -> offset -> beat phase -> detector waveform -> tone filter.

Ripple sways the offset ahead of the beat phase, and both amplitudes ahead of the tone filter: what the detector gives
changes by each share times the tables of `synth.sound.row_table.change_tables`, to first order.
"""

from __future__ import annotations

import math

import numpy as np

from models.arrays import Floats
from models.checks import positive
from models.instrument import Instrument
from models.pulled_phase import PulledPhase
from models.pulling import pulled_beat_of
from models.quick_dataclass import dataclass
from synth.errors import DesignError
from synth.sound.beat_phase import (
    MOST_TURNS,
    TURN_MASK,
    PitchLaw,
    accumulate,
    fixed_from_radians,
    fixed_from_tangent,
    radians_from_fixed,
)
from synth.sound.filters import ToneFilter
from synth.sound.ripple_motion import RippleMotion
from synth.sound.row_table import RowTable, change_tables, row_table
from synth.sound.source import Sound
from synth.sound.wavetable import Wavetable, wavetable

CHANGE_TIME = 0.008  # s, from one instrument to the next


@dataclass(frozen=True, slots=True)
class InstrumentSource:
    """The instrument as a source of sound; the hand is the distance, m."""

    instrument: Instrument

    @property
    def level(self) -> float:
        """Peak at full volume, of full scale."""
        return self.instrument.level

    @property
    def resting(self) -> float:
        """The hand away, m."""
        return float(self.instrument.curve.farthest)

    def start(self, sample_rate: float) -> Strand:
        """The sound; the tables are built here."""
        return Strand(self.instrument, sample_rate)


class Strand:
    """An instrument's tables and its running state: the last offset frequency, the phases of beat and ripple, the tone
    filter.

    Raises DesignError for a lock range of a quarter of the sample rate or more, and for oscillators that come
    to lie more than MOST_TURNS sample rates apart.
    """

    change_time = CHANGE_TIME

    def __init__(self, instrument: Instrument, sample_rate: float) -> None:
        self.level = instrument.level
        self._rate = positive("sample_rate", sample_rate)
        self._lock = instrument.lock_range
        if self._lock >= 0.25 * self._rate:
            raise DesignError(
                f"lock_range must be below a quarter of the sample rate, {0.25 * self._rate:g} Hz, to be heard; "
                f"got {self._lock:g}: lower coupling.lock_range, or use larger output resistors"
            )
        self._law = PitchLaw(instrument)
        if self._law.highest > MOST_TURNS * self._rate:
            raise DesignError(
                f"sample_rate must be >= {self._law.highest / MOST_TURNS:g} Hz for an instrument whose "
                f"oscillators come to lie {self._law.highest:g} Hz apart; got {self._rate:g}: tune the two "
                "tanks nearer to each other"
            )
        self._table: Wavetable | RowTable
        if instrument.detector.kind == "diode" or instrument.amplitude_varies:
            self._table = row_table(instrument, self._rate)
        else:
            self._table = wavetable(instrument.detector, self._rate, self._lock)
        self._motion: RippleMotion | None = None
        self._changes: tuple[RowTable, ...] = ()
        if instrument.ripple is not None:
            self._motion = RippleMotion(instrument.ripple, instrument, self._rate)
            self._changes = change_tables(instrument, self._rate)
        self._dc_block = instrument.dc_block
        self._tone = ToneFilter(instrument.tone_low_pass, instrument.dc_block, self._rate, instrument.level)
        self._offset = 0.0
        self._phase = 0
        self._pulled = PulledPhase(self._lock, 1.0 / self._rate) if self._lock > 0.0 else None
        self.within = self._law.within

    @property
    def frequency(self) -> float:
        """Beat at the last sample, Hz, pulled and signed."""
        return pulled_beat_of(self._offset, self._lock)

    @property
    def phase(self) -> float:
        """Beat phase at the last sample, rad, 0 to 2 pi."""
        return radians_from_fixed(self._phase)

    @property
    def ripple_phase(self) -> int:
        """Phase of the ripple at the last sample, in steps of synth.sound.beat_phase; 0 without one."""
        return 0 if self._motion is None else self._motion.phase

    def begin(self, distance: float, before: Sound | None = None) -> None:
        """Start as if the hand had been at `distance` for long: locked oscillators rest at their phase.

        Otherwise the waveform starts at its peak (phase 0), where a DC block that starts empty errs least. After
        another strand the beat phase goes on, and what that one's filter held.
        """
        if self._motion is not None:
            self._motion.phase = before.ripple_phase if isinstance(before, Strand) else 0
        self._offset = self._offset_at(distance)
        if isinstance(before, Strand):
            self._turned_to(before._phase)
            raised = self._table.steady(self._offset) - before._table.steady(before._offset)
            self._tone.follow(before._tone, raised)
        else:
            locked = abs(self._offset) < self._lock
            self._turned_to(int(fixed_from_radians(math.asin(self._offset / self._lock))) if locked else 0)
            self._tone.settle(self._table.steady(self._offset))
        self._settle_if_still()

    def sound(self, distance: Floats) -> Floats:
        """The next samples (n,), n >= 1, at full volume, for smoothed hand distances (n,), m."""
        offsets = np.empty(distance.size + 1)
        offsets[0] = self._offset
        self._law.offset(distance, out=offsets[1:])
        shares: list[Floats] = []
        if self._motion is not None:
            swayed, *shares = self._motion.next(distance)
            offsets[1:] += swayed
        if self._pulled is not None:
            phases = fixed_from_tangent(self._pulled.tangents(offsets))
        else:
            phases = accumulate(self._phase, offsets, self._rate)
        self._phase = int(phases[-1]) & TURN_MASK
        self._offset = float(offsets[-1])
        waveform = self._table.sound(phases, offsets[1:])
        for share, table in zip(shares, self._changes, strict=True):
            waveform += share * table.sound(phases, offsets[1:])
        return self._tone.filter(waveform)

    def _turned_to(self, phase: int) -> None:
        """Set the beat phase, in steps."""
        self._phase = phase
        if self._pulled is not None:
            self._pulled.set(radians_from_fixed(phase))

    def _offset_at(self, distance: float) -> float:
        place = min(max(distance, self._law.nearest), self._law.farthest)
        swayed = 0.0 if self._motion is None else self._motion.deviation_now(place)
        return self._law.at(place) + swayed

    def _settle_if_still(self) -> None:
        """A waveform that rests, or moves below the DC block's corner, is taken as blocked already."""
        if abs(self.frequency) < self._dc_block:
            resting = self._table.sound(np.array([self._phase]), np.array([self._offset]))
            self._tone.settle(float(resting[0]))
