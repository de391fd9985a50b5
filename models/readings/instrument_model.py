"""What the readings of a built instrument should be, for any values of its unknowns, with every derivative.

Every oscillator that was read is a tank L0 || C0 with an antenna Ca behind a coil La (self-capacitance Cs; La = 0:
straight across it) that swings in one of its two modes (`models.branch.modes`). Each of the five is the sum of an
offset and shares of the unknowns, so one row of numbers says what was set for one reading. What a solved circuit adds
is a capacitance across its tank, with its derivatives, in the same row (`models.builds.circuit_share` tells why).

    a X^2 - b X + 1 = 0,  a = L0 La (C0 (Ca + Cs) + Ca Cs),  b = L0 (C0 + Ca) + La (Ca + Cs),  X = omega^2
    dX/dp = (X b_p - X^2 a_p) / (2 a X - b) for any value p in them (implicit differentiation)

Readings of a beat are those of two oscillators; between them the beat is pulled (`models.pulling`):
    g = sqrt(d^2 - w^2),  dg/dd = d / g,  dg/dw = -w / g,   d difference, w lock range
The volume side rectifies what a resonance f0, Q leaves of its oscillator's signal (H: `models.volume.loudness`):
    V = max(A H - V_d, 0),  dH/df0 = -(f / f0) dH/df,  dH/dQ = -H (1 - H^2) / Q
Readings of a voltage are straight in the unknowns about the solved circuit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from models.arrays import Floats
from models.branch.modes import squared_frequencies, tank_capacitance
from models.pulling import pulled_beat
from models.quick_dataclass import dataclass
from models.volume.loudness import resonance_response, response_slope

LEAST_CAPACITANCE: Final = 1e-15
LEAST_INDUCTANCE: Final = 1e-12
"""F and H below which a tank is not followed while a fit is under way."""
LEAST_BEAT: Final = 1e-3
STEEPEST: Final = 1e3
"""Hz of beat, and change of it with either frequency, at which derivatives are bounded near the edge of lock."""


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Oscillators as they were set: offsets (5, n) and shares (5, n, k) of the k unknowns, SI; `high`: in which mode.

    pull: (n, k) what an unknown adds to the logarithm of the frequency by itself.
    """

    offsets: Floats
    shares: Floats
    high: NDArray[np.bool_]
    pull: Floats

    def arguments(self, values: Floats) -> Floats:
        """The five values of every row, (5, n), none below nothing."""
        found = self.offsets + self.shares @ values
        plugged = self.plugged
        least = np.array([LEAST_INDUCTANCE, LEAST_CAPACITANCE, 0.0, LEAST_CAPACITANCE, 0.0])[:, None]
        found = np.maximum(found, least)
        found[2:] = np.where(plugged, found[2:], 0.0)
        return np.asarray(found)

    @property
    def plugged(self) -> NDArray[np.bool_]:
        """Rows (n,) that have an antenna."""
        return np.asarray((self.offsets[3] != 0.0) | (self.shares[3] != 0.0).any(axis=1))

    @property
    def branched(self) -> NDArray[np.bool_]:
        """Rows (n,) that have two modes."""
        return np.asarray(self.plugged & ((self.offsets[2] != 0.0) | (self.shares[2] != 0.0).any(axis=1)))

    def both_modes(self, values: Floats) -> tuple[Floats, Floats]:
        """Logarithm of the lower and the upper frequency, (n,) each; the upper infinite where there is one only."""
        low, high = squared_frequencies(*self.arguments(values))
        added = self.pull @ values
        return (
            0.5 * np.log(low) - math.log(2.0 * math.pi) + added,
            0.5 * np.log(high) - math.log(2.0 * math.pi) + added,
        )

    def log_frequencies(self, values: Floats) -> tuple[Floats, Floats]:
        """Natural logarithm of the frequencies (n,), and its derivatives by the unknowns (n, k)."""
        l0, c0, la, ca, cs = arguments = self.arguments(values)
        low, high = squared_frequencies(*arguments)
        x = np.where(self.high & np.isfinite(high), high, low)
        a, b = l0 * la * (c0 * (ca + cs) + ca * cs), l0 * (c0 + ca) + la * (ca + cs)
        of_a = (
            la * (c0 * (ca + cs) + ca * cs),
            l0 * la * (ca + cs),
            l0 * (c0 * (ca + cs) + ca * cs),
            l0 * la * (c0 + cs),
            l0 * la * (c0 + ca),
        )
        of_b = c0 + ca, l0, ca + cs, l0 + la, la
        down = 2.0 * x * (2.0 * a * x - b)
        by_argument = np.array([x * (pb - x * pa) / down for pa, pb in zip(of_a, of_b, strict=True)])
        by_argument[2:] = np.where(self.plugged, by_argument[2:], 0.0)
        slopes = np.einsum("an,ank->nk", by_argument, self.shares) + self.pull
        return 0.5 * np.log(x) - math.log(2.0 * math.pi) + self.pull @ values, slopes

    def needed(self, row: int, values: Floats, frequency: float) -> float:
        """Capacitance across the tank, F, beside what `row` has, with which it swings at `frequency`, Hz."""
        l0, c0, la, ca, cs = (one[row : row + 1] for one in self.arguments(values))
        pulled = frequency * math.exp(-float(self.pull[row] @ values))
        squared = np.array([(2.0 * math.pi * pulled) ** 2])
        return float((tank_capacitance(squared, l0, la, ca, cs) - c0)[0])

    def with_modes(self, high: NDArray[np.bool_]) -> Rows:
        """The same in other modes."""
        return Rows(self.offsets, self.shares, np.asarray(high), self.pull)

    def only(self, chosen: Sequence[int]) -> Rows:
        """Some of the rows, in this order."""
        picked = np.asarray(chosen, dtype=np.intp)
        return Rows(self.offsets[:, picked], self.shares[:, picked], self.high[picked], self.pull[picked])


@dataclass(frozen=True, slots=True)
class FrequencyOf:
    """A reading of one oscillator: the logarithm of the frequency of a row, Hz."""

    row: int


@dataclass(frozen=True, slots=True)
class TunedFrequency:
    """A reading of the reference as it is tuned: the logarithm of the unknown with this place."""

    place: int


@dataclass(frozen=True, slots=True)
class BeatOf:
    """A reading of the beat, Hz, between the variable oscillator of `row` and the reference.

    sign: 1 where the reference is the higher one, as with the hand nearer than zero beat, else -1. reference: place of
    the unknown that is the reference's frequency. lock: place of the lock range, Hz.
    """

    row: int
    reference: int
    lock: int
    sign: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class LevelOf:
    """A reading that is straight in the unknowns: offset + slopes (k,) of them."""

    offset: float
    slopes: Floats


@dataclass(frozen=True, slots=True)
class ControlOf:
    """A reading of the voltage, V, rectified behind the volume side's fixed resonance (`models.volume.loudness`).

    row: of the oscillator. resonance, quality, amplitude: places of the resonator's frequency and Q and of the peak
    voltage in tune. diode_drop: V.
    """

    row: int
    resonance: int
    quality: int
    amplitude: int
    diode_drop: float


Reading = FrequencyOf | TunedFrequency | BeatOf | LevelOf | ControlOf


@dataclass(frozen=True, slots=True, eq=False)
class InstrumentModel:
    """What is read, in order, over the rows of what was set."""

    rows: Rows
    readings: tuple[Reading, ...]

    def predicted(self, values: Floats) -> tuple[Floats, Floats]:
        """The readings (n,) and their derivatives by the unknowns (n, k)."""
        logarithms, slopes = self.rows.log_frequencies(values)
        read = np.empty(len(self.readings))
        by_value = np.zeros((len(self.readings), values.size))
        for place, one in enumerate(self.readings):
            if isinstance(one, FrequencyOf):
                read[place], by_value[place] = logarithms[one.row], slopes[one.row]
            elif isinstance(one, TunedFrequency):
                frequency = max(float(values[one.place]), 1.0)
                read[place], by_value[place, one.place] = math.log(frequency), 1.0 / frequency
            elif isinstance(one, BeatOf):
                variable = math.exp(float(logarithms[one.row]))
                offset, lock = float(values[one.reference]) - variable, max(float(values[one.lock]), 0.0)
                beat = float(pulled_beat(np.array(offset), lock))
                steep = min(abs(offset) / max(abs(beat), LEAST_BEAT), STEEPEST)
                read[place] = one.sign * beat
                by_value[place] = -one.sign * steep * variable * slopes[one.row]
                by_value[place, one.reference] += one.sign * steep
                held = min(lock / max(abs(beat), LEAST_BEAT), STEEPEST)
                by_value[place, one.lock] -= one.sign * math.copysign(held, offset)
            elif isinstance(one, ControlOf):
                read[place], by_value[place] = _control(one, values, math.exp(float(logarithms[one.row])), slopes)
            else:
                read[place], by_value[place] = one.offset + float(one.slopes @ values), one.slopes
        return read, by_value

    def only(self, chosen: Sequence[int]) -> InstrumentModel:
        """Some of the readings."""
        return InstrumentModel(self.rows, tuple(self.readings[place] for place in chosen))

    def with_modes(self, high: NDArray[np.bool_]) -> InstrumentModel:
        """The same with the rows in other modes."""
        return InstrumentModel(self.rows.with_modes(high), self.readings)


def _control(one: ControlOf, values: Floats, frequency: float, slopes: Floats) -> tuple[float, Floats]:
    """The rectified voltage, V, and its derivatives (k,); `frequency`, Hz, with `slopes` of its logarithm (n, k)."""
    resonance, quality, amplitude = (float(values[place]) for place in (one.resonance, one.quality, one.amplitude))
    response = float(resonance_response(frequency, resonance, quality))
    by_value = np.zeros(values.size)
    if amplitude * response <= one.diode_drop:
        return 0.0, by_value
    steep = float(response_slope(frequency, resonance, quality))
    by_value += amplitude * steep * frequency * slopes[one.row]
    by_value[one.resonance] -= amplitude * steep * frequency / resonance
    by_value[one.quality] -= amplitude * response * (1.0 - response**2) / quality
    by_value[one.amplitude] += response
    return amplitude * response - one.diode_drop, by_value
