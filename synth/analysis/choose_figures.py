"""Choices of tank values: from a design and its limits to what a tank must reach, and the choices as figures."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from models.builds.choose_values import TankAntenna, TankTarget, ValueRange, choose_values, upper_mode
from models.quick_dataclass import dataclass
from models.stray import BOARDS
from synth.analysis.choose_circuit import CircuitTank, circuit_tank, with_other_coil
from synth.analysis.figures import collected, of, rows
from synth.build.circuit_assembly import blaming
from synth.build.workbench import OpenedDesign
from synth.designs.build_sections import TolerancesSection
from synth.designs.design_file import Design
from synth.designs.quantity import format_quantity
from synth.errors import DesignError, at_place

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
class TankGoals:
    """The goal for each inductance, H, that is to be had, and what to know of them; the first stands for all.

    interrupted: by Ctrl-C, before every inductance was looked at.
    """

    goals: Mapping[float, TankTarget]
    notices: tuple[str, ...]
    interrupted: bool = False

    @property
    def first(self) -> TankTarget:
        """The goal for the first inductance."""
        return next(iter(self.goals.values()))


def tank_goals(
    opened: OpenedDesign,
    which: str,
    frequency: float,
    limits: Limits,
    inductances: tuple[float, ...] = (),
    progress: Callable[[float], None] = lambda share: None,
) -> TankGoals:
    """The goals for the `which` oscillator of a design on `frequency`, Hz, with `inductances`, H (none named: its own).

    Of a design with solved circuits the circuit is solved on the target with each of them. With the variable oscillator
    the hand is at the distance of zero beat, or out of the field where none is set. Raises DesignError where the design
    makes no goal, and where the circuit does not oscillate there. `progress` hears the share of the inductances
    that are done; KeyboardInterrupt ends them with what is found, once there is one.
    """
    design, section = opened.design, getattr(opened.wired, which)
    notices: list[str] = []
    solved = design.law == "circuit"
    if not solved:
        notices.append(
            "these figures are of the resonance without loss, because the design is not tuned by a solved circuit"
        )
    goals: dict[float, TankTarget] = {}
    try:
        antenna = _antenna(opened, limits, notices) if which == "variable" else None
        mode = "high" if upper_mode(antenna, frequency) else "low"
        coils = inductances or (section.inductance,)
        for number, coil in enumerate(coils):
            progress(number / len(coils))
            goals[coil] = _tank_goal(opened, which, coil, frequency, limits, antenna, notices)
    except KeyboardInterrupt:
        if not goals:
            raise
        left = ", ".join(format_quantity(coil, "H") for coil in coils[len(goals) :])
        notices.append(f"interrupted: these inductances were not looked at: {left}")
    except DesignError:
        raise
    except ValueError as error:
        raise at_place(design.place, error) from None
    if which == "variable" and design.tuning.mode not in ("auto", mode):
        notices.append(f"the target is the {mode} mode of tank and antenna; tuning.mode says {design.tuning.mode}")
    if solved:
        notices.append(
            "the circuit is solved on the target: stray holds all that it has across its tank, and the worst case of "
            "its other parts, to first order"
        )
    return TankGoals(goals, tuple(dict.fromkeys(notices)), len(goals) < len(set(coils)))


def _tank_goal(
    opened: OpenedDesign,
    which: str,
    coil: float,
    frequency: float,
    limits: Limits,
    antenna: TankAntenna | None,
    notices: list[str],
) -> TankTarget:
    """The goal with one inductance; what there is to know of it is added to `notices`."""
    design, section = opened.design, getattr(opened.wired, which)
    if design.law == "circuit":
        tank = _circuit_tank(opened, which, coil, frequency, antenna, limits)
        total = section.stray + section.self_capacitance + tank.added
        around = _stray_spread(design, limits) + limits.junction + tank.spread
        table, equal = (tank.across, tank.more), tank.equal
    else:
        total, table, equal = opened.tanks[which].board_stray, ((0.0,), (0.0,)), 1.0
        around = _stray_spread(design, limits) + limits.junction
    stray = ValueRange(total, max(0.0, total - around), total + around)
    if around > stray.value:
        notices.append(f"stray {format_quantity(stray.value, 'F')} less its spread ends at 0 pF: there is none below")
    return TankTarget(
        frequency,
        stray,
        limits.inductor,
        limits.capacitor,
        limits.trimmer,
        limits.trimmer_share,
        antenna,
        *table,
        equal,
    )


def _circuit_tank(
    opened: OpenedDesign, which: str, coil: float, frequency: float, antenna: TankAntenna | None, limits: Limits
) -> CircuitTank:
    """The design's circuit with another coil, solved on the target; capacitors by the option, else [tolerances]."""
    design, tolerances = opened.design, opened.design.tolerances or TolerancesSection()
    with blaming(design, which):
        circuit = opened.circuits[which] if antenna is None else opened.loaded_variable(_antenna_farads(opened))
        by_kind = {kind: getattr(tolerances, kind) for kind in ("resistor", "potentiometer", "gain", "supply")}
        kelvin = circuit.drawing().temperature
        by_kind |= {"capacitor": limits.capacitor, "temperature": tolerances.temperature / kelvin}
        return circuit_tank(with_other_coil(circuit, coil), frequency, antenna, by_kind)


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
    place, farads = opened.design.tuning.zero_beat, _antenna_farads(opened)
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


def _antenna_farads(opened: OpenedDesign) -> float:
    """The antenna with its stray, the hand at zero beat or nobody near, F."""
    design, curve = opened.design, opened.curve
    place = design.tuning.zero_beat
    if place is not None and not curve.nearest <= place <= curve.farthest:
        raise DesignError(f"{design.place}: tuning.zero_beat lies outside the hand field; choose a nearer one")
    rod = curve.empty_capacitance if place is None else float(curve.capacitance(place))
    return rod + opened.wired.antenna.stray


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


def choose_figures(design: Design, which: str, found: TankGoals, series: str, trimmer_series: str) -> ChooseFigures:
    """Choose the values and collect the figures. Raises DesignError where nothing can be chosen."""
    goal = found.first
    try:
        choices = choose_values(found.goals, series, trimmer_series)
    except ValueError as error:
        raise at_place(design.place, error) from None
    return collected(
        ChooseFigures,
        {"design": design, "goal": goal, "found": found, "choices": choices},
        which=which,
        series=series,
        trimmer_series=trimmer_series,
    )
