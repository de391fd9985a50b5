"""Every value of an oscillator circuit by its name: what one may change, and by how much its derivatives step.

A name is the path of a field: "inductance", "bias.emitter_resistor", "trimmers.0.setting", "antenna.capacitance",
"transistor.collector_junction.zero_bias_capacitance". "temperature" is the transistor's, in K, with everything that
goes with it (models.circuit.warm_transistor). In a drawing the path begins with the part's name, "feedback.capacitor";
what belongs to its tank is named as above. Left out are values that are zero and whose part then does not exist (base
resistance, an antenna's inductor, Early effect, a capacitance to another tank), and numbers that describe no part (the
knee of the junctions' law, the frequency at which the inductor's quality factor holds, the corner of the flicker
noise, the supply at which an inverter's resistance holds).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from operator import attrgetter
from typing import Any

from models.circuit.common_base import OscillatorCircuit
from models.circuit.drawing import BOARD_STRAY, Capacitance, Drawable, Drawing, Potentiometer, Resistance
from models.circuit.warm_transistor import warmed, warmed_drawing

TEMPERATURE = "temperature"
DRAWING_VALUES = (
    "supply_voltage",
    "supply_resistor",
    "supply_capacitor",
    "coupling_capacitor",
    "output_resistor",
    "load",
    "antenna",
)
"""Values of a drawing beside its parts."""
SHORT = {
    (Resistance, "resistance"): "resistor",
    (Capacitance, "capacitance"): "capacitor",
    (Potentiometer, "resistance"): "potentiometer",
}
"""What the only value of a part is called, after the part's name."""
NO_PART = ("knee", "inductor_q_frequency", "temperature", "flicker_corner", "rated_supply")
ABSENT_AT_ZERO = ("base_resistance", "antenna.inductance", "tank_to_tank_capacitance", ".tap", ".coupling")
RELATIVE_STEP = 1e-5
SMALLEST_STEPS = {"capacit": 1e-15, "stray": 1e-15, "minimum": 1e-15, "resistance": 1e-3, "transit_time": 1e-14}
"""Steps from a value of zero, by what the name contains, F, ohm and s: such a value enters its equation linearly."""
TURN_STEP = 1e-5
"""Step of the setting of a trimmer and of the position of a potentiometer, which run from 0 to 1."""


def part_values(circuit: Drawable) -> dict[str, float]:
    """Return the values of `circuit`, SI units, by name."""
    values = dict(_walk("", circuit))
    values[TEMPERATURE] = circuit.drawing().temperature
    return values


def with_part_value(circuit: Drawable, name: str, value: float) -> Drawable:
    """Return `circuit` with one value changed; ValueError for an unknown name and for a value out of its domain."""
    if name not in part_values(circuit):
        raise ValueError(f"this circuit has no value named {name!r}")
    return _moved(circuit, name, value)


def neighbours(circuit: Drawable, name: str, value: float | None = None) -> tuple[tuple[float, Drawable], ...]:
    """Return weights and circuits whose weighted sum of any smooth function is its derivative by the value `name`.

    value: that of `circuit`, where it is known. Central, or one-sided of second order at the end of the value's domain.
    The error is some RELATIVE_STEP^2.
    """
    value = part_values(circuit)[name] if value is None else value
    step = _step(name, value)
    for offsets, weights in (((-1, 1), (-0.5, 0.5)), ((0, 1, 2), (-1.5, 2.0, -0.5)), ((0, -1, -2), (1.5, -2.0, 0.5))):
        try:
            circuits = [_moved(circuit, name, value + offset * step) for offset in offsets]
        except ValueError:
            continue
        return tuple((weight / step, near) for weight, near in zip(weights, circuits, strict=True))
    raise ValueError(f"{name}: no neighbouring value of {value:g} is allowed")


def _moved(circuit: Drawable, name: str, value: float) -> Drawable:
    if name == TEMPERATURE:
        rise = value - circuit.drawing().temperature
        if isinstance(circuit, Drawing):
            return warmed_drawing(circuit, rise)
        assert isinstance(circuit, OscillatorCircuit)
        return replace(circuit, transistor=warmed(circuit.transistor, rise))
    changed: Drawable = _changed(circuit, name.split("."), value)
    return changed


def _step(name: str, value: float) -> float:
    if name.endswith(("setting", "position")):
        return TURN_STEP
    if value != 0.0:
        return RELATIVE_STEP * abs(value)
    return next(step for part, step in SMALLEST_STEPS.items() if part in name)


def _walk(path: str, part: Any) -> Iterator[tuple[str, float]]:
    if isinstance(part, float):
        if not path.endswith(NO_PART) and not (part == 0.0 and path.endswith(ABSENT_AT_ZERO)):
            yield path, part
    elif isinstance(part, Drawing):
        for name, (owner, inside) in _drawn(part).items():
            value = attrgetter(inside)(part.part(owner).what)
            if not (value == 0.0 and name.endswith(ABSENT_AT_ZERO)):
                yield name, value
        for name in DRAWING_VALUES:
            yield from _walk(name, getattr(part, name))
    elif isinstance(part, tuple):
        for place, member in enumerate(part):
            yield from _walk(f"{path}.{place}", member)
    elif is_dataclass(part):
        for entry in fields(part):
            yield from _walk(f"{path}.{entry.name}" if path else entry.name, getattr(part, entry.name))


def _drawn(drawing: Drawing) -> dict[str, tuple[str, str]]:
    """Every value of the parts of a drawing by its name: its part and the path of its field in it."""
    own = {
        (drawing.coil, "inductance"): "inductance",
        (drawing.coil, "self_capacitance"): "inductor_self_capacitance",
        (drawing.capacitor, "capacitance"): "fixed_capacitor",
        (BOARD_STRAY, "capacitance"): "board_stray",
    }
    found = {}
    for part in drawing.parts:
        inside = [path for path, _ in _walk("", part.what)]
        for path in inside:
            short = SHORT.get((type(part.what), path), path)
            name = own.get((part.name, path), f"{part.name}.{short}")
            if part.name in drawing.trimmers:
                name = f"trimmers.{drawing.trimmers.index(part.name)}.{path}"
            if not (path == "tap_coupling" and getattr(part.what, "tap", 0.0) == 0.0):
                found[name] = (part.name, path)
    return found


def _changed(part: Any, path: list[str], value: float) -> Any:
    if not path:
        return value
    if isinstance(part, Drawing):
        found = _drawn(part).get(".".join(path))
        if found is not None:
            owner, inside = found
            return part.with_part(owner, _changed(part.part(owner).what, inside.split("."), value))
    if isinstance(part, tuple):
        place = int(path[0])
        return (*part[:place], _changed(part[place], path[1:], value), *part[place + 1 :])
    return replace(part, **{path[0]: _changed(getattr(part, path[0]), path[1:], value)})
