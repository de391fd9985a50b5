"""A straighter pitch field as one set of figures: before, after, every step and what was given up for it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from models.pitch import note_number
from models.straight.build_spread import Spread
from models.straight.cost import tuning_ratio
from models.straight.front import FrontPoint
from models.straight.plan import Option
from synth.analysis.figures import DENSE, played_numbers
from synth.analysis.linearise import Outcome, Solved, parts_text, reference_text
from synth.build.workbench import OpenedDesign
from synth.designs.design_file import design_hash

CURVE_POINTS = 201
CURVE_COLUMNS = ("distance_m", "before_note_number", "after_note_number", "after_line_note_number")


@dataclass(frozen=True, slots=True)
class FieldOverNotes:
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
class LineariseFigures:
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
    before: FieldOverNotes
    after: FieldOverNotes
    chosen: PlaceFigures
    straightest: PlaceFigures
    places: tuple[PlaceFigures, ...]
    places_without: tuple[str, ...]
    front: tuple[FrontFigures, ...]
    bounds: BoundFigures
    solved: tuple[Solved, ...]
    tap_coupling: float
    notices: tuple[str, ...]
    interrupted: bool
    curve: NDArray[np.float64] = field(metadata=DENSE)  # (CURVE_POINTS, len(CURVE_COLUMNS)); NaN where nothing sounds


def linearise_figures(outcome: Outcome) -> LineariseFigures:
    """Collect the figures of a finished search."""
    task, plan = outcome.task, outcome.plan
    goal, parts = task.goal, task.parts
    return LineariseFigures(
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
        before=_field_over_notes(outcome.before, outcome, outcome.before_builds),
        after=_field_over_notes(outcome.after, outcome, outcome.chosen.steps.builds),
        chosen=_place_figures(outcome.chosen, outcome),
        straightest=_place_figures(plan.nominal, outcome),
        places=tuple(_place_figures(option, outcome) for _, option in plan.places if option is not None),
        places_without=tuple(place.name for place, option in plan.places if option is None),
        front=tuple(_front_figures(point) for point in plan.front),
        bounds=_bound_figures(outcome),
        solved=outcome.solved,
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


def _field_over_notes(workpiece: OpenedDesign, outcome: Outcome, builds: Spread | None) -> FieldOverNotes:
    field, goal = workpiece.field, outcome.task.goal
    notes = [goal.high_frequency, goal.low_frequency]
    held = field.playable_near is not None and bool(field.reaches(notes).all())
    ends = [float(value) for value in field.distance_at(notes)] if held else [None, None]
    width = abs(ends[1] - ends[0]) if ends[0] is not None and ends[1] is not None else None
    carrier = workpiece.instrument.reference_frequency
    found = builds or Spread(None, None, 0.0)
    return FieldOverNotes(
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
        branch_over_tank=tuning_ratio(outcome.after.instrument.curve, solution.candidates(parts)),
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
    columns = [
        distances,
        *(played_numbers(piece.field, distances, piece.field.reference_a) for piece in (outcome.before, outcome.after)),
    ]
    columns.append(_line(outcome, distances))
    return np.column_stack(columns)


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
