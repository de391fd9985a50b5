"""Choices of tank values as one set of figures."""

from __future__ import annotations

from dataclasses import dataclass

from models.builds.choose_values import Choice, choose_values
from synth.analysis.tank_goal import TankGoal
from synth.designs.sections import Design
from synth.errors import DesignError


@dataclass(frozen=True, slots=True)
class ChoiceRow:
    """One choice; see `models.builds.choose_values.Choice`."""

    inductance_h: float
    capacitance_f: float
    trimmer_minimum_f: float
    trimmer_maximum_f: float
    reaches: bool
    setting: float
    needed_f: float
    needed_least_f: float
    needed_most_f: float
    margin_low_f: float
    margin_high_f: float
    lowest_hz: float
    highest_hz: float
    sure_lowest_hz: float | None
    sure_highest_hz: float | None


@dataclass(frozen=True, slots=True)
class ChooseFigures:
    """Every figure of the choices, SI units in the names; ratios and spreads are limits, either way."""

    design: str
    which: str
    target_hz: float
    series: str
    trimmer_series: str
    inductor_tolerance: float
    capacitor_tolerance: float
    trimmer_tolerance: float
    stray_f: float
    stray_least_f: float
    stray_most_f: float
    reached: bool
    choices: tuple[ChoiceRow, ...]
    notices: tuple[str, ...]


def choose_figures(
    design: Design, which: str, found: TankGoal, inductances: tuple[float, ...], series: str, trimmer_series: str
) -> ChooseFigures:
    """Choose the values and collect the figures. Raises DesignError where nothing can be chosen."""
    goal = found.goal
    try:
        choices = choose_values(goal, inductances, series, trimmer_series)
    except ValueError as error:
        raise DesignError(f"{design.name}: {error}") from None
    return ChooseFigures(
        design=design.name,
        which=which,
        target_hz=goal.frequency,
        series=series,
        trimmer_series=trimmer_series,
        inductor_tolerance=goal.inductor_tolerance,
        capacitor_tolerance=goal.capacitor_tolerance,
        trimmer_tolerance=goal.trimmer_tolerance,
        stray_f=goal.stray.value,
        stray_least_f=goal.stray.least,
        stray_most_f=goal.stray.most,
        reached=choices[0].reaches,
        choices=tuple(_row(choice) for choice in choices),
        notices=found.notices,
    )


def _row(choice: Choice) -> ChoiceRow:
    sure = choice.sure_range or (None, None)
    return ChoiceRow(
        choice.inductance,
        choice.capacitance,
        choice.trimmer_minimum,
        choice.trimmer_maximum,
        choice.reaches,
        choice.setting,
        choice.need.value,
        choice.need.least,
        choice.need.most,
        *choice.margins,
        *choice.range,
        *sure,
    )
