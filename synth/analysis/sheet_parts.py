"""The parts of a design as a shopping list: values, the nearest preferred ones, tolerances."""

from __future__ import annotations

from collections.abc import Callable

from models.circuit.drawing import SUPPLY
from models.preferred_values import nearest
from models.quick_dataclass import dataclass
from synth.build.circuit_assembly import MIXER, TankSection
from synth.designs.build_sections import TolerancesSection
from synth.designs.oscillator_sections import CircuitSection
from synth.designs.part_rows import MIXER_PLACES, Rows, ends_of_row, kind_of, value_of
from synth.designs.sections import Design

KINDS = {
    "inductor": "tank coils",
    "capacitor": "fixed capacitors",
    "trimmer": "trimmers, both ends",
    "branch_inductor": "series inductor",
    "stray": "stray of board, wiring and windings",
    "antenna_stray": "antenna's mount and lead",
    "junction": "transistor's capacitances",
    "resistor": "resistors",
    "potentiometer": "pots, whole track",
    "supply": "supply voltage",
    "gain": "transistor's current gain",
}
OF_DRAWN = {
    "junction": "capacitances of the devices' junctions",
    "gain": "gain of the devices (a valve's perveance, an inverter's output resistance)",
}
"""What two of them are called where the circuit is drawn, of devices of any kind."""
OF_CIRCUIT = ("junction", "resistor", "potentiometer", "supply", "gain")
SERIES = {"inductor": "E12", "branch_inductor": "E12", "capacitor": "E24", "resistor": "E24", "potentiometer": "E6"}
EACH = "each oscillator"
SAME = 1e-6  # relative difference within which a value is the preferred one


@dataclass(frozen=True, slots=True)
class ToleranceFigure:
    """How far one class of parts may be off, as a fraction either way; `origin` says who states it."""

    kind: str
    name: str
    fraction: float
    origin: str


@dataclass(frozen=True, slots=True)
class PartFigure:
    """One part: `value` as designed and the nearest `preferred` one of the `series` (None where there is no series)."""

    place: str
    name: str
    unit: str
    value: float
    highest: float | None  # of a trimmer: value is its lowest
    series: str | None
    preferred: float | None
    off_preferred: float | None  # preferred over value, less 1
    tolerance: float | None


def tolerance_figures(design: Design) -> tuple[ToleranceFigure, ...]:
    """The tolerances of every class of parts that the design has."""
    stated = design.tolerances is not None
    section = design.tolerances or TolerancesSection()
    kinds = [kind for kind in KINDS if design.circuit is not None or kind not in OF_CIRCUIT]
    if design.branch is None:
        kinds.remove("branch_inductor")
    drawn = design.circuit is not None and design.circuit.parts is not None
    names = KINDS | (OF_DRAWN if drawn else {})
    return tuple(
        ToleranceFigure(kind, names[kind], getattr(section, kind), "the design" if stated else "usual, not stated")
        for kind in kinds
    )


def part_figures(design: Design) -> tuple[PartFigure, ...]:
    """Everything to buy, oscillator by oscillator, as far as the design names it."""
    limits = design.tolerances or TolerancesSection()

    def part(place: str, name: str, kind: str, unit: str, value: float) -> PartFigure:
        series = SERIES[kind]
        preferred = nearest(series, value)
        off = preferred / value - 1.0
        off, limit = 0.0 if abs(off) < SAME else off, getattr(limits, kind)
        return PartFigure(place, name, unit, value, None, series, preferred, off, limit)

    def tank(place: str, section: TankSection) -> list[PartFigure]:
        found = [
            part(place, "tank coil", "inductor", "H", section.inductance),
            part(place, "tank capacitor", "capacitor", "F", section.capacitance),
        ]
        if section.trimmer_maximum > 0.0:
            low, high = section.trimmer_minimum, section.trimmer_maximum
            found.append(PartFigure(place, "trimmer", "F", low, high, None, None, None, limits.trimmer))
        return found

    coupling, detector, response = design.coupling, design.detector, design.volume_response
    parts = tank("reference", design.reference) + tank("variable", design.variable)
    if design.branch is not None:
        tap = design.variable.tap
        joined = "series inductor" if tap == 1.0 else f"series inductor, at {100.0 * tap:.3g} % of the coil's turns"
        parts.append(part("variable", joined, "branch_inductor", "H", design.branch.inductance))
    if design.volume is not None:
        parts += tank("volume", design.volume)
    if design.circuit is not None:
        parts += _circuit_parts(design.circuit, part, limits.trimmer)
        for which, section in (
            ("reference", design.reference),
            ("variable", design.variable),
            ("volume", design.volume),
        ):
            parts += _drawn_parts(which, (section and section.parts) or (), part, limits.trimmer)
    if design.circuit is not None or coupling.lock_range is None:
        parts.append(part("coupling", "reference's output resistor", "resistor", "ohm", coupling.reference_resistor))
        parts.append(part("coupling", "variable's output resistor", "resistor", "ohm", coupling.variable_resistor))
    if detector.parts is not None and design.circuit is not None:
        parts += _drawn_parts(MIXER, detector.parts, part, limits.trimmer)
        if any(SUPPLY in ends_of_row(row).values() for row in detector.parts if row[0] not in MIXER_PLACES):
            parts += [part(MIXER, *row, getattr(design.circuit, row[0].replace(" ", "_"))) for row in _FEED]
    elif detector.kind == "diode":
        parts.append(part("detector", "load resistor", "resistor", "ohm", detector.load_resistance))
        parts.append(part("detector", "load capacitor", "capacitor", "F", detector.load_capacitance))
    if response is not None:
        parts.append(part("resonator", "coil", "inductor", "H", response.inductance))
        parts.append(part("resonator", "capacitor", "capacitor", "F", response.capacitance))
        parts.append(part("rectifier", "load resistor", "resistor", "ohm", response.detector_resistance))
        parts.append(part("rectifier", "capacitor", "capacitor", "F", response.detector_capacitance))
    return tuple(parts)


Made = Callable[[str, str, str, str, float], PartFigure]
_FEED = (("supply resistor", "resistor", "ohm"), ("supply capacitor", "capacitor", "F"))
_FIXED = (
    ("feedback capacitor", "capacitor", "F"),
    ("emitter capacitor", "capacitor", "F"),
    ("upper resistor", "resistor", "ohm"),
    ("potentiometer", "potentiometer", "ohm"),
    ("lower resistor", "resistor", "ohm"),
    ("feed resistor", "resistor", "ohm"),
    ("emitter resistor", "resistor", "ohm"),
    ("wiper capacitor", "capacitor", "F"),
    ("base capacitor", "capacitor", "F"),
)
_BOUGHT = {"resistor": "resistor", "capacitor": "capacitor", "coil": "inductor", "pot": "potentiometer"}


def _circuit_parts(circuit: CircuitSection, part: Made, trimmer: float) -> list[PartFigure]:
    """The parts of one oscillator beside its tank, of the fixed form or drawn: each oscillator has a set of its own."""
    fixed = _FIXED if circuit.parts is None else ()
    rows = (*fixed, ("coupling capacitor", "capacitor", "F"), *_FEED)
    found = [part(EACH, name, kind, unit, getattr(circuit, name.replace(" ", "_"))) for name, kind, unit in rows]
    return [*_drawn_parts(EACH, circuit.parts or (), part, trimmer), *found]


def _drawn_parts(place: str, rows: Rows, part: Made, trimmer: float) -> list[PartFigure]:
    """What rows draw that is bought by its value: not the devices, nor the parts of the tank."""
    found = []
    for row in rows:
        word, value = row[1][0]
        if word in _BOUGHT and isinstance(value, float):
            found.append(part(place, row[0], _BOUGHT[word], kind_of(row).value.unit, value))
        elif word == "trimmer":
            low = value_of(row, "minimum")
            found.append(PartFigure(place, row[0], "F", low, value, None, None, None, trimmer))
    return found
