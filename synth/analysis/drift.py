"""What temperature does to a tuned design: coefficients, the law that follows them, and the figures."""

from __future__ import annotations

from dataclasses import field, replace

import numpy as np

from models.arrays import Floats
from models.builds.drift import (
    CAUSES,
    Coefficients,
    Drift,
    DriftLaw,
    hold_time,
    hold_time_of_note,
    relative_drift,
    warm_up_rise,
)
from models.builds.tuned_builds import TunedBuilds
from models.circuit.field_effect import FieldEffect
from models.circuit.inverter import Inverter
from models.circuit.part_values import TEMPERATURE
from models.circuit.transistor import Transistor
from models.circuit.triode import Triode
from models.pitch import frequency_of_note, note_name
from models.quick_dataclass import dataclass
from synth.analysis.circuit_builds import kind_of_column
from synth.analysis.figures import DENSE, OfDesign, collected, known, of
from synth.analysis.tolerance import nominal_row, trial_of
from synth.build.workbench import OpenedDesign
from synth.designs.build_sections import TemperatureSection
from synth.errors import DesignError, at_place


def temperature_of(opened: OpenedDesign) -> TemperatureSection:
    """The temperature section of the design, or its defaults."""
    return opened.design.temperature or TemperatureSection()


def coefficients_of(part: TemperatureSection, mismatch: float = 1.0) -> Coefficients:
    """Coefficients of a section with `mismatch` times what is stated added to the reference's: 0 is ideal tracking."""
    return Coefficients(
        variable_coil=part.coil,
        variable_capacitor=part.capacitor,
        reference_coil=part.coil + mismatch * part.coil_mismatch,
        reference_capacitor=part.capacitor + mismatch * part.capacitor_mismatch,
        stray=part.stray,
        branch_coil=part.branch_coil,
        antenna_stray=part.antenna_stray,
    )


def drift_law(
    opened: OpenedDesign, mismatch: float, note_distances: Floats, law: TunedBuilds | None = None
) -> DriftLaw:
    """The law of a design's drift (`law`: that of its builds, made before); DesignError as for `trial_of`."""
    builds = trial_of(opened).law if law is None else law
    row, coefficients = nominal_row(opened, builds), coefficients_of(temperature_of(opened), mismatch)
    if builds.circuit is None:
        return DriftLaw(builds, row, coefficients, note_distances)
    names = builds.circuit.names
    kelvin = float(row[builds.quantities.index(TEMPERATURE)])
    coefficients = replace(coefficients, transistors=1.0 / kelvin)
    return DriftLaw(builds, row, coefficients, note_distances, tuple(_cause(name) for name in names))


def _cause(column: str) -> str:
    """The cause that moves a column of the circuits, "" for none: resistors are taken as the same."""
    if column == TEMPERATURE:
        return "transistors"
    return f"{column.partition('.')[0]}_capacitor" if kind_of_column(column) == "capacitor" else ""


CURVE_POINTS = 81
WARM_UP_SPAN = 8.0  # time constants that the warm-up curve shows
SMALLEST_TEMPERATURE, LARGEST_TEMPERATURE = -40.0, 125.0
DEFAULT_NOTES = (36, 48, 60, 72, 84)  # those in reach
CASES = {"tracking": 0.0, "mismatched": 1.0, "mismatched, other way": -1.0}
CAUSE_LABELS = {
    "stray": "stray of both",
    "branch_coil": "series inductor",
    "transistors": "transistors of both",
}  # all others by their own names


WARMED = {
    Transistor: "the transistors go with temperature, both alike (thermal voltage, saturation current, gain, "
    "junctions: rules from memory; base-emitter voltage some -2 mV/K), to first order; their transit times and the "
    "resistors are taken as the same",
    FieldEffect: "the field-effect transistors go with temperature, both alike (pinch-off by -2 mV/K, current, "
    "junctions: rules from memory), to first order; the resistors are taken as the same",
    Inverter: "the inverters go with temperature, both alike (output resistance: rule from memory), to first order; "
    "the resistors are taken as the same",
    Triode: "the valves and the resistors are taken as the same at every temperature",
}
"""What is said of each kind of amplifying device."""


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
    """One temperature coefficient of the mismatched case, 1/K (None: the transistors), and the zero-beat drift
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
class DriftFigures(OfDesign):
    """Every figure of a design's drift, SI units, temperatures in degrees Celsius.

    hand_m: where zero beat is wanted, and the hand while the variable oscillator is read; zero_beat_m: where it is at
    first, None outside the field.
    """

    law: str = of("opened.design.law")
    from_deg_c: float
    to_deg_c: float
    reference_frequency_hz: float = of("opened.instrument.reference_frequency")
    hand_m: float = of("stated.law.zero_beat")
    zero_beat_m: float | None = of("curves.1.zero_beat_distance.0", known)
    tank_drift_per_k: float = of("part", lambda part: float(relative_drift(part.coil, part.capacitor)))
    warm_up_rise_k: float = of("part.warm_up_rise")
    warm_up_time_s: float = of("part.warm_up_time")
    hold_limit_hz: float
    hold_limit_cents: float
    cases: tuple[CaseFigure, ...]
    causes: tuple[DriftCause, ...]
    transistors: TransistorFigure | None
    notices: tuple[str, ...]
    temperature: Floats = field(metadata=DENSE)  # (CURVE_POINTS,), degrees Celsius
    curves: tuple[Drift, ...] = field(metadata=DENSE)  # one for each case
    warm_up: Floats = field(metadata=DENSE)  # (CURVE_POINTS, 1 + cases): s, drift still to come, Hz


def drift_figures(
    opened: OpenedDesign,
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
    part, numbers = temperature_of(opened), _notes(opened, notes)
    frequencies = frequency_of_note(np.array(numbers, dtype=np.float64), opened.field.reference_a)
    distances = opened.field.distance_at(frequencies) if numbers else np.empty(0)
    temperature = np.linspace(first, last, CURVE_POINTS)
    builds = trial_of(opened).law
    laws = [drift_law(opened, mismatch, distances, builds) for mismatch in CASES.values()]
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
        alone = transistors_alone(stated, end)
    except ValueError as error:
        raise at_place(opened.design.place, error) from error
    return collected(
        DriftFigures,
        {"design": opened.design, "opened": opened, "stated": stated, "part": part, "curves": curves},
        from_deg_c=first,
        to_deg_c=last,
        hold_limit_hz=hertz,
        hold_limit_cents=limit_cents,
        cases=cases,
        causes=causes,
        transistors=alone,
        notices=_notices(opened),
        temperature=temperature,
        curves=curves,
        warm_up=warm_up,
    )


def _notes(opened: OpenedDesign, wanted: tuple[int, ...] | None) -> tuple[int, ...]:
    field = opened.field
    chosen = DEFAULT_NOTES if wanted is None else wanted
    reached = field.reaches(frequency_of_note(np.array(chosen, dtype=np.float64), field.reference_a))
    if wanted is not None and not reached.all():
        missing = ", ".join(note_name(number) for number, there in zip(chosen, reached, strict=True) if not there)
        raise DesignError(f"{opened.design.place}: does not reach {missing}; see: beatfield field")
    return tuple(number for number, there in zip(chosen, reached, strict=True) if there)


def transistors_alone(law: DriftLaw, rise: float) -> TransistorFigure | None:
    """What transistors `rise` K warmer move by themselves; None without solved circuits, and where no device goes with
    temperature, as a triode does not.
    """
    if law.coefficients.transistors == 0.0:
        return None
    found = replace(law, coefficients=law.coefficients.only("transistors")).drift(rise)
    moved = TransistorFigure(float(found.reference[0]), float(found.variable[0]))
    return None if moved == TransistorFigure(0.0, 0.0) else moved


def _causes(law: DriftLaw, rise: float) -> tuple[DriftCause, ...]:
    found = []
    for cause in CAUSES:
        coefficient = getattr(law.coefficients, cause)
        if coefficient != 0.0:
            alone = replace(law, coefficients=law.coefficients.only(cause))
            moved = float(alone.zero_beat_drift(rise)[0])
            if moved != 0.0:  # else the design has no such part
                stated = None if cause == "transistors" else coefficient
                found.append(DriftCause(CAUSE_LABELS.get(cause, cause.replace("_", " ")), stated, moved))
    return tuple(sorted(found, key=lambda figure: -abs(figure.zero_beat_hz)))


def _device_notices(opened: OpenedDesign) -> tuple[str, ...]:
    """What of the devices goes with temperature (models.circuit.warm_transistor)."""
    devices = {type(part.what) for part in opened.circuits["reference"].drawing().devices}
    return tuple(words for kind, words in WARMED.items() if kind in devices)


def _notices(opened: OpenedDesign) -> tuple[str, ...]:
    found: tuple[str, ...] = ()
    if opened.design.temperature is None:
        found = ("the design has no [temperature]: these are the defaults, typical from memory, not of your parts",)
    if opened.design.law == "circuit":
        found += (
            "every part acts as in the solved circuit to first order, and by the exact resonance beyond",
            *_device_notices(opened),
        )
    else:
        found += ("the design has no [circuit]: transistors and their drift are not in these figures",)
    return found
