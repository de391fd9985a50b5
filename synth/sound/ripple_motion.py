"""Ripple in the sound: its running phase, and what it does to the offset and to both amplitudes at each sample.

The phase is counted in whole numbers as the beat's is (synth.sound.beat_phase), so that how a sound is cut into blocks
changes nothing; its frequency is rounded by less than 1e-12 Hz. Before the first sample it is 0, the ripple's peak.
"""

from __future__ import annotations

import math

import numpy as np

from models.arrays import Floats
from models.circuit.ripple_law import RippleLaw
from models.instrument import Instrument
from synth.sound.beat_phase import STEPS_PER_TURN, TURN_MASK

POINTS = 513
"""Hand distances at which the law is read, even in ln(distance); straight lines between them."""


class RippleMotion:
    """The ripple of an instrument, running at a sample rate, Hz."""

    def __init__(self, law: RippleLaw, instrument: Instrument, sample_rate: float) -> None:
        curve = instrument.curve
        self._distances = np.geomspace(curve.nearest, curve.farthest, POINTS)
        inside = instrument.clip_to_curve(self._distances)
        capacitances = instrument.antenna_capacitance(inside)
        self._deviations = law.deviation(capacitances)
        self._variable = law.variable_amplitude(capacitances)
        self._reference = law.reference_amplitude
        self._step = np.int64(round(law.frequency / sample_rate * STEPS_PER_TURN))
        self.phase = 0

    def deviation_now(self, distance: float) -> float:
        """Deviation of the offset, Hz, at the last sample, with the hand at a distance, m."""
        peak = complex(np.interp(distance, self._distances, self._deviations))
        angle = self.phase * (2.0 * math.pi / STEPS_PER_TURN)
        return peak.real * math.cos(angle) - peak.imag * math.sin(angle)

    def next(self, distance: Floats) -> tuple[Floats, Floats, Floats]:
        """At the next samples, for hand distances (n,), m: the deviation of the offset, Hz, and the relative changes of
        the reference's and of the variable oscillator's amplitude, all (n,).
        """
        # a product of whole numbers wraps every 256 turns, which changes nothing
        phases = (self.phase + self._step * np.arange(1, distance.size + 1)) & TURN_MASK
        self.phase = int(phases[-1])
        angles = phases * (2.0 * math.pi / STEPS_PER_TURN)
        cosines, sines = np.cos(angles), np.sin(angles)
        deviations = np.interp(distance, self._distances, self._deviations)
        variable = np.interp(distance, self._distances, self._variable)
        return (
            deviations.real * cosines - deviations.imag * sines,
            self._reference.real * cosines - self._reference.imag * sines,
            variable.real * cosines - variable.imag * sines,
        )
