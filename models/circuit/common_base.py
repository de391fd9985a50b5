"""The tuned common-base oscillator as parts, and its state equations.

One NPN transistor. The base is held at a bias voltage and decoupled to ground. The tank lies between collector and the
decoupled supply: inductor (series resistance, own capacitance), fixed capacitor, two trimmers and the stray of the
board. The feedback capacitor from collector to emitter and the emitter capacitor to ground divide the tank voltage
and drive the emitter in phase. The output is taken at the collector (the hot end of the tank): coupling capacitor,
series output resistor, then the load, a resistor parallel to a capacitor. An antenna, if any, hangs on the
collector, straight or behind a series inductor; it is drawn without the blocking capacitor it has in practice, which
is large against the antenna. Neglected: losses of capacitors, frequency dependence of the inductor's resistance (it
is taken at `inductor_q_frequency` and kept, also for direct current), coupling between inductors, inductance of leads.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from models.checks import fraction, non_negative, positive
from models.circuit.bias import Bias
from models.circuit.network import GROUND, SOURCE, Network, NetworkBuilder
from models.circuit.transistor import Transistor

BASE, EMITTER, COLLECTOR, COLD, WIPER = "base", "emitter", "collector", "cold end", "wiper"
INNER_BASE = "inner base"
COUPLED, LOAD, ANTENNA = "coupled", "load", "antenna"
TANK_CURRENT, ANTENNA_CURRENT = "inductor", "antenna inductor"


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
    """An antenna at the collector: capacitance to earth, F (with its mount), behind a series inductor, H (0: straight).

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
class OscillatorCircuit:
    """Every part of the oscillator, SI units, each with a default; the whole lands near 236 kHz at 9 V.

    The values are our own choice in preferred values; the transistor's are typical, from memory.
    inductor_q is the quality factor of the inductor alone at inductor_q_frequency; the trimmers, the fixed capacitor
    and `board_stray` (with the wiring) lie across the inductor. `load` None: nothing connected to the output resistor.
    """

    inductance: float = 820e-6
    inductor_q: float = 65.0
    inductor_q_frequency: float = 236e3
    inductor_self_capacitance: float = 8e-12
    fixed_capacitor: float = 300e-12
    trimmers: tuple[Trimmer, ...] = (Trimmer(), Trimmer())
    board_stray: float = 12e-12
    feedback_capacitor: float = 180e-12
    emitter_capacitor: float = 1.8e-9
    bias: Bias = field(default_factory=Bias)
    transistor: Transistor = field(default_factory=Transistor)
    supply_voltage: float = 9.0
    supply_resistor: float = 100.0
    supply_capacitor: float = 1e-6
    coupling_capacitor: float = 1e-9
    output_resistor: float = 47e3
    load: Load | None = field(default_factory=Load)
    antenna: AntennaLoad | None = None
    tank_to_tank_capacitance: float = 0.0

    def __post_init__(self) -> None:
        for name in (
            "inductance",
            "inductor_q",
            "inductor_q_frequency",
            "feedback_capacitor",
            "emitter_capacitor",
            "supply_voltage",
            "supply_resistor",
            "supply_capacitor",
            "coupling_capacitor",
            "output_resistor",
        ):
            positive(name, getattr(self, name))
        for name in ("inductor_self_capacitance", "fixed_capacitor", "board_stray", "tank_to_tank_capacitance"):
            non_negative(name, getattr(self, name))

    @property
    def series_resistance(self) -> float:
        """Series resistance of the inductor, ohm.  r = 2 pi f_Q L / Q"""
        return 2.0 * math.pi * self.inductor_q_frequency * self.inductance / self.inductor_q

    @property
    def across_tank(self) -> float:
        """Linear capacitance straight across the inductor, F: its own, fixed, trimmers and board stray."""
        trimmers = sum(trimmer.capacitance for trimmer in self.trimmers)
        return self.inductor_self_capacitance + self.fixed_capacitor + trimmers + self.board_stray

    @property
    def divider_capacitance(self) -> float:
        """What the capacitive divider adds across the tank, F: feedback and emitter capacitor in series."""
        return 1.0 / (1.0 / self.feedback_capacitor + 1.0 / self.emitter_capacitor)

    @property
    def tank_capacitance(self) -> float:
        """Linear capacitance that tunes the inductor, F: across it, the divider's, and that to another tank."""
        return self.across_tank + self.divider_capacitance + self.tank_to_tank_capacitance

    def with_trimmer(self, setting: float) -> OscillatorCircuit:
        """The same circuit with every trimmer, if it has one, at `setting` (0 to 1)."""
        return replace(self, trimmers=tuple(replace(trimmer, setting=setting) for trimmer in self.trimmers))

    def with_pot(self, position: float) -> OscillatorCircuit:
        """The same circuit with the wiper of its fine-tune potentiometer at `position` (0 to 1)."""
        return replace(self, bias=replace(self.bias, position=position))


def network(circuit: OscillatorCircuit) -> Network:
    """Return the linear network around the transistor: ports (base-emitter, base-collector)."""
    bias = circuit.bias
    builder = NetworkBuilder(circuit.supply_voltage)
    builder.resistor("supply resistor", SOURCE, COLD, circuit.supply_resistor)
    builder.capacitor(COLD, GROUND, circuit.supply_capacitor)
    builder.resistor("bias resistance above the wiper", COLD, WIPER, bias.above_wiper)
    builder.resistor("bias resistance below the wiper", WIPER, GROUND, bias.below_wiper)
    builder.capacitor(WIPER, GROUND, bias.wiper_capacitor)
    builder.resistor("base feed resistor", WIPER, BASE, bias.feed_resistor)
    builder.capacitor(BASE, GROUND, bias.base_capacitor)
    builder.resistor("emitter resistor", EMITTER, GROUND, bias.emitter_resistor)
    builder.capacitor(EMITTER, GROUND, circuit.emitter_capacitor)
    builder.capacitor(COLLECTOR, EMITTER, circuit.feedback_capacitor)
    builder.capacitor(COLLECTOR, COLD, circuit.across_tank)
    builder.capacitor(COLLECTOR, GROUND, circuit.tank_to_tank_capacitance)
    builder.inductor(TANK_CURRENT, COLD, COLLECTOR, circuit.inductance, circuit.series_resistance)
    if circuit.load is not None:
        builder.capacitor(COLLECTOR, COUPLED, circuit.coupling_capacitor)
        builder.resistor("output resistor", COUPLED, LOAD, circuit.output_resistor)
        builder.resistor("load resistance", LOAD, GROUND, circuit.load.resistance)
        builder.capacitor(LOAD, GROUND, circuit.load.capacitance)
    if circuit.antenna is not None:
        _stamp_antenna(builder, circuit.antenna)
    inner = BASE if circuit.transistor.base_resistance == 0.0 else INNER_BASE
    if inner != BASE:
        builder.resistor("base resistance", BASE, inner, circuit.transistor.base_resistance)
    builder.port(inner, EMITTER)
    builder.port(inner, COLLECTOR)
    return builder.build()


def _stamp_antenna(builder: NetworkBuilder, antenna: AntennaLoad) -> None:
    if antenna.inductance == 0.0:
        builder.capacitor(COLLECTOR, GROUND, antenna.capacitance)
        return
    builder.inductor(ANTENNA_CURRENT, COLLECTOR, ANTENNA, antenna.inductance, antenna.series_resistance)
    builder.capacitor(COLLECTOR, ANTENNA, antenna.self_capacitance)
    builder.capacitor(ANTENNA, GROUND, antenna.capacitance)
