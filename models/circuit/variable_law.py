"""The variable oscillator as a solved circuit gives it: frequency and amplitude against the antenna's capacitance.

The hand acts on the oscillator through the antenna's capacitance alone, so that is what the table runs over:
frequency and amplitude are smooth and almost straight in it, and a dozen or two points suffice. Between them both are
piecewise cubics with continuous slope that never leave the range of their two neighbours; the frequency falls
strictly.
"""

from __future__ import annotations

from dataclasses import field

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import finite_array, positive_array
from models.hand.capacitance_curve import monotone_cubic, shape_preserving
from models.quick_dataclass import dataclass
from models.spline import Cubic

MOST_BEYOND = 0.25
"""Share of the solved range that a law may be taken beyond it."""


@dataclass(frozen=True, slots=True, eq=False)
class VariableLaw:
    """Solved points of the variable oscillator; all (n,), n >= 2.

    capacitances: F, strictly increasing, the antenna's with its stray, from the empty room (no player) to the nearest
    hand. frequencies: Hz, strictly decreasing. amplitudes: peak voltage at the detector, V. Raises ValueError for
    malformed tables, and for capacitances outside them.
    """

    capacitances: Floats
    frequencies: Floats
    amplitudes: Floats
    _frequency: Cubic = field(init=False, repr=False)
    _amplitude: Cubic = field(init=False, repr=False)

    def __post_init__(self) -> None:
        names = ("capacitances", "frequencies", "amplitudes")
        rows = [np.array(positive_array(name, getattr(self, name))) for name in names]
        if rows[0].ndim != 1 or rows[0].size < 2 or any(row.shape != rows[0].shape for row in rows):
            shapes = ", ".join(str(row.shape) for row in rows)
            raise ValueError(f"capacitances, frequencies and amplitudes must be rows of one length >= 2; got {shapes}")
        if not (np.diff(rows[0]) > 0.0).all():
            raise ValueError("capacitances must increase strictly")
        if not (np.diff(rows[1]) < 0.0).all():
            raise ValueError("frequencies must decrease strictly as the capacitance grows")
        for name, row in zip(names, rows, strict=True):
            row.setflags(write=False)
            object.__setattr__(self, name, row)
        object.__setattr__(self, "_frequency", monotone_cubic(rows[0], rows[1]))
        object.__setattr__(self, "_amplitude", shape_preserving(rows[0], rows[2]))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, VariableLaw) and self._key() == other._key()

    def __hash__(self) -> int:
        return hash(self._key())

    def _key(self) -> tuple[bytes, bytes, bytes]:
        return self.capacitances.tobytes(), self.frequencies.tobytes(), self.amplitudes.tobytes()

    def frequency(self, capacitance: ArrayLike) -> Floats:
        """Frequency, Hz, with an antenna's capacitance, F (any shape)."""
        return np.asarray(self._frequency(self._within(capacitance)))

    def slope(self, capacitance: ArrayLike) -> Floats:
        """Change of the frequency with capacitance, Hz/F (negative)."""
        return np.asarray(self._frequency(self._within(capacitance), 1))

    def amplitude(self, capacitance: ArrayLike) -> Floats:
        """Peak voltage at the detector, V."""
        return np.asarray(self._amplitude(self._within(capacitance)))

    def covers(self, lowest: float, highest: float) -> bool:
        """Whether these capacitances, F, lie within the table."""
        slack = 1e-9 * (float(self.capacitances[-1]) - float(self.capacitances[0]))
        return bool(self.capacitances[0] - slack <= lowest and highest <= self.capacitances[-1] + slack)

    def reaching(self, lowest: float, highest: float) -> VariableLaw:
        """The law that holds these capacitances, F, too: what is missing goes on as the cubics at its ends do.

        For a field a little changed (other shoes, a player who leans). Raises ValueError for more than `MOST_BEYOND` of
        the solved range beyond either end.
        """
        if self.covers(lowest, highest):
            return self
        first, last = float(self.capacitances[0]), float(self.capacitances[-1])
        beyond = max(first - lowest, highest - last)
        if beyond > MOST_BEYOND * (last - first):
            raise ValueError(
                f"antenna capacitance must be between {first:g} and {last:g} F; got {lowest:g}, {highest:g}"
            )
        before, after = [lowest] if lowest < first else [], [highest] if highest > last else []
        places = np.array([*before, *self.capacitances.tolist(), *after])
        return VariableLaw(places, self._frequency(places), self._amplitude(places))

    def _within(self, capacitance: ArrayLike) -> Floats:
        values = finite_array("antenna capacitance", capacitance)
        least, most = float(self.capacitances[0]), float(self.capacitances[-1])
        if values.ndim == 0 and least <= values <= most:
            return values
        if values.size and not self.covers(float(values.min()), float(values.max())):
            worst = values.min() if values.min() < least else values.max()
            raise ValueError(f"antenna capacitance must be between {least:g} and {most:g} F; got {float(worst):g}")
        return np.asarray(np.clip(values, least, most))  # rounding at the ends only: the range was checked
