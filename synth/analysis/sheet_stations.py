"""The set-ups in which a builder reads an oscillator, by resonance or as a circuit, with parts that can be turned."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache, partial
from operator import attrgetter
from typing import Any

from models.arrays import Floats
from models.branch.antenna_branch import DIRECT, SeriesInductor
from models.branch.modes import MODES, mode_frequencies
from models.circuit.adjoint import oscillator_adjoint
from models.circuit.common_base import BASE, COLD, EMITTER, WIPER, OscillatorCircuit
from models.circuit.drawing import BOARD_STRAY, Capacitance, Coil, Drawing, Potentiometer, Resistance, Trimmer
from models.circuit.field_effect import FieldEffect
from models.circuit.inverter import Inverter
from models.circuit.network import GROUND
from models.circuit.oscillator import steady_state
from models.circuit.resonance import resonance
from models.circuit.steady_state import SteadyState
from models.circuit.transistor import Transistor
from models.circuit.triode import Triode
from models.circuit.variable_oscillator import with_antenna
from models.quick_dataclass import dataclass
from models.tank import Tank, resonant_frequency
from synth.build.circuit_assembly import Circuit, TankSection, blaming
from synth.build.workbench import OpenedDesign
from synth.designs.sections import Design

Readings = dict[str, float]
FREQUENCY, CURRENT = "frequency", "supply current"
ACROSS = ("tank capacitor", "stray across the tank", "trimmer at its place", "divider and transistor")
LEAST_REST = 1e-6  # of the tank's capacitance: below, there is nothing but rounding
LEAD_BASE = 10e-12  # F, the order of a rod's capacitance
STEP = 1e-5  # relative, of the differences of a part's equations
DC_POINTS = {"cold end of the coil": COLD, "wiper": WIPER, "base": BASE, "emitter": EMITTER}


@dataclass(frozen=True, slots=True)
class TurnablePart:
    """One part of an oscillator: `kind` is its class of tolerance, `base` the quantity (SI) that a factor multiplies.

    Stray is turned by factors of the whole tank's capacitance, an antenna's lead by those of LEAD_BASE, so that they
    can be turned where a design has none.
    """

    name: str
    kind: str
    unit: str
    value: float
    base: float


@dataclass(frozen=True, slots=True)
class OscillatorProbe:
    """`read(name, factor)` gives the readings with the part of that name at `factor` times its base, others nominal; of
    a solved circuit to first order in what it is changed by.
    """

    parts: tuple[TurnablePart, ...]
    read: Callable[[str, float], Readings]


@dataclass(frozen=True, slots=True)
class ProbedAntenna:
    """What hangs on an oscillator: capacitance, F, of which `lead` is mount and lead, the inductor before it, and the
    voltage of the coil's tap that it is on over the whole coil's (`models.branch.tapped_coil`).
    """

    capacitance: float
    lead: float
    branch: SeriesInductor = DIRECT
    tap_ratio: float = 1.0


def resonance_probe(tank: Tank, stray: float, antenna: ProbedAntenna | None, mode: str = "low") -> OscillatorProbe:
    """The lossless oscillator: frequency only. `stray`, F, is that of board, wiring and coil within the tank's own."""
    total, fixed, trimmer = tank.total_capacitance, tank.capacitance, tank.trimmer_capacitance
    rest = total - fixed - trimmer - stray
    branch = DIRECT if antenna is None else antenna.branch
    turned_by = 1.0 if antenna is None else antenna.tap_ratio**2
    parts = [
        _whole("tank coil", "inductor", "H", tank.inductance),
        _whole("tank capacitor", "capacitor", "F", fixed),
        TurnablePart("stray across the tank", "stray", "F", stray, total),
        _whole("trimmer at its place", "trimmer", "F", trimmer),
    ]
    if rest > LEAST_REST * total:
        parts.append(_whole("divider and transistor", "capacitor", "F", rest))
    if not branch.direct:
        parts.append(_whole("series inductor", "branch_inductor", "H", branch.inductance))
    if antenna is not None:
        parts.append(TurnablePart("antenna's mount and lead", "antenna_stray", "F", antenna.lead, LEAD_BASE))

    def read(name: str, factor: float) -> Readings:
        turned = {part.name: part.base * (factor - 1.0) for part in parts if part.name == name}
        inductance = tank.inductance + turned.get("tank coil", 0.0)
        capacitance = total + sum(turned.get(part, 0.0) for part in ACROSS)
        if antenna is not None:
            series = branch.inductance + turned.get("series inductor", 0.0)
            own = branch.self_capacitance * turned_by
            seen = antenna.capacitance + turned.get("antenna's mount and lead", 0.0)
            both = mode_frequencies(inductance, capacitance, series / turned_by, seen * turned_by, own)
            return {FREQUENCY: float(both[MODES.index(mode)])}
        return {FREQUENCY: float(resonant_frequency(inductance, capacitance))}

    return OscillatorProbe(tuple(parts), read)


def circuit_probe(
    design: Design, which: str, circuit: Circuit, antenna: ProbedAntenna, base: SteadyState
) -> OscillatorProbe:
    """The oscillator as a circuit: frequency, supply current and DC volts while it runs. `antenna`: what hangs on the
    circuit already; `base`: its steady state.

    The volts are those at the points with nothing connected: a meter's own resistance is not counted. What a part does
    comes from the adjoint, one linear solve for each, in place of two solved circuits.
    """
    with blaming(design, which):
        adjoint = oscillator_adjoint(base)
    parts = _circuit_parts(circuit, antenna.lead, antenna.tap_ratio**2)
    turns = {part.name: turn for part, turn in parts}
    drawing, named = circuit.drawing(), dc_points(circuit)

    @cache
    def response(name: str) -> tuple[float, Floats]:
        """Change of frequency, Hz, and of the volts of every node at rest for the whole base of a part."""
        up, down = (adjoint.disturbance_to(turns[name](circuit, 1.0 + sign * STEP)) for sign in (1.0, -1.0))
        found = adjoint.response((up - down) / (2.0 * STEP))
        return found.frequency, found.spectra[:, 0].real

    @cache  # each serves every reading
    def read(name: str, factor: float) -> Readings:
        turned, frequency, volts = circuit, base.frequency, base.spectra[:, 0].real
        if factor != 1.0:
            turned = turns[name](circuit, factor)
            slope, slopes = response(name)
            frequency, volts = frequency + (factor - 1.0) * slope, volts + (factor - 1.0) * slopes
        points = {point: float(volts[base.names.index(node)]) for point, node in named.items()}
        drop = turned.supply_voltage - float(volts[base.names.index(drawing.rail)])
        return {FREQUENCY: frequency, CURRENT: drop / turned.supply_resistor, **points}

    return OscillatorProbe(tuple(part for part, _ in parts), read)


def dc_points(circuit: Circuit) -> dict[str, str]:
    """The points at which direct voltage is read, by what they are called, with their nodes."""
    if isinstance(circuit, OscillatorCircuit):
        return DC_POINTS
    ends = (end for part in circuit.devices for end in part.ends)
    return {node: node for node in dict.fromkeys((circuit.rail, *ends)) if node != GROUND}


Turn = Callable[[Circuit, float], Circuit]


def _whole(name: str, kind: str, unit: str, value: float) -> TurnablePart:
    """A part whose whole value is turned."""
    return TurnablePart(name, kind, unit, value, value)


def _with(whole: Any, path: str, change: Callable[[float], float]) -> Any:
    """The frozen dataclass with one of its numbers changed, as in "bias.feed_resistor" one of a dataclass in it."""
    name, _, rest = path.partition(".")
    value = getattr(whole, name)
    return replace(whole, **{name: _with(value, rest, change) if rest else change(value)})


def _scaled(path: str, circuit: Circuit, by: float) -> Circuit:
    """The circuit with what is at `path` multiplied."""
    changed: Circuit = _with(circuit, path, lambda value: value * by)
    return changed


def _added(path: str, base: float, circuit: Circuit, by: float) -> Circuit:
    """The circuit with what lies beside `path` at `by` times its `base`."""
    changed: Circuit = _with(circuit, path, lambda value: value + base * (by - 1.0))
    return changed


TURNED = (
    ("tank coil", "inductor", "H", "inductance"),
    ("tank capacitor", "capacitor", "F", "fixed_capacitor"),
    ("feedback capacitor", "capacitor", "F", "feedback_capacitor"),
    ("emitter capacitor", "capacitor", "F", "emitter_capacitor"),
    ("stray across the tank", "stray", "F", None),
    ("trimmer at its place", "trimmer", "F", None),
    ("supply voltage", "supply", "V", "supply_voltage"),
    ("supply resistor", "resistor", "ohm", "supply_resistor"),
    ("upper resistor", "resistor", "ohm", "bias.upper_resistor"),
    ("fine-tune pot, whole track", "potentiometer", "ohm", "bias.potentiometer"),
    ("lower resistor", "resistor", "ohm", "bias.lower_resistor"),
    ("feed resistor", "resistor", "ohm", "bias.feed_resistor"),
    ("emitter resistor", "resistor", "ohm", "bias.emitter_resistor"),
    ("transistor's current gain", "gain", "ratio", "transistor.forward_gain"),
    ("transistor's collector capacitance", "junction", "F", "transistor.collector_junction.zero_bias_capacitance"),
)
"""Name, class of tolerance and unit of every part that moves a reading, and where the circuit has it; None: beside its
fixed capacitor.
"""


def _circuit_parts(circuit: Circuit, lead: float, turned_by: float) -> list[tuple[TurnablePart, Turn]]:
    """Every part that moves a reading, with how it is turned."""
    found = _drawn_parts(circuit) if isinstance(circuit, Drawing) else _fixed_parts(circuit)
    if circuit.antenna is not None:
        mount = TurnablePart("antenna's mount and lead", "antenna_stray", "F", lead, LEAD_BASE)
        found.append((mount, partial(_added, "antenna.capacitance", turned_by * LEAD_BASE)))
        if circuit.antenna.inductance > 0.0:
            coil = _whole("series inductor", "branch_inductor", "H", circuit.antenna.inductance * turned_by)
            found.append((coil, partial(_scaled, "antenna.inductance")))
    return found


DRAWN = (
    (Resistance, "resistor", "ohm", "resistance"),
    (Potentiometer, "potentiometer", "ohm", "resistance"),
    (Capacitance, "capacitor", "F", "capacitance"),
    (Coil, "inductor", "H", "inductance"),
    (Transistor, "gain", "ratio", "forward_gain"),
    (Transistor, "junction", "F", "collector_junction.zero_bias_capacitance"),
    (FieldEffect, "gain", "ratio", "factor"),
    (FieldEffect, "junction", "F", "drain_junction.zero_bias_capacitance"),
    (Triode, "gain", "ratio", "perveance"),
    (Inverter, "gain", "ratio", "output_resistance"),
)
"""Class of tolerance, unit and value of what every kind of part of a drawing has."""


def _drawn_parts(drawing: Drawing) -> list[tuple[TurnablePart, Turn]]:
    """As `_circuit_parts`, of a drawing without its antenna: every part by its name."""
    trimmer = sum(drawing.value(name, Trimmer).capacitance for name in drawing.trimmers)
    own = drawing.board_stray + drawing.value(drawing.coil, Coil).self_capacitance
    fixed = partial(_moved_capacitor, drawing.fixed_capacitor)
    stray = TurnablePart("stray across the tank", "stray", "F", own, resonance(drawing).capacitance)
    at_place = _whole("trimmer at its place", "trimmer", "F", trimmer)
    found: list[tuple[TurnablePart, Turn]] = [(part, partial(fixed, part.base)) for part in (stray, at_place)]
    found.append((_whole("supply voltage", "supply", "V", drawing.supply_voltage), partial(_scaled, "supply_voltage")))
    resistor = _whole("supply resistor", "resistor", "ohm", drawing.supply_resistor)
    found.append((resistor, partial(_scaled, "supply_resistor")))
    for part in drawing.parts:
        for kind, tolerance, unit, path in DRAWN:
            if isinstance(part.what, kind) and part.name != BOARD_STRAY:
                value = float(attrgetter(path)(part.what))
                words = path.rpartition(".")[2].replace("_", " ").replace("zero bias ", "")
                name = part.name if isinstance(part.what, LINEAR) else f"{part.name}: {words}"
                found.append((_whole(name, tolerance, unit, value), partial(_turned_part, part.name, path)))
    return found


LINEAR = (Resistance, Potentiometer, Capacitance, Coil)


def _moved_capacitor(present: float, base: float, circuit: Circuit, by: float) -> Circuit:
    """The circuit with what lies beside the tank's capacitor at `by` times its `base`."""
    return circuit.with_fixed_capacitor(present + base * (by - 1.0))


def _turned_part(name: str, path: str, circuit: Circuit, by: float) -> Circuit:
    """The drawing with a value of the part of that name multiplied."""
    assert isinstance(circuit, Drawing)
    return circuit.with_part(name, _with(circuit.part(name).what, path, lambda value: value * by))


def _fixed_parts(circuit: OscillatorCircuit) -> list[tuple[TurnablePart, Turn]]:
    """As `_circuit_parts`, of the fixed form without its antenna."""
    own, trimmer = (
        circuit.board_stray + circuit.inductor_self_capacitance,
        sum(one.capacitance for one in circuit.trimmers),
    )
    beside = {"stray": (own, circuit.tank_capacitance), "trimmer": (trimmer, trimmer)}
    found: list[tuple[TurnablePart, Turn]] = []
    for name, kind, unit, path in TURNED:
        if path is None:
            part = TurnablePart(name, kind, unit, *beside[kind])
            found.append((part, partial(_added, "fixed_capacitor", part.base)))
        else:
            found.append((_whole(name, kind, unit, attrgetter(path)(circuit)), partial(_scaled, path)))
    return found


@dataclass(frozen=True, slots=True)
class Station:
    """One oscillator in one condition. `by_trimmer` and `by_pot`: its frequency, Hz, against their position (None: it
    does not oscillate there); `dc` reads volts and current (None: the design has no circuit).
    """

    oscillator: str
    condition: str
    setting: float | None
    probe: OscillatorProbe
    dc: OscillatorProbe | None
    by_trimmer: Callable[[float], float | None]
    by_pot: Callable[[float], float | None] | None


def reference_station(opened: OpenedDesign) -> Station:
    """The reference, its trimmer set for zero beat where the design asks for that."""
    condition = "as designed" if opened.design.tuning.zero_beat is None else "tuned for zero beat"
    return _station(opened, "reference", condition, opened.reference_tank, None, alike=_solved(opened, 0))


def bare_station(opened: OpenedDesign) -> Station:
    """The variable oscillator with nothing on it."""
    lifted = "series inductor lifted off the tank" if opened.design.branch else "antenna lead off"
    return _station(opened.lifted, "variable", lifted, opened.lifted.tanks["variable"], None)


def antenna_station(opened: OpenedDesign, distance: float | None = None) -> Station:
    """The variable oscillator with its antenna, the hand at `distance`, m (None: no player near)."""
    instrument = opened.instrument
    curve, lead = instrument.curve, instrument.antenna_stray
    own = curve.empty_capacitance if distance is None else float(curve.capacitance(distance))
    condition = "antenna on, no player near" if distance is None else f"hand at {100.0 * distance:.1f} cm"
    antenna = ProbedAntenna(own + lead, lead, instrument.branch, instrument.tap_ratio)
    near = float(instrument.frequency_with(own + lead))
    alike = _solved(opened, 1)
    return _station(opened, "variable", condition, opened.tanks["variable"], antenna, instrument.mode, near, alike)


def volume_station(opened: OpenedDesign) -> Station | None:
    """The volume oscillator with its ring and nobody near."""
    volume = opened.volume
    if volume is None:
        return None
    ring = ProbedAntenna(volume.curve.empty_capacitance + volume.ring_stray, volume.ring_stray)
    return _station(opened, "volume", "ring on, no player near", volume.tank, ring)


def _solved(opened: OpenedDesign, place: int) -> SteadyState | None:
    """The reference (0) or the variable oscillator (1) as the instrument is tuned; None where no circuit is solved."""
    states = opened.pair.states
    return None if states is None else states[place]


def _station(
    opened: OpenedDesign,
    which: str,
    condition: str,
    tank: Tank,
    antenna: ProbedAntenna | None,
    mode: str = "low",
    near: float | None = None,
    alike: SteadyState | None = None,
) -> Station:
    """near: the frequency, Hz, of the mode that is meant; alike: an oscillation in that mode of a circuit like it."""
    design = opened.design
    section: TankSection = getattr(opened.wired, which)
    resonance = resonance_probe(tank, section.stray + section.self_capacitance, antenna, mode)
    setting = tank.trimmer_setting if section.trimmer_maximum > 0.0 else None

    def resonance_at(place: float) -> float:
        turned = resonance_probe(tank.with_trimmer(place), 0.0, antenna, mode)
        return turned.read("", 1.0)[FREQUENCY]

    if setting is not None:
        condition = f"{condition}, trimmer {100.0 * setting:.0f} % inward"
    if design.circuit is None:
        return Station(which, condition, setting, resonance, None, resonance_at, None)
    circuit = opened.circuits[which]
    if setting is not None:
        circuit = circuit.with_trimmer(setting)
    if antenna is not None:
        circuit = with_antenna(circuit, antenna.capacitance, antenna.branch, antenna.tap_ratio)
    with blaming(design, which):
        if alike is not None and alike.circuit == circuit:
            state = alike
        else:
            state = steady_state(circuit, warm_start=alike, near_frequency=near)
    solved = circuit_probe(design, which, circuit, antenna or ProbedAntenna(0.0, 0.0), state)
    by_pot = partial(_frequency, circuit.with_pot, state)
    if design.law != "circuit" or which == "volume":  # as in the instrument, whose volume side is a resonance
        return Station(which, condition, setting, resonance, solved, resonance_at, by_pot)
    return Station(which, condition, setting, solved, solved, partial(_frequency, circuit.with_trimmer, state), by_pot)


def _frequency(turned: Callable[[float], Circuit], base: SteadyState, place: float) -> float | None:
    """Frequency, Hz, of the circuit `turned` to a position, from the steady state before; None: it does not run."""
    try:
        return steady_state(turned(place), warm_start=base).frequency
    except ValueError:
        return None
