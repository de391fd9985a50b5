"""From wishes to a whole design: a template, the search for a straight field, trimmers that reach in every build, bias.

Nothing here has a law of its own: the search is that of `linearise`, trimmers are those of `choose`, builds those of
`tolerance`, and every step is the design itself, opened as any design is.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace

from models.builds.choose_values import choose_values
from models.circuit.inverter import Inverter
from models.preferred_values import next_above, next_below
from models.quick_dataclass import dataclass
from models.straight.search import Mapped, one_by_one
from models.stray import stray_range
from models.tank import required_capacitance
from synth.analysis.choose_figures import Limits, tank_goals
from synth.analysis.corners import SAFE_MARGIN_DB, CornerFigure, corners, least_margin
from synth.analysis.linearise import FinishedSearch, Wishes, improve, parts_text
from synth.analysis.tolerance_figures import ToleranceFigures, tolerance_figures
from synth.build.workbench import OpenedDesign, open_loaded
from synth.designs.design_file import read_design
from synth.designs.edited import edited_text
from synth.designs.oscillator_sections import CircuitSection
from synth.designs.part_rows import ends_of_row
from synth.designs.quantity import format_quantity
from synth.designs.sections import Design
from synth.designs.template import circuit_template_text
from synth.errors import DesignError

Told = Callable[[float], None]
BUILDS = 2000
USUAL_SUPPLY = 12.0  # V, that the fixed form's emitter resistor is meant for
SEARCH_SHARE = 0.5  # of the time (measured, roughly)
VOLUME_FREQUENCY = 400e3  # Hz, of the volume side: well above the pitch oscillators
SMALLEST_CAPACITOR = 10e-12  # F, that is left for the volume tank
RESONATOR_QS = (100.0, 150.0, 200.0)  # of coils that can be wound
MOST_CORNERS = 99  # more than there are
MOST_STEPS = 8  # of the emitter resistor, down its series, for a margin
EMITTER_RESISTOR = "emitter resistor"
RESISTOR_SERIES, TRIMMER_SERIES = "E12", "E6"
BUILD_SHARE = 0.95  # of the builds that should reach zero beat


@dataclass(frozen=True, slots=True)
class PlanWishes:
    """What is wished for: the field and the parts at hand, the circuit (of CIRCUITS) with its supply, V, the kind of
    board, the form of the pitch antenna, the transistor's current gain as a meter reads it (None: the usual one), and
    whether there is a volume antenna.
    """

    search: Wishes
    circuit: str
    supply: float
    board: str
    antenna: str
    gain: float | None = None
    volume: bool = True
    name: str = "Plan"


@dataclass(frozen=True, slots=True)
class Plan:
    """What was planned: the design as commented text and opened, the search behind it, what was done after it in
    words, the corners and the builds; interrupted: whether the search or what follows it was cut short, which is then
    left out, the corners too.
    """

    wishes: PlanWishes
    text: str
    opened: OpenedDesign
    found: FinishedSearch
    steps: tuple[str, ...]
    corners: tuple[CornerFigure, ...]
    builds: ToleranceFigures
    interrupted: bool = False


def make_design(asked: PlanWishes, told: Told, mapped: Mapped = one_by_one) -> Plan:
    """Plan a design; `told` hears the share of the search, `mapped` may share out what is searched. Raises DesignError
    where the wishes cannot be met.
    """
    text = start_text(asked)
    before = read_design(text, "the template")
    opened = _running(before, asked)
    found = improve(opened, asked.search, "robust", lambda share: told(SEARCH_SHARE * share), False, mapped)
    steps: list[str] = []
    about = replace(before.about, description=parts_text(found.chosen))
    design = _rounded(replace(found.after.design, about=about))
    cut_short, near = found.plan.interrupted, found.after
    changes = () if cut_short else (_with_margin, _with_reference, _with_volume)
    met: tuple[CornerFigure, ...] = ()
    try:
        for number, change in enumerate(changes, start=1):
            design = change(design, near, asked, steps)
            told(SEARCH_SHARE + (1.0 - SEARCH_SHARE) * number / (len(changes) + 1))
        finished = open_loaded(design, near)
        if not cut_short:
            met = tuple(_corners(finished, asked))
    except KeyboardInterrupt:
        cut_short = True
        finished = open_loaded(design, near)
    if cut_short:
        steps.append("interrupted: what was to follow is as the search and the template have it; no corner is tried")
    builds = tolerance_figures(finished, BUILDS, asked.search.seed)
    told(1.0)
    return Plan(asked, edited_text(text, before, design), finished, found, tuple(steps), met, builds, cut_short)


def _running(before: Design, asked: PlanWishes) -> OpenedDesign:
    """The template opened; a drawn circuit that does not run from the wished supply with more current, down the series
    of the resistor that sets it. Raises DesignError where none does."""
    name, tried = driving_resistor(before), before
    fault: DesignError | None = None
    for _ in range(MOST_STEPS):
        try:
            return open_loaded(tried)
        except DesignError as error:
            fault = fault or error
        if name is None:
            break
        tried = with_ohms(tried, name, next_below(RESISTOR_SERIES, ohms_of(tried, name)))
    usual = format_quantity(usual_supply(asked.circuit), "V")
    raise DesignError(
        f"the circuit {asked.circuit} does not run from {format_quantity(asked.supply, 'V')}: {fault}\n"
        f"choose another --circuit, or a --supply nearer to its usual {usual}"
    ) from fault


def usual_supply(circuit: str) -> float:
    """The supply, V, that a circuit of CIRCUITS is drawn for."""
    design = read_design(circuit_template_text(circuit), "the template")
    return CircuitSection().supply_voltage if design.circuit is None else design.circuit.supply_voltage


def _rounded(design: Design) -> Design:
    """The trimmers' positions to what a hand can set."""
    variable, reference = design.variable, design.reference
    return replace(
        design,
        variable=replace(variable, trimmer=round(variable.trimmer, 3)),
        reference=replace(reference, trimmer=round(reference.trimmer, 3)),
    )


def start_text(asked: PlanWishes) -> str:
    """The template with what was wished for, from which the search begins."""
    stray = format_quantity(sum(stray_range(asked.board)) / 2.0, "F", 3)
    values: dict[tuple[str, str], str | float] = {
        ("design", "name"): asked.name,
        ("antenna", "form"): asked.antenna,
        ("circuit", "supply_voltage"): format_quantity(asked.supply, "V"),
        ("circuit", "board"): asked.board,
        ("variable", "stray"): stray,
        ("reference", "stray"): stray,
    }
    if asked.gain is not None:
        values["transistor", "forward_gain"] = asked.gain
    if asked.circuit == "common-base":
        ohms = next_below(RESISTOR_SERIES, 220e3 * asked.supply / USUAL_SUPPLY * 1.0001)
        values["circuit", "emitter_resistor"] = format_quantity(ohms, "ohm")
    return circuit_template_text(asked.circuit, values, asked.volume)


def _corners(opened: OpenedDesign, asked: PlanWishes, extremes: bool = False) -> Iterator[CornerFigure]:
    return corners(opened, asked.search.low_frequency, asked.search.high_frequency, extremes)


def _with_margin(design: Design, near: OpenedDesign, asked: PlanWishes, steps: list[str]) -> Design:
    """The design with the largest resistor in its devices' current, down its series, that starts with room to spare in
    every corner; where it then does not run in one, with the step before. As little current as does it, since more of
    it wakes the other mode of the antenna.
    """
    opened, name = open_loaded(design, near), driving_resistor(design)
    if name is None or design.law != "circuit":
        return design
    first = ohms = ohms_of(design, name)
    best, most = design, least_margin(opened, design)
    for _ in range(MOST_STEPS):
        if most >= SAFE_MARGIN_DB:
            break
        ohms = next_below(RESISTOR_SERIES, ohms)
        tried = with_ohms(design, name, ohms)
        try:
            margin = least_margin(opened, tried)
        except DesignError:
            break
        if margin > most:
            best, most = tried, margin
    if ohms_of(best, name) == first:
        return design
    best = _that_runs(design, best, opened, name, asked)
    if ohms_of(best, name) == first:
        steps.append(f"{name}: as in the template; with more current another mode of the antenna wakes")
        return design
    steps.append(
        f"{name}: {format_quantity(ohms_of(best, name), 'ohm')} in place of the template's "
        f"{format_quantity(first, 'ohm')} in both oscillators, so that they start with room to spare"
    )
    return best


def _that_runs(design: Design, strongest: Design, near: OpenedDesign, name: str, asked: PlanWishes) -> Design:
    """From the strongest down to `design` the first that runs as it is, in the weakest and in the strongest corner; if
    none does, the one that fails in the fewest of them."""
    best, fewest, tried = design, math.inf, strongest
    while ohms_of(tried, name) <= ohms_of(design, name):
        fails = 0
        try:
            for met in _corners(open_loaded(tried, near), asked, True):
                fails += met.for_notes and bool(met.why)
                if fails >= fewest:  # no better: the other corners change nothing
                    break
        except DesignError:
            fails = MOST_CORNERS
        if fails < fewest:
            best, fewest = tried, fails
        if fails == 0:
            break
        tried = with_ohms(design, name, next_above(RESISTOR_SERIES, ohms_of(tried, name)))
    return best


def driving_resistor(design: Design) -> str | None:
    """The resistor that sets how strongly the device drives its tank: in the fixed form the emitter's; in a drawing the
    one at the device's common end (an inverter's output), of several the smallest. None where there is none.
    """
    circuit = design.circuit
    if circuit is None:
        return None
    if circuit.parts is None:
        return EMITTER_RESISTOR
    drawing = OpenedDesign(design).circuits["reference"].drawing()
    device = drawing.part(drawing.amplifier)
    end = device.ends[1] if isinstance(device.what, Inverter) else device.ends[-1]
    rows = [row for row in circuit.parts if row[1][0][0] == "resistor" and end in ends_of_row(row).values()]
    return min(rows, key=lambda row: float(row[1][0][1]))[0] if rows else None


def ohms_of(design: Design, name: str) -> float:
    """The value of the resistor of this name in both oscillators, ohm."""
    circuit = design.circuit
    assert circuit is not None
    if circuit.parts is None:
        return circuit.emitter_resistor
    return float(dict(circuit.parts)[name][0][1])


def with_ohms(design: Design, name: str, ohms: float) -> Design:
    """The design with the resistor of this name in both oscillators, ohm."""
    circuit = design.circuit
    assert circuit is not None
    if circuit.parts is None:
        return replace(design, circuit=replace(circuit, emitter_resistor=ohms))
    rows = tuple((row, (("resistor", ohms), *values[1:]) if row == name else values) for row, values in circuit.parts)
    return replace(design, circuit=replace(circuit, parts=rows))


def _with_reference(design: Design, near: OpenedDesign, asked: PlanWishes, steps: list[str]) -> Design:
    """The reference as the search left it where its trimmer reaches zero beat in BUILD_SHARE of the builds; else with a
    capacitor and a trimmer that reach it in every build, as `choose` finds them.
    """
    opened = open_loaded(design, near)
    share = tolerance_figures(opened, BUILDS, asked.search.seed).zero_beat_reached.share
    if share >= BUILD_SHARE or asked.search.shelf.capacitors:
        return design
    target = float(opened.instrument.frequency_with(opened.tuning_capacitance))
    try:
        goals = tank_goals(opened, "reference", target, Limits(), (design.reference.inductance,))
        best = choose_values(goals.goals, asked.search.shelf.series, TRIMMER_SERIES, 1)[0]
        section = replace(
            design.reference,
            capacitance=best.capacitance,
            trimmer_minimum=best.trimmer_minimum,
            trimmer_maximum=best.trimmer_maximum,
            trimmer=round(min(max(best.setting, 0.0), 1.0), 3),
        )
        fitted = replace(design, reference=section)
        reached = tolerance_figures(open_loaded(fitted, near), BUILDS, asked.search.seed).zero_beat_reached.share
    except (DesignError, ValueError) as error:
        steps.append(f"the reference's capacitor and trimmer stay as the search left them: {error}")
        return design
    if reached <= share:
        return design
    steps.append(
        f"the reference: {format_quantity(best.capacitance, 'F')} and a trimmer of "
        f"{format_quantity(best.trimmer_minimum, 'F', 3)} to {format_quantity(best.trimmer_maximum, 'F', 3)}, which "
        f"reach zero beat in {100.0 * reached:.1f} % of builds (the search's parts: {100.0 * share:.1f} %); a smaller "
        "trimmer is finer to set once the built tank is measured with `beatfield fit`"
    )
    return fitted


def _with_volume(design: Design, near: OpenedDesign, asked: PlanWishes, steps: list[str]) -> Design:
    """The volume side on VOLUME_FREQUENCY with what the circuit has across its tank: coil, capacitor and resonator, the
    trimmer in its middle at full volume; of the resonator's Q the least in RESONATOR_QS that leaves no fault.
    """
    section, response = design.volume, design.volume_response
    opened = OpenedDesign(design, near=near)
    if section is None or response is None or opened.loop_curve is None or response.full_height is None:
        return design
    tank, shelf = opened.tanks["volume"], asked.search.shelf
    middle = 0.5 * (section.trimmer_minimum + section.trimmer_maximum)
    ring = opened.loop_curve.empty_capacitance + (design.volume_antenna.stray if design.volume_antenna else 0.0)
    rest = tank.total_capacitance - tank.capacitance - tank.trimmer_capacitance + ring + middle
    wanted = 1.0 / ((2.0 * math.pi * VOLUME_FREQUENCY) ** 2 * (rest + SMALLEST_CAPACITOR))
    fitting = [coil for coil in shelf.coils if coil <= wanted]
    coil = max(fitting) if fitting else next_below(shelf.series, wanted)
    resonator = float(f"{float(required_capacitance(coil, VOLUME_FREQUENCY)):.4g}")
    for quality in RESONATOR_QS:
        tried = replace(
            design,
            volume=replace(section, inductance=coil),
            volume_response=replace(response, inductance=coil, capacitance=resonator, quality_factor=quality),
        )
        volume = OpenedDesign(tried).volume
        needed = None if volume is None else volume.trimmer_for_full_at(response.full_height)
        if needed is None or section.capacitance + needed - middle <= 1e-12:
            return design
        capacitor = shelf.capacitor(section.capacitance + needed - middle)
        assert tried.volume is not None
        tried = replace(tried, volume=replace(tried.volume, capacitance=capacitor))
        if not OpenedDesign(tried).volume_with_notices[1]:
            break
    steps.append(
        f"the volume side: coils of {format_quantity(coil, 'H')}, {format_quantity(capacitor, 'F')} across the "
        f"oscillator's, and a resonator of {format_quantity(resonator, 'F', 4)} with a Q of {quality:.0f} on "
        f"{format_quantity(VOLUME_FREQUENCY, 'Hz')}"
    )
    return tried


def limits_of(plan: Plan) -> tuple[str, ...]:
    """What limits the design, in words: its faults first, then what costs most of its evenness."""
    found = [f"at a corner, {met.fault}" for met in plan.corners if met.fault]
    reached = plan.builds.zero_beat_reached.share
    if reached < BUILD_SHARE:
        found.append(
            f"the reference's trimmer reaches zero beat in {100.0 * reached:.1f} % of builds: `beatfield choose` names "
            "a wider one, `beatfield tolerance` which part to buy tighter"
        )
    found += [f"the notes: {what}" for what in _costs(plan)]
    bounds = plan.found.plan
    if bounds.bounded is not None and bounds.free is not None:
        saved = bounds.bounded.rms_cents - bounds.free.rms_cents
        if saved > 1.0:
            found.append(f"a wider band of carriers or a smaller tank would take {saved:.1f} cents RMS off")
    return tuple(found)


def _costs(plan: Plan) -> Iterator[str]:
    """What each step from the ideal to builds of real parts adds to the unevenness, the largest first."""
    steps = plan.found.chosen.steps
    course = (
        ("a tank that its trimmer can make up for", steps.trimmable),
        ("the chokes' self-capacitance and the stray at their joints", steps.real_chokes),
        ("the values that are sold or at hand", steps.preferred),
        ("the coils' loss", steps.lossy),
        ("tolerances, zero beat tuned again", steps.builds.mean_cents),
    )
    before, costs = steps.ideal, []
    if before is not None:
        yield f"without loss or self-capacitance and with any tank {before:.1f} cents RMS would be left"
    for name, cents in course:
        if cents is not None and before is not None and cents - before > 0.5:
            costs.append((cents - before, name))
        before = cents if cents is not None else before
    for cost, name in sorted(costs, reverse=True):
        yield f"{name}: {cost:.1f} cents RMS more"
