"""The volume side: the other hand's height over the ring -> capacitance -> frequency -> resonance -> gain.

Symbols: d height of the hand over the ring, m; C(d) ring and its stray, F; f oscillator, f0 resonator, Hz; H share of
the signal that the resonator passes; V_c control voltage, V; g gain.
    f = 1 / (2 pi sqrt(L (C_tank + C(d)))),  H = 1 / sqrt(1 + Q^2 (f/f0 - f0/f)^2),  g by `models.volume.control`
Set up as usual: f lies just below f0 with the hand away (loud); the hand on its way down lowers f further, off the
resonance (quiet), until the rectified voltage falls below the threshold (silent).

The resonator is coupled loosely: neither loads nor pulls the oscillator, whose amplitude is constant. Neglected as
well: injection pulling between this oscillator and the two of the pitch (keep their frequencies apart), the lag of the
rectifier (see `models.volume.control`), drift.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from models.checks import fraction, non_negative
from models.hand.capacitance_curve import CapacitanceCurve
from models.tank import Tank, frequency_slope, required_capacitance
from models.volume.control import GainStage, PeakRectifier
from models.volume.resonance import lower_flank_frequency, resonance_response, response_slope

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class VolumeAntenna:
    """A ring antenna on its oscillator, a fixed resonator, a rectifier and a gain stage. All methods vectorised.

    curve: capacitance of the ring against the hand's height. tank: of the oscillator, the ring straight across it.
    resonator: inductance, capacitance and Q of the fixed resonance. stray: F, of mount and lead, beside the ring.
    Heights outside curve.nearest..curve.farthest raise ValueError.
    """

    curve: CapacitanceCurve
    tank: Tank
    resonator: Tank
    rectifier: PeakRectifier = field(default_factory=PeakRectifier)
    stage: GainStage = field(default_factory=GainStage)
    stray: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "stray", non_negative("stray", self.stray))

    def loop_capacitance(self, distance: ArrayLike) -> Floats:
        """C(d): ring and stray, F, with the hand at `distance`, m."""
        return np.asarray(self.curve.capacitance(distance) + self.stray)

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

    def trimmer_for_full_at(self, distance: float) -> float:
        """Trimmer setting of the oscillator, 0 to 1, at which full gain is just reached with the hand at `distance`.

        Raises ValueError, with what helps, where the trimmer or the parts behind the resonator do not allow it.
        """
        response = float(self.rectifier.response_for(self.stage.full))
        if response > 1.0:
            raise ValueError(self._full_out_of_reach())
        target = float(lower_flank_frequency(response, self.resonator.frequency, self.resonator.quality_factor))
        needed = float(required_capacitance(self.tank.inductance, target)) - float(self.loop_capacitance(distance))
        tank = self.tank
        span = tank.trimmer_maximum - tank.trimmer_minimum
        fixed = tank.capacitance + tank.stray
        if not fixed + tank.trimmer_minimum <= needed <= fixed + tank.trimmer_maximum or span == 0.0:
            raise ValueError(
                f"the volume oscillator needs {1e12 * (needed - fixed):.1f} pF of trimmer for full volume at "
                f"{100.0 * distance:.1f} cm; it has {1e12 * tank.trimmer_minimum:.1f} to "
                f"{1e12 * tank.trimmer_maximum:.1f} pF: change its capacitance or the resonator's"
            )
        return (needed - fixed - tank.trimmer_minimum) / span

    def warnings(self) -> tuple[str, ...]:
        """What a player should know, each with its remedy."""
        found = [self._turns(), self._never_full(), self._never_silent(), self._rectifier_speed()]
        return tuple(text for text in found if text)

    def _turns(self) -> str:
        if self.playable_far <= self.curve.nearest:
            return (
                "the volume oscillator lies above the resonance, so that a nearer hand is louder: raise the "
                "resonator's frequency or add capacitance to the oscillator"
            )
        if self.playable_far >= self.curve.farthest or float(self.gain(self.curve.farthest)) >= self.loudest:
            return ""  # no peak, or the hand beyond it still has full gain
        return (
            f"the volume hand crosses the resonance {100.0 * self.playable_far:.1f} cm above the ring and grows "
            "quieter beyond: raise the resonator's frequency or add capacitance to the oscillator"
        )

    def _never_full(self) -> str:
        if self.loudest >= 1.0 or self.playable_far <= self.curve.nearest:
            return ""
        if self.rectifier.highest < self.stage.full:
            return self._full_out_of_reach()
        return (
            f"the volume hand never reaches full volume, at most {_decibels(self.loudest)}: lower the resonator's "
            "frequency, take capacitance from the oscillator, or lower full"
        )

    def _full_out_of_reach(self) -> str:
        return (
            f"full volume takes {self.stage.full:g} V of control voltage, and even in tune the rectifier gives "
            f"{self.rectifier.highest:g} V: lower full or raise the amplitude"
        )

    def _never_silent(self) -> str:
        if self.quietest <= 0.0 or self.playable_far <= self.curve.nearest:
            return ""
        return (
            f"the volume hand {100.0 * self.curve.nearest:.0f} cm above the ring still leaves "
            f"{_decibels(self.quietest)}: raise the threshold, the resonator's Q or the oscillator's inductance (with "
            "less capacitance)"
        )

    def _rectifier_speed(self) -> str:
        lag, period = self.rectifier.time_constant, 1.0 / self.resonator.frequency
        if lag < 20.0 * period:
            return (
                f"the volume rectifier forgets in {1e6 * lag:.3g} us, hardly longer than the radio period of "
                f"{1e6 * period:.3g} us: choose a larger detector capacitance"
            )
        if lag > 0.02:
            return (
                f"the volume rectifier lags by {1e3 * lag:.0f} ms, which the sound here does not: choose a smaller "
                "detector capacitance"
            )
        return ""

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
        return float(brentq(lambda at: float(self.loop_capacitance(at)) - loop_capacitance, near, far, xtol=1e-13))


def _decibels(gain: float) -> str:
    return f"{20.0 * np.log10(gain):.1f} dB" if gain > 0.0 else "silence"
