"""A straighter pitch field as one set of figures; text, JSON, CSV and plot are all written from it."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.pitch import note_number
from models.straight.build_spread import Spread
from models.straight.cost import tuning_ratio
from models.straight.front import FrontPoint
from models.straight.plan import Option
from models.straight.search import MARGIN
from synth.analysis.linearise import Outcome, parts_text, reference_text
from synth.build.workbench import Workpiece
from synth.designs.design_file import design_hash
from synth.designs.quantity import format_quantity
from synth.report.output import csv_text

SCHEMA = "beatfield.linearise/1"
CURVE_POINTS = 201
CSV_COLUMNS = ("distance_m", "before_note_number", "after_note_number", "after_line_note_number")


@dataclass(frozen=True, slots=True)
class FieldFigures:
    """One design's field over the notes asked for; None where it does not play them all."""

    design: str
    design_hash: str
    mode: str
    rms_cents: float | None
    highest_note_m: float | None
    lowest_note_m: float | None
    zero_beat_m: float | None
    cents_per_mm: float | None
    carrier_hz: float
    drift_hz_per_ppm: float
    builds_mean_cents: float | None
    builds_worst_cents: float | None
    builds_held: float


@dataclass(frozen=True, slots=True)
class PlaceFigures:
    """One place of the series inductor, from the ideal to builds of real parts, RMS cents.

    `branch_over_tank`: resonance of the branch over the tank's, the hand at the lowest note.
    """

    place: str
    choke_h: float | None
    choke_self_resonance_hz: float | None
    branch_over_tank: float | None
    tank_h: float
    capacitor_f: float
    trimmer: float
    ideal_cents: float | None
    trimmable_cents: float | None
    real_chokes_cents: float | None
    preferred_cents: float
    lossy_cents: float | None
    builds_mean_cents: float | None
    builds_worst_cents: float | None
    builds_held: float
    retuned_mean_cents: float | None


@dataclass(frozen=True, slots=True)
class FrontFigures:
    """One circuit of the front, in continuous values."""

    place: str
    rms_cents: float
    cents_per_mm: float
    drift_hz_per_ppm: float
    branch_hz_per_ppm: float
    carrier_hz: float
    zero_beat_m: float


@dataclass(frozen=True, slots=True)
class BoundFigures:
    """What the search was held to, and the straightest field in continuous values within and without (None where the
    bounds are no tighter, or nothing was found).
    """

    lowest_carrier_hz: float
    highest_carrier_hz: float
    least_tank_f: float
    within_cents: float | None
    without_cents: float | None
    without_carrier_hz: float | None
    without_tank_f: float | None


@dataclass(frozen=True, slots=True)
class SolvedFigures:
    """One option of a [circuit] design: cents RMS by the lossless law, by the solved circuit, and after polishing."""

    label: str
    place: str
    lossless_cents: float | None
    circuit_cents: float | None
    polished_cents: float | None
    polished_trimmer: float | None
    why: str


@dataclass(frozen=True, slots=True)
class LineariseReport:
    """Every figure of the search."""

    low_hz: float
    high_hz: float
    near_m: float
    far_m: float
    fill: float
    seed: int
    series: str
    choice: str
    choke_self_capacitance_f: float
    choke_quality_factor: float
    joint_stray_f: float
    coil_tolerance: float
    capacitor_tolerance: float
    stray_tolerance: float
    parts: str
    before: FieldFigures
    after: FieldFigures
    chosen: PlaceFigures
    straightest: PlaceFigures
    places: tuple[PlaceFigures, ...]
    places_without: tuple[str, ...]
    front: tuple[FrontFigures, ...]
    bounds: BoundFigures
    solved: tuple[SolvedFigures, ...]
    tap_coupling: float
    notices: tuple[str, ...]
    interrupted: bool
    curve: NDArray[np.float64]  # (CURVE_POINTS, len(CSV_COLUMNS)); NaN where nothing sounds

    def document(self) -> dict[str, Any]:
        """The report as JSON-ready values (without the dense curve, which is the CSV)."""
        figures = asdict(self)
        del figures["curve"]
        return {"schema": SCHEMA, **figures}

    def csv(self) -> str:
        """Both fields against hand distance; an empty cell where nothing sounds."""
        return csv_text(CSV_COLUMNS, self.curve)


def linearise_report(outcome: Outcome) -> LineariseReport:
    """Collect the figures of a finished search."""
    task, plan = outcome.task, outcome.plan
    goal, parts = task.goal, task.parts
    return LineariseReport(
        low_hz=goal.low_frequency,
        high_hz=goal.high_frequency,
        near_m=goal.near,
        far_m=goal.far,
        fill=goal.fill,
        seed=task.seed,
        series=task.series,
        choice=outcome.choice,
        choke_self_capacitance_f=parts.choke_self_capacitance,
        choke_quality_factor=parts.branch_q,
        joint_stray_f=parts.tap_stray,
        coil_tolerance=task.tolerances.coil,
        capacitor_tolerance=task.tolerances.capacitor,
        stray_tolerance=task.tolerances.stray,
        parts=parts_text(outcome.chosen) + reference_text(outcome.after.design.reference.capacitance, task.series),
        before=_field_figures(outcome.before, outcome, outcome.before_builds),
        after=_field_figures(outcome.after, outcome, outcome.chosen.steps.builds),
        chosen=_place_figures(outcome.chosen, outcome),
        straightest=_place_figures(plan.nominal, outcome),
        places=tuple(_place_figures(option, outcome) for _, option in plan.places if option is not None),
        places_without=tuple(place.name for place, option in plan.places if option is None),
        front=tuple(_front_figures(point) for point in plan.front),
        bounds=_bound_figures(outcome),
        solved=tuple(SolvedFigures(**asdict(row)) for row in outcome.solved),
        tap_coupling=parts.tap_coupling,
        notices=_interrupted(outcome) + outcome.refused + outcome.after.notices,
        interrupted=plan.interrupted,
        curve=_dense_curve(outcome),
    )


def _interrupted(outcome: Outcome) -> tuple[str, ...]:
    """What a search that was cut short did not come to."""
    if not outcome.plan.interrupted:
        return ()
    missing = ", ".join(place.name for place in outcome.plan.not_searched)
    rest = f"not searched: {missing}; nor " if missing else "not whole: "
    return (f"interrupted; {rest}the search over builds and the front. The best of what was found is taken",)


def _bound_figures(outcome: Outcome) -> BoundFigures:
    parts, within, free = outcome.task.parts, outcome.plan.bounded, outcome.plan.free
    return BoundFigures(
        parts.lowest_carrier,
        parts.highest_carrier,
        parts.least_tank_capacitance,
        None if within is None else within.rms_cents,
        None if free is None else free.rms_cents,
        None if free is None else free.carrier,
        None if free is None else free.solution.tank_capacitance,
    )


def _field_figures(workpiece: Workpiece, outcome: Outcome, builds: Spread | None) -> FieldFigures:
    field, goal = workpiece.field, outcome.task.goal
    notes = [goal.high_frequency, goal.low_frequency]
    held = field.playable_near is not None and bool(field.reaches(notes).all())
    ends = [float(value) for value in field.distance_at(notes)] if held else [None, None]
    width = abs(ends[1] - ends[0]) if ends[0] is not None and ends[1] is not None else None
    carrier = workpiece.instrument.reference_frequency
    found = builds or Spread(None, None, 0.0)
    return FieldFigures(
        design=workpiece.design.name,
        design_hash=design_hash(workpiece.design),
        mode=workpiece.instrument.mode,
        rms_cents=field.linearity_error_between(goal.low_frequency, goal.high_frequency) if held else None,
        highest_note_m=ends[0],
        lowest_note_m=ends[1],
        zero_beat_m=field.zero_beat_distance,
        cents_per_mm=None if width is None else 1e-3 * goal.span_cents / width,
        carrier_hz=carrier,
        drift_hz_per_ppm=1e-6 * carrier,
        builds_mean_cents=found.mean_cents,
        builds_worst_cents=found.worst_cents,
        builds_held=found.held,
    )


def _place_figures(option: Option, outcome: Outcome) -> PlaceFigures:
    solution, steps, parts = option.point.solution, option.steps, outcome.task.parts
    choke = solution.choke_inductance if solution.place.chokes else None
    own = parts.choke_self_capacitance
    return PlaceFigures(
        place=solution.place.name,
        choke_h=choke,
        choke_self_resonance_hz=1.0 / (2.0 * math.pi * math.sqrt(choke * own)) if choke and own else None,
        branch_over_tank=tuning_ratio(outcome.after.instrument.curve, solution.build(parts), solution.low_distance),
        tank_h=solution.tank_inductance,
        capacitor_f=option.option.capacitor,
        trimmer=option.option.trimmer,
        ideal_cents=steps.ideal,
        trimmable_cents=steps.trimmable,
        real_chokes_cents=steps.real_chokes,
        preferred_cents=steps.preferred,
        lossy_cents=steps.lossy,
        builds_mean_cents=steps.builds.mean_cents,
        builds_worst_cents=steps.builds.worst_cents,
        builds_held=steps.builds.held,
        retuned_mean_cents=steps.retuned.mean_cents,
    )


def _front_figures(point: FrontPoint) -> FrontFigures:
    return FrontFigures(
        point.solution.place.name,
        point.rms_cents,
        point.price.cents_per_mm,
        point.price.drift_hz_per_ppm,
        point.price.branch_hz_per_ppm,
        point.carrier,
        point.zero_beat,
    )


def _dense_curve(outcome: Outcome) -> NDArray[np.float64]:
    curve = outcome.after.instrument.curve
    distances = np.linspace(curve.nearest, curve.farthest, CURVE_POINTS)
    columns = [distances, *(_numbers(piece, distances) for piece in (outcome.before, outcome.after))]
    columns.append(_line(outcome, distances))
    return np.column_stack(columns)


def _numbers(workpiece: Workpiece, distances: NDArray[np.float64]) -> NDArray[np.float64]:
    field = workpiece.field
    numbers = np.full_like(distances, np.nan)
    if field.playable_near is not None and field.playable_far is not None:
        inside = (distances >= field.playable_near) & (distances <= field.playable_far)
        numbers[inside] = note_number(field.frequency_at(distances[inside]), field.reference_a)
    return numbers


def _line(outcome: Outcome, distances: NDArray[np.float64]) -> NDArray[np.float64]:
    """The best straight line of the better design over the notes asked for."""
    field, goal = outcome.after.field, outcome.task.goal
    line = np.full_like(distances, np.nan)
    if not field.reaches([goal.low_frequency, goal.high_frequency]).all():
        return line
    near, far = sorted(float(value) for value in field.distance_at([goal.low_frequency, goal.high_frequency]))
    places = np.linspace(near, far, 400)
    fit = np.polynomial.Polynomial.fit(places, note_number(field.frequency_at(places), field.reference_a), 1)
    inside = (distances >= near) & (distances <= far)
    line[inside] = fit(distances[inside])
    return line


def text(report: LineariseReport) -> str:
    """The report for a person."""
    before, after = report.before, report.after
    lines = [
        f"notes {report.low_hz:.1f} to {report.high_hz:.1f} Hz within {100 * report.near_m:.1f} to "
        f"{100 * report.far_m:.1f} cm, at least {100 * report.fill:.0f} % of it filled; seed {report.seed}",
        "",
        f"{'':<34}{'before':>14}{'after':>14}",
        *(f"{name:<34}{_cell(a, form):>14}{_cell(b, form):>14}" for name, a, b, form in _pairs(before, after)),
        "",
        report.parts,
        "",
        "What each step costs, cents RMS from a straight line",
        f"{'':<58}{'straightest':>13}{report.choice:>13}",
        *(f"{name:<58}{_cell(a, '.1f'):>13}{_cell(b, '.1f'):>13}" for name, a, b in _steps(report)),
        "",
        "Every place, straightest in preferred values (cents RMS; tuned: branch against",
        "tank, the hand at the lowest note; builds: mean, share that holds the notes)",
        f"{'':<46}{'choke':>10}{'tank':>10}{'tuned':>8}{'ideal':>8}{'parts':>8}{'loss':>8}{'builds':>8}{'hold':>7}",
        *(
            f"{row.place:<46}{_part(row.choke_h):>10}{_part(row.tank_h):>10}{_tuned(row.branch_over_tank):>8}"
            f"{_cell(row.ideal_cents, '.1f'):>8}"
            f"{row.preferred_cents:>8.1f}{_cell(row.lossy_cents, '.1f'):>8}{_cell(row.builds_mean_cents, '.1f'):>8}"
            f"{100 * row.builds_held:>5.0f} %"
            for row in report.places
        ),
        *(f"{name:<46}nothing keeps to the goal" for name in report.places_without),
        "",
        "Straightness against sensitivity and drift: none beats another in all three (continuous values)",
        f"{'':<46}{'cents RMS':>10}{'cents/mm':>10}{'Hz/ppm':>9}{'coil Hz/ppm':>13}{'carrier':>11}{'zero beat':>11}",
        *(
            f"{row.place:<46}{row.rms_cents:>10.1f}{row.cents_per_mm:>10.1f}{row.drift_hz_per_ppm:>9.3f}"
            f"{row.branch_hz_per_ppm:>13.3f}{row.carrier_hz / 1e3:>7.0f} kHz{100 * row.zero_beat_m:>8.1f} cm"
            for row in report.front
        ),
        "",
        *_solved_lines(report),
        *_bound_lines(report.bounds),
        f"Reckoned with: {format_quantity(report.choke_self_capacitance_f, 'F')} across each choke (rule of thumb, "
        f"from memory{_resonance(report)}), Q {report.choke_quality_factor:.0f},",
        f"{format_quantity(report.joint_stray_f, 'F')} to earth at each joint of a chain (assumed); coils within "
        f"{100 * report.coil_tolerance:.3g} %, capacitors {100 * report.capacitor_tolerance:.3g} %, "
        f"stray {100 * report.stray_tolerance:.3g} %.",
        f"A tapped coil: coupling {report.tap_coupling:.3g} between the turns below and above its tap (from memory for "
        "one close winding; variable.tap_coupling), the tap's place taken as exact.",
        "Drift: Hz of zero beat per ppm between the two oscillators, and per ppm of the series coil alone.",
        *(f"note: {notice}" for notice in report.notices),
    ]
    return "\n".join(lines) + "\n"


def _solved_lines(report: LineariseReport) -> list[str]:
    """How the circuit differs from the lossless law that was searched by."""
    if not report.solved:
        return []
    lines = [
        "Solved as circuits (coil loss, transistor, harmonics); search, steps, places, front and builds above go by",
        "the lossless law. Cents RMS from a straight line:",
        f"{'':<60}{'lossless':>10}{'circuit':>10}{'differs':>10}",
    ]
    for row in report.solved:
        apart = None
        if row.lossless_cents is not None and row.circuit_cents is not None:
            apart = row.circuit_cents - row.lossless_cents
        cells = (_cell(row.lossless_cents, ".1f"), _cell(row.circuit_cents, ".1f"), _cell(apart, "+.1f"))
        lines.append(f"{row.label + ': ' + row.place:<60}" + "".join(f"{cell:>10}" for cell in cells))
        if row.why:
            lines.append(f"  {row.why}")
        if row.polished_cents is not None:
            lines.append(f"  variable trimmer turned to {row.polished_trimmer:.2f}: {row.polished_cents:.1f} cents")
    return [*lines, ""]


def _bound_lines(bounds: BoundFigures) -> list[str]:
    held = (
        f"Held to carriers of {bounds.lowest_carrier_hz / 1e3:.0f} to {bounds.highest_carrier_hz / 1e3:.0f} kHz and a "
        f"tank of at least {1e12 * bounds.least_tank_f:.0f} pF in all (--carrier, --stray-multiple).\n"
        f"And, the ideal too, to a mode that starts first: the other needs {MARGIN:g} times its conductance or more."
    )
    if bounds.without_cents is None or bounds.without_carrier_hz is None or bounds.without_tank_f is None:
        return [held]
    within = "nothing" if bounds.within_cents is None else f"{bounds.within_cents:.1f} cents"
    return [
        held,
        f"What these bounds cost, two chokes in continuous values: {within} within them, {bounds.without_cents:.1f} "
        f"cents without, at {bounds.without_carrier_hz / 1e3:.0f} kHz with {1e12 * bounds.without_tank_f:.0f} pF.",
    ]


def _pairs(before: FieldFigures, after: FieldFigures) -> list[tuple[str, Any, Any, str]]:
    names = (
        ("cents RMS from a straight line", "rms_cents", ".1f"),
        ("over builds, mean", "builds_mean_cents", ".1f"),
        ("over builds, 95 % stay below", "builds_worst_cents", ".1f"),
        ("builds that hold the notes", "builds_held", ".0%"),
        ("highest note at", "highest_note_m", "cm"),
        ("lowest note at", "lowest_note_m", "cm"),
        ("zero beat at", "zero_beat_m", "cm"),
        ("cents per mm on average", "cents_per_mm", ".1f"),
        ("reference, kHz", "carrier_hz", "kHz"),
        ("drift, Hz per ppm of mismatch", "drift_hz_per_ppm", ".3f"),
    )
    return [(label, getattr(before, name), getattr(after, name), form) for label, name, form in names]


def _steps(report: LineariseReport) -> list[tuple[str, float | None, float | None]]:
    names = (
        ("ideal: no loss, no self-capacitance, any tank", "ideal_cents"),
        ("a tank that its trimmer can make up for", "trimmable_cents"),
        ("self-capacitance of the chokes, stray at the joints", "real_chokes_cents"),
        ("preferred values", "preferred_cents"),
        ("coil loss", "lossy_cents"),
        ("tolerances, zero beat tuned again (mean)", "builds_mean_cents"),
        ("the same, the variable trimmer set for evenness too (mean)", "retuned_mean_cents"),
    )
    return [(label, getattr(report.straightest, name), getattr(report.chosen, name)) for label, name in names]


def _cell(value: float | None, form: str) -> str:
    if value is None:
        return "-"
    if form == "cm":
        return f"{100.0 * value:.1f} cm"
    return f"{1e-3 * value:.3f}" if form == "kHz" else f"{value:{form}}"


def _tuned(ratio: float | None) -> str:
    return "-" if ratio is None else f"{100.0 * (ratio - 1.0):+.1f} %"


def _part(value: float | None) -> str:
    return "-" if value is None else format_quantity(value, "H", 3)


def _resonance(report: LineariseReport) -> str:
    found = report.chosen.choke_self_resonance_hz
    return "" if found is None else f"; resonates by itself at {format_quantity(found, 'Hz', 3)}"
