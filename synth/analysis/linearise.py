"""A design on the bench for a straighter pitch field: what its parts allow, the search, and the better design."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import field, replace

import numpy as np

from models.branch.choke_chain import USUAL_JOINT_STRAY
from models.branch.modes import MODES
from models.branch.tapped_coil import Tap
from models.builds.build_law import BuildLaw, Builds
from models.circuit.drawing import Drawing
from models.circuit.oscillator import steady_state
from models.circuit.resonance import beside_tank
from models.preferred_values import nearest_pair
from models.quick_dataclass import dataclass
from models.straight.buyable_field import TankParts
from models.straight.evenness import BuildSpread, FieldGoal, Tolerances, spread, tuned_rms
from models.straight.plan import FieldOption, FieldPlan, SearchTask, make_plan, ranked
from models.straight.search import FULL_EFFORT, Effort, FieldParts, Mapped, Place, Progress, one_by_one
from models.straight.shelf import Shelf
from models.tank import required_capacitance
from synth.analysis.corners import CornerFigure, corners
from synth.analysis.figures import over_notes
from synth.build.assembly import tank_in
from synth.build.circuit_assembly import blaming
from synth.build.workbench import OpenedDesign, open_loaded
from synth.designs.oscillator_sections import BranchSection, ReferenceSection
from synth.designs.quantity import format_quantity
from synth.designs.sections import Design
from synth.errors import DesignError

CHOKE_SELF_CAPACITANCE = 4e-12  # F, of one choke of some mH: rule of thumb, from memory; it hardly goes with the value
SMALLEST_CAPACITOR = 10e-12  # F, that is worth fitting across a tank
SMALLEST_PARALLEL = 1e-12  # F, beside another
STRAY_MULTIPLE = 30.0  # a tank has at least this times the spread of its stray: that then moves it by 1/60 of its pitch
LOW_FREQUENCY_BAND = (30e3, 300e3)  # Hz: LF of the ITU Radio Regulations
FREE_CARRIERS = (30e3, 500e3)  # Hz, of the search that tells what the bounds cost
TRIMMER_SHARE = 0.1  # of the tank that its trimmer must span, to make up for preferred values and tolerances
ANY_TANK = 2e-9  # F, most a tank without a trimmer may have
POLISH_ROUNDS, POLISH_STEP, POLISH_GAIN = 4, 0.08, 0.05  # trimmer's turn; cents that are worth a new setting
LANDINGS, LANDED = 4, 1e-3  # solutions of the circuit with another capacitor, and how near they come to the search
BODY_ROOM = 0.08  # m between zero beat and the player's axis
EFFORT = FULL_EFFORT  # what a command's search spends
KEPT = (
    "variable.inductance",
    "variable.capacitance",
    "variable.tap",
    "branch.inductance",
    "branch.chokes",
    "reference.inductance",
    "tuning.mode",
)
"""Keys of a design that a search may be told to keep."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the person asks for: notes Hz, reach m, share of it to fill, parts at hand, keys of the design to keep (of
    KEPT), tolerances, seed.
    """

    low_frequency: float
    high_frequency: float
    near: float
    far: float
    fill: float = 0.6
    shelf: Shelf = field(default_factory=Shelf)
    tolerances: Tolerances = field(default_factory=Tolerances)
    seed: int = 1
    choke_self_capacitance: float = CHOKE_SELF_CAPACITANCE
    carriers: tuple[float, float] = LOW_FREQUENCY_BAND
    stray_multiple: float = STRAY_MULTIPLE
    effort: Effort = field(default_factory=lambda: EFFORT)
    keep: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Solved:
    """One option of a [circuit] design: cents RMS by the lossless law of the search, by the solved circuit, and after
    the trimmer was turned for the straightest field of that (with the setting); and why not, where it does not run.
    """

    label: str
    place: str
    lossless_cents: float | None
    circuit_cents: float | None
    polished_cents: float | None = None
    polished_trimmer: float | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class FinishedSearch:
    """A finished search: before and after as designs, the plan, which option was taken, and what was searched."""

    before: OpenedDesign
    after: OpenedDesign
    plan: FieldPlan
    chosen: FieldOption
    choice: str
    task: SearchTask
    before_builds: BuildSpread | None
    refused: tuple[str, ...] = ()
    solved: tuple[Solved, ...] = ()
    corners: tuple[CornerFigure, ...] = ()


def improve(
    opened: OpenedDesign,
    wishes: Wishes,
    choice: str,
    progress: Progress,
    judged: bool = True,
    mapped: Mapped = one_by_one,
) -> FinishedSearch:
    """Search, and assemble the better design; `choice` is "robust" or "nominal". DesignError where nothing is found.

    judged: whether it is compared with the design as it came and looked at in its corners; else only straightened.
    mapped: may share out what is searched.
    """
    task = task_of(opened, wishes)
    if not judged:  # nor is it told what straightness costs
        task = replace(task, effort=replace(task.effort, front_bounds=((), ())))
    plan = make_plan(task, progress, mapped)
    if plan is None:
        raise DesignError(
            f"{opened.design.place}: no circuit puts {_hz(wishes.low_frequency)} to {_hz(wishes.high_frequency)} "
            f"over {100 * wishes.fill:.0f} % of {_cm(wishes.near)} to {_cm(wishes.far)} with carriers of "
            f"{_hz(wishes.carriers[0])} to {_hz(wishes.carriers[1])} and a tank of "
            f"{format_quantity(task.parts.least_tank_capacitance, 'F', 3)} or more, as [variable] asks with its stray "
            "and its coil's own capacitance; make those smaller, allow fewer notes, a wider reach, a smaller --fill, "
            "more with --carrier, or a smaller --stray-multiple"
        )
    keep_reference = "reference.inductance" in wishes.keep
    options = ranked(plan, choice)
    if judged:
        chosen, after, refused = _first_that_runs(opened, task, options, keep_reference)
    else:
        try:
            chosen, after, refused = _first_that_runs(opened, task, options, keep_reference, True, not plan.interrupted)
        except KeyboardInterrupt:  # what was found is kept: one that runs, in whatever corners
            plan = replace(plan, interrupted=True)
            chosen, after, refused = _first_that_runs(opened, task, options, keep_reference, True, False)
        turned = after
        if opened.design.law == "circuit" and not plan.interrupted:
            try:
                turned = _polished(after, task, POLISH_ROUNDS // 2)
            except KeyboardInterrupt:
                plan = replace(plan, interrupted=True)
        return FinishedSearch(opened, turned, plan, chosen, choice, task, None, refused)
    builds = _builds_before(opened, task)
    solved: tuple[Solved, ...] = ()
    if opened.design.law == "circuit":
        after, solved = _solved(opened, after, plan, chosen, task)
    met = tuple(_corners(after, task))
    return FinishedSearch(opened, after, plan, chosen, choice, task, builds, refused, solved, met)


def _first_that_runs(
    opened: OpenedDesign,
    task: SearchTask,
    options: list[FieldOption],
    keep_reference: bool,
    extremes: bool = False,
    in_corners: bool = True,
) -> tuple[FieldOption, OpenedDesign, tuple[str, ...]]:
    """The first option that plays in every corner, else the first that can be assembled (a [circuit] may refuse one);
    and what was said of those before it. extremes: of the corners with a circuit the weakest and the strongest only;
    not in_corners: none of them.
    """
    refused: list[str] = []
    kept: tuple[FieldOption, OpenedDesign, tuple[str, ...]] | None = None
    for option in options:
        name = option.point.solution.place.name
        try:
            after = open_loaded(better_design(opened, task, option, keep_reference))
        except DesignError as error:
            refused.append(f"{name} was passed over: {error}")
            continue
        met = _corners(after, task, extremes) if in_corners else iter(())
        fails = next((corner for corner in met if not corner.plays), None)
        if fails is None:
            return option, after, tuple(refused)
        kept = kept or (option, after, tuple(refused))
        refused.append(f"{name} was passed over, as it does not play in every corner; {fails.fault}")
    if kept is not None:
        return kept
    raise DesignError(f"{opened.design.place}: no straighter field runs with its circuit\n" + "\n".join(refused))


def _corners(piece: OpenedDesign, task: SearchTask, extremes: bool = False) -> Iterator[CornerFigure]:
    return corners(piece, task.goal.low_frequency, task.goal.high_frequency, extremes)


def task_of(opened: OpenedDesign, wishes: Wishes) -> SearchTask:
    """The search that fits the design: its stray, trimmers, coil quality and coupling stay as they are."""
    design, instrument = opened.design, opened.instrument
    curve, section = instrument.curve, design.variable
    if wishes.near < curve.nearest or wishes.far > curve.farthest:
        raise DesignError(f"--reach: the hand field is known from {_cm(curve.nearest)} to {_cm(curve.farthest)}")
    farthest = min(curve.farthest, design.player.stand_distance - BODY_ROOM)
    if wishes.far >= farthest:
        raise DesignError(f"--reach: zero beat must lie beyond it, and at {_cm(farthest)} the player's body begins")
    tank = tank_in(design, "variable")  # without what an old chain of chokes adds
    fixed = tank.total_capacitance - section.capacitance - tank.trimmer_capacitance
    around = TankParts(fixed, section.trimmer_minimum, section.trimmer_maximum)
    span = around.maximum - around.minimum
    free_least = fixed + 0.5 * (around.minimum + around.maximum) + SMALLEST_CAPACITOR
    least = max(free_least, wishes.stray_multiple * wishes.tolerances.stray * _uncertain(opened, fixed))
    parts = FieldParts(
        choke_self_capacitance=wishes.choke_self_capacitance,
        joint_stray=USUAL_JOINT_STRAY if design.branch is None else design.branch.joint_stray,
        antenna_stray=design.antenna.stray,
        least_tank_capacitance=least,
        most_tank_capacitance=max(span / TRIMMER_SHARE if span else ANY_TANK, 2.0 * least),
        tank_q=section.quality_factor,
        branch_q=60.0 if design.branch is None else design.branch.quality_factor,
        lowest_carrier=wishes.carriers[0],
        highest_carrier=wishes.carriers[1],
        tap_coupling=section.tap_coupling,
    )
    free = replace(
        parts,
        least_tank_capacitance=free_least,
        lowest_carrier=min(wishes.carriers[0], FREE_CARRIERS[0]),
        highest_carrier=max(wishes.carriers[1], FREE_CARRIERS[1]),
    )
    goal = FieldGoal(
        wishes.low_frequency,
        wishes.high_frequency,
        wishes.near,
        wishes.far,
        wishes.fill,
        instrument.lock_range,
        farthest,
    )
    asked = None if free == parts else free
    shelf, effort = _kept(design, wishes)
    return SearchTask(curve, goal, parts, around, shelf, wishes.tolerances, wishes.seed, asked, effort)


def _kept(design: Design, wishes: Wishes) -> tuple[Shelf, Effort]:
    """The parts and the places that are left where keys of the design are kept."""
    shelf, places, branch = wishes.shelf, wishes.effort.places, design.branch
    chokes = 0 if branch is None else round(branch.chokes)
    most = max((count for _, count in shelf.chokes), default=0)
    counts = {place.chokes for place in places}
    if most and most not in counts:
        places = (*places, Place(most, "high"), Place(most, "low"))
    for key in wishes.keep:
        if key == "variable.inductance":
            shelf = replace(shelf, coils=(design.variable.inductance,))
        elif key == "variable.capacitance":
            shelf = replace(shelf, capacitors=(design.variable.capacitance,))
        elif key == "variable.tap":
            places = tuple(dict.fromkeys(replace(one, tap=design.variable.tap) for one in places if one.chokes))
        elif key in ("branch.inductance", "branch.chokes"):
            taps = {one.tap for one in places} if chokes else {1.0}
            modes = MODES if chokes else ("low",)
            places = tuple(Place(chokes, mode, tap) for mode in modes for tap in sorted(taps, reverse=True))
            if key == "branch.inductance" and branch is not None:
                shelf = replace(shelf, chokes=((branch.inductance / chokes, chokes),))
        elif key == "tuning.mode" and design.tuning.mode != "auto":
            places = tuple(one for one in places if one.mode == design.tuning.mode)
    if not places:
        raise DesignError(f"{design.place}: --keep {','.join(wishes.keep)} leaves nothing to search; keep less")
    return shelf, replace(wishes.effort, places=places)


def _uncertain(opened: OpenedDesign, fixed: float) -> float:
    """Of what stands `fixed` across the variable tank, F: stray, the coil's own and the transistor's junction; not the
    feedback capacitors of a [circuit], which are bought.
    """
    if opened.design.circuit is None:
        return fixed
    circuit = opened.circuits["variable"]
    return fixed - beside_tank(circuit)


def better_design(opened: OpenedDesign, task: SearchTask, option: FieldOption, keep_reference: bool = False) -> Design:
    """The design with the parts of an option."""
    design, solution = opened.design, option.point.solution
    tap = Tap(solution.place.tap, task.parts.tap_coupling)
    branch, chokes = None, solution.place.chokes
    if chokes:
        branch = BranchSection(
            inductance=float(f"{chokes * solution.choke_inductance:.9g}"),
            quality_factor=task.parts.branch_q,
            self_capacitance=task.parts.choke_self_capacitance / chokes,
            chokes=float(chokes),
            joint_stray=task.parts.joint_stray,
        )
    section = design.variable
    variable = replace(
        section,
        inductance=solution.tank_inductance,
        capacitance=option.option.capacitor,
        trimmer=option.option.trimmer,
        tap=tap.turns,
        tap_coupling=tap.coupling,
    )
    goal = task.goal
    reference_frequency = option.point.carrier + float(np.hypot(goal.low_frequency, goal.lock_range))
    coil = design.reference.inductance if keep_reference else solution.tank_inductance
    reference = reference_section(opened, coil, reference_frequency, task.shelf)
    parts = f"{parts_text(option)}{reference_text(reference.capacitance, task.shelf)}"
    about = replace(
        design.about,
        name=f"{design.name} evened"[:80],
        description=f"{design.about.description}\n{parts}".strip()[:2000],
    )
    better = replace(
        design,
        about=about,
        variable=variable,
        branch=branch,
        reference=reference,
        tuning=replace(design.tuning, zero_beat=round(option.point.zero_beat, 4), mode=solution.place.mode),
    )
    return better if coil_across_tank(opened) else _landed(better, opened, task, option)


def coil_across_tank(opened: OpenedDesign) -> bool:
    """Whether the coil lies across the tank's capacitor, as the search takes for granted."""
    circuit = None if opened.design.circuit is None else opened.circuits["variable"]
    return not isinstance(circuit, Drawing) or circuit.coil_across_tank


def _landed(better: Design, opened: OpenedDesign, task: SearchTask, option: FieldOption) -> Design:
    """The design with the variable oscillator's capacitor such that the circuit, solved with the hand at the lowest
    note, swings at what the search has there: where its coil is not across its capacitor it would lie far off.
    """
    section, wanted, distance = better.variable, option.point.carrier, option.point.solution.low_distance
    for _ in range(LANDINGS):
        piece = OpenedDesign(replace(better, variable=section))
        hand = float(opened.curve.capacitance(distance)) + piece.wired.antenna.stray
        with blaming(better, "variable"):
            now = steady_state(piece.loaded_variable(hand), near_frequency=wanted).frequency
        if abs(now / wanted - 1.0) < LANDED:
            break
        more = (wanted**-2.0 - now**-2.0) / (4.0 * math.pi**2 * section.inductance)
        total = task.tank.total(section.capacitance, section.trimmer) + more
        capacitor, trimmer = task.tank.fitted(total, task.shelf)
        section = replace(section, capacitance=capacitor, trimmer=trimmer)
    return replace(better, variable=section)


def parts_text(option: FieldOption) -> str:
    """The parts in words."""
    solution = option.point.solution
    tank = (
        f"Tank {format_quantity(solution.tank_inductance, 'H')} with {format_quantity(option.option.capacitor, 'F')} "
        "and the trimmer"
    )
    if solution.place.chokes == 0:
        return f"{tank}; the antenna directly on it."
    if solution.place.tap != 1.0:
        tank = f"{tank}, the coil tapped at {100.0 * solution.place.tap:.3g} % of its turns from the earthed end"
    choke = format_quantity(solution.choke_inductance, "H")
    count = solution.place.chokes
    if count == 1:
        return f"{tank}; one choke of {choke} from there to the antenna, {solution.place.mode} mode."
    return f"{tank}; {count} chokes of {choke} in series from there to the antenna, {solution.place.mode} mode."


def reference_section(opened: OpenedDesign, inductance: float, frequency: float, shelf: Shelf) -> ReferenceSection:
    """The reference with a coil of `inductance`, H, and the capacitor its trimmer can make up for, or
    two in parallel where the trimmer is smaller than the step from one preferred value to the next.
    """
    section, tank = opened.design.reference, opened.tanks["reference"]
    fixed = tank.total_capacitance - section.capacitance - tank.trimmer_capacitance
    needed = float(required_capacitance(inductance, frequency))
    around = TankParts(fixed, section.trimmer_minimum, section.trimmer_maximum)
    capacitor, trimmer = around.fitted(needed, shelf)
    if abs(around.total(capacitor, trimmer) - needed) > 1e-6 * needed:
        middle = needed - around.total(0.0, 0.5)
        if middle >= 2.0 * SMALLEST_PARALLEL:
            capacitor = float(f"{sum(nearest_pair(shelf.series, middle, SMALLEST_PARALLEL)):.9g}")
            span = around.maximum - around.minimum
            trimmer = min(max(0.5 + (middle - capacitor) / span, 0.0), 1.0) if span else 0.5
    return replace(section, inductance=inductance, capacitance=capacitor, trimmer=trimmer)


def reference_text(capacitance: float, shelf: Shelf) -> str:
    """What the reference's capacitor, F, is made of, where it is no preferred value: a sentence to follow others."""
    if abs(shelf.capacitor(capacitance) / capacitance - 1.0) < 1e-6:
        return ""
    large, small = (format_quantity(part, "F") for part in nearest_pair(shelf.series, capacitance, SMALLEST_PARALLEL))
    return (
        f" The reference's capacitor is {large} with {small} in parallel: its trimmer alone does not bridge the "
        "step between preferred values."
    )


def _build_before(opened: OpenedDesign) -> tuple[BuildLaw, Builds]:
    """The design as it came, as the search sees a circuit."""
    instrument = opened.instrument
    tank, branch = instrument.variable_tank, instrument.branch
    values = tank.inductance, tank.total_capacitance, branch.inductance, branch.self_capacitance
    law = BuildLaw(instrument.curve, instrument.mode, instrument.lock_range)
    return law, Builds(*(np.array([value]) for value in (*values, instrument.antenna_stray)))


def _builds_before(opened: OpenedDesign, task: SearchTask) -> BuildSpread | None:
    """The builds of the design as it came, or None without zero beat in the field."""
    zero_beat = opened.field.zero_beat_distance
    if zero_beat is None:
        return None
    factors = task.tolerances.factors(task.effort.judge_builds, task.seed + 1)
    law, build = _build_before(opened)
    return spread(law, task.goal, build, zero_beat, factors)


def _solved(
    opened: OpenedDesign, after: OpenedDesign, plan: FieldPlan, chosen: FieldOption, task: SearchTask
) -> tuple[OpenedDesign, tuple[Solved, ...]]:
    """What the circuit makes of the options that a lossless law found; the chosen one with its trimmer turned anew."""
    zero_beat = opened.field.zero_beat_distance
    lossless = None
    if zero_beat is not None:
        law, build = _build_before(opened)
        found = float(tuned_rms(law, task.goal, build, np.array([zero_beat]))[0])
        lossless = found if np.isfinite(found) else None
    rows = [Solved("before", "as it came", lossless, _cents(opened, task))]
    for label, option in (("straightest", plan.nominal), ("robust", plan.robust)):
        if option == chosen:
            continue
        place, plain = option.point.solution.place.name, option.point.rms_cents
        try:
            piece = open_loaded(better_design(opened, task, option))
        except DesignError as error:
            rows.append(Solved(label, place, plain, None, why=" ".join(str(error).split())))
            continue
        rows.append(Solved(label, place, plain, _cents(piece, task)))
    first = _cents(after, task)
    turned = _polished(after, task)
    better = _cents(turned, task)
    if first is None or better is None or better > first - POLISH_GAIN:
        turned, better = after, None
    trimmer = None if better is None else turned.design.variable.trimmer
    place = chosen.point.solution.place.name
    rows.append(Solved("written", place, chosen.point.rms_cents, first, better, trimmer))
    return turned, tuple(rows)


def _cents(piece: OpenedDesign, task: SearchTask) -> float | None:
    """Cents RMS of an opened design over the goal's notes; None where it does not play them."""
    held = over_notes(piece.field, task.goal.low_frequency, task.goal.high_frequency)
    return None if held is None else held.rms_cents


def _polished(after: OpenedDesign, task: SearchTask, rounds: int = POLISH_ROUNDS) -> OpenedDesign:
    """The straightest of some settings of the variable trimmer around the written one, zero beat where it was; the
    circuit is solved anew for each.
    """
    section, best, cents = after.design.variable, after, _cents(after, task)
    if section.trimmer_maximum == section.trimmer_minimum or cents is None:
        return after
    step = POLISH_STEP
    for _ in range(rounds):
        middle = best.design.variable.trimmer
        for trimmer in (middle - step, middle + step):
            if not 0.0 <= trimmer <= 1.0:
                continue
            variable = replace(section, trimmer=round(trimmer, 4))
            try:
                piece = open_loaded(replace(after.design, variable=variable), after)
            except DesignError:
                continue
            found = _cents(piece, task)
            if found is not None and found < cents and not _out_of_reach(piece):
                best, cents = piece, found
        step *= 0.5
    return best


def _out_of_reach(piece: OpenedDesign) -> bool:
    """Whether the reference's trimmer does not bring zero beat where it is asked for."""
    wanted, found = piece.design.tuning.zero_beat, piece.field.zero_beat_distance
    return wanted is None or found is None or abs(found - wanted) > 1e-3


def _hz(frequency: float) -> str:
    return format_quantity(frequency, "Hz")


def _cm(distance: float) -> str:
    return f"{100.0 * distance:.1f} cm"
