"""A tank coil with a tap: the antenna branch fed from part of the turns, so that a small tank acts like a large one.

The coil, L0 in all, is earthed at one end; the tap lies the share t of the turns up, and each part's inductance goes
with the square of its turns, with coupling k between the two parts (L1 below, L2 above, M between them):

    L1 : L2 : M = t^2 : (1 - t)^2 : k t (1 - t),   L0 = L1 + L2 + 2 M,   D = t^2 + (1 - t)^2 + 2 k t (1 - t)
    p = (L1 + M) / L0 = (t^2 + k t (1 - t)) / D
    Lk = L1 - p^2 L0 = L0 (1 - k^2) t^2 (1 - t)^2 / D^2

Seen from the tap, the coil with its tank capacitor C0 is exactly a tank of p^2 L0 and C0 / p^2 (of the same frequency
and Q) behind the leakage Lk: two coupled coils are an ideal transformer and one series inductance (Thevenin; derived
here). So a tap does what a tank of less inductance and more capacitance would, with parts and a trimmer of the small
one. The tests compare it with the whole network, and the limits: t = 1 is the plain branch. Neglected: capacitance
between the turns other than across the whole coil, and at the tap itself; the resistance of each part apart (Q is that
of the whole coil).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from models.branch.antenna_branch import SeriesInductor
from models.checks import positive, positive_array
from models.quick_dataclass import dataclass
from models.tank import Tank

TYPICAL_COUPLING = 0.95  # of the parts of a coil on a closed core or in one close winding: from memory; measure yours


@dataclass(frozen=True, slots=True)
class Tap:
    """Where a coil is tapped: share of the `turns` from the earthed end (1: the hot end), `coupling` of both parts."""

    turns: float = 1.0
    coupling: float = TYPICAL_COUPLING

    def __post_init__(self) -> None:
        for name in ("turns", "coupling"):
            if positive(name, getattr(self, name)) > 1.0:
                raise ValueError(f"{name} must be > 0 and at most 1; got {getattr(self, name):g}")

    @property
    def spread(self) -> float:
        """D of the module text."""
        return self.turns**2 + (1.0 - self.turns) ** 2 + 2.0 * self.coupling * self.turns * (1.0 - self.turns)

    @property
    def ratio(self) -> float:
        """p: voltage at the open tap over that of the whole coil."""
        return (self.turns**2 + self.coupling * self.turns * (1.0 - self.turns)) / self.spread

    @property
    def leakage_share(self) -> float:
        """Lk / L0."""
        return (1.0 - self.coupling**2) * (self.turns * (1.0 - self.turns) / self.spread) ** 2

    def parts(self, inductance: float) -> tuple[float, float, float]:
        """L1, L2 and M, H, of a coil of `inductance` in all."""
        unit = positive("inductance", inductance) / self.spread
        below, above = self.turns, 1.0 - self.turns
        return unit * below**2, unit * above**2, unit * self.coupling * below * above


def seen_from_tap(tank: Tank, tap: Tap) -> Tank:
    """The tank as the branch sees it, without the leakage: p^2 L and C / p^2, frequency, Q and trimmer setting kept."""
    if tap.turns == 1.0:
        return tank
    squared = tap.ratio**2
    scaled = {
        name: getattr(tank, name) / squared
        for name in ("capacitance", "board_stray", "trimmer_minimum", "trimmer_maximum")
    }
    return replace(tank, inductance=tank.inductance * squared, **scaled)


def with_leakage(inductance: ArrayLike, own: ArrayLike, leakage: ArrayLike, frequency: ArrayLike) -> tuple[Any, Any]:
    """One coil and the capacitance across it, H and F, in place of `leakage` in series with a coil and its `own`.

    The same reactance and the same slope of it at `frequency` (Hz); exact at every frequency where `own` is 0, else to
    second order in the distance from it (below 1e-6 of the frequency over an instrument's range; a test measures it).
    Broadcasts. Raises ValueError at or above the coil's self-resonance.
    """
    angular = 2.0 * math.pi * positive_array("frequency", frequency)
    coil, across = positive_array("inductance", inductance), np.asarray(own, dtype=np.float64)
    room = 1.0 - angular**2 * coil * across
    if not (room > 0.0).all():
        raise ValueError("the series inductor must be used below its self-resonance; the frequency is at or above it")
    reactance = angular * (np.asarray(leakage) + coil / room)
    slope = np.asarray(leakage) + coil * (2.0 - room) / room**2
    rise, value = slope / reactance**2, -1.0 / reactance  # of the susceptance
    total = 2.0 / (angular * (angular * rise - value))
    return total, np.maximum(0.5 * (rise + value / angular), 0.0)


def branch_from_tap(branch: SeriesInductor, tank: Tank, tap: Tap) -> SeriesInductor:
    """The series inductor with the coil's leakage, at the frequency of the (whole) tank; Q that of the inductor."""
    leakage = tap.leakage_share * tank.inductance
    if leakage == 0.0:
        return branch
    total, own = with_leakage(branch.inductance, branch.self_capacitance, leakage, tank.frequency)
    return replace(branch, inductance=float(total), self_capacitance=float(own))
