"""The one table of a design file: sections and keys with unit, domain, default and help.

Reading, checking, writing, the commented template and the key reference all follow this table.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from models.detector import DETECTORS
from models.scene import POSTURES


class _Required:
    """Marks a key without a default."""

    def __repr__(self) -> str:
        return "required"


REQUIRED: Final = _Required()


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
    Section("tuning", "How the instrument is set up before playing."),
    Section("coupling", "How strongly the two oscillators disturb each other."),
    Section("detector", "What makes the audible beat from the two oscillators."),
    Section("tone", "From the detector to the output."),
)


def _tank_keys(section: str) -> tuple[Key, ...]:
    return (
        Key(section, "inductance", "inductance of the coil", unit="H", low=1e-6, high=1.0),
        Key(section, "capacitance", "fixed capacitor", unit="F", low=1e-12, high=1e-6),
        Key(section, "stray", "what wiring, coil and transistor add; measure it, it is never zero",
            0.0, "F", 0.0, 1e-8),
        Key(section, "trimmer_minimum", "trimmer capacitor, all the way out", 0.0, "F", 0.0, 1e-8),
        Key(section, "trimmer_maximum", "trimmer capacitor, all the way in", 0.0, "F", 0.0, 1e-8),
        Key(section, "trimmer", "position of the trimmer, 0 = out, 1 = in", 0.5, "fraction", 0.0, 1.0),
        Key(section, "quality_factor", "Q of the coil at its working frequency", 100.0, "ratio", 1.0, 1e4),
    )  # fmt: skip


KEYS: Final = (
    Key("design", "name", "shown in reports, stored in sound files", "unnamed design", longest=80),
    Key("design", "description", "anything worth remembering", "", longest=2000),
    Key("antenna", "length", "length of the rod", 0.45, "m", 0.05, 3.0),
    Key("antenna", "diameter", "diameter of the rod", 0.010, "m", 0.0005, 0.1),
    Key("antenna", "base_height", "its lower end above the floor", 1.0, "m", 0.02, 3.0),
    Key("antenna", "stray", "of its mount and lead to earth, beside the rod's own", 0.0, "F", 0.0, 1e-9),
    Key("cabinet", "width", "side to side for the player", 0.40, "m", 0.02, 2.0),
    Key("cabinet", "depth", "towards the player", 0.20, "m", 0.02, 2.0),
    Key("cabinet", "height", "of the box", 0.12, "m", 0.005, 2.0),
    Key("cabinet", "gap", "from the top of the box to the lower end of the rod", 0.02, "m", 0.002, 1.0),
    Key("player", "body_capacitance", 'of the body to earth through the shoes; "bonded": by a wire',
        100e-12, "F", 0.0, 1e-8, words={"bonded": None}),
    Key("player", "stand_distance", "from the antenna's axis to the body's axis", 0.75, "m", 0.3, 2.0),
    Key("player", "hand_height", "of the pitch hand above the floor; left out: the middle of the rod",
        None, "m", 0.05, 4.0),
    Key("player", "posture", "of the pitch hand", "open", choices=tuple(POSTURES)),
    *_tank_keys("variable"),
    Key("branch", "inductance", "inductance of the coil", unit="H", low=1e-6, high=10.0),
    Key("branch", "quality_factor", "Q of the coil at its working frequency", 60.0, "ratio", 1.0, 1e4),
    Key("branch", "self_capacitance", "capacitance across the coil", 0.0, "F", 0.0, 1e-9),
    *_tank_keys("reference"),
    Key("tuning", "zero_beat", "hand distance of silence, found by the reference's trimmer; left out: the "
        "trimmer stays as given", None, "m", 0.01, 0.80),
    Key("tuning", "mode", "which of the two frequencies of tank and series inductor is used", "auto",
        choices=("auto", "low", "high")),
    Key("tuning", "reference_a", "frequency of the note A4", 440.0, "Hz", 300.0, 600.0),
    Key("coupling", "lock_range", "the oscillators lock, and the beat is silent, this close to zero beat",
        0.0, "Hz", 0.0, 1e4),
    Key("detector", "kind", "product: pure tone; envelope, junction: brighter", "product", choices=DETECTORS),
    Key("detector", "amplitude_ratio", "weaker signal over the stronger one", 1.0, "ratio", 0.001, 1.0),
    Key("detector", "drive", "junction only: peak voltage of the stronger signal over 25.85 mV",
        1.0, "ratio", 0.001, 100.0),
    Key("tone", "low_pass", "corner of the filter behind the detector", 8000.0, "Hz", 100.0, 20000.0),
    Key("tone", "dc_block", "corner of the output's coupling capacitor", 10.0, "Hz", 0.1, 100.0),
    Key("tone", "level", "peak of the loudest tone, of full scale", 0.5, "fraction", 0.0, 1.0),
)  # fmt: skip

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
