"""What temperature does to a tuned instrument: drift of both oscillators, of zero beat and of notes; warm-up.

Symbols: alpha_L, alpha_C relative change of inductance and capacitance per kelvin; f frequency; T rise; tau time
constant of the warm-up; D drift of the zero beat over the whole warm-up, Hz.

    L(T) = L (1 + alpha_L T), C(T) = C (1 + alpha_C T),  so  df/f = -(alpha_L + alpha_C) / 2 per kelvin
    T(t) = T_end (1 - exp(-t / tau))
    zero beat, set at time t, stays within x Hz ever after from  t = tau ln(D / x)   (drift in proportion to the rise)

Two oscillators of the same frequency and coefficients drift together: the beat does not. What is common leaves only
its difference, what stands in one of them (the series inductor, the antenna's stray) stays whole. Taken as linear in
temperature: not so for high-permittivity ceramics (X7R: +-15 % over its range, in no set direction). Neglected: parts
of one instrument at different temperatures; ageing and moisture; any change of the hand field. The transistors' own
drift is that of `TransistorDrift`, solved by the caller (linear between two temperatures); without it, it is neglected.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.builds.tuned_builds import QUANTITIES, TunedBuilds
from models.checks import finite, finite_array, non_negative_array, positive
from models.pitch import cents
from models.pulling import pulled_beat
from models.quick_dataclass import dataclass
from models.roots import root

LARGEST_CHANGE = 0.5  # of any part; beyond, a linear coefficient says nothing
TIME_POINTS = 400
LONGEST_WAIT = 30.0  # time constants: nothing is left of the rise but a part in 1e13


@dataclass(frozen=True, slots=True)
class Coefficients:
    """Temperature coefficients, 1/K: tank coils and fixed capacitors of both oscillators, stray (with coil windings,
    trimmers and junctions), series inductor, antenna stray; of solved circuits the transistors' own temperature, which
    changes by one part in itself each kelvin.
    """

    variable_coil: float = 0.0
    variable_capacitor: float = 0.0
    reference_coil: float = 0.0
    reference_capacitor: float = 0.0
    stray: float = 0.0
    branch_coil: float = 0.0
    antenna_stray: float = 0.0
    transistors: float = 0.0

    def __post_init__(self) -> None:
        for name in CAUSES:
            finite(name, getattr(self, name))

    def row(self, of_circuit: Sequence[str] = ()) -> Floats:
        """One coefficient for every column of QUANTITIES, then those of the circuits' columns by the names of their
        causes ("": none).
        """
        named = {"branch_inductance": self.branch_coil, "antenna_stray": self.antenna_stray}
        for which, coil, capacitor in (
            ("variable", self.variable_coil, self.variable_capacitor),
            ("reference", self.reference_coil, self.reference_capacitor),
        ):
            named |= {f"{which}_inductance": coil, f"{which}_capacitance": capacitor, f"{which}_divider": capacitor}
        resonance = [named.get(quantity, self.stray) for quantity in QUANTITIES]
        return np.array(resonance + [getattr(self, cause) if cause else 0.0 for cause in of_circuit])

    def only(self, cause: str) -> Coefficients:
        """The same with every coefficient but one at 0."""
        return Coefficients(**{cause: getattr(self, cause)})


CAUSES = tuple(Coefficients.__dataclass_fields__)


def relative_drift(coil: ArrayLike, capacitor: ArrayLike) -> Floats:
    """Relative change of a tank's frequency per kelvin, -(alpha_L + alpha_C) / 2, for coefficients in 1/K; broadcasts.

    The first-order term; from f = 1 / (2 pi sqrt(L C)).
    """
    return np.asarray(-0.5 * (finite_array("coil", coil) + finite_array("capacitor", capacitor)))


@dataclass(frozen=True, slots=True)
class Drift:
    """A tuned instrument at other temperatures: rise (n,), K; reference, variable (hand at zero beat) and their
    difference, zero_beat (all Hz, changes since rise 0); zero_beat_distance, m, NaN outside the field; note_cents
    (n, notes), change with the hand kept where the note was, the size of the beat also where zero beat has moved past
    the hand; NaN where it falls silent.
    """

    rise: Floats
    reference: Floats
    variable: Floats
    zero_beat: Floats
    zero_beat_distance: Floats
    note_cents: Floats


@dataclass(frozen=True, slots=True)
class DriftLaw:
    """An instrument whose parts go with temperature: law, nominal part values (the law's columns, SI units),
    coefficients, the hand distances (m) of the notes to follow, and the cause (a name of CAUSES, or "") of each of the
    circuits' columns. Tuned at rise 0 by the law's trimmer setting.
    """

    law: TunedBuilds
    nominal: Floats
    coefficients: Coefficients
    note_distances: Floats
    of_circuit: tuple[str, ...] = ()

    def values(self, rise: ArrayLike) -> Floats:
        """Part values (n, columns) at rises (n,), K; ValueError where a part would change beyond LARGEST_CHANGE."""
        change = np.atleast_1d(finite_array("rise", rise))[:, None] * self.coefficients.row(self.of_circuit)
        if np.abs(change).max(initial=0.0) > LARGEST_CHANGE:
            worst = float(np.max(np.abs(rise)))
            raise ValueError(f"rise must leave every part within {LARGEST_CHANGE:g} of its value; got {worst:g} K")
        return np.asarray(self.nominal * (1.0 + change))

    def oscillators(self, rise: ArrayLike) -> tuple[Floats, Floats]:
        """Reference (n, 1) and variable oscillator (n, 1 + notes), Hz: hand at zero beat, then at each note."""
        values = self.values(rise)
        places = np.concatenate([[self.law.zero_beat], self.note_distances])
        variable = self.law.variable_frequency(values, self.law.law.curve.capacitance(places))
        return self.law.reference_frequency(values, self.law.trimmer_setting), variable

    def zero_beat_drift(self, rise: ArrayLike) -> Floats:
        """Change of reference minus variable frequency, Hz (n,), with the hand at zero beat."""
        (reference, variable), (first, start) = self.oscillators(rise), self.oscillators(0.0)
        return np.asarray(reference[:, 0] - first[0, 0] - (variable[:, 0] - start[0, 0]))

    def drift(self, rise: ArrayLike) -> Drift:
        """The drift at rises (n,), K."""
        steps = np.atleast_1d(finite_array("rise", rise))
        reference, variable = self.oscillators(steps)
        first, start = self.oscillators(0.0)
        zero_beat = self.law.law.distance_at(self.law.variable_parts(self.values(steps)), reference)
        return Drift(
            rise=steps,
            reference=reference[:, 0] - first[0, 0],
            variable=variable[:, 0] - start[0, 0],
            zero_beat=reference[:, 0] - first[0, 0] - (variable[:, 0] - start[0, 0]),
            zero_beat_distance=zero_beat[:, 0],
            note_cents=_interval(self._beat(reference - variable[:, 1:]), self._beat(first - start[:, 1:])),
        )

    def note_change(self, begin: ArrayLike, end: float) -> Floats:
        """Cents (n, notes) by which notes change from rises `begin` (n,) to `end`, K, zero beat set anew at `begin`."""
        reference, variable = self.oscillators(begin)
        last_reference, last_variable = self.oscillators(end)
        shift = variable[:, :1] - reference
        before = self._beat(reference + shift - variable[:, 1:])
        return _interval(self._beat(last_reference + shift - last_variable[:, 1:]), before)

    def _beat(self, offset: Floats) -> Floats:
        """Pulled beat, Hz; 0 where locked."""
        return np.abs(pulled_beat(offset, self.law.law.lock_range))


def _interval(frequency: Floats, before: Floats) -> Floats:
    heard = (frequency > 0.0) & (before > 0.0)
    safe = np.where(heard, frequency, 1.0), np.where(heard, before, 1.0)
    return np.where(heard, cents(*safe), np.nan)


def warm_up_rise(time: ArrayLike, final_rise: float, time_constant: float) -> Floats:
    """Rise, K, at times (s, >= 0) after switching on: final_rise (1 - exp(-t / tau))."""
    elapsed = non_negative_array("time", time)
    return np.asarray(-finite("final_rise", final_rise) * np.expm1(-elapsed / positive("time_constant", time_constant)))


def hold_time(law: DriftLaw, final_rise: float, time_constant: float, hertz: float) -> float:
    """Seconds after switching on from which a zero beat, set then, stays within `hertz` to the end of the warm-up."""
    end = float(law.zero_beat_drift(final_rise)[0])

    def excess(time: Floats) -> Floats:
        left = end - law.zero_beat_drift(warm_up_rise(time, final_rise, time_constant))
        return np.abs(left) - hertz

    return _last_crossing(excess, time_constant, positive("hertz", hertz))


def hold_time_of_note(law: DriftLaw, note: int, final_rise: float, time_constant: float, limit_cents: float) -> float:
    """Seconds after switching on from which note number `note` of the law's, tuned then, stays within `limit_cents`."""
    one = replace(law, note_distances=law.note_distances[note : note + 1])

    def excess(time: Floats) -> Floats:
        change = one.note_change(warm_up_rise(time, final_rise, time_constant), final_rise)[:, 0]
        return np.where(np.isnan(change), np.inf, np.abs(change)) - limit_cents

    return _last_crossing(excess, time_constant, positive("limit_cents", limit_cents))


def _last_crossing(excess: Callable[[Floats], Floats], time_constant: float, limit: float) -> float:
    """The last time at which `excess` (of an array of times) falls through 0, s; 0 if it never exceeds it."""
    times = time_constant * np.linspace(0.0, LONGEST_WAIT, TIME_POINTS)
    over = excess(times)
    above = np.flatnonzero(over > 0.0)
    if not above.size:
        return 0.0
    if above[-1] == TIME_POINTS - 1:
        raise ValueError(
            f"a change of {limit:g} cannot be told from rounding while the design warms up; choose a wider one"
        )
    low, high = float(times[above[-1]]), float(times[above[-1] + 1])
    if np.isinf(over[above[-1]]):
        return high
    return root(lambda time: float(excess(np.array([time]))[0]), low, high, xtol=1e-6 * time_constant)
