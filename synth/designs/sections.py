"""A design as values: frozen sections of SI floats. Each key of a design file is declared once, as a field here.

Each section checks its values against its keys, the design checks them against each other; both raise DesignError
(a ValueError) naming section, key and remedy.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import Field, dataclass, field, fields, replace
from typing import Any, ClassVar, Final, TypeVar, dataclass_transform, get_args, get_type_hints

from models.branch.choke_chain import USUAL_JOINT_STRAY
from models.branch.tapped_coil import TYPICAL_COUPLING
from models.circuit.common_base import OscillatorCircuit
from models.circuit.ripple_law import ENTRIES, SUPPLY
from models.circuit.transistor import Transistor
from models.detector.memoryless import DETECTORS
from models.hand.antennas import (
    POSITIONS,
    PlateAntenna,
    RingAntenna,
    TelescopicAntenna,
    VolumePlate,
    VolumeRod,
    WireAntenna,
)
from models.hand.scene import APPROACHES, POSTURES
from models.mutual_inductance import Axes
from models.stray import BOARDS
from synth.designs.checks import cross_faults
from synth.designs.part_rows import Rows
from synth.designs.schema import Key, check_value, choice, quantities, quantity, rows, text
from synth.errors import DesignError

# Defaults that are those of the models.
_CIRCUIT, _NPN = OscillatorCircuit(), Transistor()
_BIAS, _EMITTER, _COLLECTOR = _CIRCUIT.bias, _NPN.emitter_junction, _NPN.collector_junction
_RESISTOR = ("ohm", 1.0, 1e8)


class SectionValues:
    """What all sections have: their name and help in a design file, their keys, and the check of every field."""

    __slots__ = ()
    section: ClassVar[str]
    help: ClassVar[str]
    keys: ClassVar[Mapping[str, Key]]
    drawn: ClassVar[bool]  # whether it may hold rows of parts, [section.parts]
    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]

    def __post_init__(self) -> None:
        for name, key in self.keys.items():
            value = getattr(self, name)
            try:
                checked = check_value(key, value)
            except DesignError as error:
                raise DesignError(f"{key.path} = {value!r}: {error}") from None
            object.__setattr__(self, name, checked)

    # one method of each for all sections: one generated for each of them takes a tenth of the time a program starts in

    def _values(self) -> tuple[Any, ...]:
        return tuple(getattr(self, name) for name in self.__dataclass_fields__)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, SectionValues) or type(other) is not type(self):
            return NotImplemented
        return self._values() == other._values()

    def __hash__(self) -> int:
        return hash(self._values())

    def __repr__(self) -> str:
        named = zip(self.__dataclass_fields__, self._values(), strict=True)
        values = ", ".join(f"{name}={value!r}" for name, value in named)
        return f"{type(self).__name__}({values})"


Kind = TypeVar("Kind", bound=SectionValues)


@dataclass_transform(field_specifiers=(quantity, quantities, choice, text, rows), frozen_default=True)
def _section(name: str = "", help: str = "") -> Callable[[type[Kind]], type[Kind]]:
    """Make a frozen dataclass of a class whose fields are keys: the section `name` of a design file."""

    def made(plain: type[Kind]) -> type[Kind]:
        kind = dataclass(frozen=True, slots=True, eq=False, repr=False)(plain)
        kind.section, kind.help = name, help
        kind.keys = {
            entry.name: replace(entry.metadata["key"], section=name, name=entry.name)
            for entry in fields(kind)
            if "key" in entry.metadata
        }
        kind.drawn = any("rows" in entry.metadata for entry in fields(kind))
        return kind

    return made


_FAR, _WIDE, _LONG, _TURNS = ("m", 1e-3, 2.0), ("m", 1e-3, 0.5), ("m", 1e-4, 0.5), ("ratio", 1.0, 1e5)


def _limit(help: str, default: float) -> float:
    """A key for how far parts may be off, either way."""
    return quantity(help, ("percent", 0.0, 0.9), default=default)


def _coefficient(help: str, default: float, most: float = 5e-3) -> float:
    """A key for a temperature coefficient of at most `most` (1/K) either way."""
    return quantity(help, ("ppm/K", -most, most), default=default)


def _pot(which: str) -> float:
    """A key for the fine-tune pot of an oscillator."""
    help = f"position of the fine-tune pot of the {which} oscillator, 0 = low, 1 = high"
    return quantity(help, ("fraction", 0.0, 1.0), default=0.5)


@_section("design", "What this design is.")
class About(SectionValues):
    """Name and description."""

    name: str = text("shown in reports, stored in sound files", 80, shortest=1, default="unnamed design")
    description: str = text("anything worth remembering", 2000, default="")


ANTENNA_FORMS: Final = ("rod", "telescopic", "wire", "plate", "ring")
PLAYER_SIZES: Final = ("typical", "man", "woman", "child")
VOLUME_FORMS: Final = ("ring", "plate", "rod")
_THICK, _PLATE = ("m", 0.0005, 0.1), ("m", 0.02, 1.0)


@_section(
    "antenna",
    "The pitch antenna: a rod, upright or leaning, a telescopic one, a wire between two points, a plate or a ring.",
)
class AntennaSection(SectionValues):
    """The pitch antenna, m and F; lean in degrees."""

    form: str = choice(
        "which form it has; keys that are of other forms do not count",
        ANTENNA_FORMS,
        default="rod",
    )
    length: float = quantity("length of the rod", ("m", 0.05, 3.0), default=0.45)
    diameter: float = quantity("thickness of the rod, the wire or the ring's tube", _THICK, default=0.010)
    base_height: float = quantity("its lowest part above the floor", ("m", 0.02, 3.0), default=1.0)
    lean: float = quantity(
        "angle of a rod, plain or telescopic, from upright, away from the player", ("deg", -80.0, 80.0), default=0.0
    )
    section_lengths: tuple[float, ...] = quantities(
        "of a telescopic rod, what is seen of each section from the foot up",
        ("m", 0.01, 2.0),
        12,
        default=TelescopicAntenna().lengths,
    )
    section_diameters: tuple[float, ...] = quantities(
        "of those sections, one each", _THICK, 12, default=TelescopicAntenna().diameters
    )
    end_forward: float = quantity(
        "of a wire, its upper end from its lower one towards the player", ("m", -2.0, 1.0), default=WireAntenna().end_x
    )
    end_side: float = quantity(
        "of a wire, the same to the side away from the volume hand", ("m", -2.0, 2.0), default=WireAntenna().end_y
    )
    end_height: float = quantity(
        "of a wire, its upper end above the floor (lower: base_height)",
        ("m", 0.02, 4.0),
        default=WireAntenna().end_height,
    )
    position: str = choice(
        "of a plate or ring; upright: facing the player; flat; edge: upright, its edge to the player",
        tuple(POSITIONS),
        default="upright",
    )
    plate_width: float = quantity(
        "of a plate, side to side; with its edge to the player front to back", _PLATE, default=PlateAntenna().width
    )
    plate_length: float = quantity("of a plate, up; lying flat front to back", _PLATE, default=PlateAntenna().length)
    plate_thickness: float = quantity("of a plate", ("m", 0.0005, 0.05), default=PlateAntenna().thickness)
    ring_diameter: float = quantity(
        "of a ring, to the middle of its tube", ("m", 0.03, 2.0), default=RingAntenna().diameter
    )
    stray: float = quantity(
        "antenna stray: of its mount and lead to the common, beside the antenna's own", ("F", 0.0, 1e-9), default=0.0
    )


@_section("common", "What joins the circuit's common, its zero volt, to earth.")
class CommonSection(SectionValues):
    """The circuit's common, F and m. to_earth None: not said, and taken as bonded."""

    to_earth: float | None = quantity(
        "by the supply; bonded: a wire; none: a battery; left out: bonded",
        ("F", 0.0, 1e-6),
        default=None,
        words={"bonded": math.inf, "none": 0.0},
    )
    board_width: float = quantity(
        "board at the antenna's foot, where there is no cabinet and no bond", ("m", 0.02, 1.0), default=0.16
    )
    board_depth: float = quantity("of that board, towards the player", ("m", 0.02, 1.0), default=0.10)
    board_gap: float = quantity("from that board to the lower end of the rod", ("m", 0.002, 1.0), default=0.02)


@_section("cabinet", "A metal box under the antenna, joined to the common. Leave the section out if there is none.")
class CabinetSection(SectionValues):
    """The box under the antenna, m."""

    width: float = quantity("side to side for the player", ("m", 0.02, 2.0), default=0.40)
    depth: float = quantity("towards the player", ("m", 0.02, 2.0), default=0.20)
    height: float = quantity("of the box", ("m", 0.005, 2.0), default=0.12)
    gap: float = quantity("from the top of the box to the lower end of the rod", ("m", 0.002, 1.0), default=0.02)


@_section("player", "Who stands in front of the antenna.")
class PlayerSection(SectionValues):
    """The player, F and m. body_capacitance None: see its help; hand_height None: middle of the rod."""

    body_capacitance: float | None = quantity(
        "to earth in all, as a bridge reads it; left out: 100 pF of shoes and what the field finds",
        ("F", 0.0, 1e-8),
        default=None,
        words={"bonded": math.inf},
    )
    stand_distance: float = quantity("from the antenna's foot to the body's axis", ("m", 0.3, 2.0), default=0.75)
    hand_height: float | None = quantity(
        "of the pitch hand above the floor; left out: the middle of the antenna", ("m", 0.05, 4.0), default=None
    )
    opening: float = quantity(
        "of the fingers, posture open, the wrist held: 1 stretched, 0 closed; distances are of stretched fingers",
        ("fraction", 0.0, 1.0),
        default=1.0,
    )
    size: str = choice(
        "typical: rounded, without elbows; man, woman: measured; child: a woman scaled",
        PLAYER_SIZES,
        default="typical",
    )
    percentile: float = quantity("of a man or woman, in every size at once", ("percent", 0.01, 0.99), default=0.5)
    stature: float = quantity("of a child", ("m", 0.8, 2.0), default=1.4)
    stance: str = choice("of a man, woman or child", ("standing", "seated"), default="standing")
    shoulder_height: float | None = quantity(
        "your own, standing; left out, as all below: as size says", ("m", 0.6, 2.0), default=None
    )
    upper_arm: float | None = quantity("your own, shoulder to elbow", ("m", 0.1, 0.6), default=None)
    forearm: float | None = quantity("your own, elbow to wrist", ("m", 0.1, 0.5), default=None)
    hand_length: float | None = quantity("your own, wrist to the longest finger's tip", ("m", 0.08, 0.3), default=None)
    hand_breadth: float | None = quantity("your own, without the thumb", ("m", 0.03, 0.15), default=None)
    approach: str = choice(
        "of the pitch hand; front: level, thumb up, towards the antenna; above: palm down onto it",
        tuple(APPROACHES),
        default="front",
    )
    lean: float = quantity(
        "how far the body with its shoulders leans to the antenna, the hands where they are",
        ("m", -0.3, 0.5),
        default=0.0,
    )
    posture: str = choice("of the pitch hand", tuple(POSTURES), default="open")


@_section("room", "What stands about. Leave the section out for an empty room whose floor conducts.")
class RoomSection(SectionValues):
    """What stands about, m; None: it is not there."""

    floor: str = choice(
        "conducting: reinforced or damp, at earth; none: of wood, far above (then give player.body_capacitance)",
        ("conducting", "none"),
        default="conducting",
    )
    wall: float | None = quantity(
        "from the antenna back to a wall at earth, reinforced or damp", ("m", 0.1, 10.0), default=None
    )
    table: float | None = quantity(
        "from the floor to the top of a metal table under the instrument, joined to nothing",
        ("m", 0.05, 3.0),
        default=None,
    )
    bystander_side: float | None = quantity(
        "from the antenna to a second person, sideways away from the volume hand", ("m", -5.0, 5.0), default=None
    )
    bystander_forward: float = quantity("to the same person, towards the player", ("m", -5.0, 5.0), default=0.0)


@_section()
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


@_section("variable", "Tank of the variable oscillator, the one the antenna is connected to.")
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


@_section("branch", "Series inductor between tank and antenna. Leave the section out to connect the antenna directly.")
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


@_section("reference", "Tank of the reference oscillator, out of the hand's reach.")
class ReferenceSection(_TankSection):
    """Tank of the reference oscillator."""


@_section(
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


@_section("transistor", "The NPN transistor of [circuit]; typical values, from memory, for what is left out.")
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


@_section(
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


@_section("tuning", "How the instrument is set up before playing.")
class TuningSection(SectionValues):
    """Set-up before playing, m and Hz. zero_beat None: the reference's trimmer stays as given; law None: `Design.law`
    says which.
    """

    zero_beat: float | None = quantity(
        "hand distance of silence, found by the reference's trimmer; left out: the trimmer stays as given",
        ("m", 0.01, 0.80),
        default=None,
    )
    mode: str = choice(
        "which of the two frequencies of tank and series inductor is used", ("auto", "low", "high"), default="auto"
    )
    law: str | None = choice(
        "circuit: with all parts; lossless: resonance alone; left out: circuit where there is one",
        ("lossless", "circuit"),
        default=None,
    )
    reference_a: float = quantity("frequency of the note A4", ("Hz", 300.0, 600.0), default=440.0)


@_section("coupling", "How strongly the two oscillators disturb each other.")
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


@_section("coils", "How the two tank coils stand to each other, in place of coupling.coil_coupling.")
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


@_section(
    "detector", "What makes the audible beat from the two oscillators; [detector.parts] in its place draws a mixer."
)
class DetectorSection(SectionValues):
    """The detector; see `models.detector.memoryless.Detector`. amplitudes None: see `Design.circuit_amplitudes`. With
    `parts` it is a drawn mixer (`models.circuit.mixer`), and no other key counts.
    """

    kind: str = choice("product: pure tone; envelope, junction, diode: brighter", DETECTORS, default="product")
    amplitudes: str | None = choice(
        "given: as written below; circuit: as the oscillators deliver; left out: by tuning.law",
        ("given", "circuit"),
        default=None,
    )
    amplitude_ratio: float = quantity("weaker signal over the stronger one", ("ratio", 0.001, 1.0), default=1.0)
    drive: float = quantity(
        "junction only: peak voltage of the stronger signal over 25.85 mV", ("ratio", 0.001, 100.0), default=1.0
    )
    amplitude: float = quantity(
        "diode only, as all below: peak voltage of the stronger signal", ("V", 1e-3, 5.0), default=1.0
    )
    load_resistance: float = quantity("behind the diode", ("ohm", 100.0, 1e8), default=100e3)
    load_capacitance: float = quantity(
        "across that resistor: it follows the beat, not the radio frequency", ("F", 1e-12, 1e-6), default=1e-9
    )
    source_resistance: float = quantity("in front of the diode", ("ohm", 0.0, 1e7), default=0.0)
    saturation_current: float = quantity(
        "of the diode (typical of small germanium or Schottky ones, from memory)", ("A", 1e-15, 1e-3), default=0.2e-6
    )
    emission_factor: float = quantity("of the diode (typical, from memory)", ("ratio", 1.0, 3.0), default=1.1)
    parts: Rows | None = rows(default=None)


@_section("tone", "From the detector to the output.")
class ToneSection(SectionValues):
    """Filters, Hz, and level, 0 to 1 of full scale."""

    low_pass: float = quantity("corner of the filter behind the detector", ("Hz", 100.0, 20000.0), default=8000.0)
    dc_block: float = quantity("corner of the output's coupling capacitor", ("Hz", 0.1, 100.0), default=10.0)
    level: float = quantity("peak of the loudest tone, of full scale", ("fraction", 0.0, 1.0), default=0.5)


@_section(
    "volume_antenna",
    "The volume antenna under the other hand, level. Leave this section and the next two out if none.",
)
class VolumeAntennaSection(SectionValues):
    """What is under the volume hand, m and F."""

    form: str = choice("the hand is over the ring's front, the middle of a plate or rod", VOLUME_FORMS, default="ring")
    diameter: float = quantity("of the ring, to the middle of its tube", ("m", 0.03, 1.0), default=0.22)
    tube_diameter: float = quantity("of the ring's tube, or of the rod", _THICK, default=0.008)
    plate_width: float = quantity("of a plate, side to side", _PLATE, default=VolumePlate().width)
    plate_length: float = quantity("of a plate, front to back", _PLATE, default=VolumePlate().length)
    plate_thickness: float = quantity("of a plate", ("m", 0.0005, 0.05), default=VolumePlate().thickness)
    rod_length: float = quantity("of a rod, side to side", ("m", 0.05, 2.0), default=VolumeRod().length)
    height: float = quantity("of it above the floor, middle of its thickness", ("m", 0.05, 3.0), default=1.0)
    offset: float = quantity("from the pitch antenna's foot sideways to its middle", ("m", 0.05, 2.0), default=0.45)
    stray: float = quantity(
        "antenna stray: of its mount and lead to the common, beside its own", ("F", 0.0, 1e-9), default=0.0
    )


@_section("volume", "Tank of the volume oscillator, the ring straight across it.")
class VolumeSection(_TankSection):
    """Tank of the volume oscillator."""


@_section(
    "volume_response",
    "The fixed resonance that the volume oscillator leaves as the hand comes down, and what follows it.",
)
class VolumeResponseSection(SectionValues):
    """Fixed resonator, H and F, rectifier, V, ohm and F, gain stage, V, and the set-up of full volume, m."""

    inductance: float = quantity("coil of the fixed resonator", ("H", 1e-6, 1.0))
    capacitance: float = quantity("capacitor of the fixed resonator", ("F", 1e-12, 1e-6))
    quality_factor: float = quantity("Q of the fixed resonator, its load included", ("ratio", 2.0, 1e4), default=100.0)
    amplitude: float = quantity(
        "peak voltage at the rectifier with the resonator in tune", ("V", 0.1, 500.0), default=8.0
    )
    diode_drop: float = quantity("of the rectifier's diode", ("V", 0.0, 2.0), default=0.3)
    detector_resistance: float = quantity("load of the rectifier", ("ohm", 100.0, 1e8), default=100e3)
    detector_capacitance: float = quantity("capacitor of the rectifier", ("F", 1e-12, 1e-4), default=22e-9)
    threshold: float = quantity("control voltage up to which it is silent", ("V", 0.0, 500.0), default=2.5)
    full: float = quantity("control voltage from which it is as loud as can be", ("V", 0.01, 500.0), default=6.8)
    full_height: float | None = quantity(
        "hand above the ring at full volume, found by volume.trimmer; left out: that stays as given",
        ("m", 0.02, 0.60),
        default=None,
    )


@_section("tolerances", "How far real parts may be off; without the section, these defaults.")
class TolerancesSection(SectionValues):
    """Limits either way, as fractions, and how parts scatter within them."""

    inductor: float = _limit("of the tank coils, either way", 0.05)
    capacitor: float = _limit("of the fixed capacitors (and of the divider in [circuit])", 0.05)
    trimmer: float = _limit("of both ends of a trimmer together", 0.10)
    branch_inductor: float = _limit("of the series inductor", 0.05)
    stray: float = _limit("spread of the board stray: what board, wiring and coil windings add", 0.20)
    antenna_stray: float = _limit("spread of the antenna stray: of mount and lead", 0.20)
    junction: float = _limit("spread of the transistor's capacitance, with [circuit] only", 0.30)
    gain: float = _limit("spread of the transistors' current gain, with [circuit] only", 0.50)
    resistor: float = _limit("of the resistors, with [circuit] only, as all below", 0.01)
    potentiometer: float = _limit("of the pots, whole track", 0.20)
    supply: float = _limit("spread of the supply voltage, the same for both oscillators", 0.02)
    temperature: float = quantity(
        "spread of the transistors' temperature while builds are tuned, the same for both",
        ("K", 0.0, 50.0),
        default=5.0,
    )
    parts: str = choice(
        "how bought parts scatter in their limits (normal: limits at 3 sigma, cut there)",
        ("uniform", "normal"),
        default="uniform",
    )
    reel: float = quantity(
        "share of their deviation that parts of one kind have in common in both oscillators, as from one reel",
        ("fraction", 0.0, 1.0),
        default=0.0,
    )
    spreads: str = choice(
        "how stray, junction, gain, supply and temperature scatter", ("uniform", "normal"), default="normal"
    )


@_section("temperature", "How parts go with temperature; without the section, these defaults.")
class TemperatureSection(SectionValues):
    """Temperature coefficients, 1/K, mismatch of the two oscillators, 1/K, and warm-up, K and s."""

    coil: float = _coefficient("of the tank coils (from memory: air core +10 to +50, ferrite +100 to +1000)", 30e-6)
    capacitor: float = _coefficient("of the fixed capacitors (C0G 0 +-30; polystyrene about -125, from memory)", 0.0)
    stray: float = _coefficient("of board stray, coil windings and trimmers; 0 until measured", 0.0)
    branch_coil: float = _coefficient("of the series inductor (ferrite, from memory +100 to +1000)", 200e-6)
    antenna_stray: float = _coefficient("of the antenna stray, its mount and lead; 0 until measured", 0.0)
    coil_mismatch: float = _coefficient("reference coil above the variable one", 10e-6)
    capacitor_mismatch: float = _coefficient("reference capacitor above the variable one", 30e-6)
    gain: float = _coefficient(
        "of the transistors' current gain, with [circuit] (from memory +3000 to +7000)", 5e-3, most=2e-2
    )
    warm_up_rise: float = quantity("of the parts from cold to warm", ("K", 0.0, 100.0), default=10.0)
    warm_up_time: float = quantity("time constant of that rise: 63 % of it is done", ("s", 1.0, 1e5), default=600.0)


@_section("goals", "What builds of this design must do; without the section nothing is asked.")
class GoalsSection(SectionValues):
    """What builds must do, shares as fractions, m, Hz, unevenness in cents; None: not asked."""

    zero_beat: float | None = quantity(
        "share of builds whose trimmer must reach zero beat", ("percent", 0.0, 1.0), default=None
    )
    nearest: float = quantity(
        "nearest playing distance of the hand: where the highest note is read", ("m", 0.011, 0.5), default=0.05
    )
    farthest: float = quantity(
        "farthest playing distance: where the lowest note is read", ("m", 0.02, 0.8), default=0.40
    )
    lowest: float | None = quantity("a build must go down to this note or lower", ("Hz", 20.0, 2e4), default=None)
    highest: float | None = quantity("a build must go up to this note or higher", ("Hz", 20.0, 2e4), default=None)
    even_from: float = quantity("lowest note of the range whose evenness is judged", ("Hz", 20.0, 2e4), default=65.406)
    even_to: float = quantity("highest note of that range", ("Hz", 20.0, 2e4), default=1046.502)
    unevenness: float | None = quantity(
        "cents RMS from a straight line over that range that a build may have at most",
        ("ratio", 0.1, 1e4),
        default=None,
    )
    good_builds: float = quantity(
        "share of builds that must meet all goals of a build", ("percent", 0.0, 1.0), default=0.90
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """A whole design, its sections in the order of a file. None where a part is not there: no `cabinet`; no `room`,
    an empty one whose floor conducts; no `branch`,
    the antenna directly on the tank; no `circuit`, the oscillators by their resonance alone; no `transistor`, the
    circuit's with its default values; no `supply`, no ripple on it; no `coils`, their coupling as written; no
    `volume_antenna` (then neither `volume` nor `volume_response`), the volume hand a plain gain. `source`: the file it
    was read from; no part of the design.
    """

    about: About = field(default_factory=About)
    antenna: AntennaSection = field(default_factory=AntennaSection)
    common: CommonSection = field(default_factory=CommonSection)
    cabinet: CabinetSection | None = None
    player: PlayerSection = field(default_factory=PlayerSection)
    room: RoomSection | None = None
    variable: VariableSection
    branch: BranchSection | None = None
    reference: ReferenceSection
    circuit: CircuitSection | None = None
    transistor: TransistorSection | None = None
    supply: SupplySection | None = None
    tuning: TuningSection = field(default_factory=TuningSection)
    coupling: CouplingSection = field(default_factory=CouplingSection)
    coils: CoilsSection | None = None
    detector: DetectorSection = field(default_factory=DetectorSection)
    tone: ToneSection = field(default_factory=ToneSection)
    volume_antenna: VolumeAntennaSection | None = None
    volume: VolumeSection | None = None
    volume_response: VolumeResponseSection | None = None
    tolerances: TolerancesSection | None = None
    temperature: TemperatureSection | None = None
    goals: GoalsSection | None = None
    source: str = field(default="", compare=False, repr=False)

    def __post_init__(self) -> None:
        faults = cross_faults(sections_of(self))
        if faults:
            raise DesignError("\n".join(f"{place}: {fault}" for place, fault in faults))

    @property
    def name(self) -> str:
        """The design's name."""
        return self.about.name

    @property
    def place(self) -> str:
        """What messages begin with: the file, or the name of a design that comes from none."""
        return self.source or self.name

    @property
    def law(self) -> str:
        """ "circuit": the oscillators are solved with all their parts; "lossless": by their resonance alone."""
        return self.tuning.law or ("lossless" if self.circuit is None else "circuit")

    @property
    def circuit_amplitudes(self) -> bool:
        """Whether the detector gets the amplitudes that the oscillators deliver, not those written down."""
        return (self.detector.amplitudes or ("circuit" if self.law == "circuit" else "given")) == "circuit"


@dataclass(frozen=True, slots=True)
class DesignSection:
    """One section of a design file: its keys by their names, its class, and the field `part` of `Design` that holds it.
    An optional one, left out, means that the part is not there.
    """

    name: str
    help: str
    keys: Mapping[str, Key]
    kind: type[SectionValues]
    part: str
    optional: bool


def _sections() -> Iterator[DesignSection]:
    hints = get_type_hints(Design)
    for entry in fields(Design):
        if entry.name == "source":
            continue
        kind = next(iter(get_args(hints[entry.name])), hints[entry.name])  # the class itself, also of "class or None"
        yield DesignSection(kind.section, kind.help, kind.keys, kind, entry.name, optional=entry.default is None)


SECTIONS: Final[Mapping[str, DesignSection]] = {section.name: section for section in _sections()}
KEYS: Final = tuple(key for section in SECTIONS.values() for key in section.keys.values())


def sections_of(design: Design) -> dict[str, dict[str, Any] | None]:
    """The design as plain dictionaries: section -> key -> value, None for a part that is not there."""
    result: dict[str, dict[str, Any] | None] = {}
    for name, section in SECTIONS.items():
        part = getattr(design, section.part)
        result[name] = None if part is None else {key: getattr(part, key) for key in section.keys}
        if part is not None and section.kind.drawn and part.parts is not None:
            result[name]["parts"] = part.parts  # type: ignore[index]
    return result
