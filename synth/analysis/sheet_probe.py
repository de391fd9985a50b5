"""An oscillator as parts that can be turned one by one, and what is read on it: by its resonance, or as a circuit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from models.branch.antenna_branch import DIRECT, SeriesInductor
from models.branch.modes import MODES, mode_frequencies
from models.circuit.common_base import BASE, COLD, EMITTER, WIPER, OscillatorCircuit
from models.circuit.oscillator import steady_state
from models.tank import Tank, resonant_frequency
from synth.build.circuit_assembly import blaming
from synth.designs.sections import Design

Readings = dict[str, float]
FREQUENCY, CURRENT = "frequency", "supply current"
ACROSS = ("tank capacitor", "stray across the tank", "trimmer at its place", "divider and transistor")
LEAST_REST = 1e-6  # of the tank's capacitance: below, there is nothing but rounding
LEAD_BASE = 10e-12  # F, the order of a rod's capacitance
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
    """`read(name, factor)` gives the readings with the part of that name at `factor` times its base, others nominal."""

    parts: tuple[TurnablePart, ...]
    read: Callable[[str, float], Readings]


@dataclass(frozen=True, slots=True)
class AntennaLoad:
    """What hangs on an oscillator: capacitance, F, of which `lead` is mount and lead, the inductor before it, and the
    voltage of the coil's tap that it is on over the whole coil's (`models.branch.tapped_coil`).
    """

    capacitance: float
    lead: float
    branch: SeriesInductor = DIRECT
    tap_ratio: float = 1.0


def resonance_probe(tank: Tank, stray: float, antenna: AntennaLoad | None, mode: str = "low") -> OscillatorProbe:
    """The lossless oscillator: frequency only. `stray`, F, is that of board, wiring and coil within the tank's own."""
    total, fixed, trimmer = tank.total_capacitance, tank.capacitance, tank.trimmer_capacitance
    rest = total - fixed - trimmer - stray
    branch = DIRECT if antenna is None else antenna.branch
    turned_by = 1.0 if antenna is None else antenna.tap_ratio**2
    parts = [
        TurnablePart("tank coil", "inductor", "H", tank.inductance, tank.inductance),
        TurnablePart("tank capacitor", "capacitor", "F", fixed, fixed),
        TurnablePart("stray across the tank", "stray", "F", stray, total),
        TurnablePart("trimmer at its place", "trimmer", "F", trimmer, trimmer),
    ]
    if rest > LEAST_REST * total:
        parts.append(TurnablePart("divider and transistor", "capacitor", "F", rest, rest))
    if not branch.direct:
        parts.append(TurnablePart("series inductor", "branch_inductor", "H", branch.inductance, branch.inductance))
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
    design: Design,
    which: str,
    circuit: OscillatorCircuit,
    lead: float = 0.0,
    near: float | None = None,
    tap_ratio: float = 1.0,
) -> OscillatorProbe:
    """The oscillator as a circuit: frequency, supply current and DC volts while it runs. `lead`, F: the share of its
    antenna that is mount and lead; `near`, Hz, picks the mode; `tap_ratio` as of `AntennaLoad`.

    The volts are those at the points with nothing connected: a meter's own resistance is not counted.
    """
    with blaming(design, which):
        base = steady_state(circuit, near_frequency=near)
    parts = _circuit_parts(circuit, lead, tap_ratio**2)
    turns = {part.name: turn for part, turn in parts}

    @cache  # each state serves every reading
    def read(name: str, factor: float) -> Readings:
        state = base
        if factor != 1.0:
            with blaming(design, which):
                state = steady_state(turns[name](circuit, factor), warm_start=base)
        volts = {point: float(state.coefficients(node)[0].real) for point, node in DC_POINTS.items()}
        return {FREQUENCY: state.frequency, CURRENT: state.supply_current, **volts}

    return OscillatorProbe(tuple(part for part, _ in parts), read)


Turn = Callable[[OscillatorCircuit, float], OscillatorCircuit]


def _scaled(whole: Any, field: str, factor: float) -> Any:
    """The frozen dataclass with one of its numbers multiplied."""
    return replace(whole, **{field: getattr(whole, field) * factor})


def _circuit_parts(circuit: OscillatorCircuit, lead: float, turned_by: float) -> list[tuple[TurnablePart, Turn]]:
    """Every part that moves a reading, with how it is turned."""

    def part(name: str, kind: str, unit: str, field: str) -> tuple[TurnablePart, Turn]:
        value: float = getattr(circuit, field)
        return TurnablePart(name, kind, unit, value, value), lambda of, by: _scaled(of, field, by)

    def bias(name: str, kind: str, field: str) -> tuple[TurnablePart, Turn]:
        value: float = getattr(circuit.bias, field)
        return TurnablePart(name, kind, "ohm", value, value), lambda of, by: replace(
            of, bias=_scaled(of.bias, field, by)
        )

    total, transistor = circuit.tank_capacitance, circuit.transistor
    gain, junction = transistor.forward_gain, transistor.collector_junction
    own, trimmer = (
        circuit.board_stray + circuit.inductor_self_capacitance,
        sum(one.capacitance for one in circuit.trimmers),
    )
    found = [
        part("tank coil", "inductor", "H", "inductance"),
        part("tank capacitor", "capacitor", "F", "fixed_capacitor"),
        part("feedback capacitor", "capacitor", "F", "feedback_capacitor"),
        part("emitter capacitor", "capacitor", "F", "emitter_capacitor"),
        (
            TurnablePart("stray across the tank", "stray", "F", own, total),
            lambda of, by: replace(of, fixed_capacitor=of.fixed_capacitor + total * (by - 1.0)),
        ),
        (
            TurnablePart("trimmer at its place", "trimmer", "F", trimmer, trimmer),
            lambda of, by: replace(of, fixed_capacitor=of.fixed_capacitor + trimmer * (by - 1.0)),
        ),
        part("supply voltage", "supply", "V", "supply_voltage"),
        part("supply resistor", "resistor", "ohm", "supply_resistor"),
        bias("upper resistor", "resistor", "upper_resistor"),
        bias("fine-tune pot, whole track", "potentiometer", "potentiometer"),
        bias("lower resistor", "resistor", "lower_resistor"),
        bias("feed resistor", "resistor", "feed_resistor"),
        bias("emitter resistor", "resistor", "emitter_resistor"),
        (
            TurnablePart("transistor's current gain", "gain", "ratio", gain, gain),
            lambda of, by: replace(of, transistor=replace(transistor, forward_gain=gain * by)),
        ),
        (
            TurnablePart("transistor's collector capacitance", "junction", "F", *2 * (junction.zero_bias_capacitance,)),
            lambda of, by: replace(
                of,
                transistor=replace(
                    transistor,
                    collector_junction=replace(junction, zero_bias_capacitance=junction.zero_bias_capacitance * by),
                ),
            ),
        ),
    ]
    return found + _antenna_parts(circuit, lead, turned_by)


def _antenna_parts(circuit: OscillatorCircuit, lead: float, turned_by: float) -> list[tuple[TurnablePart, Turn]]:
    antenna = circuit.antenna
    if antenna is None:
        return []
    own, series = antenna.capacitance, antenna.inductance
    parts: list[tuple[TurnablePart, Turn]] = [
        (
            TurnablePart("antenna's mount and lead", "antenna_stray", "F", lead, LEAD_BASE),
            lambda of, by: replace(of, antenna=replace(antenna, capacitance=own + turned_by * LEAD_BASE * (by - 1.0))),
        ),
    ]
    if series > 0.0:
        parts.append(
            (
                TurnablePart("series inductor", "branch_inductor", "H", *2 * (series * turned_by,)),
                lambda of, by: replace(of, antenna=replace(antenna, inductance=series * by)),
            )
        )
    return parts
