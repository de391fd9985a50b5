"""An antenna on a tank, straight or behind a series inductor, and which mode its oscillator takes.

The laws themselves live in `models.branch.modes` (lossless, exact) and `models.branch.loss`; this module adds
the coil, and the question a builder asks: in which of its two modes will the circuit swing, and may it change
as the hand moves? The answer is that of the start: the mode that asks for the smaller negative conductance
across the tank starts first.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.branch.loss import mode_starts
from models.branch.modes import MODES
from models.checks import finite_array, non_negative, one_of, positive, positive_array
from models.inductor import series_resistance
from models.quick_dataclass import dataclass
from models.tank import Tank

HOP_RATIO = 1.5  # what the other mode must need, over this one, before no hop is feared: our design margin


@dataclass(frozen=True, slots=True)
class SeriesInductor:
    """The coil between tank and antenna: H, quality factor at the working frequency, self-capacitance in F.

    The quality factor is that of the wire alone (r in series with the inductance), without the
    self-capacitance. An inductance of 0 (`DIRECT`) is no coil at all: the antenna straight across the tank.
    """

    inductance: float = 0.0
    quality_factor: float = 60.0
    self_capacitance: float = 0.0

    def __post_init__(self) -> None:
        non_negative("inductance", self.inductance)
        positive("quality_factor", self.quality_factor)
        non_negative("self_capacitance", self.self_capacitance)

    def series_resistance(self, frequency: float) -> float:
        """Loss as a resistance in series with the inductance, ohm, at `frequency` (Hz)."""
        return float(series_resistance(self.inductance, self.quality_factor, frequency))

    @property
    def direct(self) -> bool:
        """Whether there is no coil between tank and antenna."""
        return self.inductance == 0.0


DIRECT = SeriesInductor()


def starting_conductances(tank: Tank, branch: SeriesInductor, antenna_capacitance: ArrayLike) -> tuple[Floats, Floats]:
    """Negative conductance across the tank, S, at which the lower and the upper mode start.

    `antenna_capacitance` in F, any shape, stray included; infinite for the upper mode of a direct antenna. Resistances
    from both coils' quality factors at the tank's own frequency, held for both modes.
    """
    return mode_starts(
        tank.inductance,
        tank.total_capacitance,
        branch.inductance,
        positive_array("antenna_capacitance", antenna_capacitance),
        branch.self_capacitance,
        tank.series_resistance,
        branch.series_resistance(tank.frequency),
    ).conductances


def preferred_mode(tank: Tank, branch: SeriesInductor, antenna_capacitance: float) -> str:
    """ "low" or "high": the mode that starts first with this antenna (F); "low" for a direct one."""
    positive("antenna_capacitance", antenna_capacitance)
    low, high = starting_conductances(tank, branch, antenna_capacitance)
    return "low" if low <= high else "high"


@dataclass(frozen=True, slots=True)
class ModeHop:
    """Where an oscillator may leave its mode for the `rival` one: hand from `near` to `far`, m.

    needed: S across the whole coil, at which it starts in its own mode and in the rival one with the hand at `worst`,
    m; None where loss has merged the modes and its own is not there at all.
    """

    rival: str
    near: float
    far: float
    worst: float
    needed: tuple[float, float] | None


def mode_hop(
    tank: Tank,
    branch: SeriesInductor,
    distances: ArrayLike,
    antenna_capacitances: ArrayLike,
    mode: str,
    ratio: float = HOP_RATIO,
    tap_ratio: float = 1.0,
) -> ModeHop | None:
    """Where the oscillator may leave `mode` among the hand `distances` (m); None if nowhere.

    It may do so where the other mode starts at less than `ratio` times the conductance that `mode` needs.
    `antenna_capacitances` in F, one for each distance, stray included. `tap_ratio`: voltage of the coil's tap that the
    branch is on over the whole coil's. Speaks of the start only: see `models.branch.loss` for what is left out.
    """
    one_of("mode", mode, MODES)
    if positive("ratio", ratio) < 1.0:
        raise ValueError(f"ratio must be >= 1; got {ratio:g}")
    where = np.atleast_1d(finite_array("distances", distances))
    capacitance = np.atleast_1d(positive_array("antenna_capacitances", antenna_capacitances))
    if where.shape != capacitance.shape or where.ndim != 1 or where.size == 0:
        raise ValueError(
            f"distances and antenna_capacitances must be two rows of one length; "
            f"got {where.shape} and {capacitance.shape}"
        )
    needed = tuple(tap_ratio**2 * value for value in starting_conductances(tank, branch, capacitance))
    own, other = needed if mode == "low" else needed[::-1]
    rival, merged = MODES[1 - MODES.index(mode)], np.isinf(own)
    margin = np.where(merged, 0.0, other / own)
    at_risk = where[merged] if merged.any() else where[margin < ratio]
    if at_risk.size == 0:
        return None
    worst = int(np.argmin(margin))
    pair = None if merged.any() else (float(own[worst]), float(other[worst]))
    return ModeHop(rival, float(at_risk.min()), float(at_risk.max()), float(where[worst]), pair)
