"""Tank and trimmer values in preferred values, so that the trimmer reaches a frequency whatever the tolerances do.

Symbols: F target, X = (2 pi F)^2, L inductance, C fixed capacitor, S stray with junction, T trimmer, A what the antenna
puts across the tank (`antenna_load`). The tank is on F when T = 1/(X L) - C - S - A, which rises or falls with every
one of the others throughout, so that the extremes over all tolerances lie at two corners:
    T_high: L, C, S, A all at their least; T_low: all at their most.
A pair of values does when the trimmer's least, at its largest, is no more than T_low, and its most, at its least, is no
less than T_high. That is a worst case: independent errors of many parts seldom meet there.
Of a solved circuit S holds all that it has across its tank on the target, loss and the transistor's pull included; off
the target it grows with what lies across the coil. Neglected: without a circuit both; any change of S with L.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from typing import Final

import numpy as np

from models.branch.modes import above_branch, branch_load, mode_frequencies
from models.checks import finite, finite_array, fraction, non_negative, positive
from models.preferred_values import values_in_range
from models.quick_dataclass import dataclass
from models.spline import spline
from models.tank import resonant_frequency

MOST_CHOICES: Final = 20
ENDS: Final = {-1.0: "least", 0.0: "value", 1.0: "most"}
LEAST_TRIMMER: Final = 2e-12
"""F: trimmers smaller than this are left out."""


@dataclass(frozen=True, slots=True)
class ValueRange:
    """A value and the least and most it can be, SI units."""

    value: float
    least: float
    most: float

    def __post_init__(self) -> None:
        for name in ("value", "least", "most"):
            finite(name, getattr(self, name))
        if not self.least <= self.value <= self.most:
            raise ValueError(f"value must be between least and most; got {self.least:g}, {self.value:g}, {self.most:g}")


NOTHING: Final = ValueRange(0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class TankAntenna:
    """An antenna on the tank: its capacitance with its stray, F, behind a series inductor, H and (exact) its own F."""

    capacitance: ValueRange
    branch_inductance: ValueRange = NOTHING
    self_capacitance: float = 0.0

    def __post_init__(self) -> None:
        positive("antenna capacitance", self.capacitance.least)
        non_negative("branch_inductance", self.branch_inductance.least)
        non_negative("self_capacitance", self.self_capacitance)


@dataclass(frozen=True, slots=True)
class TankTarget:
    """What the values are chosen for: `frequency` Hz; ratios are limits, plus or minus; board_stray F, with junction.

    trimmer_share: least over most capacitance of the trimmers to be had. across, more: with `across` farads more across
    the coil than on the target a solved circuit adds `more` to the stray, a rising row of each (one entry: nothing).
    equal: the inductance that the capacitor sees on the target over the coil's (1: it lies across it); it goes with the
    coil to first order.
    """

    frequency: float
    board_stray: ValueRange
    inductor_tolerance: float = 0.05
    capacitor_tolerance: float = 0.05
    trimmer_tolerance: float = 0.1
    trimmer_share: float = 0.2
    antenna: TankAntenna | None = None
    across: tuple[float, ...] = (0.0,)
    more: tuple[float, ...] = (0.0,)
    equal: float = 1.0

    def __post_init__(self) -> None:
        positive("frequency", self.frequency)
        positive("equal", self.equal)
        if len(self.across) != len(self.more) or not (np.diff(finite_array("across", self.across)) > 0.0).all():
            raise ValueError(f"across must rise and go with more; got {self.across} and {self.more}")
        non_negative("least stray", self.board_stray.least)
        for name in ("inductor_tolerance", "capacitor_tolerance", "trimmer_tolerance", "trimmer_share"):
            if fraction(name, getattr(self, name)) == 1.0:
                raise ValueError(f"{name} must be below 1; got 1")


@dataclass(frozen=True, slots=True)
class TankChoice:
    """One choice of values, H and F, and what the trimmer does with it.

    need: trimmer capacitance on the target, nominal and at both worst corners. margins: F left at the trimmer's lower
    and its upper end in the worst case; negative where it does not reach. range: Hz from the trimmer all in to all out
    with nominal values. sure_range: Hz that every build reaches, None where there is no such span.
    """

    inductance: float
    capacitance: float
    trimmer_minimum: float
    trimmer_maximum: float
    need: ValueRange
    setting: float
    margins: tuple[float, float]
    range: tuple[float, float]
    sure_range: tuple[float, float] | None

    @property
    def reaches(self) -> bool:
        """Whether every build reaches the target."""
        return min(self.margins) >= 0.0


def antenna_load(antenna: TankAntenna | None, frequency: float) -> ValueRange:
    """Capacitance, F, that the antenna puts across the tank at `frequency`, Hz; exact.

    `models.branch.modes.branch_load` rises with the antenna's capacitance and the branch's inductance on either side of
    its pole, so the least of both make the least load. Raises ValueError where the pole lies within the spreads.
    """
    if antenna is None:
        return NOTHING
    squared, cs = (2.0 * math.pi * frequency) ** 2, antenna.self_capacitance
    ends = [
        (getattr(antenna.branch_inductance, end), getattr(antenna.capacitance, end)) for end in ValueRange.__slots__
    ]
    if len({bool(above_branch(squared, *end, cs)) for end in ends}) > 1:
        raise ValueError("the branch to the antenna resonates at the target within its spread; move either")
    return ValueRange(*(float(branch_load(squared, *end, cs)) for end in ends))


def upper_mode(antenna: TankAntenna | None, frequency: float) -> bool:
    """Whether the target is the upper one of the two frequencies: above the branch's resonance with the antenna."""
    if antenna is None:
        return False
    squared = (2.0 * math.pi * frequency) ** 2
    branch, rod = antenna.branch_inductance.value, antenna.capacitance.value
    return bool(above_branch(squared, branch, rod, antenna.self_capacitance))


def choice_of(goal: TankTarget, inductance: float, capacitance: float, minimum: float, maximum: float) -> TankChoice:
    """What these values, H and F, do for `goal`."""
    coil, fixed = positive("inductance", inductance), positive("capacitance", capacitance)
    low, high = non_negative("minimum", minimum), positive("maximum", maximum)
    if high <= low:
        raise ValueError(f"maximum must be > minimum ({low:g}); got {high:g}")
    needs = _needs(goal, antenna_load(goal.antenna, goal.frequency), coil, fixed)
    reach = _reach(goal, coil, fixed, low, high)
    setting = (needs.value - low) / (high - low)
    return TankChoice(coil, fixed, low, high, needs, setting, _margins(goal, needs, low, high), *reach)


def _needs(goal: TankTarget, load: ValueRange, coil: float, fixed: float) -> ValueRange:
    """Trimmer capacitance on the target, F: nominal, T_low and T_high."""
    needed = 1.0 / (2.0 * math.pi * goal.frequency) ** 2

    def need(way: float, stray: float, antenna: float) -> float:
        parts = fixed * (1.0 + way * goal.capacitor_tolerance) + stray + antenna
        return needed / (goal.equal * coil * (1.0 + way * goal.inductor_tolerance)) - parts

    return ValueRange(
        need(0.0, goal.board_stray.value, load.value),
        need(1.0, goal.board_stray.most, load.most),
        need(-1.0, goal.board_stray.least, load.least),
    )


def _margins(goal: TankTarget, needs: ValueRange, low: float, high: float) -> tuple[float, float]:
    """What is left at the trimmer's lower and upper end in the worst case, F."""
    return needs.least - low * (1.0 + goal.trimmer_tolerance), high * (1.0 - goal.trimmer_tolerance) - needs.most


def _reach(
    goal: TankTarget, coil: float, fixed: float, low: float, high: float
) -> tuple[tuple[float, float], tuple[float, float] | None]:
    """Frequencies from trimmer all in to all out: nominal, and those that every build reaches; exact per corner."""

    squared, load = (2.0 * math.pi * goal.frequency) ** 2, antenna_load(goal.antenna, goal.frequency)
    off_target = _off_target(goal)

    def frequency(way: float, trimmer: float) -> float:
        inductance = goal.equal * coil * (1.0 + way * goal.inductor_tolerance)
        total = fixed * (1.0 + way * goal.capacitor_tolerance) + getattr(goal.board_stray, ENDS[way]) + trimmer
        on_target = 1.0 / (squared * inductance) - getattr(load, ENDS[way])
        return _on_tank(goal, inductance, total + off_target(total - on_target), way)

    nominal = frequency(0.0, high), frequency(0.0, low)
    off = goal.trimmer_tolerance
    sure = frequency(-1.0, high * (1.0 - off)), frequency(1.0, low * (1.0 + off))
    return nominal, sure if sure[0] <= sure[1] else None


def _off_target(goal: TankTarget) -> Callable[[float], float]:
    """What a solved circuit adds, F, with farads more across the coil; beyond its table as at its end."""
    if len(goal.across) < 2:
        return lambda across: 0.0
    table = spline(goal.across, goal.more)
    return lambda across: float(table(min(max(across, goal.across[0]), goal.across[-1])))


def _on_tank(goal: TankTarget, coil: float, total: float, way: float) -> float:
    """Frequency, Hz, of the mode the target is in, with the antenna at its least, value or most."""
    if goal.antenna is None:
        return float(resonant_frequency(coil, total))
    farads, henries = (getattr(part, ENDS[way]) for part in (goal.antenna.capacitance, goal.antenna.branch_inductance))
    both = mode_frequencies(coil, total, henries, farads, goal.antenna.self_capacitance)
    return float(both[upper_mode(goal.antenna, goal.frequency)])


def choose_values(
    goals: Mapping[float, TankTarget],
    series: str = "E12",
    trimmer_series: str = "E6",
    count: int = MOST_CHOICES,
) -> tuple[TankChoice, ...]:
    """The best `count` choices that reach the target in all builds: smallest trimmer first, then most centred.

    goals: by inductance, H, those to be had. The smaller trimmer is the finer one to set. Where none reaches it, the
    three that miss by the least, that one first. Raises ValueError where stray and antenna alone are too much.
    """
    if not goals:
        raise ValueError("inductances must name one or more")
    tried = [
        (_margins(goal, needs, low, high), (coil, fixed, low, high))
        for coil, goal in goals.items()
        for fixed, low, high, needs in _candidates(
            goal, antenna_load(goal.antenna, goal.frequency), coil, series, trimmer_series
        )
    ]
    if not tried:
        raise ValueError("the target needs less capacitance than stray and antenna add; lower it, or take less coil")
    able = [(values[3], abs(margins[0] - margins[1]), values) for margins, values in tried if min(margins) >= 0.0]
    chosen = sorted(able)[:count] if able else sorted((-min(margins), 0.0, values) for margins, values in tried)[:3]
    return tuple(choice_of(goals[values[0]], *values) for _, _, values in chosen)


def _candidates(
    goal: TankTarget, load: ValueRange, coil: float, series: str, trimmer_series: str
) -> Iterator[tuple[float, float, float, ValueRange]]:
    """Fixed capacitor, trimmer ends, F, and what is needed of the trimmer: all that fit into the tank."""
    needed = 1.0 / ((2.0 * math.pi * goal.frequency) ** 2 * goal.equal * positive("inductance", coil))
    room = needed - goal.board_stray.value - load.value
    if room <= LEAST_TRIMMER:
        return
    tops = values_in_range(trimmer_series, LEAST_TRIMMER, room)
    for fixed in values_in_range(series, max(1e-12, 0.02 * room), room):
        needs = _needs(goal, load, coil, fixed)
        for top in tops:
            yield fixed, top * goal.trimmer_share, top, needs
