"""Choices of tank values as one set of figures; text, JSON and CSV are all written from it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from models.builds.choose_values import Choice, Goal, choose_values
from synth.analysis.tank_goal import TankGoal
from synth.designs.quantity import format_quantity
from synth.designs.sections import Design
from synth.errors import DesignError

SCHEMA = "beatfield.choose/1"
_SHOWN = 8  # rows of the text; JSON and CSV hold all


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


CSV_COLUMNS = tuple(ChoiceRow.__dataclass_fields__)


@dataclass(frozen=True, slots=True)
class ChooseReport:
    """Every figure of the report, SI units in the names; ratios and spreads are limits, either way."""

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

    def document(self) -> dict[str, Any]:
        """The report as JSON-ready values."""
        return {"schema": SCHEMA, **asdict(self)}

    def csv(self) -> str:
        """One line a choice, all figures in SI units."""
        lines = [",".join(CSV_COLUMNS)]
        lines += [",".join(_cell(getattr(row, name)) for name in CSV_COLUMNS) for row in self.choices]
        return "\n".join(lines) + "\n"

    def text(self) -> str:
        """The report for people."""
        spread = f"{format_quantity(self.stray_least_f, 'F')} to {format_quantity(self.stray_most_f, 'F')}"
        lines = [
            f"{self.which.capitalize()} oscillator of {self.design} on {self.target_hz / 1e3:.3f} kHz",
            f"worst case of inductor {_percent(self.inductor_tolerance)}, "
            f"capacitor {_percent(self.capacitor_tolerance)}, "
            f"trimmer {_percent(self.trimmer_tolerance)}, stray with junction {spread}",
            "",
        ]
        lines += [] if self.reached else ["no choice reaches it in every build; nearest:"]
        lines += [
            f"{'inductor':>10}{'capacitor':>11}{'trimmer':>18}{'at':>6}{'covers':>22}{'in every build':>22}"
            f"{'to spare':>18}"
        ]
        lines += [_line(row) for row in self.choices[:_SHOWN]]
        hidden = len(self.choices) - _SHOWN
        lines += [f"and {hidden} more (--csv or --json)"] if hidden > 0 else []
        if not self.reached:
            best = self.choices[0]
            short = -min(best.margin_low_f, best.margin_high_f)
            lines += [
                f"the best lacks {format_quantity(short, 'F', digits=3)} of trimmer; take tighter parts, a finer "
                "series, trimmers with a smaller minimum, or another inductor (--inductors)"
            ]
        lines += [""] * bool(self.notices) + [f"note: {notice}" for notice in self.notices]
        return "\n".join(lines) + "\n"


def choose_report(
    design: Design, which: str, found: TankGoal, inductances: tuple[float, ...], series: str, trimmer_series: str
) -> ChooseReport:
    """Choose the values and collect the figures. Raises DesignError where nothing can be chosen."""
    goal: Goal = found.goal
    try:
        choices = choose_values(goal, inductances, series, trimmer_series)
    except ValueError as error:
        raise DesignError(f"{design.name}: {error}") from None
    return ChooseReport(
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


def _line(row: ChoiceRow) -> str:
    trimmer = f"{row.trimmer_minimum_f * 1e12:.3g}-{row.trimmer_maximum_f * 1e12:.3g} pF"
    covers = f"{row.lowest_hz / 1e3:.2f}-{row.highest_hz / 1e3:.2f} kHz"
    sure = "nothing"
    if row.sure_lowest_hz is not None and row.sure_highest_hz is not None:
        sure = f"{row.sure_lowest_hz / 1e3:.2f}-{row.sure_highest_hz / 1e3:.2f} kHz"
    spare = f"{row.margin_low_f * 1e12:.1f}, {row.margin_high_f * 1e12:.1f} pF"
    return (
        f"{format_quantity(row.inductance_h, 'H'):>10}{format_quantity(row.capacitance_f, 'F'):>11}{trimmer:>18}"
        f"{row.setting:>6.2f}{covers:>22}{sure:>22}{spare:>18}"
    )


def _percent(ratio: float) -> str:
    return f"+-{100.0 * ratio:g} %"


def _cell(value: object) -> str:
    return "" if value is None else str(value).lower() if isinstance(value, bool) else repr(value)
