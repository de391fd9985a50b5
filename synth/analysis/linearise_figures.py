"""A straighter pitch field as one set of figures: before, after, every step and what was given up for it."""

from __future__ import annotations

import math
from dataclasses import field

import numpy as np

from models.arrays import Floats
from models.pitch import note_number
from models.quick_dataclass import dataclass
from models.straight.evenness import BuildSpread
from models.straight.front import tuning_ratio
from models.straight.plan import FieldOption
from synth.analysis.corners import CornerFigure
from synth.analysis.figures import DENSE, OfDesign, collected, of, over_notes, played_numbers, row, rows
from synth.analysis.linearise import FinishedSearch, Solved, coil_across_tank, parts_text, reference_text
from synth.build.workbench import OpenedDesign

CURVE_POINTS = 201
CURVE_COLUMNS = ("distance_m", "before_note_number", "after_note_number", "after_line_note_number")


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldOverNotes(OfDesign):
    """One design's field over the notes asked for; None where it does not play them all."""

    mode: str = of("opened.instrument.mode")
    rms_cents: float | None = of("held.rms_cents")
    highest_note_m: float | None = of("held.highest_note")
    lowest_note_m: float | None = of("held.lowest_note")
    zero_beat_m: float | None = of("field.zero_beat_distance")
    cents_per_mm: float | None
    carrier_hz: float = of("opened.instrument.reference_frequency")
    drift_hz_per_ppm: float = of("opened.instrument.reference_frequency", lambda carrier: 1e-6 * carrier)
    builds_mean_cents: float | None = of("found.mean_cents")
    builds_worst_cents: float | None = of("found.worst_cents")
    builds_held: float = of("found.held")


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceFigures:
    """One place of the series inductor, from the ideal to builds of real parts, RMS cents.

    `branch_over_tank`: resonance of the branch over the tank's, the hand at the lowest note.
    """

    place: str = of("solution.place.name")
    choke_h: float | None
    choke_self_resonance_hz: float | None
    branch_over_tank: float | None
    tank_h: float = of("solution.tank_inductance")
    capacitor_f: float = of("option.option.capacitor")
    trimmer: float = of("option.option.trimmer")
    ideal_cents: float | None = of("steps.ideal")
    trimmable_cents: float | None = of("steps.trimmable")
    real_chokes_cents: float | None = of("steps.real_chokes")
    preferred_cents: float = of("steps.preferred")
    lossy_cents: float | None = of("steps.lossy")
    builds_mean_cents: float | None = of("steps.builds.mean_cents")
    builds_worst_cents: float | None = of("steps.builds.worst_cents")
    builds_held: float = of("steps.builds.held")
    retuned_mean_cents: float | None = of("steps.retuned.mean_cents")


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontFigures:
    """One circuit of the front, in continuous values."""

    place: str = of("point.solution.place.name")
    rms_cents: float = of("point.rms_cents")
    cents_per_mm: float = of("point.price.cents_per_mm")
    drift_hz_per_ppm: float = of("point.price.drift_hz_per_ppm")
    branch_hz_per_ppm: float = of("point.price.branch_hz_per_ppm")
    carrier_hz: float = of("point.carrier")
    zero_beat_m: float = of("point.zero_beat")


@dataclass(frozen=True, slots=True, kw_only=True)
class BoundFigures:
    """What the search was held to, and the straightest field in continuous values within and without (None where the
    bounds are no tighter, or nothing was found).
    """

    lowest_carrier_hz: float = of("outcome.task.parts.lowest_carrier")
    highest_carrier_hz: float = of("outcome.task.parts.highest_carrier")
    least_tank_f: float = of("outcome.task.parts.least_tank_capacitance")
    within_cents: float | None = of("outcome.plan.bounded.rms_cents")
    without_cents: float | None = of("outcome.plan.free.rms_cents")
    without_carrier_hz: float | None = of("outcome.plan.free.carrier")
    without_tank_f: float | None = of("outcome.plan.free.solution.tank_capacitance")


@dataclass(frozen=True, slots=True, kw_only=True)
class LineariseFigures:
    """Every figure of the search."""

    low_hz: float = of("goal.low_frequency")
    high_hz: float = of("goal.high_frequency")
    near_m: float = of("goal.near")
    far_m: float = of("goal.far")
    fill: float = of("goal.fill")
    seed: int = of("task.seed")
    series: str = of("task.shelf.series")
    choice: str = of("outcome.choice")
    choke_self_capacitance_f: float = of("parts.choke_self_capacitance")
    choke_quality_factor: float = of("parts.branch_q")
    joint_stray_f: float = of("parts.joint_stray")
    coil_tolerance: float = of("task.tolerances.coil")
    capacitor_tolerance: float = of("task.tolerances.capacitor")
    stray_tolerance: float = of("task.tolerances.stray")
    parts: str
    before: FieldOverNotes
    after: FieldOverNotes
    chosen: PlaceFigures
    straightest: PlaceFigures
    places: tuple[PlaceFigures, ...]
    places_without: tuple[str, ...]
    front: tuple[FrontFigures, ...] = of("plan.front", rows(FrontFigures, "point"))
    bounds: BoundFigures = of("outcome", row(BoundFigures, "outcome"))
    solved: tuple[Solved, ...] = of("outcome.solved")
    corners: tuple[CornerFigure, ...] = of("outcome.corners")
    tap_coupling: float = of("parts.tap_coupling")
    notices: tuple[str, ...]
    interrupted: bool = of("plan.interrupted")
    curve: Floats = field(metadata=DENSE)  # (CURVE_POINTS, len(CURVE_COLUMNS)); NaN where nothing sounds


def linearise_figures(outcome: FinishedSearch) -> LineariseFigures:
    """Collect the figures of a finished search."""
    task, plan = outcome.task, outcome.plan
    goal, parts = task.goal, task.parts
    return collected(
        LineariseFigures,
        {"goal": goal, "task": task, "outcome": outcome, "parts": parts, "plan": plan},
        parts=parts_text(outcome.chosen) + reference_text(outcome.after.design.reference.capacitance, task.shelf),
        before=_field_over_notes(outcome.before, outcome, outcome.before_builds),
        after=_field_over_notes(outcome.after, outcome, outcome.chosen.steps.builds),
        chosen=_place_figures(outcome.chosen, outcome),
        straightest=_place_figures(plan.nominal, outcome),
        places=tuple(_place_figures(option, outcome) for _, option in plan.places if option is not None),
        places_without=tuple(place.name for place, option in plan.places if option is None),
        notices=_interrupted(outcome)
        + outcome.refused
        + _coil_elsewhere(outcome)
        + _corner_faults(outcome)
        + outcome.after.notices,
        curve=_dense_curve(outcome),
    )


def _coil_elsewhere(outcome: FinishedSearch) -> tuple[str, ...]:
    """That the search takes the tank's coil to lie across its capacitor, where it does not."""
    opened = outcome.after
    if coil_across_tank(opened):
        return ()
    return (
        "the coil of this circuit does not lie across the tank's capacitor, which the search takes for granted: the "
        "capacitor is chosen so that the solved circuit swings as the search has it; its field differs by what is told",
    )


def _interrupted(outcome: FinishedSearch) -> tuple[str, ...]:
    """What a search that was cut short did not come to."""
    if not outcome.plan.interrupted:
        return ()
    missing = ", ".join(place.name for place in outcome.plan.not_searched)
    rest = f"not searched: {missing}; nor " if missing else "not whole: "
    return (f"interrupted; {rest}the search over builds and the front. The best of what was found is taken",)


def _corner_faults(outcome: FinishedSearch) -> tuple[str, ...]:
    """What is not as it should be at the corners of the design that was written."""
    return tuple(f"at a corner of the written design, {met.fault}" for met in outcome.corners if met.fault)


def _field_over_notes(opened: OpenedDesign, outcome: FinishedSearch, builds: BuildSpread | None) -> FieldOverNotes:
    field, goal = opened.field, outcome.task.goal
    held = over_notes(field, goal.low_frequency, goal.high_frequency)
    found = builds or BuildSpread(None, None, 0.0)
    return collected(
        FieldOverNotes,
        {"design": opened.design, "opened": opened, "field": field, "held": held, "found": found},
        cents_per_mm=None if held is None else 1e-3 * goal.span_cents / abs(held.lowest_note - held.highest_note),
    )


def _place_figures(option: FieldOption, outcome: FinishedSearch) -> PlaceFigures:
    solution, steps, parts = option.point.solution, option.steps, outcome.task.parts
    choke = solution.choke_inductance if solution.place.chokes else None
    own = parts.choke_self_capacitance
    return collected(
        PlaceFigures,
        {"solution": solution, "option": option, "steps": steps},
        choke_h=choke,
        choke_self_resonance_hz=1.0 / (2.0 * math.pi * math.sqrt(choke * own)) if choke and own else None,
        branch_over_tank=tuning_ratio(outcome.after.instrument.curve, solution.build(parts), solution.low_distance),
    )


def _dense_curve(outcome: FinishedSearch) -> Floats:
    curve = outcome.after.instrument.curve
    distances = np.linspace(curve.nearest, curve.farthest, CURVE_POINTS)
    columns = [
        distances,
        *(played_numbers(piece.field, distances, piece.field.reference_a) for piece in (outcome.before, outcome.after)),
    ]
    columns.append(_line(outcome, distances))
    return np.column_stack(columns)


def _line(outcome: FinishedSearch, distances: Floats) -> Floats:
    """The best straight line of the better design over the notes asked for."""
    field, goal = outcome.after.field, outcome.task.goal
    line = np.full_like(distances, np.nan)
    held = over_notes(field, goal.low_frequency, goal.high_frequency)
    if held is None:
        return line
    near, far = held.span
    places = np.linspace(near, far, 400)
    fit = np.polynomial.Polynomial.fit(places, note_number(field.frequency_at(places), field.reference_a), 1)
    inside = (distances >= near) & (distances <= far)
    line[inside] = fit(distances[inside])
    return line
