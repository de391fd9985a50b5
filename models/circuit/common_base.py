"""The tuned common-base oscillator as parts, and its state equations.

One NPN transistor. The base is held at a bias voltage and decoupled to ground. The tank lies between collector and the
decoupled supply: inductor (series resistance, own capacitance), fixed capacitor, two trimmers and the stray of the
board. The feedback capacitor from collector to emitter and the emitter capacitor to ground divide the tank voltage
and drive the emitter in phase. The output is taken at the collector (the hot end of the tank): coupling capacitor,
series output resistor, then the load, a resistor parallel to a capacitor. An antenna, if any, is joined to the
collector, straight or behind a series inductor; it is drawn without the blocking capacitor it has in practice, which
is large against the antenna. Neglected: losses of capacitors, frequency dependence of the inductor's resistance (it
is taken at `inductor_q_frequency` and kept, also for direct current), coupling between inductors, inductance of leads.
"""

from __future__ import annotations

import math
from dataclasses import field, replace

from models.checks import non_negative, positive
from models.circuit.bias import Bias
from models.circuit.drawing import (
    ANTENNA_CURRENT,
    COUPLED,
    LOAD,
    AntennaLoad,
    Capacitance,
    Coil,
    Drawable,
    Drawing,
    Load,
    Part,
    Resistance,
    Trimmer,
)
from models.circuit.network import GROUND, Network
from models.circuit.transistor import Transistor
from models.quick_dataclass import dataclass

__all__ = [
    "ANTENNA_CURRENT",
    "BASE",
    "COLD",
    "COLLECTOR",
    "COUPLED",
    "EMITTER",
    "LOAD",
    "TANK_CURRENT",
    "WIPER",
    "AntennaLoad",
    "Load",
    "OscillatorCircuit",
    "Trimmer",
    "network",
]

BASE, EMITTER, COLLECTOR, COLD, WIPER = "base", "emitter", "collector", "cold end", "wiper"
TANK_CURRENT = "inductor"


@dataclass(frozen=True, slots=True)
class OscillatorCircuit:
    """Every part of the oscillator, SI units, each with a default; with all of these it oscillates near 236 kHz at 9 V.

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

    @property
    def pot_position(self) -> float:
        """Position of the wiper of the fine-tune potentiometer."""
        return self.bias.position

    def with_coil(self, inductance: float, loss: float = 1.0) -> OscillatorCircuit:
        """The same circuit with another coil, H, in its tank, its Q divided by `loss`."""
        return replace(self, inductance=inductance, inductor_q_frequency=loss * self.inductor_q_frequency)

    def without_trimmers(self) -> OscillatorCircuit:
        """The same circuit with nothing in the place of its trimmers."""
        return replace(self, trimmers=())

    def with_fixed_capacitor(self, capacitance: float) -> OscillatorCircuit:
        """The same circuit with another fixed capacitor, F, in its tank."""
        return replace(self, fixed_capacitor=capacitance)

    def with_trimmer(self, setting: float) -> OscillatorCircuit:
        """The same circuit with every trimmer, if it has one, at `setting` (0 to 1)."""
        return replace(self, trimmers=tuple(replace(trimmer, setting=setting) for trimmer in self.trimmers))

    def with_pot(self, position: float) -> OscillatorCircuit:
        """The same circuit with the wiper of its fine-tune potentiometer at `position` (0 to 1)."""
        return replace(self, bias=replace(self.bias, position=position))

    def drawing(self) -> Drawing:
        """Return the circuit as it is drawn; its only device has the ports base-emitter and base-collector."""
        bias = self.bias
        parts = (
            Part("bias resistance above the wiper", Resistance(bias.above_wiper), (COLD, WIPER)),
            Part("bias resistance below the wiper", Resistance(bias.below_wiper), (WIPER, GROUND)),
            Part("wiper capacitor", Capacitance(bias.wiper_capacitor), (WIPER, GROUND)),
            Part("base feed resistor", Resistance(bias.feed_resistor), (WIPER, BASE)),
            Part("base capacitor", Capacitance(bias.base_capacitor), (BASE, GROUND)),
            Part("emitter resistor", Resistance(bias.emitter_resistor), (EMITTER, GROUND)),
            Part("emitter capacitor", Capacitance(self.emitter_capacitor), (EMITTER, GROUND)),
            Part("feedback capacitor", Capacitance(self.feedback_capacitor), (COLLECTOR, EMITTER)),
            Part("tank capacitance", Capacitance(self.across_tank), (COLLECTOR, COLD)),
            Part(TANK_CURRENT, Coil(self.inductance, self.series_resistance), (COLD, COLLECTOR)),
            Part("transistor", self.transistor, (BASE, COLLECTOR, EMITTER)),
        )
        return Drawing(
            parts,
            amplifier="transistor",
            coil=TANK_CURRENT,
            tank=(COLLECTOR, COLD),
            output_node=COLLECTOR,
            antenna_node=COLLECTOR,
            rail=COLD,
            supply_voltage=self.supply_voltage,
            supply_resistor=self.supply_resistor,
            supply_capacitor=self.supply_capacitor,
            coupling_capacitor=self.coupling_capacitor,
            output_resistor=self.output_resistor,
            load=self.load,
            antenna=self.antenna,
            tank_to_tank_capacitance=self.tank_to_tank_capacitance,
        )


def network(circuit: Drawable) -> Network:
    """Return the linear network around the devices of a circuit; its ports are theirs."""
    return circuit.drawing().network()
