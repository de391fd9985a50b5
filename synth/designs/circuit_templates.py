"""The circuits that `beatfield new --circuit NAME FILE` writes: rows of [circuit.parts] with what each part does.

Values are our own choice, in preferred values; each lands near 250 kHz, starts by itself and plays with the rod behind
20 mH. The first is the fixed form of [circuit]; the others are drawn. With `--mixer NAME` it draws the mixer as well:
rows of [detector.parts].
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import field
from typing import Final

from models.quick_dataclass import dataclass
from synth.designs.quantity import parse

COMMON: Final[Mapping[tuple[str, str], str | float]] = {
    ("variable", "inductance"): "1 mH",
    ("variable", "quality_factor"): 80.0,
    ("variable", "self_capacitance"): "8 pF",
    ("variable", "stray"): "15 pF",
    ("variable", "trimmer_minimum"): "10 pF",
    ("variable", "trimmer_maximum"): "60 pF",
    ("branch", "inductance"): "20 mH",
    ("branch", "quality_factor"): 50.0,
    ("branch", "self_capacitance"): "1 pF",
    ("reference", "inductance"): "1 mH",
    ("reference", "quality_factor"): 80.0,
    ("reference", "self_capacitance"): "8 pF",
    ("reference", "stray"): "15 pF",
    ("reference", "trimmer_minimum"): "5 pF",
    ("reference", "trimmer_maximum"): "85 pF",
    ("coupling", "lock_range"): "computed",
    ("coupling", "reference_resistor"): "1 Mohm",
    ("coupling", "variable_resistor"): "1 Mohm",
    ("detector", "kind"): "product",
}
"""Keys that all of them set beside the plain template's."""


@dataclass(frozen=True, slots=True)
class CircuitTemplate:
    """A circuit: its help, the fixed capacitor of both tanks, further keys, and its rows as text (none: fixed form)."""

    help: str
    capacitance: str
    rows: str = ""
    values: Mapping[tuple[str, str], str | float] = field(default_factory=dict)
    caution: str = ""

    def settings(self) -> dict[tuple[str, str], str | float]:
        """The keys that the template sets, by section and name."""
        both = {(which, "capacitance"): self.capacitance for which in ("variable", "reference")}
        return {**COMMON, **both, **self.values}


_BIPOLAR: Final[Mapping[tuple[str, str], str | float]] = {("circuit", "supply_voltage"): "12 V"}

CIRCUITS: Final[Mapping[str, CircuitTemplate]] = {
    "common-base": CircuitTemplate(
        "one NPN transistor in common base with its capacitive divider: the fixed form of [circuit]",
        "220 pF",
        values={
            **_BIPOLAR,
            ("circuit", "feedback_capacitor"): "100 pF",
            ("circuit", "emitter_capacitor"): "2.2 nF",
            ("circuit", "upper_resistor"): "47 kohm",
            ("circuit", "lower_resistor"): "33 kohm",
            ("circuit", "emitter_resistor"): "220 kohm",
            ("circuit", "wiper_capacitor"): "22 nF",
            ("circuit", "base_capacitor"): "22 nF",
        },
    ),
    "colpitts": CircuitTemplate(
        "an NPN transistor with two capacitors across the tank, and a second one that takes its output off",
        "120 pF",
        """\
# The tank, its hot end joined to the base.
coil = { coil = "tank", from = "ground", to = "hot end" }
tuning = { capacitor = "tank", from = "hot end", to = "ground" }
coupling = { capacitor = "330 pF", from = "hot end", to = "base" }
# The divider that feeds the emitter's swing back.
"upper divider" = { capacitor = "1 nF", from = "base", to = "emitter" }
"lower divider" = { capacitor = "2.2 nF", from = "emitter", to = "ground" }
oscillator = { transistor = "npn", base = "base", collector = "supply", emitter = "emitter" }
# Its bias, with the fine-tune pot.
"upper bias" = { resistor = "100 kohm", from = "supply", to = "pot top" }
"fine tune" = { pot = "22 kohm", from = "pot foot", wiper = "wiper", to = "pot top" }
"lower bias" = { resistor = "47 kohm", from = "pot foot", to = "ground" }
"base feed" = { resistor = "47 kohm", from = "wiper", to = "base" }
"emitter resistor" = { resistor = "100 kohm", from = "emitter", to = "ground" }
# The follower, so that what hangs on the output hardly reaches the tank.
"follower coupling" = { capacitor = "22 pF", from = "emitter", to = "follower base" }
follower = { transistor = "npn", amplifies = "no", base = "follower base", collector = "supply", emitter = "low side" }
"follower upper" = { resistor = "220 kohm", from = "supply", to = "follower base" }
"follower lower" = { resistor = "220 kohm", from = "follower base", to = "ground" }
"follower resistor" = { resistor = "10 kohm", from = "low side", to = "ground" }
output = { at = "low side" }
""",
        _BIPOLAR,
    ),
    "hartley": CircuitTemplate(
        "a field-effect transistor whose source stands on a tap of the coil",
        "330 pF",
        """\
# The tapped tank; the source joins it near its foot.
coil = { coil = "tank", turns = 0.05, from = "ground", tap = "foot", to = "hot end" }
tuning = { capacitor = "tank", from = "hot end", to = "ground" }
"gate capacitor" = { capacitor = "47 pF", from = "hot end", to = "gate" }
"gate leak" = { resistor = "470 kohm", from = "gate", to = "ground" }
oscillator = { field_effect = "n-channel", gate = "gate", drain = "drain", source = "source" }
# The source resistor sets the current; the fine-tune pot is a part of it.
"source resistor" = { resistor = "8.2 kohm", from = "source", to = "pot top" }
"fine tune" = { pot = "4.7 kohm", from = "foot", wiper = "foot", to = "pot top" }
"source bypass" = { capacitor = "4.7 nF", from = "source", to = "foot" }
"drain resistor" = { resistor = "1 kohm", from = "supply", to = "drain" }
"drain bypass" = { capacitor = "22 nF", from = "drain", to = "ground" }
output = { at = "source" }
""",
    ),
    "clapp": CircuitTemplate(
        "a Colpitts oscillator with a small capacitor between its divider and the tank, which it hardly loads",
        "180 pF",
        """\
coil = { coil = "tank", from = "ground", to = "hot end" }
tuning = { capacitor = "tank", from = "hot end", to = "ground" }
# The small capacitor keeps the transistor's own capacitances away from the tank.
"series capacitor" = { capacitor = "180 pF", from = "hot end", to = "base" }
"upper divider" = { capacitor = "2.2 nF", from = "base", to = "emitter" }
"lower divider" = { capacitor = "2.2 nF", from = "emitter", to = "ground" }
oscillator = { transistor = "npn", base = "base", collector = "supply", emitter = "emitter" }
"upper bias" = { resistor = "100 kohm", from = "supply", to = "pot top" }
"fine tune" = { pot = "22 kohm", from = "pot foot", wiper = "wiper", to = "pot top" }
"lower bias" = { resistor = "47 kohm", from = "pot foot", to = "ground" }
"base feed" = { resistor = "47 kohm", from = "wiper", to = "base" }
"emitter resistor" = { resistor = "22 kohm", from = "emitter", to = "ground" }
output = { at = "emitter" }
""",
        _BIPOLAR,
    ),
    "tickler": CircuitTemplate(
        "a triode with a feedback coil in its anode (its voltages can kill: leave it to trained people)",
        "330 pF",
        """\
coil = { coil = "tank", from = "ground", to = "hot end" }
tuning = { capacitor = "tank", from = "hot end", to = "ground" }
# The feedback coil; with its ends exchanged nothing starts.
"feedback coil" = { coil = "33 uH", coupled_to = "coil", coupling = 0.12, from = "anode", to = "anode feed" }
# Without it the feedback coil rings with the triode's own capacitances near 14 MHz.
"damping resistor" = { resistor = "2.2 kohm", from = "anode", to = "anode feed" }
"grid capacitor" = { capacitor = "100 pF", from = "hot end", to = "grid" }
"grid leak" = { resistor = "220 kohm", from = "grid", to = "ground" }
oscillator = { triode = 20, grid = "grid", anode = "anode", cathode = "cathode" }
"anode resistor" = { resistor = "10 kohm", from = "supply", to = "anode feed" }
"anode capacitor" = { capacitor = "22 nF", from = "anode feed", to = "ground" }
# The cathode resistor sets the current; the fine-tune pot is a part of it.
"cathode resistor" = { resistor = "1.5 kohm", from = "cathode", to = "pot top" }
"fine tune" = { pot = "1 kohm", from = "ground", wiper = "ground", to = "pot top" }
"cathode capacitor" = { capacitor = "22 nF", from = "cathode", to = "ground" }
output = { at = "anode" }
""",
        {("circuit", "supply_voltage"): "90 V", ("circuit", "supply_resistor"): "1 kohm"},
        "90 V of direct current can kill. This circuit is for people trained in work on live voltages, with a supply\n"
        "# that is isolated, fused and tested, everything under cover, and capacitors discharged before it is touched.",
    ),
    "inverter": CircuitTemplate(
        "an unbuffered CMOS inverter with a pi of two capacitors and the coil",
        "330 pF",
        """\
# The pi: coil between a small capacitor at the input and a large one at the output.
coil = { coil = "tank", from = "hot end", to = "far" }
tuning = { capacitor = "tank", from = "hot end", to = "ground" }
"far capacitor" = { capacitor = "3.3 nF", from = "far", to = "ground" }
"drive resistor" = { resistor = "47 kohm", from = "drive", to = "far" }
"gate capacitor" = { capacitor = "100 pF", from = "hot end", to = "gate" }
# From output to input it holds itself where it switches.
"bias resistor" = { resistor = "1 Mohm", from = "drive", to = "gate" }
oscillator = { inverter = 20, input = "gate", output = "drive" }
output = { at = "drive" }
""",
    ),
    "pnp-common-base": CircuitTemplate(
        "one PNP transistor in common base, its tank on earth",
        "220 pF",
        """\
coil = { coil = "tank", from = "ground", to = "hot end" }
tuning = { capacitor = "tank", from = "hot end", to = "ground" }
feedback = { capacitor = "100 pF", from = "hot end", to = "emitter" }
"emitter capacitor" = { capacitor = "2.2 nF", from = "emitter", to = "ground" }
oscillator = { transistor = "pnp", base = "base", collector = "hot end", emitter = "emitter" }
"emitter resistor" = { resistor = "180 kohm", from = "supply", to = "emitter" }
"upper bias" = { resistor = "22 kohm", from = "supply", to = "pot top" }
"fine tune" = { pot = "22 kohm", from = "pot foot", wiper = "wiper", to = "pot top" }
"lower bias" = { resistor = "47 kohm", from = "pot foot", to = "ground" }
"base feed" = { resistor = "4.7 kohm", from = "wiper", to = "base" }
"base capacitor" = { capacitor = "22 nF", from = "base", to = "ground" }
output = { at = "hot end" }
""",
        _BIPOLAR,
    ),
}


@dataclass(frozen=True, slots=True)
class MixerTemplate:
    """A mixer: its help, its rows as text, and the highest supply, V, that its devices are drawn for."""

    help: str
    rows: str
    highest_supply: float = math.inf

    def suits(self, circuit: CircuitTemplate) -> bool:
        """Whether the supply of a circuit may feed it too."""
        supply = circuit.settings().get(("circuit", "supply_voltage"), "0 V")  # left out: the usual one, of a battery
        return parse(supply, "V") <= self.highest_supply


MIXERS: Final[Mapping[str, MixerTemplate]] = {
    "transistor": MixerTemplate(
        "both oscillators into the base of one NPN transistor, the tone at its collector",
        """\
# Where the output resistors of both oscillators end.
reference = { at = "base" }
variable = { at = "base" }
"upper bias" = { resistor = "470 kohm", from = "supply", to = "base" }
"lower bias" = { resistor = "100 kohm", from = "base", to = "ground" }
mixer = { transistor = "npn", base = "base", collector = "collector", emitter = "emitter" }
"emitter resistor" = { resistor = "4.7 kohm", from = "emitter", to = "ground" }
# So large that the emitter follows no note; smaller, it takes the low ones away.
"emitter capacitor" = { capacitor = "10 uF", from = "emitter", to = "ground" }
"collector resistor" = { resistor = "10 kohm", from = "supply", to = "collector" }
# It keeps the radio frequency off the tone.
"collector capacitor" = { capacitor = "2.2 nF", from = "collector", to = "ground" }
tone = { at = "collector" }
""",
        30.0,
    ),
    "two-diode": MixerTemplate(
        "two diodes that rectify the sum of both oscillators, one half of it each, onto one load",
        """\
# Where the output resistors of both oscillators end.
reference = { at = "input" }
variable = { at = "input" }
"input resistor" = { resistor = "1 Mohm", from = "input", to = "ground" }
wiring = { capacitor = "10 pF", from = "input", to = "ground" }
"doubling capacitor" = { capacitor = "220 pF", from = "input", to = "joint" }
# Of the kind of small germanium or Schottky diodes.
"lower diode" = { diode = "200 nA", emission_factor = 1.1, capacitance = "1 pF", anode = "ground", cathode = "joint" }
"upper diode" = { diode = "200 nA", emission_factor = 1.1, capacitance = "1 pF", anode = "joint", cathode = "tone" }
"load resistor" = { resistor = "470 kohm", from = "tone", to = "ground" }
"load capacitor" = { capacitor = "100 pF", from = "tone", to = "ground" }
tone = { at = "tone" }
""",
    ),
}
