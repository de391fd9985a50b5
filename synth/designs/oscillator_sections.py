"""The sections of a design that say what its oscillators are made of: tanks, series inductor, circuit and transistor,
supply, and how the oscillators disturb each other.
"""

from __future__ import annotations

from models.branch.choke_chain import USUAL_JOINT_STRAY
from models.branch.tapped_coil import TYPICAL_COUPLING
from models.circuit.common_base import OscillatorCircuit
from models.circuit.ripple_law import ENTRIES, SUPPLY
from models.circuit.transistor import Transistor
from models.mutual_inductance import Axes
from models.stray import BOARDS
from synth.designs.part_rows import Rows
from synth.designs.schema import SectionValues, choice, design_section, quantity, rows
from synth.errors import DesignError

# Defaults that are those of the models.
_CIRCUIT, _NPN = OscillatorCircuit(), Transistor()
_BIAS, _EMITTER, _COLLECTOR = _CIRCUIT.bias, _NPN.emitter_junction, _NPN.collector_junction
_RESISTOR = ("ohm", 1.0, 1e8)
_FAR, _WIDE, _LONG, _TURNS = ("m", 1e-3, 2.0), ("m", 1e-3, 0.5), ("m", 1e-4, 0.5), ("ratio", 1.0, 1e5)


def _pot(which: str) -> float:
    """A key for the fine-tune pot of an oscillator."""
    help = f"position of the fine-tune pot of the {which} oscillator, 0 = low, 1 = high"
    return quantity(help, ("fraction", 0.0, 1.0), default=0.5)


@design_section()
class _TankSection(SectionValues):
    """An oscillator's tank, H and F; `trimmer` is the trimmer's position, 0 to 1."""

    inductance: float = quantity("inductance of the coil", ("H", 1e-6, 1.0))
    capacitance: float = quantity("fixed capacitor", ("F", 1e-12, 1e-6))
    stray: float = quantity(
        "board stray: of board and wiring; without [circuit] also transistor and feedback capacitors; never zero",
        ("F", 0.0, 1e-8),
        default=0.0,
    )
    self_capacitance: float = quantity("capacitance across the coil itself", ("F", 0.0, 1e-9), default=0.0)
    trimmer_minimum: float = quantity("trimmer capacitor, all the way out", ("F", 0.0, 1e-8), default=0.0)
    trimmer_maximum: float = quantity("trimmer capacitor, all the way in", ("F", 0.0, 1e-8), default=0.0)
    trimmer: float = quantity("position of the trimmer, 0 = out, 1 = in", ("fraction", 0.0, 1.0), default=0.5)
    quality_factor: float = quantity("Q of the coil at its working frequency", ("ratio", 1.1, 1e4), default=100.0)
    parts: Rows | None = rows(default=None)


@design_section("variable", "Tank of the variable oscillator, the one the antenna is connected to.")
class VariableSection(_TankSection):
    """Tank of the variable oscillator; `tap` is where its coil is tapped, 1: not, `tap_coupling` that of both parts."""

    tap: float = quantity(
        "where on the coil the series inductor is joined: share of the turns from its earthed end",
        ("fraction", 0.05, 1.0),
        default=1.0,
    )
    tap_coupling: float = quantity(
        "coupling of the turns below and above that tap; counts where there is one",
        ("ratio", 0.01, 1.0),
        default=TYPICAL_COUPLING,
    )


@design_section(
    "branch", "Series inductor between tank and antenna. Leave the section out to connect the antenna directly."
)
class BranchSection(SectionValues):
    """The series inductor between tank and antenna, H and F: one coil, or equal chokes in series."""

    inductance: float = quantity("inductance of the coil, of all chokes together", ("H", 1e-6, 10.0))
    quality_factor: float = quantity("Q of the coil at its working frequency", ("ratio", 1.1, 1e4), default=60.0)
    self_capacitance: float = quantity(
        "capacitance across the coil; of n chokes, that of one over n", ("F", 0.0, 1e-9), default=0.0
    )
    chokes: float = quantity("how many equal chokes in series it is made of", ("ratio", 1.0, 20.0), default=1.0)
    joint_stray: float = quantity(
        "to earth at each joint of two chokes (our assumption for parts in the air above a board)",
        ("F", 0.0, 1e-10),
        default=USUAL_JOINT_STRAY,
    )

    def __post_init__(self) -> None:
        SectionValues.__post_init__(self)
        if self.chokes != round(self.chokes):
            raise DesignError(f"branch.chokes = {self.chokes:g}: must be a whole number of chokes")


@design_section("reference", "Tank of the reference oscillator, out of the hand's reach.")
class ReferenceSection(_TankSection):
    """Tank of the reference oscillator."""


@design_section(
    "circuit",
    "The parts around every tank; an empty section takes the defaults. With it oscillators are solved as circuits.",
)
class CircuitSection(SectionValues):
    """The parts around the tanks, V, ohm and F; see `models.circuit.common_base`. board None: not said."""

    supply_voltage: float = quantity("of the supply", ("V", 0.5, 400.0), default=_CIRCUIT.supply_voltage)
    supply_resistor: float = quantity(
        "from the supply to the cold end of the tank", ("ohm", 0.1, 1e6), default=_CIRCUIT.supply_resistor
    )
    supply_capacitor: float = quantity(
        "from the cold end of the tank to earth", ("F", 1e-10, 1e-2), default=_CIRCUIT.supply_capacitor
    )
    feedback_capacitor: float = quantity(
        "from collector to emitter", ("F", 1e-12, 1e-6), default=_CIRCUIT.feedback_capacitor
    )
    emitter_capacitor: float = quantity("from emitter to earth", ("F", 1e-12, 1e-6), default=_CIRCUIT.emitter_capacitor)
    upper_resistor: float = quantity(
        "from the cold end of the tank to the pot", _RESISTOR, default=_BIAS.upper_resistor
    )
    potentiometer: float = quantity("the fine-tune pot", _RESISTOR, default=_BIAS.potentiometer)
    lower_resistor: float = quantity("from the pot to earth", _RESISTOR, default=_BIAS.lower_resistor)
    feed_resistor: float = quantity("from the pot's wiper to the base", _RESISTOR, default=_BIAS.feed_resistor)
    emitter_resistor: float = quantity("from emitter to earth", _RESISTOR, default=_BIAS.emitter_resistor)
    wiper_capacitor: float = quantity(
        "from the pot's wiper to earth", ("F", 1e-12, 1e-3), default=_BIAS.wiper_capacitor
    )
    base_capacitor: float = quantity("from base to earth", ("F", 1e-12, 1e-3), default=_BIAS.base_capacitor)
    coupling_capacitor: float = quantity(
        "from the collector to the output resistor, which stands in [coupling]",
        ("F", 1e-12, 1e-4),
        default=_CIRCUIT.coupling_capacitor,
    )
    reference_pot: float = _pot("reference")
    variable_pot: float = _pot("variable")
    volume_pot: float = _pot("volume")
    board: str | None = choice("what it is built on, to judge board stray by", tuple(BOARDS), default=None)
    parts: Rows | None = rows(default=None)


@design_section("transistor", "The NPN transistor of [circuit]; typical values, from memory, for what is left out.")
class TransistorSection(SectionValues):
    """The transistor, SI units; see `models.circuit.transistor`. early_voltage None: no Early effect."""

    saturation_current: float = quantity("of the emitter junction", ("A", 1e-20, 1e-6), default=_NPN.saturation_current)
    forward_gain: float = quantity("current gain", ("ratio", 1.0, 1e4), default=_NPN.forward_gain)
    reverse_gain: float = quantity(
        "current gain with collector and emitter exchanged", ("ratio", 0.01, 1e3), default=_NPN.reverse_gain
    )
    base_resistance: float = quantity("of the base region; 0: none", ("ohm", 0.0, 1e4), default=_NPN.base_resistance)
    early_voltage: float | None = quantity("left out: no Early effect", ("V", 1.0, 1e4), default=_NPN.early_voltage)
    emitter_capacitance: float = quantity(
        "of the emitter junction without voltage", ("F", 1e-14, 1e-8), default=_EMITTER.zero_bias_capacitance
    )
    collector_capacitance: float = quantity(
        "of the collector junction without voltage", ("F", 1e-14, 1e-8), default=_COLLECTOR.zero_bias_capacitance
    )
    forward_transit: float = quantity("transit time", ("s", 0.0, 1e-6), default=_EMITTER.transit_time)
    reverse_transit: float = quantity(
        "transit time with collector and emitter exchanged", ("s", 0.0, 1e-5), default=_COLLECTOR.transit_time
    )
    temperature: float = quantity("of the junctions", ("K", 200.0, 450.0), default=_NPN.temperature)
    flicker_corner: float = quantity(
        "where the base current's flicker noise meets its shot noise (from memory 100 Hz to 10 kHz); 0: none",
        ("Hz", 0.0, 1e6),
        default=_NPN.flicker_corner,
    )


@design_section(
    "supply",
    "Ripple that the supply leaves, to hear and to read. Caution: an isolated, tested supply; never open a mains one.",
)
class SupplySection(SectionValues):
    """Ripple on the supply of [circuit], V (peak of a sine) and Hz, and where it enters."""

    ripple: float = quantity("peak of a sine, half of peak to peak; 0: none", ("V", 0.0, 1.0), default=0.0)
    ripple_frequency: float = quantity(
        "100 or 120 Hz behind a full-wave rectifier, 50 or 60 Hz otherwise",
        ("Hz", 10.0, 1000.0),
        default=100.0,
    )
    ripple_at: str = choice("where it enters; supply: in front of both supply resistors", ENTRIES, default=SUPPLY)


@design_section("coupling", "How strongly the two oscillators disturb each other.")
class CouplingSection(SectionValues):
    """Coupling between the oscillators, Hz, ohm and F. lock_range None: computed from the other parts."""

    lock_range: float | None = quantity(
        'this close to zero beat the oscillators lock, in silence; "computed": by the parts below',
        ("Hz", 0.0, 1e4),
        default=0.0,
        words={"computed": None},
    )
    reference_resistor: float = quantity(
        "from the reference's output to the common node", ("ohm", 1.0, 1e9), default=47e3
    )
    variable_resistor: float = quantity(
        "from the variable oscillator's output to the common node", ("ohm", 1.0, 1e9), default=47e3
    )
    node_resistance: float = quantity(
        "of the common node to earth, the detector's input", ("ohm", 1.0, 1e9), default=100e3
    )
    node_capacitance: float = quantity("of the common node to earth, with its wiring", ("F", 0.0, 1e-8), default=20e-12)
    supply_resistance: float = quantity(
        "shared by both in front of their supply resistors; it and the two below need a computed lock range",
        ("ohm", 0.0, 1e4),
        default=0.0,
    )
    coil_coupling: float = quantity(
        "coupling factor of the two tank coils by their fields; positive: like currents add; or see [coils]",
        ("ratio", -0.5, 0.5),
        default=0.0,
    )
    tank_to_tank_capacitance: float = quantity(
        "from the hot end of one tank to that of the other; it counts in both frequencies",
        ("F", 0.0, 1e-10),
        default=0.0,
    )


@design_section("coils", "How the two tank coils stand to each other, in place of coupling.coil_coupling.")
class CoilsSection(SectionValues):
    """Where the two tank coils stand, and their sizes, m; turns None: as many as a single layer needs for the tank's
    inductance.
    """

    axes: str = choice(
        "on one axis, upright side by side, or one lying with its axis towards the other upright one",
        tuple(axes.value for axes in Axes),
    )
    distance: float = quantity("between the middles of the coils; screens and metal nearby are left out", _FAR)
    reference_diameter: float = quantity("of the reference's coil, taken as a single layer", _WIDE)
    reference_length: float = quantity("of the reference's winding", _LONG)
    variable_diameter: float = quantity("of the variable oscillator's coil, taken as a single layer", _WIDE)
    variable_length: float = quantity("of the variable oscillator's winding", _LONG)
    reference_turns: float | None = quantity(
        "left out: what a single layer needs for its inductance", _TURNS, default=None
    )
    variable_turns: float | None = quantity(
        "left out: what a single layer needs for its inductance", _TURNS, default=None
    )


@design_section("volume", "Tank of the volume oscillator, the ring straight across it.")
class VolumeSection(_TankSection):
    """Tank of the volume oscillator."""
