"""What readings may tell of the device that keeps an oscillator up, of every kind: what cannot be bought exact.

Each is an unknown where something moves the device (pot, supply, volts): beforehand it is what the design has, within
[tolerances] where that knows it (gain also of the current of a field-effect transistor, of the perveance of a triode,
and of an inverter), else within limits that are usual of one type, from memory. All devices of that kind in an
oscillator have the same.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Final

from models.circuit.drawing import Drawing
from models.circuit.field_effect import FieldEffect
from models.circuit.inverter import Inverter
from models.circuit.oscillator import OscillatorCircuit
from models.circuit.transistor import Transistor
from models.circuit.triode import Triode
from models.quick_dataclass import dataclass
from synth.build.circuit_assembly import Circuit
from synth.designs.build_sections import TolerancesSection
from synth.designs.oscillator_sections import TransistorSection
from synth.designs.part_rows import Row, Rows, ends_of_row, kind_of, merged
from synth.designs.sections import Design

PINCH_OFF_LIMIT: Final = 0.5
"""95 % limit of the pinch-off voltages of one type, as a ratio: makers let it go from one to several (from memory)."""
AMPLIFICATION_LIMIT: Final = 0.15
"""95 % limit of a valve's amplification factor, which its grid's wires set (from memory)."""
LEAST_JUNCTION: Final = 1e-14


@dataclass(frozen=True, slots=True)
class DeviceValue:
    """One value of a device: name of the unknown, its unit (F: it counts by difference, else by ratio), the key that it
    has in a design, its 95 % limit as a ratio, and how a device gives and takes it.
    """

    name: str
    unit: str
    key: str
    limit: Callable[[TolerancesSection], float]
    read: Callable[[Any], float]
    put: Callable[[Any, float], Any]


def _junctions(part: Any, names: tuple[str, ...], value: float) -> Any:
    found = {name: replace(getattr(part, name), zero_bias_capacitance=max(value, LEAST_JUNCTION)) for name in names}
    return replace(part, **found)


def _of_field(name: str, unit: str, limit: Callable[[TolerancesSection], float], unknown: str = "") -> DeviceValue:
    """A value that is a field of the device and a key of its row by the same name."""
    return DeviceValue(
        unknown or name,
        unit,
        name,
        limit,
        lambda part: float(getattr(part, name)),
        lambda part, value: replace(part, **{name: value}),
    )


_BY_GAIN: Final[Callable[[TolerancesSection], float]] = lambda limits: limits.gain  # noqa: E731
_BY_JUNCTION: Final[Callable[[TolerancesSection], float]] = lambda limits: limits.junction  # noqa: E731
_GATES: Final = ("source_junction", "drain_junction")

DEVICE_VALUES: Final[Mapping[type, tuple[DeviceValue, ...]]] = {
    Transistor: (
        DeviceValue(
            "junction",
            "F",
            "collector_capacitance",
            _BY_JUNCTION,
            lambda part: float(part.collector_junction.zero_bias_capacitance),
            lambda part, value: _junctions(part, ("collector_junction",), value),
        ),
        _of_field("forward_gain", "ratio", _BY_GAIN, "gain"),
    ),
    FieldEffect: (
        DeviceValue(
            "junction",
            "F",
            "capacitance",
            _BY_JUNCTION,
            lambda part: float(part.source_junction.zero_bias_capacitance),
            lambda part, value: _junctions(part, _GATES, value),
        ),
        DeviceValue(
            "pinch_off",
            "V",
            "pinch_off",
            lambda limits: PINCH_OFF_LIMIT,
            lambda part: float(-part.pinch_off),
            lambda part, value: replace(part, pinch_off=-value, factor=part.factor * (part.pinch_off / value) ** 2),
        ),
        DeviceValue(
            "drain_current",
            "A",
            "current",
            _BY_GAIN,
            lambda part: float(part.factor * part.pinch_off**2),
            lambda part, value: replace(part, factor=value / part.pinch_off**2),
        ),
    ),
    Triode: (
        _of_field("amplification", "ratio", lambda limits: AMPLIFICATION_LIMIT),
        _of_field("perveance", "ratio", _BY_GAIN),
    ),
    Inverter: (
        _of_field("gain", "ratio", _BY_GAIN, "inverter_gain"),
        _of_field("output_resistance", "ohm", _BY_GAIN),
        _of_field("input_capacitance", "F", _BY_JUNCTION),
    ),
}
"""What is fitted of a device, by its kind. drain_current: of a field-effect transistor without gate voltage."""
DEVICE_UNITS: Final = {one.name: one.unit for values in DEVICE_VALUES.values() for one in values}
ROW_VALUES: Final = {("triode", "amplification"): "triode", ("inverter", "gain"): "inverter"}
"""Keys that in a row of [circuit.parts] are the kind's own."""


GAINS: Final = ("gain", "drain_current", "perveance", "inverter_gain")
"""The value of each kind that its gain goes with, and that spreads the most from one device to the next."""


def device_of(circuit: Circuit) -> Any:
    """The device that keeps the oscillation up."""
    return circuit.drawing().devices[0].what


def device_values(circuit: Circuit) -> tuple[DeviceValue, ...]:
    """What may be fitted of it."""
    return DEVICE_VALUES.get(type(device_of(circuit)), ())


def with_device_values(circuit: Circuit, found: Mapping[str, float]) -> Circuit:
    """The circuit with these values, by the names of the unknowns, of all devices of that kind."""
    values = [one for one in device_values(circuit) if one.name in found]
    if not values:
        return circuit

    def changed(part: Any) -> Any:
        for one in values:
            part = one.put(part, found[one.name])
        return part

    if isinstance(circuit, OscillatorCircuit):
        return replace(circuit, transistor=changed(circuit.transistor))
    assert isinstance(circuit, Drawing)
    kind = type(device_of(circuit))
    for part in circuit.devices:
        if isinstance(part.what, kind):
            circuit = circuit.with_part(part.name, changed(part.what))
    return circuit


def with_fitted_device(design: Design, oscillator: str, circuit: Circuit, found: Mapping[str, float]) -> Design:
    """The design with these values, by the names of the unknowns, of the device in the oscillator's circuit: those of
    transistors in [transistor], those of other devices in their row of the oscillator's own table of parts.
    """
    values = {one.key: found[one.name] for one in device_values(circuit) if one.name in found}
    kind = type(device_of(circuit))
    if kind is Transistor:
        return replace(design, transistor=replace(design.transistor or TransistorSection(), **values))
    section, drawn = getattr(design, oscillator), design.circuit
    assert drawn is not None
    assert isinstance(circuit, Drawing)
    names = [part.name for part in circuit.devices if isinstance(part.what, kind)]
    whole = merged(drawn.parts or (), section.parts)
    own = dict(section.parts or ())
    for row in whole:
        if row[0] in names:
            own[row[0]] = _with_values(row, values)[1]
    rows: Rows = tuple(own.items())
    changed: dict[str, Any] = {oscillator: replace(section, parts=rows)}
    return replace(design, **changed)


def _with_values(row: Row, values: Mapping[str, float]) -> Row:
    """A device's row with these values of its keys, in the order in which rows are read."""
    kind, kept = kind_of(row), dict(row[1])
    named = {ROW_VALUES.get((kind.word, key), key): value for key, value in values.items()}
    order = (kind.word, *kind.keys, *ends_of_row(row))
    return row[0], tuple((key, named.get(key, kept.get(key))) for key in order if key in named or key in kept)
