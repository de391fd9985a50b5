"""An antenna on a tank, straight or behind a series inductor, and which mode its oscillator takes.

The laws themselves live in `models.branch.modes` (lossless, exact) and `models.branch.loss`; this module adds
the coil, and the question a builder asks: in which of its two modes will the circuit swing, and may it change
as the hand moves? The answer is that of the start: the mode that asks for the smaller negative conductance
across the tank starts first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.branch.loss import complex_modes, mode_starts
from models.branch.modes import MODES, mode_frequencies, mode_slope
from models.checks import finite_array, non_negative, one_of, positive, positive_array
from models.inductor import series_resistance
from models.tank import Tank

__all__ = [
    "DIRECT",
    "MODES",
    "SeriesInductor",
    "complex_modes",
    "hop_warning",
    "mode_frequencies",
    "mode_slope",
    "mode_starts",
    "preferred_mode",
    "starting_conductances",
]

Floats = NDArray[np.float64]
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


def hop_warning(
    tank: Tank,
    branch: SeriesInductor,
    distances: ArrayLike,
    antenna_capacitances: ArrayLike,
    mode: str,
    ratio: float = HOP_RATIO,
    tap_ratio: float = 1.0,
) -> str | None:
    """A sentence if the oscillator may leave `mode` at some of the hand `distances` (m), otherwise None.

    It may where the other mode starts at less than `ratio` times the conductance `mode` needs.
    `antenna_capacitances` in F, one for each distance, stray included. `tap_ratio`: voltage of the coil's tap that the
    branch is on over the whole coil's; the conductances told are those across the whole coil. Speaks of the start
    only: see `models.branch.loss` for what is left out.
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
    rival = MODES[1 - MODES.index(mode)]
    merged = np.flatnonzero(np.isinf(own))
    if merged.size:
        return (
            f"the series inductor is so lossy that only the {rival} mode is left to start in with the hand at "
            f"{100 * where[merged].min():.1f} to {100 * where[merged].max():.1f} cm, not the {mode} one"
        )
    margin = other / own
    at_risk = np.flatnonzero(margin < ratio)
    if at_risk.size == 0:
        return None
    near, far = where[at_risk].min(), where[at_risk].max()
    worst = int(np.argmin(margin))
    verb = "starts in" if margin[worst] < 1.0 else "may hop to"
    return (
        f"the oscillator {verb} its {rival} mode with the hand at {100 * near:.1f} to {100 * far:.1f} cm: at "
        f"{100 * where[worst]:.1f} cm it needs {1e6 * other[worst]:.3g} uS there against "
        f"{1e6 * own[worst]:.3g} uS in the {mode} mode (ratio {margin[worst]:.2f}; {ratio:g} is asked for)"
    )
