"""From the rows of [circuit.parts] to the drawing of one oscillator, from those of [detector.parts] to the mixer."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from models.circuit.diode import Diode
from models.circuit.drawing import (
    BOARD_STRAY,
    Capacitance,
    Coil,
    Drawing,
    Load,
    Part,
    Potentiometer,
    Resistance,
    Trimmer,
)
from models.circuit.field_effect import FieldEffect
from models.circuit.inverter import Inverter
from models.circuit.mixer import Mixer, Source
from models.circuit.resonance import natural_frequency
from models.circuit.transistor import DepletionJunction, Transistor
from models.circuit.triode import Triode
from synth.designs.drawing_checks import RAILS
from synth.designs.oscillator_sections import CircuitSection, ReferenceSection, VariableSection, VolumeSection
from synth.designs.part_rows import MIXER_PLACES, PLACES, TANK, TANK_TRIMMER, Row, Rows, ends_of_row, kind_of, value_of


def drawing_of(
    rows: Rows,
    section: ReferenceSection | VariableSection | VolumeSection,
    circuit: CircuitSection,
    pot: float,
    transistor: Transistor,
    output_resistor: float,
    load: Load,
) -> Drawing:
    """The drawing of the oscillator whose tank `section` describes, from its whole rows, which have been checked.

    `pot`: position of the fine-tune pot. The Q of every coil holds where the tank rings without loss.
    """
    drawn = [row for row in rows if row[0] not in PLACES]
    places = {name: str(dict(values)["at"]) for name, values in rows if name in PLACES}
    pots = [row[0] for row in drawn if kind_of(row).word == "pot"]
    parts, coil, capacitor, hot, cold = [], "", "", "", ""
    for row in drawn:
        nodes = ends_of_row(row)
        ends = tuple(nodes.values())
        if row[1][0] == ("coil", TANK):
            coil = row[0]
        if row[1][0] == ("capacitor", TANK):
            capacitor = row[0]
            hot, cold = ends if ends[0] not in RAILS else ends[::-1]
        parts.append(Part(row[0], _what(row, section, pots, pot, transistor), ends, _mirrored(row)))
    parts.append(Part(BOARD_STRAY, Capacitance(section.stray), (hot, cold)))
    trimmers: tuple[str, ...] = ()
    if section.trimmer_maximum > 0.0:
        trimmer = Trimmer(section.trimmer_minimum, section.trimmer_maximum, section.trimmer)
        parts.append(Part(TANK_TRIMMER, trimmer, (hot, cold)))
        trimmers = (TANK_TRIMMER,)
    drawing = Drawing(
        parts=tuple(parts),
        amplifier=_amplifier(drawn),
        coil=coil,
        tank=(hot, cold),
        output_node=places["output"],
        antenna_node=places.get("antenna", hot),
        pot=pots[0] if pots else "",
        trimmers=trimmers,
        supply_voltage=circuit.supply_voltage,
        supply_resistor=circuit.supply_resistor,
        supply_capacitor=circuit.supply_capacitor,
        coupling_capacitor=circuit.coupling_capacitor,
        output_resistor=output_resistor,
        load=load,
        capacitor=capacitor,
    )
    turn = 2.0 * math.pi * natural_frequency(drawing)
    for row in drawn:
        if kind_of(row).word == "coil":
            what = drawing.value(row[0], Coil)
            quality = section.quality_factor if row[0] == coil else value_of(row, "quality_factor")
            drawing = drawing.with_part(row[0], replace(what, series_resistance=turn * what.inductance / quality))
    return drawing


def mixer_of(
    rows: Rows, circuit: CircuitSection, output_resistors: tuple[float, float], transistor: Transistor, radio: float
) -> Mixer:
    """The mixer of [detector.parts], from its rows, which have been checked, behind the output resistors, ohm, of the
    reference and of the variable oscillator. The Q of its coils holds at the frequency `radio`, Hz.
    """
    parts = []
    for row in rows:
        if row[0] in MIXER_PLACES:
            continue
        what = _what(row, None, [], 0.5, transistor)
        if isinstance(what, Coil):
            ohm = 2.0 * math.pi * radio * what.inductance / value_of(row, "quality_factor")
            what = replace(what, series_resistance=ohm)
        parts.append(Part(row[0], what, tuple(ends_of_row(row).values()), _mirrored(row)))
    places = {name: str(dict(values)["at"]) for name, values in rows if name in MIXER_PLACES}
    reference, variable = (
        Source(places[which], resistor, circuit.coupling_capacitor)
        for which, resistor in zip(("reference", "variable"), output_resistors, strict=True)
    )
    return Mixer(
        tuple(parts),
        reference,
        variable,
        places["tone"],
        circuit.supply_voltage,
        circuit.supply_resistor,
        circuit.supply_capacitor,
    )


def _amplifier(rows: list[Row]) -> str:
    """The row that is said to amplify, else the first device that can and is not said not to."""
    able = [row for row in rows if kind_of(row).device and kind_of(row).word != "diode"]
    said = [row[0] for row in able if value_of(row, "amplifies") == "yes"]
    return said[0] if said else next(row[0] for row in able if value_of(row, "amplifies") != "no")


def _mirrored(row: Row) -> bool:
    return row[1][0][1] in ("pnp", "p-channel")


def _what(row: Row, section: Any, pots: list[str], pot: float, transistor: Transistor) -> Any:
    """What the part of a row is, coils without their loss."""
    word, value = row[1][0]

    def of(name: str) -> Any:
        return value_of(row, name)

    match word:
        case "resistor":
            return Resistance(value)
        case "capacitor":
            return Capacitance(section.capacitance if value == TANK else value)
        case "coil":
            own = section if value == TANK else None
            return Coil(
                inductance=own.inductance if own else value,
                self_capacitance=own.self_capacitance if own else of("self_capacitance"),
                tap=of("turns"),
                tap_coupling=of("turns_coupling"),
                coupled_to=of("coupled_to"),
                coupling=of("coupling"),
            )
        case "pot":
            place = of("position")
            return Potentiometer(value, place if place is not None else pot if row[0] in pots[:1] else 0.5)
        case "trimmer":
            return Trimmer(of("minimum"), value, of("setting"))
        case "diode":
            junction = replace(Diode().junction, zero_bias_capacitance=max(of("capacitance"), 1e-18))
            return Diode(value, of("emission_factor"), junction=junction)
        case "transistor":
            return transistor
        case "field_effect":
            gate: DepletionJunction = replace(
                FieldEffect().source_junction, zero_bias_capacitance=max(of("capacitance"), 1e-18)
            )
            factor = of("current") / of("pinch_off") ** 2
            return FieldEffect(-of("pinch_off"), factor, of("channel_slope"), source_junction=gate, drain_junction=gate)
        case "triode":
            return Triode(value, **{name: of(name) for name in TRIODE_KEYS})
        case _:
            return Inverter(value, **{name: of(name) for name in INVERTER_KEYS})


TRIODE_KEYS = (
    "perveance",
    "grid_perveance",
    "grid_anode_capacitance",
    "grid_cathode_capacitance",
    "anode_cathode_capacitance",
)
INVERTER_KEYS = ("output_resistance", "rated_supply", "threshold", "input_capacitance", "output_capacitance")
