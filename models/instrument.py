"""The instrument as one chain: hand distance, antenna capacitance, variable oscillator, offset, pulled beat.

offset = reference - variable, Hz: positive when the hand is nearer than the distance of zero beat. The variable
oscillator is taken lossless and at its small-signal frequency, unless a `VariableLaw` of the solved circuit is given,
which then also says how its amplitude goes with the hand; drift and the player's movement other than the distance are
left out. Loss moves the frequency itself by some hertz, but an instrument tuned to zero beat at the same place by
little: below 1.5 cents for coils of Q 60 to 100 behind 20 mH (a test measures it).
"""

from __future__ import annotations

from dataclasses import field

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.branch.antenna_branch import DIRECT, ModeHop, SeriesInductor, mode_hop
from models.branch.modes import MODES, mode_frequencies, mode_slope
from models.checks import finite_array, fraction, non_negative, one_of, positive
from models.circuit.mixer_table import DrawnDetector
from models.circuit.ripple_law import RippleLaw
from models.circuit.variable_law import VariableLaw
from models.detector.memoryless import Detector
from models.hand.capacitance_curve import CapacitanceCurve
from models.pulling import pulled_beat
from models.quick_dataclass import dataclass
from models.tank import Tank

AnyDetector = Detector | DrawnDetector


@dataclass(frozen=True, slots=True)
class Instrument:
    """Everything that turns a hand distance into a beat note. SI units: F, H, Hz.

    `curve`: antenna capacitance against hand distance (m). `antenna_stray`: capacitance of mount and lead in
    parallel with the antenna. `branch`: the series inductor, `DIRECT` for an antenna straight across the tank.
    `mode`: which of the two frequencies the circuit swings at (a direct antenna has the low one only).
    `lock_range`: Hz within which the oscillators pull into step. `tone_low_pass` and `dc_block`: corner
    frequencies of the tone filter, Hz. `level`: peak at full volume, 0 to 1 of full scale. `variable_law`: the solved
    variable oscillator, in place of the lossless law; with `reference_amplitude` (peak voltage of the reference at the
    detector, V) its amplitudes drive the detector, else the detector's own stand. With the branch at a tap of the coil
    (`models.branch.tapped_coil`), `variable_tank` is the tank seen from there and `tap_ratio` the tap's voltage over
    the whole coil's. `ripple`: what hum on the supply does to the sound (None: there is none); the laws here are
    without it. Raises ValueError for a value out of its domain, for a law that does not cover the curve, and for a
    reference amplitude without a law.
    """

    curve: CapacitanceCurve
    variable_tank: Tank
    reference_frequency: float
    branch: SeriesInductor = DIRECT
    antenna_stray: float = 0.0
    mode: str = "low"
    lock_range: float = 0.0
    detector: AnyDetector = field(default_factory=Detector)
    tone_low_pass: float = 8000.0
    dc_block: float = 10.0
    level: float = 0.5
    variable_law: VariableLaw | None = None
    reference_amplitude: float | None = None
    tap_ratio: float = 1.0
    ripple: RippleLaw | None = None

    def __post_init__(self) -> None:
        positive("reference_frequency", self.reference_frequency)
        non_negative("antenna_stray", self.antenna_stray)
        non_negative("lock_range", self.lock_range)
        positive("tone_low_pass", self.tone_low_pass)
        positive("dc_block", self.dc_block)
        fraction("level", self.level)
        if positive("tap_ratio", self.tap_ratio) > 1.0:
            raise ValueError(f"tap_ratio must be at most 1; got {self.tap_ratio:g}")
        if one_of("mode", self.mode, MODES) == "high" and self.branch.direct:
            raise ValueError("mode must be low for an antenna without a series inductor; got 'high'")
        self._check_law()

    def _check_law(self) -> None:
        law = self.variable_law
        if isinstance(self.detector, DrawnDetector) and self.reference_amplitude is None:
            raise ValueError("a drawn detector needs a reference_amplitude: it is driven by solved oscillators")
        if self.reference_amplitude is not None:
            positive("reference_amplitude", self.reference_amplitude)
            if law is None:
                raise ValueError("reference_amplitude needs a variable_law, whose amplitudes it is compared with")
        if law is None:
            return
        lowest, highest = (float(self.antenna_capacitance(end)) for end in (self.curve.farthest, self.curve.nearest))
        if not law.covers(lowest, highest):
            raise ValueError(
                f"variable_law must cover antenna capacitances of {lowest:g} to {highest:g} F; "
                f"got {law.capacitances[0]:g} to {law.capacitances[-1]:g}"
            )

    @property
    def fixed_detector(self) -> Detector:
        """The detector of one of the fixed kinds; ValueError where the mixer is drawn."""
        if isinstance(self.detector, DrawnDetector):
            raise ValueError("the detector is a drawn mixer, none of the fixed kinds")
        return self.detector

    @property
    def amplitude_varies(self) -> bool:
        """Whether the hand changes the amplitude at the detector."""
        return self.variable_law is not None and self.reference_amplitude is not None

    def variable_amplitude(self, distance: ArrayLike) -> Floats:
        """Peak voltage of the variable oscillator at the detector, V, by the law; ValueError without one."""
        if self.variable_law is None:
            raise ValueError("variable_amplitude needs a variable_law")
        return self.variable_law.amplitude(self.antenna_capacitance(distance))

    def detector_at(self, distance: float) -> AnyDetector:
        """The detector with the amplitudes it has at a hand distance, m."""
        if self.reference_amplitude is None:
            return self.detector
        return self.detector.with_amplitudes(self.reference_amplitude, float(self.variable_amplitude(distance)))

    def clip_to_curve(self, distance: ArrayLike) -> Floats:
        """Distances (m), those outside the curve moved to its nearer end: for live play, only when asked."""
        return np.asarray(np.clip(finite_array("distance", distance), self.curve.nearest, self.curve.farthest))

    def antenna_capacitance(self, distance: ArrayLike) -> Floats:
        """Antenna capacitance with its stray, F, at hand distances in m; ValueError outside the curve."""
        return np.asarray(self.curve.capacitance(distance) + self.antenna_stray)

    def variable_frequency(self, distance: ArrayLike) -> Floats:
        """Frequency of the variable oscillator, Hz, at hand distances in m."""
        return self.frequency_with(self.antenna_capacitance(distance))

    def frequency_with(self, antenna_capacitance: ArrayLike) -> Floats:
        """Frequency of the variable oscillator, Hz, with an antenna capacitance (F, its stray included)."""
        if self.variable_law is not None:
            return self.variable_law.frequency(antenna_capacitance)
        return mode_frequencies(*self._circuit(antenna_capacitance))[MODES.index(self.mode)]

    def offset_frequency(self, distance: ArrayLike) -> Floats:
        """Reference minus variable frequency, Hz, without pulling; falls as the distance grows."""
        return self.offset_with(self.antenna_capacitance(distance))

    def offset_with(self, antenna_capacitance: ArrayLike) -> Floats:
        """`offset_frequency`, Hz, with an antenna capacitance (F, its stray included)."""
        return np.asarray(self.reference_frequency - self.frequency_with(antenna_capacitance))

    def offset_slope(self, distance: ArrayLike) -> Floats:
        """Change of `offset_frequency` with distance, Hz per m (negative)."""
        capacitance = self.antenna_capacitance(distance)
        if self.variable_law is not None:
            slope = self.variable_law.slope(capacitance)
        else:
            slope = mode_slope(*self._circuit(capacitance))[MODES.index(self.mode)]
        return np.asarray(-slope * self.curve.slope(finite_array("distance", distance)))

    def beat_frequency(self, distance: ArrayLike) -> Floats:
        """Beat in Hz for a hand at rest, pulled, signed: positive nearer than zero beat, 0 where locked."""
        return pulled_beat(self.offset_frequency(distance), self.lock_range)

    def mode_hop(self) -> ModeHop | None:
        """Where along the curve the oscillator may leave its mode; None if nowhere."""
        spans = np.linspace(self.curve.nearest, self.curve.farthest, 200)
        return mode_hop(
            self.variable_tank, self.branch, spans, self.antenna_capacitance(spans), self.mode, tap_ratio=self.tap_ratio
        )

    def _circuit(self, antenna_capacitance: ArrayLike) -> tuple[float, float, float, ArrayLike, float]:
        """Arguments of the laws in `models.branch.antenna_branch` with an antenna capacitance, F, with its stray."""
        tank, branch = self.variable_tank, self.branch
        return tank.inductance, tank.total_capacitance, branch.inductance, antenna_capacitance, branch.self_capacitance
