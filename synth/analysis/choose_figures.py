"""Choices of tank values: from a design and its limits to what a tank must reach, and the choices as figures."""

from __future__ import annotations

from dataclasses import dataclass

from models.builds.choose_values import TankAntenna, TankTarget, ValueRange, choose_values, upper_mode
from models.stray import BOARDS
from synth.analysis.figures import collected, of, rows
from synth.build.workbench import OpenedDesign
from synth.designs.design_file import Design
from synth.designs.quantity import format_quantity
from synth.errors import DesignError

USUAL_STRAY_SPREAD = 5e-12  # F either way, where neither the option nor the board says (an assumption)
OSCILLATORS = ("reference", "variable")


@dataclass(frozen=True, slots=True)
class Limits:
    """Tolerances as ratios and spreads, F either way. stray None: from the board, else USUAL_STRAY_SPREAD."""

    inductor: float = 0.05
    capacitor: float = 0.05
    trimmer: float = 0.1
    trimmer_share: float = 0.2
    stray: float | None = None
    junction: float = 2e-12
    antenna: float = 1e-12
    branch: float = 0.05


@dataclass(frozen=True, slots=True)
class TankGoal:
    """The goal, the design's own inductance, H, and what to know of them."""

    goal: TankTarget
    inductance: float
    stray_spread: float
    notices: tuple[str, ...]


def tank_goal(opened: OpenedDesign, which: str, frequency: float, limits: Limits) -> TankGoal:
    """The goal for the `which` oscillator of a design on `frequency`, Hz. Raises DesignError where it makes none.

    With the variable oscillator the hand is at the distance of zero beat, or out of the field where none is set.
    """
    design, tank = opened.design, opened.tanks[which]
    spread = _stray_spread(design, limits)
    around = spread + limits.junction
    notices = [
        "the resonance without loss is reckoned with; a solved circuit lands a little off it, by 0.05 to 0.07 % in the "
        "one-transistor circuit of demos/willow.toml (beatfield oscillator)"
    ]
    stray = ValueRange(tank.board_stray, max(0.0, tank.board_stray - around), tank.board_stray + around)
    if around > stray.value:
        notices.append(f"stray {format_quantity(stray.value, 'F')} less its spread ends at 0 pF: there is none below")
    try:
        antenna = _antenna(opened, limits, notices) if which == "variable" else None
        goal = TankTarget(
            frequency, stray, limits.inductor, limits.capacitor, limits.trimmer, limits.trimmer_share, antenna
        )
        mode = "high" if upper_mode(antenna, frequency) else "low"
    except ValueError as error:
        raise DesignError(f"{design.name}: {error}") from None
    if which == "variable" and design.tuning.mode not in ("auto", mode):
        notices.append(f"the target is the {mode} mode of tank and antenna; tuning.mode says {design.tuning.mode}")
    return TankGoal(goal, tank.inductance, spread, tuple(notices))


def _stray_spread(design: Design, limits: Limits) -> float:
    if limits.stray is not None:
        return limits.stray
    board = None if design.circuit is None else design.circuit.board
    if board is None:
        return USUAL_STRAY_SPREAD
    low, high = BOARDS[board]
    return 0.5 * (high - low)


def _antenna(opened: OpenedDesign, limits: Limits, notices: list[str]) -> TankAntenna:
    """The antenna at zero beat with its spread, behind the design's branch."""
    design, curve = opened.design, opened.curve
    place = design.tuning.zero_beat
    if place is not None and not curve.nearest <= place <= curve.farthest:
        raise DesignError(f"{design.name}: tuning.zero_beat lies outside the hand field")
    farads = (
        curve.empty_capacitance if place is None else float(curve.capacitance(place))
    ) + opened.wired.antenna.stray
    where = "nobody near" if place is None else f"the hand at {format_quantity(place, 'm')}"
    notices.append(f"the antenna counts with {format_quantity(farads, 'F')}, as with {where}")
    branch = opened.branch
    rod = ValueRange(farads, farads - limits.antenna, farads + limits.antenna)
    off = limits.branch * branch.inductance
    coil = ValueRange(branch.inductance, branch.inductance - off, branch.inductance + off)
    turned = opened.tap.ratio**2  # at a tap of the coil the whole coil sees this of it
    rod, coil = (
        ValueRange(*(value * factor for value in (one.value, one.least, one.most)))
        for one, factor in ((rod, turned), (coil, 1.0 / turned))
    )
    return TankAntenna(rod, coil, branch.self_capacitance * turned)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChoiceRow:
    """One choice; see `models.builds.choose_values.TankChoice`."""

    inductance_h: float = of("choice.inductance")
    capacitance_f: float = of("choice.capacitance")
    trimmer_minimum_f: float = of("choice.trimmer_minimum")
    trimmer_maximum_f: float = of("choice.trimmer_maximum")
    reaches: bool = of("choice.reaches")
    setting: float = of("choice.setting")
    needed_f: float = of("choice.need.value")
    needed_least_f: float = of("choice.need.least")
    needed_most_f: float = of("choice.need.most")
    margin_low_f: float = of("choice.margins.0")
    margin_high_f: float = of("choice.margins.1")
    lowest_hz: float = of("choice.range.0")
    highest_hz: float = of("choice.range.1")
    sure_lowest_hz: float | None = of("choice.sure_range.0")
    sure_highest_hz: float | None = of("choice.sure_range.1")


@dataclass(frozen=True, slots=True, kw_only=True)
class ChooseFigures:
    """Every figure of the choices, SI units in the names; ratios and spreads are limits, either way."""

    design: str = of("design.name")
    which: str
    target_hz: float = of("goal.frequency")
    series: str
    trimmer_series: str
    inductor_tolerance: float = of("goal.inductor_tolerance")
    capacitor_tolerance: float = of("goal.capacitor_tolerance")
    trimmer_tolerance: float = of("goal.trimmer_tolerance")
    stray_f: float = of("goal.board_stray.value")
    stray_least_f: float = of("goal.board_stray.least")
    stray_most_f: float = of("goal.board_stray.most")
    reached: bool = of("choices.0.reaches")
    choices: tuple[ChoiceRow, ...] = of("choices", rows(ChoiceRow, "choice"))
    notices: tuple[str, ...] = of("found.notices")


def choose_figures(
    design: Design, which: str, found: TankGoal, inductances: tuple[float, ...], series: str, trimmer_series: str
) -> ChooseFigures:
    """Choose the values and collect the figures. Raises DesignError where nothing can be chosen."""
    goal = found.goal
    try:
        choices = choose_values(goal, inductances, series, trimmer_series)
    except ValueError as error:
        raise DesignError(f"{design.name}: {error}") from None
    return collected(
        ChooseFigures,
        {"design": design, "goal": goal, "found": found, "choices": choices},
        which=which,
        series=series,
        trimmer_series=trimmer_series,
    )
