"""An oscillator as it is drawn: named parts between named nodes, what feeds it, and which of them is its tank.

The nodes are "ground", the rail (behind the supply resistor, with the supply capacitor to ground) and whatever the ends
of the parts name. Every solver works on a drawing; a circuit of a fixed form is a `Drawable` that draws itself.
Where the drawing leaves a group of nodes without any capacitance to the rest (nodes between resistors, or capacitors in
series), one of them is given WIRING to ground, as every real node has; its time constants are far above the carrier.
Neglected: losses of capacitors, frequency dependence of the coils' resistances, inductance of leads.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Final, Protocol, Self, TypeVar

import numpy as np

from models.arrays import Floats
from models.branch.tapped_coil import TYPICAL_COUPLING, Tap
from models.checks import finite, fraction, non_negative, positive
from models.circuit.devices import DeviceLaw, Devices
from models.circuit.diode import Diode, DiodePorts
from models.circuit.field_effect import FieldEffect, FieldEffectPorts
from models.circuit.inverter import Inverter, InverterPorts
from models.circuit.network import GROUND, SOURCE, Network, NetworkBuilder
from models.circuit.transistor import Transistor, TransistorPorts
from models.circuit.triode import Triode, TriodePorts
from models.quick_dataclass import dataclass

SUPPLY = "supply"
"""The rail of a drawing that names none."""
COUPLED, LOAD, ANTENNA = "coupled", "load", "antenna"
"""Nodes behind the coupling capacitor, behind the output resistor, and at the antenna's end of its coil."""
ANTENNA_CURRENT = "antenna inductor"
CARRIED = 1e-4
"""S that the network carries for a device through which alone a node has a path for direct current."""
LEAST_TURN = 1e-6
"""Share of a pot that is left at its ends: of the wiper's contact."""
BOARD_STRAY = "board stray"
"""Name of the part that is the capacitance of board and wiring across the tank."""
WIRING = 1e-12
"""F of a node's own wiring to ground, where nothing else gives it a capacitance (typical, from memory)."""


@dataclass(frozen=True, slots=True)
class Trimmer:
    """A trimmer capacitor: minimum and maximum, F, and its setting 0..1 (linear between them)."""

    minimum: float = 5e-12
    maximum: float = 60e-12
    setting: float = 0.5

    def __post_init__(self) -> None:
        non_negative("trimmer minimum", self.minimum)
        fraction("trimmer setting", self.setting)
        if positive("trimmer maximum", self.maximum) < self.minimum:
            raise ValueError(f"trimmer maximum must be >= its minimum {self.minimum:g} F; got {self.maximum:g}")

    @property
    def capacitance(self) -> float:
        """Capacitance at the setting, F."""
        return self.minimum + self.setting * (self.maximum - self.minimum)


@dataclass(frozen=True, slots=True)
class Load:
    """What the output drives: resistance, ohm, parallel to capacitance, F (default: a detector input with its
    wiring).
    """

    resistance: float = 100e3
    capacitance: float = 20e-12

    def __post_init__(self) -> None:
        positive("load resistance", self.resistance)
        positive("load capacitance", self.capacitance)


@dataclass(frozen=True, slots=True)
class AntennaLoad:
    """An antenna at its node: capacitance to earth, F (with its mount), behind a series inductor, H (0: straight).

    series_resistance, ohm, and self_capacitance, F, belong to the inductor.
    """

    capacitance: float = 10e-12
    inductance: float = 0.0
    series_resistance: float = 0.0
    self_capacitance: float = 0.0

    def __post_init__(self) -> None:
        positive("antenna capacitance", self.capacitance)
        for name in ("inductance", "series_resistance", "self_capacitance"):
            non_negative(f"antenna {name.replace('_', ' ')}", getattr(self, name))


@dataclass(frozen=True, slots=True)
class Resistance:
    """A resistor, ohm."""

    resistance: float

    def __post_init__(self) -> None:
        positive("resistance", self.resistance)


@dataclass(frozen=True, slots=True)
class Capacitance:
    """A capacitor, F."""

    capacitance: float

    def __post_init__(self) -> None:
        non_negative("capacitance", self.capacitance)


@dataclass(frozen=True, slots=True)
class Potentiometer:
    """A potentiometer, ohm; `position` of its wiper is 0 at the end "from", 1 at the end "to"."""

    resistance: float
    position: float = 0.5

    def __post_init__(self) -> None:
        positive("resistance", self.resistance)
        fraction("position", self.position)


@dataclass(frozen=True, slots=True)
class Coil:
    """A coil, H, with its series resistance, ohm, and the capacitance across it, F.

    tap: share of the turns from the end "from" to the tap (0: none), tap_coupling that of both parts. coupled_to: name
    of another coil in the same field (empty: none), coupling: their factor, -1 to 1; positive where currents from
    "from" to "to" in both add their fields.
    """

    inductance: float
    series_resistance: float = 0.0
    self_capacitance: float = 0.0
    tap: float = 0.0
    tap_coupling: float = TYPICAL_COUPLING
    coupled_to: str = ""
    coupling: float = 0.0

    def __post_init__(self) -> None:
        positive("inductance", self.inductance)
        non_negative("series_resistance", self.series_resistance)
        non_negative("self_capacitance", self.self_capacitance)
        if not 0.0 <= finite("tap", self.tap) < 1.0:
            raise ValueError(f"tap must be at least 0 and below 1; got {self.tap:g}")
        if not 0.0 < finite("tap_coupling", self.tap_coupling) < 1.0:
            raise ValueError(f"tap_coupling must be between 0 and 1 (both excluded); got {self.tap_coupling:g}")
        if not abs(finite("coupling", self.coupling)) < 1.0:
            raise ValueError(f"coupling must be between -1 and 1 (both excluded); got {self.coupling:g}")


Device = Transistor | FieldEffect | Triode | Inverter | Diode
What = Resistance | Capacitance | Potentiometer | Trimmer | Coil | Device
"""What a part is."""
Kind = TypeVar("Kind")


@dataclass(frozen=True, slots=True)
class _DeviceKind:
    """Names of a device's ends, its ports as pairs of their places, and its constant capacitances."""

    ends: tuple[str, ...]
    ports: tuple[tuple[int, int], ...]
    capacitances: tuple[tuple[str, int, int], ...] = ()


_THREE = ((0, 2), (0, 1))
DEVICES: Final[Mapping[type, _DeviceKind]] = {
    Transistor: _DeviceKind(("base", "collector", "emitter"), _THREE),
    FieldEffect: _DeviceKind(("gate", "drain", "source"), _THREE),
    Triode: _DeviceKind(
        ("grid", "anode", "cathode"),
        ((0, 2), (1, 2)),
        (("grid_anode_capacitance", 0, 1), ("grid_cathode_capacitance", 0, 2), ("anode_cathode_capacitance", 1, 2)),
    ),
    Inverter: _DeviceKind(
        ("input", "output", "supply", "ground"),
        ((2, 1), (0, 3), (1, 3)),
        (("input_capacitance", 0, 3), ("output_capacitance", 1, 3)),
    ),
    Diode: _DeviceKind(("anode", "cathode"), ((0, 1),)),
}
ENDS: Final[Mapping[type, tuple[str, ...]]] = {
    Resistance: ("from", "to"),
    Capacitance: ("from", "to"),
    Trimmer: ("from", "to"),
    Coil: ("from", "to"),
    Potentiometer: ("from", "wiper", "to"),
    **{kind: device.ends for kind, device in DEVICES.items()},
}
"""Names of the ends of every kind of part; a tapped coil has "tap" between its two."""


@dataclass(frozen=True, slots=True)
class Part:
    """One part: its name, what it is, and the node at each of its ends, in the order of `ends_of`.

    mirrored: a PNP transistor or a p-channel device: all its voltages and currents reversed.
    """

    name: str
    what: What
    ends: tuple[str, ...]
    mirrored: bool = False

    def __post_init__(self) -> None:
        if len(self.ends) != len(ends_of(self.what)):
            raise ValueError(f"{self.name}: has the ends {', '.join(ends_of(self.what))}; got {len(self.ends)} nodes")

    @property
    def device(self) -> _DeviceKind | None:
        """What makes it a device; None for a linear part."""
        return DEVICES.get(type(self.what))

    @property
    def ports(self) -> tuple[tuple[str, str], ...]:
        """The pairs of nodes of a device's ports, without the resistance of a base."""
        kind = DEVICES[type(self.what)]
        pairs = ((self.ends[first], self.ends[second]) for first, second in kind.ports)
        return tuple((second, first) if self.mirrored else (first, second) for first, second in pairs)

    def law(self) -> DeviceLaw:
        """Return the law of a device."""
        match self.what:
            case Transistor():
                return TransistorPorts(self.what)
            case FieldEffect():
                return FieldEffectPorts(self.what)
            case Triode():
                return TriodePorts(self.what)
            case Inverter():
                return InverterPorts(self.what)
            case Diode():
                return DiodePorts(self.what)
        raise TypeError(f"{self.name} is no device")


def ends_of(what: What) -> tuple[str, ...]:
    """Return the names of the ends of a kind of part."""
    if isinstance(what, Coil) and what.tap > 0.0:
        return ("from", "tap", "to")
    return ENDS[type(what)]


class Drawable(Protocol):
    """A circuit that draws itself, with what every command may turn: load, antenna, trimmers and fine-tune pot."""

    @property
    def supply_voltage(self) -> float: ...

    @property
    def load(self) -> Load | None: ...

    @property
    def antenna(self) -> AntennaLoad | None: ...

    def drawing(self) -> Drawing: ...

    def __hash__(self) -> int: ...

    def with_trimmer(self, setting: float) -> Self: ...

    def with_pot(self, position: float) -> Self: ...


@dataclass(frozen=True, slots=True)
class Drawing:
    """A whole oscillator, SI units.

    amplifier: name of the device that keeps the oscillation up; coil and capacitor: names of those of the tank (no
    capacitor: empty); tank: its hot and its cold node, the swing read from one to the other; output_node: where the
    coupling capacitor takes the output from, to the output resistor and the `load` (None: nothing connected);
    antenna_node: where an antenna is joined. pot: name of the fine-tune pot, trimmers: names of the trimmers of the
    tank (empty: none). supply_resistor and supply_capacitor stand between the ideal supply and the rail.
    tank_to_tank_capacitance: from the hot end to that of another tank, taken as
    ground here.
    """

    parts: tuple[Part, ...]
    amplifier: str
    coil: str
    tank: tuple[str, str]
    output_node: str
    antenna_node: str = ""
    capacitor: str = ""
    pot: str = ""
    trimmers: tuple[str, ...] = ()
    rail: str = SUPPLY
    supply_voltage: float = 9.0
    supply_resistor: float = 100.0
    supply_capacitor: float = 1e-6
    coupling_capacitor: float = 1e-9
    output_resistor: float = 47e3
    load: Load | None = None
    antenna: AntennaLoad | None = None
    tank_to_tank_capacitance: float = 0.0

    def __post_init__(self) -> None:
        non_negative("tank_to_tank_capacitance", self.tank_to_tank_capacitance)
        for name in ("supply_voltage", "supply_resistor", "supply_capacitor", "coupling_capacitor", "output_resistor"):
            positive(name, getattr(self, name))
        names = [part.name for part in self.parts]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise ValueError(f"two parts of the drawing are named {twice!r}")
        for name in ("amplifier", "coil", "capacitor", "pot"):
            named = getattr(self, name)
            if named and named not in names:
                raise ValueError(f"the {name} {named!r} is no part of the drawing")

    def drawing(self) -> Drawing:
        """Return itself."""
        return self

    def part(self, name: str) -> Part:
        """Return the part of that name; KeyError where there is none."""
        for part in self.parts:
            if part.name == name:
                return part
        raise KeyError(name)

    def value(self, name: str, kind: type[Kind]) -> Kind:
        """Return what the part of that name is, which must be of this kind."""
        what = self.part(name).what
        assert isinstance(what, kind), f"{name} is a {type(what).__name__}"
        return what

    def with_part(self, name: str, what: What) -> Drawing:
        """Return the drawing with another part in the place of `name`."""
        parts = tuple(replace(part, what=what) if part.name == name else part for part in self.parts)
        return replace(self, parts=parts)

    @property
    def devices(self) -> tuple[Part, ...]:
        """The devices, the amplifying one first."""
        found = [part for part in self.parts if part.device is not None]
        return tuple(sorted(found, key=lambda part: part.name != self.amplifier))

    @property
    def control(self) -> str:
        """The node of the amplifying device's control end: base, gate, grid or input."""
        return self.part(self.amplifier).ends[0]

    @property
    def common(self) -> str:
        """The node of its emitter, source or cathode, or an inverter's ground."""
        return self.part(self.amplifier).ends[-1]

    @property
    def hot(self) -> str:
        """The hot node of the tank."""
        return self.tank[0]

    @property
    def coil_across_tank(self) -> bool:
        """Whether the tank's coil lies across its capacitor, and not in a row with another part of the ring."""
        return set(self.part(self.coil).ends) >= set(self.tank)

    @property
    def output(self) -> str:
        """The node whose voltage is the output."""
        return self.output_node if self.load is None else LOAD

    @property
    def fixed_capacitor(self) -> float:
        """Capacitance of the tank's fixed capacitor, F."""
        return self.value(self.capacitor, Capacitance).capacitance if self.capacitor else 0.0

    def with_coil(self, inductance: float, loss: float = 1.0) -> Drawing:
        """Return the drawing with another coil, H, in its tank, its Q divided by `loss`."""
        coil = self.value(self.coil, Coil)
        ohm = coil.series_resistance * loss * inductance / coil.inductance
        return self.with_part(self.coil, replace(coil, inductance=inductance, series_resistance=ohm))

    def without_trimmers(self) -> Drawing:
        """Return the drawing with nothing in the place of its trimmers."""
        kept = tuple(part for part in self.parts if part.name not in self.trimmers)
        return replace(self, parts=kept, trimmers=())

    def with_fixed_capacitor(self, capacitance: float) -> Drawing:
        """Return the drawing with another fixed capacitor, F, in its tank."""
        return self.with_part(self.capacitor, Capacitance(capacitance))

    @property
    def board_stray(self) -> float:
        """Capacitance of board and wiring across the tank, F; 0 where it is not drawn."""
        return sum(
            part.what.capacitance
            for part in self.parts
            if part.name == BOARD_STRAY and isinstance(part.what, Capacitance)
        )

    @property
    def across_tank(self) -> float:
        """Linear capacitance straight across the tank, F: the coil's own, fixed, trimmers and board stray."""
        trimmers = sum(self.value(name, Trimmer).capacitance for name in self.trimmers)
        return self.value(self.coil, Coil).self_capacitance + self.fixed_capacitor + trimmers + self.board_stray

    @property
    def pot_position(self) -> float | None:
        """Position of the wiper of the fine-tune pot; None where there is none."""
        return self.value(self.pot, Potentiometer).position if self.pot else None

    @property
    def inductance(self) -> float:
        """Inductance of the tank's coil, H."""
        return self.value(self.coil, Coil).inductance

    @property
    def temperature(self) -> float:
        """Temperature of the amplifying device, K; of one that has none, 300 K."""
        what = self.part(self.amplifier).what if self.amplifier else None
        return float(getattr(what, "temperature", 300.0))

    def with_trimmer(self, setting: float) -> Drawing:
        """Return the drawing with every trimmer of its tank, if it has one, at `setting` (0 to 1)."""
        drawing = self
        for name in self.trimmers:
            drawing = drawing.with_part(name, replace(self.value(name, Trimmer), setting=setting))
        return drawing

    def with_pot(self, position: float) -> Drawing:
        """Return the drawing with its fine-tune pot, if it has one, at `position` (0 to 1)."""
        if not self.pot:
            return self
        return self.with_part(self.pot, replace(self.value(self.pot, Potentiometer), position=position))

    def network(self) -> Network:
        """Return the linear network around the devices; its ports are theirs, the amplifying device's first."""
        builder = NetworkBuilder(self.supply_voltage)
        builder.resistor("supply resistor", SOURCE, self.rail, self.supply_resistor)
        builder.capacitor(self.rail, GROUND, self.supply_capacitor)
        for part in self.parts:
            if part.device is None:
                _stamp(builder, part)
        builder.capacitor(self.hot, GROUND, self.tank_to_tank_capacitance)
        if self.load is not None:
            builder.capacitor(self.output_node, COUPLED, self.coupling_capacitor)
            builder.resistor("output resistor", COUPLED, LOAD, self.output_resistor)
            builder.resistor("load resistance", LOAD, GROUND, self.load.resistance)
            builder.capacitor(LOAD, GROUND, self.load.capacitance)
        if self.antenna is not None:
            _stamp_antenna(builder, self.antenna_node, self.antenna)
        carried, place = self.carried(), 0
        for part in self.devices:
            for first, second in _stamp_device(builder, part, len(self.devices) > 1):
                if carried[place] > 0.0:
                    builder.conductance(first, second, float(carried[place]))
                place += 1
        _stamp_mutual(builder, self.parts)
        for node in _without_capacitance(self):
            builder.capacitor(node, GROUND, WIRING)
        return builder.build()

    def laws(self) -> Devices:
        """Return the devices as one of all ports."""
        return Devices([part.law() for part in self.devices], self.carried())

    def whole_currents(self, voltages: Floats, currents: Floats) -> Floats:
        """Return the currents of the ports (p, ...), A, with what the network carries of them, as `laws` leaves out."""
        return np.asarray(currents + (self.carried() * voltages.T).T)

    def carried(self) -> Floats:
        """Return the conductance, S, that the network carries at each port: CARRIED where it floats without it."""
        groups = _Groups()
        groups.join(self.rail, GROUND)
        for part in self.parts:
            if isinstance(part.what, Resistance | Potentiometer | Coil):
                for node in part.ends[1:]:
                    groups.join(part.ends[0], node)
        found = []
        for part in self.devices:
            for first, second in part.ports:
                floats = groups.of(first) != groups.of(second)
                groups.join(first, second)
                found.append(CARRIED if floats else 0.0)
        return np.array(found)


def _stamp(builder: NetworkBuilder, part: Part) -> None:
    """Stamp a linear part."""
    match part.what:
        case Resistance(resistance):
            builder.resistor(part.name, part.ends[0], part.ends[1], resistance)
        case Capacitance(capacitance):
            builder.capacitor(part.ends[0], part.ends[1], capacitance)
        case Trimmer():
            builder.capacitor(part.ends[0], part.ends[1], part.what.capacitance)
        case Potentiometer(resistance, position):
            first, wiper, second = part.ends
            builder.resistor(f"{part.name}, from side", first, wiper, max(position, LEAST_TURN) * resistance)
            builder.resistor(f"{part.name}, to side", wiper, second, max(1.0 - position, LEAST_TURN) * resistance)
        case Coil():
            for name, first, second, inductance, resistance in windings(part):
                builder.inductor(name, first, second, inductance, resistance)
            if part.what.self_capacitance > 0.0:
                builder.capacitor(part.ends[0], part.ends[-1], part.what.self_capacitance)


def windings(part: Part) -> Iterator[tuple[str, str, str, float, float]]:
    """Return each winding of a coil: the name of its current, its two nodes, H and ohm.

    A tap divides the inductance with the square of the turns (models.branch.tapped_coil), the resistance with them.
    """
    coil = part.what
    assert isinstance(coil, Coil)
    if coil.tap == 0.0:
        yield part.name, part.ends[0], part.ends[1], coil.inductance, coil.series_resistance
        return
    below, above, _ = Tap(coil.tap, coil.tap_coupling).parts(coil.inductance)
    first, tap, second = part.ends
    yield part.name, first, tap, below, coil.tap * coil.series_resistance
    yield f"{part.name}, beyond the tap", tap, second, above, (1.0 - coil.tap) * coil.series_resistance


def _stamp_mutual(builder: NetworkBuilder, parts: Iterable[Part]) -> None:
    """Stamp M = k sqrt(L1 L2) between the parts of tapped coils and between coupled ones."""
    coils = {part.name: part.what for part in parts if isinstance(part.what, Coil)}
    for name, coil in coils.items():
        if coil.tap > 0.0:
            builder.mutual(name, f"{name}, beyond the tap", Tap(coil.tap, coil.tap_coupling).parts(coil.inductance)[2])
        if coil.coupled_to in coils:
            other = coils[coil.coupled_to]
            builder.mutual(name, coil.coupled_to, coil.coupling * math.sqrt(coil.inductance * other.inductance))


def _stamp_antenna(builder: NetworkBuilder, node: str, antenna: AntennaLoad) -> None:
    if antenna.inductance == 0.0:
        builder.capacitor(node, GROUND, antenna.capacitance)
        return
    builder.inductor(ANTENNA_CURRENT, node, ANTENNA, antenna.inductance, antenna.series_resistance)
    builder.capacitor(node, ANTENNA, antenna.self_capacitance)
    builder.capacitor(ANTENNA, GROUND, antenna.capacitance)


def _stamp_device(builder: NetworkBuilder, part: Part, several: bool) -> tuple[tuple[str, str], ...]:
    """Stamp the linear parts and the ports of a device, and return the nodes of the ports."""
    kind = DEVICES[type(part.what)]
    for field, first, second in kind.capacitances:
        builder.capacitor(part.ends[first], part.ends[second], getattr(part.what, field))
    ports = part.ports
    if isinstance(part.what, Transistor) and part.what.base_resistance > 0.0:
        inner, name = ("inner base", "base resistance")
        if several:
            inner, name = f"inner base of {part.name}", f"base resistance of {part.name}"
        builder.resistor(name, part.ends[0], inner, part.what.base_resistance)
        ports = tuple(
            tuple(inner if node == part.ends[0] else node for node in pair)  # type: ignore[misc]
            for pair in ports
        )
    for first_node, second_node in ports:
        builder.port(first_node, second_node)
    return ports


class _Groups:
    """Nodes joined into groups, that of ground named after it."""

    def __init__(self) -> None:
        self.root = {GROUND: GROUND}

    def of(self, node: str) -> str:
        """Return the name of a node's group."""
        self.root.setdefault(node, node)
        while self.root[node] != node:
            node = self.root[node]
        return node

    def join(self, first: str, second: str) -> None:
        """Make one group of two."""
        one, two = self.of(first), self.of(second)
        if one == GROUND:
            one, two = two, one
        self.root[one] = two


def _without_capacitance(drawing: Drawing) -> list[str]:
    """Return the first node of every group that no capacitance joins to ground."""
    joined = _Groups()
    join = joined.join
    join(drawing.rail, GROUND)
    for part in drawing.parts:
        match part.what:
            case Capacitance(capacitance):
                if capacitance > 0.0:
                    join(*part.ends)
            case Trimmer():
                join(*part.ends)
            case Coil():
                if part.what.self_capacitance > 0.0:
                    join(part.ends[0], part.ends[-1])
            case Transistor() if part.what.base_resistance > 0.0:
                join(part.ends[1], part.ends[2])
            case Transistor() | FieldEffect() | Diode():
                for first, second in part.ports:
                    join(first, second)
            case Triode() | Inverter():
                for field, one, other in DEVICES[type(part.what)].capacitances:
                    if getattr(part.what, field) > 0.0:
                        join(part.ends[one], part.ends[other])
        for node in part.ends:
            joined.of(node)
    if drawing.load is not None:
        join(drawing.output_node, COUPLED)
    if drawing.antenna is not None:
        join(drawing.antenna_node, GROUND)
    groups: dict[str, str] = {}
    for node in joined.root:
        groups.setdefault(joined.of(node), node)
    return [node for group, node in groups.items() if group != GROUND]


def drawn(circuit: Drawable) -> tuple[Drawing, Network, Devices]:
    """Return a circuit as it is drawn, its linear network, and its devices as one of all ports."""
    drawing = circuit.drawing()
    return drawing, drawing.network(), drawing.laws()


def without_load(circuit: Drawable) -> Drawing:
    """Return a circuit as it is drawn, with nothing connected to its output."""
    return replace(circuit.drawing(), load=None)


def device_currents(drawing: Drawing, currents: Floats) -> dict[str, dict[str, float]]:
    """Return the current into every end of every device, A, by its name, from port currents (p,).

    For a mirrored device the signs are those of its unmirrored law: positive where it conducts as usual.
    """
    found: dict[str, dict[str, float]] = {}
    place = 0
    for part in drawing.devices:
        kind = DEVICES[type(part.what)]
        into = dict.fromkeys(kind.ends, 0.0)
        for first, second in kind.ports:
            value = float(currents[place])
            into[kind.ends[first]] += value
            into[kind.ends[second]] -= value
            place += 1
        found[part.name] = into
    return found
