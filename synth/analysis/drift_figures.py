"""What temperature does to a tuned design as one set of figures."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from models.builds.drift import CAUSES, Drift, DriftLaw, hold_time, hold_time_of_note, relative_drift, warm_up_rise
from models.pitch import frequency_of_note, note_name
from synth.analysis.drift import drift_law, temperature_of, transistor_drift
from synth.analysis.figures import DENSE, collected, known, of
from synth.build.workbench import OpenedDesign
from synth.designs.design_file import design_hash
from synth.errors import DesignError

CURVE_POINTS = 81
WARM_UP_SPAN = 8.0  # time constants that the warm-up curve shows
SMALLEST_TEMPERATURE, LARGEST_TEMPERATURE = -40.0, 125.0
DEFAULT_NOTES = (36, 48, 60, 72, 84)  # those in reach
CASES = {"tracking": 0.0, "mismatched": 1.0, "mismatched, other way": -1.0}
CAUSE_LABELS = {
    "variable_coil": "variable coil",
    "variable_capacitor": "variable capacitor",
    "reference_coil": "reference coil",
    "reference_capacitor": "reference capacitor",
    "stray": "stray of both",
    "branch_coil": "series inductor",
    "antenna_stray": "antenna stray",
}


@dataclass(frozen=True, slots=True)
class NoteDrift:
    """One note at its hand distance: change in cents, None where it falls silent, and seconds until it holds."""

    note: str
    frequency_hz: float
    distance_m: float
    cents: float | None
    hold_s: float


@dataclass(frozen=True, slots=True)
class CaseFigure:
    """One case of tracking: changes from the first temperature to the second, Hz; zero_beat_m None outside the field.

    hold_s: seconds from switching on until a zero beat, set then, holds within the limit.
    """

    case: str
    reference_hz: float
    variable_hz: float
    zero_beat_hz: float
    zero_beat_m: float | None
    hold_s: float
    notes: tuple[NoteDrift, ...]


@dataclass(frozen=True, slots=True)
class DriftCause:
    """One temperature coefficient of the mismatched case, 1/K (None: the transistors, solved), and the zero-beat drift
    it causes alone, Hz.
    """

    cause: str
    coefficient_per_k: float | None
    zero_beat_hz: float


@dataclass(frozen=True, slots=True)
class TransistorFigure:
    """What the transistors alone move, Hz: the reference, and the variable oscillator with the hand at zero beat."""

    reference_hz: float
    variable_hz: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftFigures:
    """Every figure of a design's drift, SI units, temperatures in degrees Celsius.

    hand_m: where zero beat is wanted, and the hand while the variable oscillator is read; zero_beat_m: where it is at
    first, None outside the field.
    """

    design: str = of("workpiece.design.name")
    design_hash: str
    law: str = of("workpiece.design.law")
    from_deg_c: float
    to_deg_c: float
    reference_frequency_hz: float = of("workpiece.instrument.reference_frequency")
    hand_m: float = of("stated.law.zero_beat")
    zero_beat_m: float | None
    tank_drift_per_k: float
    warm_up_rise_k: float = of("part.warm_up_rise")
    warm_up_time_s: float = of("part.warm_up_time")
    hold_limit_hz: float
    hold_limit_cents: float
    cases: tuple[CaseFigure, ...]
    causes: tuple[DriftCause, ...]
    transistors: TransistorFigure | None
    notices: tuple[str, ...]
    temperature: NDArray[np.float64] = field(metadata=DENSE)  # (CURVE_POINTS,), degrees Celsius
    curves: tuple[Drift, ...] = field(metadata=DENSE)  # one for each case
    warm_up: NDArray[np.float64] = field(
        metadata=DENSE
    )  # (CURVE_POINTS, 1 + cases): s, zero-beat drift still to come, Hz


def drift_figures(
    workpiece: OpenedDesign,
    first: float,
    last: float,
    notes: tuple[int, ...] | None = None,
    hertz: float = 1.0,
    limit_cents: float = 5.0,
) -> DriftFigures:
    """Tune at `first`, degrees Celsius, and follow the design to `last`; the warm-up is that of [temperature].

    notes: note numbers to follow; None: the Cs in reach. hertz, limit_cents: what "holds" means.
    Raises DesignError for a design that cannot be followed, and for a note out of its reach.
    """
    part, numbers = temperature_of(workpiece), _notes(workpiece, notes)
    frequencies = frequency_of_note(np.array(numbers, dtype=np.float64), workpiece.field.reference_a)
    distances = workpiece.field.distance_at(frequencies) if numbers else np.empty(0)
    temperature = np.linspace(first, last, CURVE_POINTS)
    try:
        transistors = transistor_drift(workpiece, distances, last - first)
    except ValueError as error:
        raise DesignError(str(error)) from error
    laws = [drift_law(workpiece, mismatch, distances, transistors) for mismatch in CASES.values()]
    warm = part.warm_up_rise, part.warm_up_time
    times = np.linspace(0.0, WARM_UP_SPAN * part.warm_up_time, CURVE_POINTS)
    rises = warm_up_rise(times, *warm)
    stated, end = laws[1], last - first
    try:
        curves = tuple(law.drift(temperature - first) for law in laws)
        left = [law.zero_beat_drift(part.warm_up_rise) - law.zero_beat_drift(rises) for law in laws]
        warm_up = np.column_stack([times, *left])
        cases = tuple(
            CaseFigure(
                case=case,
                reference_hz=float(curve.reference[-1]),
                variable_hz=float(curve.variable[-1]),
                zero_beat_hz=float(curve.zero_beat[-1]),
                zero_beat_m=known(curve.zero_beat_distance[-1]),
                hold_s=hold_time(law, *warm, hertz),
                notes=tuple(
                    NoteDrift(
                        note_name(number),
                        float(frequencies[index]),
                        float(distances[index]),
                        known(curve.note_cents[-1, index]),
                        hold_time_of_note(law, index, *warm, limit_cents),
                    )
                    for index, number in enumerate(numbers)
                ),
            )
            for case, law, curve in zip(CASES, laws, curves, strict=True)
        )
        causes = _causes(stated, end)
    except ValueError as error:
        raise DesignError(f"{workpiece.design.name}: {error}") from error
    return collected(
        DriftFigures,
        {"workpiece": workpiece, "stated": stated, "part": part},
        design_hash=design_hash(workpiece.design),
        from_deg_c=first,
        to_deg_c=last,
        zero_beat_m=known(curves[1].zero_beat_distance[0]),
        tank_drift_per_k=float(relative_drift(part.coil, part.capacitor)),
        hold_limit_hz=hertz,
        hold_limit_cents=limit_cents,
        cases=cases,
        causes=causes,
        transistors=None
        if transistors is None
        else TransistorFigure(transistors.reference * end, float(transistors.variable[0]) * end),
        notices=_notices(workpiece),
        temperature=temperature,
        curves=curves,
        warm_up=warm_up,
    )


def _notes(workpiece: OpenedDesign, wanted: tuple[int, ...] | None) -> tuple[int, ...]:
    field = workpiece.field
    chosen = DEFAULT_NOTES if wanted is None else wanted
    reached = field.reaches(frequency_of_note(np.array(chosen, dtype=np.float64), field.reference_a))
    if wanted is not None and not reached.all():
        missing = ", ".join(note_name(number) for number, there in zip(chosen, reached, strict=True) if not there)
        raise DesignError(f"{workpiece.design.name}: does not reach {missing}; see: beatfield field")
    return tuple(number for number, there in zip(chosen, reached, strict=True) if there)


def _causes(law: DriftLaw, rise: float) -> tuple[DriftCause, ...]:
    found = []
    for cause in CAUSES:
        coefficient = getattr(law.coefficients, cause)
        if coefficient != 0.0:
            alone = DriftLaw(law.law, law.nominal, law.coefficients.only(cause), law.note_distances)
            moved = float(alone.zero_beat_drift(rise)[0])
            if moved != 0.0:  # else the design has no such part
                found.append(DriftCause(CAUSE_LABELS[cause], coefficient, moved))
    if law.transistors is not None:
        moved = rise * (law.transistors.reference - float(law.transistors.variable[0]))
        found.append(DriftCause("transistors of both", None, moved))
    return tuple(sorted(found, key=lambda figure: -abs(figure.zero_beat_hz)))


def _notices(workpiece: OpenedDesign) -> tuple[str, ...]:
    found: tuple[str, ...] = ()
    if workpiece.design.temperature is None:
        found = ("the design has no [temperature]: these are the defaults, typical from memory, not of your parts",)
    if workpiece.design.law == "circuit":
        found += (
            "the parts act by the resonance without loss, times the ratio of the solved circuit's frequency to it",
            "the transistors are solved anew at both temperatures, both alike (thermal voltage, saturation current, "
            "gain, junctions: rules from memory; base-emitter voltage some -2 mV/K), and taken as linear between; "
            "their transit times and the resistors are taken as the same",
        )
    else:
        found += ("the design has no [circuit]: transistors and their drift are not in these figures",)
    return found
