"""From fitted readings to a target frequency: which preferred value and trimmer position reach it.

With L, and S all that the tank has beside the fitted capacitor and the trimmer: C = 1 / ((2 pi F)^2 L) - S - T, and of
a tank with an antenna the same with what the branch puts across it (`models.branch.modes`).
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from models.checks import positive
from models.preferred_values import nearest, values_in_range
from models.quick_dataclass import dataclass
from models.readings.fit import Fit
from models.readings.instrument_model import Rows
from models.readings.unknowns import NORMAL_95

SMALLEST = 1e-12  # F, of a fitted capacitor worth suggesting
VAGUE = 0.1  # of a frequency: 95 % limit from which the readings do not say enough

RowOf = Callable[[float | None], Rows]
"""One row of the model with nothing fitted and the trimmer at a position (None: there is none)."""


@dataclass(frozen=True, slots=True)
class Reach:
    """A preferred value and what it gives, F and Hz.

    needed: the exact fitted capacitance with the trimmer at its middle (or without one). trimmer: position on the
    target, None without a trimmer or where it does not reach. frequency: with its 95 % interval, the tolerance of a new
    capacitor included, with the trimmer there (or at the nearer end). lowest, highest: from the trimmer in to out.
    """

    needed: float
    fitted: float
    trimmer: float | None
    frequency: tuple[float, float, float]
    lowest: float
    highest: float


@dataclass(frozen=True, slots=True)
class Target:
    """What is looked for. row_of: how everything but the fitted capacitor stands; trimmed: whether there is a trimmer.

    capacitor_deviation: of a new capacitor, as a ratio. added: F in parallel beside (another board's stray).
    """

    fit: Fit
    row_of: RowOf
    trimmed: bool
    capacitor_deviation: float
    added: float = 0.0

    def needed(self, frequency: float, trimmer: float | None) -> float:
        """Fitted capacitance, F, that gives `frequency`, Hz; may be below 0."""
        row = self.row_of(trimmer)
        return row.needed(0, self.fit.values, positive("frequency", frequency)) - self.added

    def frequency(self, fitted: float, trimmer: float | None, added: float | None = None) -> tuple[float, float, float]:
        """Frequency and 95 % interval, Hz, with a new capacitor of this marking, F."""
        row = self.row_of(trimmer)
        offsets = row.offsets.copy()
        offsets[1] += fitted + (self.added if added is None else added)
        full = Rows(offsets, row.shares, row.high, row.pull)
        logarithm, slopes = full.log_frequencies(self.fit.values)
        step = np.zeros_like(offsets)
        step[1] = 1e-6 * full.arguments(self.fit.values)[1]
        moved = Rows(offsets + step, row.shares, row.high, row.pull).log_frequencies(self.fit.values)[0]
        own = float((moved - logarithm)[0] / step[1, 0]) * fitted * self.capacitor_deviation
        spread = NORMAL_95 * math.hypot(self.fit.spread_of(slopes[0]), own)
        middle = float(logarithm[0])
        return math.exp(middle), math.exp(middle - spread), math.exp(middle + spread)


def reach_target(target: Target, frequency: float, series: str) -> Reach:
    """The preferred value with which the trimmer reaches `frequency`, Hz, nearest to its middle; without a trimmer,
    or where none reaches, the value that comes nearest. ValueError where no fitted capacitor does, and where the
    readings do not say enough.
    """
    middle = 0.5 if target.trimmed else None
    needed = target.needed(frequency, middle)
    if needed < SMALLEST:
        raise ValueError(
            f"the tank has {-needed * 1e12:.4g} pF too much for the target without any fitted capacitor; "
            "take less inductance, or lower the target"
        )
    there = target.frequency(needed, middle)
    if there[2] / there[0] > 1.0 + VAGUE:
        raise ValueError("the readings do not say enough to predict another frequency; take the best next reading")
    if not target.trimmed:
        value = nearest(series, needed)
        read = target.frequency(value, None)
        return Reach(needed, value, None, read, read[0], read[0])
    near = values_in_range(series, max(SMALLEST, 0.3 * needed), 3.0 * needed) or (nearest(series, needed),)
    tried = [_with_trimmer(target, value, frequency, needed) for value in near]
    return min(
        tried,
        key=lambda reach: (
            reach.trimmer is None,
            abs(reach.frequency[0] - frequency) if reach.trimmer is None else abs(reach.trimmer - 0.5),
        ),
    )


def _with_trimmer(target: Target, value: float, frequency: float, needed: float) -> Reach:
    """What one fitted capacitor does; the trimmer is linear in its position, and with it the capacitance needed."""
    ends = [target.frequency(value, end)[0] for end in (1.0, 0.0)]
    span = 2.0 * (target.needed(frequency, 0.0) - needed)
    position = (target.needed(frequency, 0.0) - value) / span if span > 0.0 else math.nan
    reached = 0.0 <= position <= 1.0
    at = position if reached else 1.0 if ends[0] > frequency else 0.0
    return Reach(needed, value, at if reached else None, target.frequency(value, at), ends[0], ends[1])
