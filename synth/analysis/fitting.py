"""From the rows of a readings file, and a design if there is one, to a solved bench."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from models.branch.antenna_branch import preferred_mode
from models.circuit.drawing import Drawing
from models.circuit.operating_point import operating_point
from models.circuit.transistor import COLLECTOR_PORT
from models.hand.capacitance_curve import CapacitanceCurve
from models.preferred_values import values_in_range
from models.readings.fit import Fit, fit_readings
from models.readings.tank_model import UNKNOWNS, Errors, FrequencyReading, Known, ReadingSet, Surroundings
from synth.analysis.readings import BenchRow
from synth.build.circuit_assembly import blaming
from synth.build.workbench import OpenedDesign
from synth.designs.design_file import Design
from synth.designs.quantity import format_quantity, parse
from synth.designs.schema import did_you_mean
from synth.errors import DesignError

_FINEST, _COARSEST = 10e-12, 10e-9  # F, of capacitors suggested for the next reading
_MOST_AGAIN = 12  # markings used before that are all suggested again


@dataclass(frozen=True, slots=True)
class SolvedBench:
    """The rows with the fit they gave, and the design they belong to."""

    rows: tuple[BenchRow, ...]
    fit: Fit
    which: str
    opened: OpenedDesign | None

    @property
    def design(self) -> Design | None:
        """The design that the readings belong to."""
        return None if self.opened is None else self.opened.design


def errors_of(counter_error: str, capacitor_tolerance: str) -> Errors:
    """95 % limits as given: the counter's as a ratio ("0.01 %") or in Hz ("5 Hz"), capacitors' as a ratio ("1 %")."""
    try:
        tolerance = parse(capacitor_tolerance, "percent")
    except DesignError as error:
        raise DesignError(f"--capacitor-tolerance {capacitor_tolerance!r}: {error}") from None
    try:
        by_ratio = "%" in counter_error or "percent" in counter_error
        limit = parse(counter_error, "percent" if by_ratio else "Hz")
        return Errors(limit if by_ratio else 0.0, 0.0 if by_ratio else limit, tolerance)
    except DesignError as error:
        raise DesignError(f'--counter-error {counter_error!r}: {error}; or write it as a share, "0.01 %"') from None
    except ValueError as error:
        raise DesignError(f"--counter-error, --capacitor-tolerance: {error}") from None


def known_of(texts: Sequence[str]) -> dict[str, Known]:
    """Values known beforehand, each as NAME=VALUE or NAME=VALUE,LIMIT with the limit in percent or in the unit."""
    known: dict[str, Known] = {}
    for text in texts:
        name, equals, rest = text.partition("=")
        name = name.strip()
        if name not in UNKNOWNS or not equals:
            hint = did_you_mean(name, UNKNOWNS) or f"; NAME is one of {', '.join(UNKNOWNS)}"
            raise DesignError(f"--known {text!r}: write NAME=VALUE or NAME=VALUE,LIMIT{hint}")
        unit = "H" if name == "inductance" else "F"
        value_text, _, limit_text = rest.partition(",")
        try:
            value, limit = parse(value_text.strip(), unit), 0.0
            if limit_text.strip():
                share = "%" in limit_text
                limit = parse(limit_text.strip(), "percent" if share else unit) * (value if share else 1.0)
            if value < 0.0 or (value == 0.0 and unit == "H"):
                raise DesignError("must not be below zero, an inductance above")
            known[name] = Known(value, limit)
        except (DesignError, ValueError) as error:
            raise DesignError(f"--known {text!r}: {error}") from None
    return known


def solved_bench(
    rows: Sequence[BenchRow],
    errors: Errors,
    known: Mapping[str, Known] | None = None,
    design: Design | None = None,
    which: str | None = None,
) -> SolvedBench:
    """Fit the rows. The hand field and the branch come from `design`, which hand distances need.

    which: the oscillator the readings are of; None: the variable one if the antenna was plugged, else the reference.
    Raises DesignError where the readings contradict a tank or name what is not there.
    """
    plugged = any(row.antenna_plugged for row in rows)
    if plugged and design is None:
        raise DesignError("hand_distance needs --design DESIGN: antenna, cabinet, player and branch are read from it")
    turned = any(row.pot is not None for row in rows)
    if turned and (design is None or design.circuit is None):
        raise DesignError("pot needs --design DESIGN with a [circuit]: the junction's voltage is computed from it")
    chosen = which or ("variable" if plugged else "reference")
    if plugged and chosen != "variable":
        raise DesignError(f"hand_distance: the antenna is on the variable oscillator, not on --which {chosen}")
    opened = None if design is None else OpenedDesign(design)
    curve, around = None, Surroundings()
    if plugged and opened is not None:
        curve, around = opened.curve, _surroundings(opened)
    voltages: dict[float, float] = {}
    if turned and opened is not None:
        circuit = opened.circuits[chosen]
        if isinstance(circuit, Drawing):
            raise DesignError(
                "pot: readings with a pot are fitted by the collector junction of the fixed form of [circuit]; leave "
                "them out for a circuit that [circuit.parts] draws"
            )
        junction = circuit.transistor.collector_junction
        around = replace(around, junction_potential=junction.potential, junction_grading=junction.grading)
        voltages = _voltages(opened, chosen, {row.pot for row in rows if row.pot is not None})
    try:
        readings = tuple(_reading(row, curve, voltages) for row in rows)
        fit = fit_readings(ReadingSet(readings, around, errors, dict(known or {})))
    except ValueError as error:
        raise DesignError(f"the readings cannot be used: {error}") from None
    return SolvedBench(tuple(rows), fit, chosen, opened)


def candidates(fit: Fit) -> tuple[FrequencyReading, ...]:
    """Further readings worth a thought: E3 capacitors and those used, with every part in and out of its place."""
    used = sorted({reading.fitted_capacitor for reading in fit.given.readings if reading.fitted_capacitor > 0.0})
    low, high = (max(0.25 * used[0], _FINEST), min(4.0 * used[-1], _COARSEST)) if used else (_FINEST, 1e-9)
    again = used if len(used) <= _MOST_AGAIN else [used[0], used[-1]]
    fitted = sorted({*again, *(values_in_range("E3", low, high) if low <= high else ())})
    return tuple(
        FrequencyReading(capacitor, None, trimmer, antenna, voltage)
        for capacitor in fitted
        for trimmer in _states(fit, "trimmer", (0.0, 1.0))
        for antenna in _states(fit, "antenna", ())
        for voltage in _states(fit, "reverse_voltage", ())
    )


def _states(fit: Fit, part: str, usual: tuple[float, ...]) -> tuple[float | None, ...]:
    """None (part away), the usual states and the extremes read; only None for a part that was never there."""
    seen = [value for value in (getattr(reading, part) for reading in fit.given.readings) if value is not None]
    return (None, *sorted({*usual, min(seen), max(seen)})) if seen else (None,)


def _voltages(opened: OpenedDesign, which: str, pots: set[float]) -> dict[float, float]:
    """Reverse voltage across the collector junction at rest, V, at each position of the oscillator's pot."""
    design, circuit, found = opened.design, opened.circuits[which], {}
    for pot in pots:
        with blaming(design, which):
            rest = operating_point(circuit.with_pot(pot)).port_voltages
        found[pot] = -float(rest[COLLECTOR_PORT])
        if found[pot] < 0.0:
            raise DesignError(f"pot = {pot:g}: the transistor of {design.name} saturates there; leave the reading out")
    return found


def _reading(row: BenchRow, curve: CapacitanceCurve | None, voltages: Mapping[float, float]) -> FrequencyReading:
    antenna: float | None = None
    if row.antenna_plugged and curve is not None:
        try:
            antenna = curve.empty_capacitance if row.away else float(curve.capacitance(row.hand_distance or 0.0))
        except ValueError:
            span = f"{format_quantity(curve.nearest, 'm')} to {format_quantity(curve.farthest, 'm')}"
            raise DesignError(f"line {row.line}: hand_distance must be within the hand field, {span}") from None
    voltage = row.reverse_voltage if row.pot is None else voltages[row.pot]
    return FrequencyReading(row.fitted_capacitor, row.frequency, row.trimmer, antenna, voltage)


def _surroundings(opened: OpenedDesign) -> Surroundings:
    design, branch = opened.design, opened.branch
    if design.variable.tap != 1.0:
        raise DesignError(
            f"hand_distance cannot be used with variable.tap = {design.variable.tap:g}; read with the antenna off"
        )
    mode = design.tuning.mode
    if mode == "auto":
        empty = opened.curve.empty_capacitance + opened.wired.antenna.stray
        mode = preferred_mode(opened.tanks["variable"], branch, empty)
    ends = opened.wired.antenna.stray - design.antenna.stray
    return Surroundings(branch.inductance, branch.self_capacitance, mode, end_stray=ends)
