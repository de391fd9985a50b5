"""What solved circuits add to the resonance law of many builds: a capacitance across each tank, to first order.

Symbols: f frequency of an oscillator, x_i relative deviation of value i, C0 tank capacitance; S_i = d(ln f)/dx_i of the
solved circuit (the adjoint's, `models.circuit.adjoint`), R_i the same of the resonance without loss.

    C_added = C_n + sum_i k_i x_i,     k_i = (S_i - R_i) / (d(ln f)/dC0)

C_n is what makes the resonance of the nominal values swing at the solved frequency. With it and with k_i the law of
`models.builds.build_law` has the frequency and every derivative of the solved circuit at the nominal values, and the
curvature of the exact resonance beyond: most of what wide spreads bend is in there, also for values that the resonance
does not know (R_i = 0), because most of them act as a capacitance across the tank does. Values whose reciprocal acts
straight (a current gain, which sets the base current) count with 1 - 1/(1 + x_i) in place of x_i.

Both C_n and k_i go with the antenna's capacitance: the first as a table, the second as a polynomial through the
antenna capacitances at which the circuit was linearised. Against fifty builds of demos/willow.toml, every part off
within its default limits, solved one by one: either oscillator is 0.08 % of its own scatter off (root mean square; 3.4
of some 4500 Hz) and 9.6 Hz at worst, the shift between the hand at zero beat and at 5 cm, which makes the pitch, 0.31 %
and 0.7 Hz (`beatfield benchmark` prints them). Neglected: what two values do together beyond the resonance; whether
each build still starts.
"""

from __future__ import annotations

from dataclasses import field

import numpy as np
from numpy.typing import NDArray

from models.arrays import Floats
from models.branch.modes import squared_frequency
from models.builds.build_law import BuildLaw, Builds
from models.quick_dataclass import dataclass

STEP = 1e-5
"""Relative step of the resonance's differences: good to some 1e-10 of a derivative."""


@dataclass(frozen=True, slots=True, eq=False)
class CircuitShare:
    """What the circuits of both oscillators add across their tanks, F; columns (c,) are those of part values.

    names: of the columns after those of the resonance. nominal: (c,) values, SI units. variable: (c, terms) F per
    relative change, polynomials in the antenna's capacitance as `Builds.added`. reference: (c,) F per relative change.
    reference_added: F, with the reference's trimmer at `trimmer` F; by_trimmer: F for each F more of it. inverse:
    whether a column counts by its reciprocal.
    """

    names: tuple[str, ...]
    nominal: Floats
    variable: Floats
    reference: Floats
    reference_added: float
    trimmer: float
    by_trimmer: float
    inverse: NDArray[np.bool_]
    _weights: Floats = field(init=False, repr=False)
    _offsets: Floats = field(init=False, repr=False)

    def __post_init__(self) -> None:
        columns = self.nominal.size
        shapes = self.variable.shape[0], self.reference.size, self.inverse.size
        if shapes != (columns, columns, columns):
            raise ValueError(f"every column must have its shares: got {shapes} for {columns}")
        there = self.nominal != 0.0
        shares = np.where(there[:, None], np.column_stack([self.variable, self.reference]), 0.0)
        scale = np.where(there, self.nominal, 1.0)
        each = np.where(
            self.inverse, -scale, 1.0 / scale
        )  # k x = each k (value or its reciprocal), less each k at x = 0
        object.__setattr__(self, "_weights", each[:, None] * shares)
        object.__setattr__(self, "_offsets", np.where(self.inverse, 1.0, -1.0) @ shares)

    def added(self, values: Floats) -> tuple[Floats, Floats]:
        """What builds with these part values (n, c) add to the nominal one, F: to the variable oscillators, polynomials
        (n, terms) as `Builds.added`, and to the references (n, 1).
        """
        turned = np.array(values)
        turned[:, self.inverse] = 1.0 / turned[:, self.inverse]
        found = turned @ self._weights + self._offsets
        return found[:, :-1], found[:, -1:]


def resonance_slopes(law: BuildLaw, builds: Builds, hand: float) -> tuple[Floats, float]:
    """d(ln f)/dx by each of the five values of one build (order of PARTS; 0 for a value of 0) and d(ln f)/dC0, 1/F, of
    the exact resonance with what the circuit adds, at an antenna capacitance, F, without stray; by central differences.
    """
    row = np.array([column[0, 0] for column in builds.columns()])
    added = float(np.interp(hand, law.circuit_capacitances, law.circuit_added)) if law.circuit_added.size else 0.0

    def logarithm(values: Floats, more: float = 0.0) -> float:
        l0, c0, la, cs, stray = values
        squared = squared_frequency(law.mode, l0, c0 + added + more, la, hand + stray, cs)
        return 0.5 * float(np.log(squared))

    slopes = np.zeros(row.size)
    for place, value in enumerate(row):
        if value != 0.0:
            up, down = row.copy(), row.copy()
            up[place], down[place] = value * (1.0 + STEP), value * (1.0 - STEP)
            slopes[place] = (logarithm(up) - logarithm(down)) / (2.0 * STEP)
    step = STEP * row[1]
    return slopes, (logarithm(row, step) - logarithm(row, -step)) / (2.0 * step)


def polynomials(turns: Floats, values: Floats) -> Floats:
    """Coefficients (c, k), lowest power first, of the polynomials through `values` (c, k) at `turns` (k,)."""
    powers = np.vander(turns, increasing=True)
    return np.asarray(np.linalg.solve(powers, values.T).T)
