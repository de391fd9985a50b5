"""A design as values: frozen sections of SI floats. Each key of a design file is declared once, as a field of the class
of its section: in `scene_sections`, `oscillator_sections`, `sound_sections` and `build_sections`.

Each section checks its values against its keys, the design checks them against each other; both raise DesignError
(a ValueError) naming section, key and remedy.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import field, fields
from typing import Any, Final, get_args, get_type_hints

from models.quick_dataclass import dataclass
from synth.designs.build_sections import GoalsSection, TemperatureSection, TolerancesSection
from synth.designs.checks import cross_faults
from synth.designs.oscillator_sections import (
    BranchSection,
    CircuitSection,
    CoilsSection,
    CouplingSection,
    ReferenceSection,
    SupplySection,
    TransistorSection,
    VariableSection,
    VolumeSection,
)
from synth.designs.scene_sections import (
    AntennaSection,
    CabinetSection,
    CommonSection,
    PlayerSection,
    RoomSection,
    VolumeAntennaSection,
)
from synth.designs.schema import Key, SectionValues, design_section, text
from synth.designs.sound_sections import DetectorSection, ToneSection, TuningSection, VolumeResponseSection
from synth.errors import DesignError


@design_section("design", "What this design is.")
class About(SectionValues):
    """Name and description."""

    name: str = text("shown in reports, stored in sound files", 80, shortest=1, default="unnamed design")
    description: str = text("anything worth remembering", 2000, default="")


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
