"""The volume side: the other hand's height over the ring -> capacitance -> frequency -> resonance -> gain.

Symbols: d height of the hand over the ring, m; C(d) ring and its stray, F; f oscillator, f0 resonator, Hz; H share of
the signal that the resonator passes; V_c control voltage, V; g gain.
    f = 1 / (2 pi sqrt(L (C_tank + C(d)))),  H = 1 / sqrt(1 + Q^2 (f/f0 - f0/f)^2),  g by `models.volume.loudness`
Set up as usual: f lies just below f0 with the hand away (loud); the hand on its way down lowers f further, off the
resonance (quiet), until the rectified voltage falls below the threshold (silent).

The resonator is coupled loosely: neither loads nor pulls the oscillator, whose amplitude is constant. Neglected as
well: injection pulling between this oscillator and the two of the pitch (keep their frequencies apart), the lag of the
rectifier (see `models.volume.loudness`), drift.
"""

from __future__ import annotations

from dataclasses import field
from enum import Enum, auto

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import fraction, non_negative
from models.hand.capacitance_curve import CapacitanceCurve
from models.quick_dataclass import dataclass
from models.roots import root
from models.tank import Tank, frequency_slope, required_capacitance
from models.volume.loudness import GainStage, PeakRectifier, lower_flank_frequency, resonance_response, response_slope

LEAST_PERIODS = 20.0  # radio periods that the rectifier must remember
LONGEST_LAG = 0.02  # s of the rectifier: more would be heard, and the voice's own lag does not stand for it


class VolumeFault(Enum):
    """What keeps a volume hand from working as a player expects."""

    NEARER_IS_LOUDER = auto()
    CROSSES_THE_RESONANCE = auto()
    RECTIFIER_TOO_WEAK = auto()
    NEVER_FULL = auto()
    NEVER_SILENT = auto()
    RECTIFIER_TOO_FAST = auto()
    RECTIFIER_TOO_SLOW = auto()


@dataclass(frozen=True, slots=True)
class VolumeAntenna:
    """A ring antenna on its oscillator, a fixed resonator, a rectifier and a gain stage. All methods vectorised.

    curve: capacitance of the ring against the hand's height. tank: of the oscillator, the ring straight across it.
    resonator: inductance, capacitance and Q of the fixed resonance. ring_stray: F, of mount and lead, beside the ring.
    Heights outside curve.nearest..curve.farthest raise ValueError.
    """

    curve: CapacitanceCurve
    tank: Tank
    resonator: Tank
    rectifier: PeakRectifier = field(default_factory=PeakRectifier)
    stage: GainStage = field(default_factory=GainStage)
    ring_stray: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "ring_stray", non_negative("ring_stray", self.ring_stray))

    def loop_capacitance(self, distance: ArrayLike) -> Floats:
        """C(d): ring and stray, F, with the hand at `distance`, m."""
        return np.asarray(self.curve.capacitance(distance) + self.ring_stray)

    def oscillator_frequency(self, distance: ArrayLike) -> Floats:
        """f, Hz (lossless tank)."""
        return self.tank.with_antenna(self.loop_capacitance(distance))

    def response(self, distance: ArrayLike) -> Floats:
        """H, 0 to 1."""
        resonator = self.resonator
        return resonance_response(self.oscillator_frequency(distance), resonator.frequency, resonator.quality_factor)

    def control_voltage(self, distance: ArrayLike) -> Floats:
        """V_c, V."""
        return self.rectifier.voltage(self.response(distance))

    def gain(self, distance: ArrayLike) -> Floats:
        """g, 0 (silent) to 1 (full)."""
        return self.stage.gain(self.control_voltage(distance))

    def held_gain(self, distance: ArrayLike) -> Floats:
        """g of a hand at any height: outside the curve it counts as at its border."""
        return self.gain(np.clip(np.asarray(distance, dtype=np.float64), self.curve.nearest, self.curve.farthest))

    def gain_db(self, distance: ArrayLike) -> Floats:
        """20 log10 g, dB: 0 at full, minus infinity where silent."""
        with np.errstate(divide="ignore"):
            return np.asarray(20.0 * np.log10(self.gain(distance)))

    def steepness_db_per_cm(self, distance: ArrayLike) -> Floats:
        """Change of the gain per centimetre of height, dB/cm, positive where a rising hand makes it louder.

        0 where the gain is full, NaN where it is silent.
        """
        capacitance, frequency = self.loop_capacitance(distance), self.oscillator_frequency(distance)
        resonator, stage = self.resonator, self.stage
        voltage_slope = self.rectifier.amplitude * (
            response_slope(frequency, resonator.frequency, resonator.quality_factor)
            * frequency_slope(self.tank.inductance, self.tank.total_capacitance + capacitance)
            * self.curve.slope(distance)
        )
        above = self.control_voltage(distance) - stage.threshold
        with np.errstate(divide="ignore", invalid="ignore"):
            steepness = 20.0 / np.log(10.0) * voltage_slope / above * 0.01
        steepness = np.where(self.gain(distance) >= 1.0, 0.0, steepness)
        return np.asarray(np.where(above > 0.0, steepness, np.nan))

    @property
    def peak_distance(self) -> float | None:
        """Height at which the oscillator meets the resonance, m; None where that is outside the curve."""
        needed = float(required_capacitance(self.tank.inductance, self.resonator.frequency))
        return self._distance_with(needed - self.tank.total_capacitance)

    @property
    def playable_far(self) -> float:
        """Up to this height, m, a higher hand is never quieter: the peak, or the end of the curve.

        The start of the curve where it is quieter all the way up (the oscillator above the resonance throughout).
        """
        peak = self.peak_distance
        if peak is not None:
            return peak
        above = float(self.oscillator_frequency(self.curve.nearest)) > self.resonator.frequency
        return self.curve.nearest if above else self.curve.farthest

    @property
    def quietest(self) -> float:
        """Gain with the hand at the start of the curve."""
        return float(self.gain(self.curve.nearest))

    @property
    def loudest(self) -> float:
        """Largest gain within `playable_far`."""
        return float(self.gain(self.playable_far))

    def distance_at(self, gain: float) -> float:
        """The height, m, at which a rising hand first reaches `gain`; for 0, the height up to which it is silent.

        Raises ValueError where that is not reached between the start of the curve and `playable_far`.
        """
        wanted = fraction("gain", gain)
        response = float(self.rectifier.response_for(self.stage.voltage_for(wanted)))
        distance = self._flank_distance(response)
        if distance is None or distance > self.playable_far:
            raise ValueError(
                f"gain must be between {self.quietest:.3g} and {self.loudest:.3g}, what the hand reaches; got {gain:g}"
            )
        return distance

    def span(self, quietest_db: float = -40.0, loudest_db: float = -3.0) -> tuple[float, float] | None:
        """The heights, m, between which the gain rises from `quietest_db` to `loudest_db`; None if not both."""
        try:
            return self.distance_at(10.0 ** (quietest_db / 20.0)), self.distance_at(10.0 ** (loudest_db / 20.0))
        except ValueError:
            return None

    def trimmer_for_full_at(self, distance: float) -> float | None:
        """The trimmer's capacitance, F, at which full gain is just reached with the hand at `distance`, m.

        It may be more or less than the trimmer has. None where the rectifier does not give the full voltage even in
        tune.
        """
        response = float(self.rectifier.response_for(self.stage.full))
        if response > 1.0:
            return None
        target = float(lower_flank_frequency(response, self.resonator.frequency, self.resonator.quality_factor))
        needed = float(required_capacitance(self.tank.inductance, target)) - float(self.loop_capacitance(distance))
        return needed - self.tank.capacitance - self.tank.board_stray

    def faults(self) -> tuple[VolumeFault, ...]:
        """What a player should know of."""
        wrong_side = self.playable_far <= self.curve.nearest
        end = self.playable_far >= self.curve.farthest
        turns = not end and float(self.gain(self.curve.farthest)) < self.loudest  # else: at full gain beyond the peak
        quiet = self.loudest < 1.0 and not wrong_side
        weak = self.rectifier.highest < self.stage.full
        lag = self.rectifier.time_constant
        found = {
            VolumeFault.NEARER_IS_LOUDER: wrong_side,
            VolumeFault.CROSSES_THE_RESONANCE: turns and not wrong_side,
            VolumeFault.RECTIFIER_TOO_WEAK: quiet and weak,
            VolumeFault.NEVER_FULL: quiet and not weak,
            VolumeFault.NEVER_SILENT: self.quietest > 0.0 and not wrong_side,
            VolumeFault.RECTIFIER_TOO_FAST: lag < LEAST_PERIODS / self.resonator.frequency,
            VolumeFault.RECTIFIER_TOO_SLOW: lag > LONGEST_LAG and lag >= LEAST_PERIODS / self.resonator.frequency,
        }
        return tuple(fault for fault, there in found.items() if there)

    def _flank_distance(self, response: float) -> float | None:
        """Height at which the oscillator, below the resonance, gets this response; None where out of reach."""
        if not 0.0 < response <= 1.0:
            return None
        target = lower_flank_frequency(response, self.resonator.frequency, self.resonator.quality_factor)
        needed = float(required_capacitance(self.tank.inductance, target))
        return self._distance_with(needed - self.tank.total_capacitance)

    def _distance_with(self, loop_capacitance: float) -> float | None:
        """Height, m, at which ring and stray have this capacitance, F; None outside the curve."""
        near, far = self.curve.nearest, self.curve.farthest
        if not float(self.loop_capacitance(far)) <= loop_capacitance <= float(self.loop_capacitance(near)):
            return None
        return root(lambda at: float(self.loop_capacitance(at)) - loop_capacitance, near, far, xtol=1e-13)
