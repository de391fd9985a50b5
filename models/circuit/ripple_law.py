"""What ripple on the supply, or at the bases, does to the beat of two solved oscillators, along the whole hand.

Each oscillator answers the ripple through its own decoupling, with an amplitude and a phase of its own
(models.circuit.modulation). Symbols: d_r, d_v the complex deviations of the reference and of the variable oscillator,
Hz, m_r, m_v the relative changes of their amplitudes, F the frequency of the ripple. Under the ripple
Re(V exp(j 2 pi F t))

    the offset of the two frequencies deviates by  Re(V (d_r - d_v) exp(j 2 pi F t)),
    their amplitudes change by the shares          Re(V m_r exp(j 2 pi F t)),  Re(V m_v exp(j 2 pi F t)).

One supply sways both oscillators almost alike, so that little is left in the difference, and that little changes with
the hand: the variable oscillator is therefore asked at every antenna capacitance that it is solved for. Between them
the answer runs smoothly (a cubic spline; through three of its points that span 0.7 pF within 1e-3 of the beat's
deviation for demos/willow.toml, and within 3e-3 half as far beyond them, which is as far as a fist goes: a test).
First order in the ripple. Neglected: what the ripple does to the lock range, and what it does to a
volume oscillator. That one's amplitude answers as much as theirs (0.1 a volt at 100 Hz with the default parts), and so
does its frequency: at half volume lines as strong as those made here come in by it, more where it is quieter.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Complexes
from models.checks import finite_array, non_negative, positive
from models.circuit.adjoint import Adjoint
from models.circuit.modulation import Modulation, both_ripples
from models.quick_dataclass import dataclass
from models.spline import spline

SUPPLY, BOTH_BASES, REFERENCE_BASE, VARIABLE_BASE = "supply", "both bases", "reference base", "variable base"
ENTRIES = (SUPPLY, BOTH_BASES, REFERENCE_BASE, VARIABLE_BASE)
"""Where ripple enters: in front of both supply resistors, or at the bases themselves (of both alike, or of one)."""


@dataclass(frozen=True, slots=True)
class RippleLaw:
    """What a ripple does: frequency Hz; capacitances F, rising, the antenna's with its stray; at each of them the
    deviation of the offset (reference less variable), Hz, and the relative change of the variable oscillator's
    amplitude; that of the reference. All complex peaks.
    """

    frequency: float
    capacitances: tuple[float, ...]
    deviations: tuple[complex, ...]
    variable_amplitudes: tuple[complex, ...]
    reference_amplitude: complex

    def __post_init__(self) -> None:
        positive("frequency", self.frequency)
        sizes = {len(self.capacitances), len(self.deviations), len(self.variable_amplitudes)}
        if len(sizes) != 1 or sizes == {0} or not (np.diff(self.capacitances) > 0.0).all():
            raise ValueError("a ripple's law needs rows of one length, its capacitances rising")

    def deviation(self, capacitance: ArrayLike) -> Complexes:
        """Return the deviation of the offset, Hz, with an antenna's capacitance, F (any shape)."""
        return self._at(capacitance, self.deviations)

    def variable_amplitude(self, capacitance: ArrayLike) -> Complexes:
        """Return the relative change of the variable oscillator's amplitude."""
        return self._at(capacitance, self.variable_amplitudes)

    def _at(self, capacitance: ArrayLike, values: tuple[complex, ...]) -> Complexes:
        where, peaks = finite_array("capacitance", capacitance), np.array(values)
        if peaks.size == 1:
            return np.full(where.shape, peaks[0])
        return np.asarray(spline(np.array(self.capacitances), peaks)(where))

    def times(self, volts: float) -> RippleLaw:
        """Return what `volts` (peak) do, where this is what 1 V does."""
        peak = non_negative("volts", volts)
        return RippleLaw(
            self.frequency,
            self.capacitances,
            tuple(peak * value for value in self.deviations),
            tuple(peak * value for value in self.variable_amplitudes),
            peak * self.reference_amplitude,
        )


def ripple_laws(
    reference: Adjoint, capacitances: Sequence[float], variable: Sequence[Adjoint], frequency: float
) -> dict[str, RippleLaw]:
    """Return what 1 V (peak) of ripple of `frequency`, Hz, does, by where it enters (ENTRIES).

    `variable`: the variable oscillator with each of the antenna's `capacitances`, F.
    """
    first, others = both_ripples(reference, frequency), [both_ripples(each, frequency) for each in variable]
    still = Modulation(frequency, 0.0j, 0.0j, 0.0j)

    def law(of_reference: Modulation, of_variable: Sequence[Modulation]) -> RippleLaw:
        return RippleLaw(
            frequency,
            tuple(float(value) for value in capacitances),
            tuple(of_reference.deviation - each.deviation for each in of_variable),
            tuple(each.amplitude for each in of_variable),
            of_reference.amplitude,
        )

    supplies, bases, rest = [one[0] for one in others], [one[1] for one in others], [still] * len(others)
    laws = (law(first[0], supplies), law(first[1], bases), law(first[1], rest), law(still, bases))
    return dict(zip(ENTRIES, laws, strict=True))
