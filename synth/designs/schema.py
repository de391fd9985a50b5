"""The one table of a design file: sections and keys with unit, domain, default and help.

Reading, checking, writing and the commented template all follow this table.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from models.branch.tapped_coil import TYPICAL_COUPLING
from models.circuit.common_base import OscillatorCircuit
from models.circuit.transistor import Transistor
from models.detector.memoryless import DETECTORS
from models.hand.scene import POSTURES
from models.stray import BOARDS


class _Required:
    """Marks a key without a default."""

    def __repr__(self) -> str:
        return "required"


REQUIRED: Final = _Required()
LAWS: Final = ("lossless", "circuit")
AMPLITUDES: Final = ("given", "circuit")
SCATTERS: Final = ("uniform", "normal")


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a design file: a quantity (`unit` and `low`..`high`, SI), one of `choices`, or a text.

    `words` are texts taken in place of a quantity and what they stand for ("bonded": None). A default of None
    without such a word is a key that may be left out; REQUIRED is one that may not.
    """

    section: str
    name: str
    help: str
    default: Any = REQUIRED
    unit: str = ""
    low: float = 0.0
    high: float = 0.0
    choices: tuple[str, ...] = ()
    words: Mapping[str, Any] = field(default_factory=dict)
    longest: int = 0  # of a text, characters; more than one line only above 200
    shortest: int = 0  # of a text, characters that are not spaces

    @property
    def path(self) -> str:
        """The key as messages name it: section.key."""
        return f"{self.section}.{self.name}"


@dataclass(frozen=True, slots=True)
class Section:
    """One section of a design file. An optional one, left out, means that the part is not there."""

    name: str
    help: str
    optional: bool = False


SECTIONS: Final = (
    Section("design", "What this design is."),
    Section("antenna", "The pitch antenna: an upright metal rod."),
    Section(
        "cabinet",
        "An earthed metal box under the antenna. Leave the section out if there is none.",
        optional=True,
    ),
    Section("player", "Who stands in front of the antenna."),
    Section("variable", "Tank of the variable oscillator, the one the antenna is connected to."),
    Section(
        "branch",
        "Series inductor between tank and antenna. Leave the section out to connect the antenna directly.",
        optional=True,
    ),
    Section("reference", "Tank of the reference oscillator, out of the hand's reach."),
    Section(
        "circuit",
        "The parts around every tank; an empty section takes the defaults. With it oscillators are solved as circuits.",
        optional=True,
    ),
    Section(
        "transistor",
        "The NPN transistor of [circuit]; typical values, from memory, for what is left out.",
        optional=True,
    ),
    Section("tuning", "How the instrument is set up before playing."),
    Section("coupling", "How strongly the two oscillators disturb each other."),
    Section("detector", "What makes the audible beat from the two oscillators."),
    Section("tone", "From the detector to the output."),
    Section(
        "volume_antenna",
        "The volume antenna: a level ring under the other hand. Leave this section and the next two out if none.",
        optional=True,
    ),
    Section("volume", "Tank of the volume oscillator, the ring straight across it.", optional=True),
    Section(
        "volume_response",
        "The fixed resonance that the volume oscillator leaves as the hand comes down, and what follows it.",
        optional=True,
    ),
    Section("tolerances", "How far real parts may be off; without the section, these defaults.", optional=True),
    Section("temperature", "How parts go with temperature; without the section, these defaults.", optional=True),
    Section("goals", "What builds of this design must do; without the section nothing is asked.", optional=True),
)


def _tank_keys(section: str) -> tuple[Key, ...]:
    return (
        Key(section, "inductance", "inductance of the coil", unit="H", low=1e-6, high=1.0),
        Key(section, "capacitance", "fixed capacitor", unit="F", low=1e-12, high=1e-6),
        Key(
            section,
            "stray",
            "what board and wiring add; without [circuit] also transistor and feedback capacitors; never zero",
            0.0,
            "F",
            0.0,
            1e-8,
        ),
        Key(section, "self_capacitance", "capacitance across the coil itself", 0.0, "F", 0.0, 1e-9),
        Key(section, "trimmer_minimum", "trimmer capacitor, all the way out", 0.0, "F", 0.0, 1e-8),
        Key(section, "trimmer_maximum", "trimmer capacitor, all the way in", 0.0, "F", 0.0, 1e-8),
        Key(section, "trimmer", "position of the trimmer, 0 = out, 1 = in", 0.5, "fraction", 0.0, 1.0),
        Key(section, "quality_factor", "Q of the coil at its working frequency", 100.0, "ratio", 1.1, 1e4),
    )


def _part(name: str, help: str, unit: str, low: float, high: float) -> Key:
    """A key of [circuit] whose default is that of the circuit model."""
    parts = OscillatorCircuit()
    default = getattr(parts if hasattr(parts, name) else parts.bias, name)
    return Key("circuit", name, help, default, unit, low, high)


def _circuit_keys() -> tuple[Key, ...]:
    pots = tuple(
        Key(
            "circuit",
            f"{which}_pot",
            f"position of the fine-tune pot of the {which} oscillator, 0 = low, 1 = high",
            0.5,
            "fraction",
            0.0,
            1.0,
        )
        for which in ("reference", "variable", "volume")
    )
    return (
        _part("supply_voltage", "of the supply", "V", 0.5, 100.0),
        _part("supply_resistor", "from the supply to the cold end of the tank", "ohm", 0.1, 1e6),
        _part("supply_capacitor", "from the cold end of the tank to earth", "F", 1e-10, 1e-2),
        _part("feedback_capacitor", "from collector to emitter", "F", 1e-12, 1e-6),
        _part("emitter_capacitor", "from emitter to earth", "F", 1e-12, 1e-6),
        _part("upper_resistor", "from the cold end of the tank to the pot", "ohm", 1.0, 1e8),
        _part("potentiometer", "the fine-tune pot", "ohm", 1.0, 1e8),
        _part("lower_resistor", "from the pot to earth", "ohm", 1.0, 1e8),
        _part("feed_resistor", "from the pot's wiper to the base", "ohm", 1.0, 1e8),
        _part("emitter_resistor", "from emitter to earth", "ohm", 1.0, 1e8),
        _part("wiper_capacitor", "from the pot's wiper to earth", "F", 1e-12, 1e-3),
        _part("base_capacitor", "from base to earth", "F", 1e-12, 1e-3),
        _part(
            "coupling_capacitor",
            "from the collector to the output resistor, which stands in [coupling]",
            "F",
            1e-12,
            1e-4,
        ),
        *pots,
        Key("circuit", "board", "what it is built on, to judge stray by", None, choices=tuple(BOARDS)),
    )


def _transistor_keys() -> tuple[Key, ...]:
    part = Transistor()
    emitter, collector = part.emitter_junction, part.collector_junction
    return (
        Key("transistor", "saturation_current", "of the emitter junction", part.saturation_current, "A", 1e-20, 1e-6),
        Key("transistor", "forward_gain", "current gain", part.forward_gain, "ratio", 1.0, 1e4),
        Key(
            "transistor",
            "reverse_gain",
            "current gain with collector and emitter exchanged",
            part.reverse_gain,
            "ratio",
            0.01,
            1e3,
        ),
        Key("transistor", "base_resistance", "of the base region; 0: none", part.base_resistance, "ohm", 0.0, 1e4),
        Key("transistor", "early_voltage", "left out: no Early effect", part.early_voltage, "V", 1.0, 1e4),
        Key(
            "transistor",
            "emitter_capacitance",
            "of the emitter junction without voltage",
            emitter.zero_bias_capacitance,
            "F",
            1e-14,
            1e-8,
        ),
        Key(
            "transistor",
            "collector_capacitance",
            "of the collector junction without voltage",
            collector.zero_bias_capacitance,
            "F",
            1e-14,
            1e-8,
        ),
        Key("transistor", "forward_transit", "transit time", emitter.transit_time, "s", 0.0, 1e-6),
        Key(
            "transistor",
            "reverse_transit",
            "transit time with collector and emitter exchanged",
            collector.transit_time,
            "s",
            0.0,
            1e-5,
        ),
        Key("transistor", "temperature", "of the junctions", part.temperature, "K", 200.0, 450.0),
    )


def _tolerance_keys() -> tuple[Key, ...]:
    def limit(name: str, help: str, default: float, high: float = 0.9) -> Key:
        return Key("tolerances", name, help, default, "percent", 0.0, high)

    return (
        limit("inductor", "of the tank coils, either way", 0.05),
        limit("capacitor", "of the fixed capacitors (and of the divider in [circuit])", 0.05),
        limit("trimmer", "of both ends of a trimmer together", 0.10),
        limit("branch_inductor", "of the series inductor", 0.05),
        limit("stray", "spread of what board, wiring and coil windings add", 0.20),
        limit("antenna_stray", "spread of the antenna's mount and lead", 0.20),
        limit("junction", "spread of the transistor's capacitance, with [circuit] only", 0.30),
        limit("gain", "spread of the transistors' current gain, with [circuit] only; told, not in the builds", 0.50),
        Key(
            "tolerances",
            "parts",
            "how bought parts scatter in their limits (normal: limits at 3 sigma, cut there)",
            "uniform",
            choices=SCATTERS,
        ),
        Key("tolerances", "spreads", "how stray and junction scatter", "normal", choices=SCATTERS),
    )


def _temperature_keys() -> tuple[Key, ...]:
    def coefficient(name: str, help: str, default: float) -> Key:
        return Key("temperature", name, help, default, "ppm/K", -5e-3, 5e-3)

    return (
        coefficient("coil", "of the tank coils (from memory: air core +10 to +50, ferrite +100 to +1000)", 30e-6),
        coefficient("capacitor", "of the fixed capacitors (C0G 0 +-30; polystyrene about -125, from memory)", 0.0),
        coefficient("stray", "of stray, coil windings and trimmers; 0 until measured", 0.0),
        coefficient("branch_coil", "of the series inductor (ferrite, from memory +100 to +1000)", 200e-6),
        coefficient("antenna_stray", "of the antenna's mount and lead; 0 until measured", 0.0),
        coefficient("coil_mismatch", "reference coil above the variable one", 10e-6),
        coefficient("capacitor_mismatch", "reference capacitor above the variable one", 30e-6),
        Key(
            "temperature",
            "gain",
            "of the transistors' current gain, with [circuit] (from memory +3000 to +7000)",
            5e-3,
            "ppm/K",
            -2e-2,
            2e-2,
        ),
        Key("temperature", "warm_up_rise", "of the parts from cold to warm", 10.0, "K", 0.0, 100.0),
        Key("temperature", "warm_up_time", "time constant of that rise: 63 % of it is done", 600.0, "s", 1.0, 1e5),
    )


def _goal_keys() -> tuple[Key, ...]:
    return (
        Key("goals", "zero_beat", "share of builds whose trimmer must reach zero beat", None, "percent", 0.0, 1.0),
        Key(
            "goals",
            "nearest",
            "nearest playing distance of the hand: where the highest note is read",
            0.05,
            "m",
            0.011,
            0.5,
        ),
        Key("goals", "farthest", "farthest playing distance: where the lowest note is read", 0.40, "m", 0.02, 0.8),
        Key("goals", "lowest", "a build must go down to this note or lower", None, "Hz", 20.0, 2e4),
        Key("goals", "highest", "a build must go up to this note or higher", None, "Hz", 20.0, 2e4),
        Key("goals", "even_from", "lowest note of the range whose evenness is judged", 65.406, "Hz", 20.0, 2e4),
        Key("goals", "even_to", "highest note of that range", 1046.502, "Hz", 20.0, 2e4),
        Key(
            "goals",
            "unevenness",
            "cents RMS from a straight line over that range that a build may have at most",
            None,
            "ratio",
            0.1,
            1e4,
        ),
        Key("goals", "good_builds", "share of builds that must meet all goals of a build", 0.90, "percent", 0.0, 1.0),
    )


KEYS: Final = (
    Key("design", "name", "shown in reports, stored in sound files", "unnamed design", longest=80, shortest=1),
    Key("design", "description", "anything worth remembering", "", longest=2000),
    Key("antenna", "length", "length of the rod", 0.45, "m", 0.05, 3.0),
    Key("antenna", "diameter", "diameter of the rod", 0.010, "m", 0.0005, 0.1),
    Key("antenna", "base_height", "its lower end above the floor", 1.0, "m", 0.02, 3.0),
    Key("antenna", "stray", "of its mount and lead to earth, beside the rod's own", 0.0, "F", 0.0, 1e-9),
    Key("cabinet", "width", "side to side for the player", 0.40, "m", 0.02, 2.0),
    Key("cabinet", "depth", "towards the player", 0.20, "m", 0.02, 2.0),
    Key("cabinet", "height", "of the box", 0.12, "m", 0.005, 2.0),
    Key("cabinet", "gap", "from the top of the box to the lower end of the rod", 0.02, "m", 0.002, 1.0),
    Key(
        "player",
        "body_capacitance",
        'of the body to earth through the shoes; "bonded": by a wire',
        100e-12,
        "F",
        0.0,
        1e-8,
        words={"bonded": None},
    ),
    Key("player", "stand_distance", "from the antenna's axis to the body's axis", 0.75, "m", 0.3, 2.0),
    Key(
        "player",
        "hand_height",
        "of the pitch hand above the floor; left out: the middle of the rod",
        None,
        "m",
        0.05,
        4.0,
    ),
    Key("player", "posture", "of the pitch hand", "open", choices=tuple(POSTURES)),
    *_tank_keys("variable"),
    Key(
        "variable",
        "tap",
        "where on the coil the series inductor is joined: share of the turns from its earthed end",
        1.0,
        "fraction",
        0.05,
        1.0,
    ),
    Key(
        "variable",
        "tap_coupling",
        "coupling of the turns below and above that tap; counts where there is one",
        TYPICAL_COUPLING,
        "ratio",
        0.01,
        1.0,
    ),
    Key("branch", "inductance", "inductance of the coil", unit="H", low=1e-6, high=10.0),
    Key("branch", "quality_factor", "Q of the coil at its working frequency", 60.0, "ratio", 1.1, 1e4),
    Key("branch", "self_capacitance", "capacitance across the coil", 0.0, "F", 0.0, 1e-9),
    *_tank_keys("reference"),
    *_circuit_keys(),
    *_transistor_keys(),
    Key(
        "tuning",
        "zero_beat",
        "hand distance of silence, found by the reference's trimmer; left out: the trimmer stays as given",
        None,
        "m",
        0.01,
        0.80,
    ),
    Key(
        "tuning",
        "mode",
        "which of the two frequencies of tank and series inductor is used",
        "auto",
        choices=("auto", "low", "high"),
    ),
    Key(
        "tuning",
        "law",
        "circuit: with all parts; lossless: resonance alone; left out: circuit where there is one",
        None,
        choices=LAWS,
    ),
    Key("tuning", "reference_a", "frequency of the note A4", 440.0, "Hz", 300.0, 600.0),
    Key(
        "coupling",
        "lock_range",
        'this close to zero beat the oscillators lock, in silence; "computed": by the parts below',
        0.0,
        "Hz",
        0.0,
        1e4,
        words={"computed": None},
    ),
    Key("coupling", "reference_resistor", "from the reference's output to the common node", 47e3, "ohm", 1.0, 1e9),
    Key(
        "coupling",
        "variable_resistor",
        "from the variable oscillator's output to the common node",
        47e3,
        "ohm",
        1.0,
        1e9,
    ),
    Key("coupling", "node_resistance", "of the common node to earth, the detector's input", 100e3, "ohm", 1.0, 1e9),
    Key("coupling", "node_capacitance", "of the common node to earth, with its wiring", 20e-12, "F", 0.0, 1e-8),
    Key("detector", "kind", "product: pure tone; envelope, junction, diode: brighter", "product", choices=DETECTORS),
    Key(
        "detector",
        "amplitudes",
        "given: as written below; circuit: as the oscillators deliver; left out: by tuning.law",
        None,
        choices=AMPLITUDES,
    ),
    Key("detector", "amplitude_ratio", "weaker signal over the stronger one", 1.0, "ratio", 0.001, 1.0),
    Key(
        "detector",
        "drive",
        "junction only: peak voltage of the stronger signal over 25.85 mV",
        1.0,
        "ratio",
        0.001,
        100.0,
    ),
    Key("detector", "amplitude", "diode only, as all below: peak voltage of the stronger signal", 1.0, "V", 1e-3, 5.0),
    Key("detector", "load_resistance", "behind the diode", 100e3, "ohm", 100.0, 1e8),
    Key(
        "detector",
        "load_capacitance",
        "across that resistor: it follows the beat, not the radio frequency",
        1e-9,
        "F",
        1e-12,
        1e-6,
    ),
    Key("detector", "source_resistance", "in front of the diode", 0.0, "ohm", 0.0, 1e7),
    Key(
        "detector",
        "saturation_current",
        "of the diode (typical of small germanium or Schottky ones, from memory)",
        0.2e-6,
        "A",
        1e-15,
        1e-3,
    ),
    Key("detector", "emission_factor", "of the diode (typical, from memory)", 1.1, "ratio", 1.0, 3.0),
    Key("tone", "low_pass", "corner of the filter behind the detector", 8000.0, "Hz", 100.0, 20000.0),
    Key("tone", "dc_block", "corner of the output's coupling capacitor", 10.0, "Hz", 0.1, 100.0),
    Key("tone", "level", "peak of the loudest tone, of full scale", 0.5, "fraction", 0.0, 1.0),
    Key("volume_antenna", "diameter", "of the ring, to the middle of its tube", 0.22, "m", 0.03, 1.0),
    Key("volume_antenna", "tube_diameter", "of the ring's tube", 0.008, "m", 0.0005, 0.1),
    Key("volume_antenna", "height", "of the ring above the floor", 1.0, "m", 0.05, 3.0),
    Key("volume_antenna", "offset", "from the rod's axis sideways to the ring's", 0.45, "m", 0.05, 2.0),
    Key("volume_antenna", "stray", "of its mount and lead to earth, beside the ring's own", 0.0, "F", 0.0, 1e-9),
    *_tank_keys("volume"),
    Key("volume_response", "inductance", "coil of the fixed resonator", unit="H", low=1e-6, high=1.0),
    Key("volume_response", "capacitance", "capacitor of the fixed resonator", unit="F", low=1e-12, high=1e-6),
    Key("volume_response", "quality_factor", "Q of the fixed resonator, its load included", 100.0, "ratio", 2.0, 1e4),
    Key(
        "volume_response", "amplitude", "peak voltage at the rectifier with the resonator in tune", 8.0, "V", 0.1, 500.0
    ),
    Key("volume_response", "diode_drop", "of the rectifier's diode", 0.3, "V", 0.0, 2.0),
    Key("volume_response", "detector_resistance", "load of the rectifier", 100e3, "ohm", 100.0, 1e8),
    Key("volume_response", "detector_capacitance", "capacitor of the rectifier", 22e-9, "F", 1e-12, 1e-4),
    Key("volume_response", "threshold", "control voltage up to which it is silent", 2.5, "V", 0.0, 500.0),
    Key("volume_response", "full", "control voltage from which it is as loud as can be", 6.8, "V", 0.01, 500.0),
    Key(
        "volume_response",
        "full_height",
        "hand above the ring at full volume, found by volume.trimmer; left out: that stays as given",
        None,
        "m",
        0.02,
        0.60,
    ),
    *_tolerance_keys(),
    *_temperature_keys(),
    *_goal_keys(),
)

_BY_NAME: Final = {(key.section, key.name): key for key in KEYS}


def key_named(section: str, name: str) -> Key:
    """The key `section.name`; raise KeyError for one that is not in the table."""
    return _BY_NAME[section, name]


def keys_of(section: str) -> tuple[Key, ...]:
    """The keys of a section in the table's order."""
    return tuple(key for key in KEYS if key.section == section)


def default_of(section: str, name: str) -> Any:
    """The default of a key (for the dataclasses of `synth.designs.sections`)."""
    return key_named(section, name).default
