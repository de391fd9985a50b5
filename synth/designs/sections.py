"""A design as values: frozen sections of SI floats, every default taken from the table of keys.

Each section checks its values against the table, the design checks them against each other; both raise
DesignError (a ValueError) naming section, key and remedy.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any, ClassVar

from synth.designs.checks import cross_faults
from synth.designs.schema import default_of, key_named
from synth.designs.value import check_value
from synth.errors import DesignError


class _Checked:
    """Checks every field of a section against its key."""

    __slots__ = ()
    section: ClassVar[str]

    def __post_init__(self) -> None:
        for name in (entry.name for entry in fields(self)):  # type: ignore[arg-type]
            value = getattr(self, name)
            try:
                checked = check_value(key_named(self.section, name), value)
            except DesignError as error:
                raise DesignError(f"{self.section}.{name} = {value!r}: {error}") from None
            object.__setattr__(self, name, checked)


@dataclass(frozen=True, slots=True)
class About(_Checked):
    """Name and description."""

    section: ClassVar[str] = "design"
    name: str = default_of("design", "name")
    description: str = default_of("design", "description")


@dataclass(frozen=True, slots=True)
class AntennaSection(_Checked):
    """The pitch antenna, m and F."""

    section: ClassVar[str] = "antenna"
    length: float = default_of("antenna", "length")
    diameter: float = default_of("antenna", "diameter")
    base_height: float = default_of("antenna", "base_height")
    stray: float = default_of("antenna", "stray")


@dataclass(frozen=True, slots=True)
class CabinetSection(_Checked):
    """The earthed box under the antenna, m."""

    section: ClassVar[str] = "cabinet"
    width: float = default_of("cabinet", "width")
    depth: float = default_of("cabinet", "depth")
    height: float = default_of("cabinet", "height")
    gap: float = default_of("cabinet", "gap")


@dataclass(frozen=True, slots=True)
class PlayerSection(_Checked):
    """The player, F and m. body_capacitance None: bonded to earth; hand_height None: middle of the rod."""

    section: ClassVar[str] = "player"
    body_capacitance: float | None = default_of("player", "body_capacitance")
    stand_distance: float = default_of("player", "stand_distance")
    hand_height: float | None = default_of("player", "hand_height")
    posture: str = default_of("player", "posture")


@dataclass(frozen=True, slots=True)
class _TankSection(_Checked):
    """An oscillator's tank, H and F; `trimmer` is the trimmer's position, 0 to 1."""

    section: ClassVar[str] = "variable"
    inductance: float
    capacitance: float
    stray: float = default_of("variable", "stray")
    self_capacitance: float = default_of("variable", "self_capacitance")
    trimmer_minimum: float = default_of("variable", "trimmer_minimum")
    trimmer_maximum: float = default_of("variable", "trimmer_maximum")
    trimmer: float = default_of("variable", "trimmer")
    quality_factor: float = default_of("variable", "quality_factor")


@dataclass(frozen=True, slots=True)
class VariableSection(_TankSection):
    """Tank of the variable oscillator; `tap` is where its coil is tapped, 1: not, `tap_coupling` that of both parts."""

    section: ClassVar[str] = "variable"
    tap: float = default_of("variable", "tap")
    tap_coupling: float = default_of("variable", "tap_coupling")


@dataclass(frozen=True, slots=True)
class ReferenceSection(_TankSection):
    """Tank of the reference oscillator."""

    section: ClassVar[str] = "reference"


@dataclass(frozen=True, slots=True)
class BranchSection(_Checked):
    """The series inductor between tank and antenna, H and F."""

    section: ClassVar[str] = "branch"
    inductance: float
    quality_factor: float = default_of("branch", "quality_factor")
    self_capacitance: float = default_of("branch", "self_capacitance")


@dataclass(frozen=True, slots=True)
class CircuitSection(_Checked):
    """The parts around the tanks, V, ohm and F; see `models.circuit.common_base`. board None: not said."""

    section: ClassVar[str] = "circuit"
    supply_voltage: float = default_of("circuit", "supply_voltage")
    supply_resistor: float = default_of("circuit", "supply_resistor")
    supply_capacitor: float = default_of("circuit", "supply_capacitor")
    feedback_capacitor: float = default_of("circuit", "feedback_capacitor")
    emitter_capacitor: float = default_of("circuit", "emitter_capacitor")
    upper_resistor: float = default_of("circuit", "upper_resistor")
    potentiometer: float = default_of("circuit", "potentiometer")
    lower_resistor: float = default_of("circuit", "lower_resistor")
    feed_resistor: float = default_of("circuit", "feed_resistor")
    emitter_resistor: float = default_of("circuit", "emitter_resistor")
    wiper_capacitor: float = default_of("circuit", "wiper_capacitor")
    base_capacitor: float = default_of("circuit", "base_capacitor")
    coupling_capacitor: float = default_of("circuit", "coupling_capacitor")
    reference_pot: float = default_of("circuit", "reference_pot")
    variable_pot: float = default_of("circuit", "variable_pot")
    volume_pot: float = default_of("circuit", "volume_pot")
    board: str | None = default_of("circuit", "board")


@dataclass(frozen=True, slots=True)
class TransistorSection(_Checked):
    """The transistor, SI units; see `models.circuit.transistor`. early_voltage None: no Early effect."""

    section: ClassVar[str] = "transistor"
    saturation_current: float = default_of("transistor", "saturation_current")
    forward_gain: float = default_of("transistor", "forward_gain")
    reverse_gain: float = default_of("transistor", "reverse_gain")
    base_resistance: float = default_of("transistor", "base_resistance")
    early_voltage: float | None = default_of("transistor", "early_voltage")
    emitter_capacitance: float = default_of("transistor", "emitter_capacitance")
    collector_capacitance: float = default_of("transistor", "collector_capacitance")
    forward_transit: float = default_of("transistor", "forward_transit")
    reverse_transit: float = default_of("transistor", "reverse_transit")
    temperature: float = default_of("transistor", "temperature")


@dataclass(frozen=True, slots=True)
class TuningSection(_Checked):
    """Set-up before playing, m and Hz. zero_beat None: the reference's trimmer stays as given; law None: `Design.law`
    says which.
    """

    section: ClassVar[str] = "tuning"
    zero_beat: float | None = default_of("tuning", "zero_beat")
    mode: str = default_of("tuning", "mode")
    law: str | None = default_of("tuning", "law")
    reference_a: float = default_of("tuning", "reference_a")


@dataclass(frozen=True, slots=True)
class CouplingSection(_Checked):
    """Coupling between the oscillators, Hz, ohm and F. lock_range None: computed from the other parts."""

    section: ClassVar[str] = "coupling"
    lock_range: float | None = default_of("coupling", "lock_range")
    reference_resistor: float = default_of("coupling", "reference_resistor")
    variable_resistor: float = default_of("coupling", "variable_resistor")
    node_resistance: float = default_of("coupling", "node_resistance")
    node_capacitance: float = default_of("coupling", "node_capacitance")


@dataclass(frozen=True, slots=True)
class DetectorSection(_Checked):
    """The detector; see `models.detector.memoryless.Detector`. amplitudes None: see `Design.circuit_amplitudes`."""

    section: ClassVar[str] = "detector"
    kind: str = default_of("detector", "kind")
    amplitudes: str | None = default_of("detector", "amplitudes")
    amplitude_ratio: float = default_of("detector", "amplitude_ratio")
    drive: float = default_of("detector", "drive")
    amplitude: float = default_of("detector", "amplitude")
    load_resistance: float = default_of("detector", "load_resistance")
    load_capacitance: float = default_of("detector", "load_capacitance")
    source_resistance: float = default_of("detector", "source_resistance")
    saturation_current: float = default_of("detector", "saturation_current")
    emission_factor: float = default_of("detector", "emission_factor")


@dataclass(frozen=True, slots=True)
class ToneSection(_Checked):
    """Filters, Hz, and level, 0 to 1 of full scale."""

    section: ClassVar[str] = "tone"
    low_pass: float = default_of("tone", "low_pass")
    dc_block: float = default_of("tone", "dc_block")
    level: float = default_of("tone", "level")


@dataclass(frozen=True, slots=True)
class VolumeAntennaSection(_Checked):
    """The ring under the volume hand, m and F."""

    section: ClassVar[str] = "volume_antenna"
    diameter: float = default_of("volume_antenna", "diameter")
    tube_diameter: float = default_of("volume_antenna", "tube_diameter")
    height: float = default_of("volume_antenna", "height")
    offset: float = default_of("volume_antenna", "offset")
    stray: float = default_of("volume_antenna", "stray")


@dataclass(frozen=True, slots=True)
class VolumeSection(_TankSection):
    """Tank of the volume oscillator."""

    section: ClassVar[str] = "volume"


@dataclass(frozen=True, slots=True)
class VolumeResponseSection(_Checked):
    """Fixed resonator, H and F, rectifier, V, ohm and F, gain stage, V, and the set-up of full volume, m."""

    section: ClassVar[str] = "volume_response"
    inductance: float
    capacitance: float
    quality_factor: float = default_of("volume_response", "quality_factor")
    amplitude: float = default_of("volume_response", "amplitude")
    diode_drop: float = default_of("volume_response", "diode_drop")
    detector_resistance: float = default_of("volume_response", "detector_resistance")
    detector_capacitance: float = default_of("volume_response", "detector_capacitance")
    threshold: float = default_of("volume_response", "threshold")
    full: float = default_of("volume_response", "full")
    full_height: float | None = default_of("volume_response", "full_height")


@dataclass(frozen=True, slots=True)
class TolerancesSection(_Checked):
    """Limits either way, as fractions, and how parts scatter within them."""

    section: ClassVar[str] = "tolerances"
    inductor: float = default_of("tolerances", "inductor")
    capacitor: float = default_of("tolerances", "capacitor")
    trimmer: float = default_of("tolerances", "trimmer")
    branch_inductor: float = default_of("tolerances", "branch_inductor")
    stray: float = default_of("tolerances", "stray")
    antenna_stray: float = default_of("tolerances", "antenna_stray")
    junction: float = default_of("tolerances", "junction")
    gain: float = default_of("tolerances", "gain")
    parts: str = default_of("tolerances", "parts")
    spreads: str = default_of("tolerances", "spreads")


@dataclass(frozen=True, slots=True)
class TemperatureSection(_Checked):
    """Temperature coefficients, 1/K, mismatch of the two oscillators, 1/K, and warm-up, K and s."""

    section: ClassVar[str] = "temperature"
    coil: float = default_of("temperature", "coil")
    capacitor: float = default_of("temperature", "capacitor")
    stray: float = default_of("temperature", "stray")
    branch_coil: float = default_of("temperature", "branch_coil")
    antenna_stray: float = default_of("temperature", "antenna_stray")
    coil_mismatch: float = default_of("temperature", "coil_mismatch")
    capacitor_mismatch: float = default_of("temperature", "capacitor_mismatch")
    gain: float = default_of("temperature", "gain")
    warm_up_rise: float = default_of("temperature", "warm_up_rise")
    warm_up_time: float = default_of("temperature", "warm_up_time")


@dataclass(frozen=True, slots=True)
class GoalsSection(_Checked):
    """What builds must do, shares as fractions, m, Hz, unevenness in cents; None: not asked."""

    section: ClassVar[str] = "goals"
    zero_beat: float | None = default_of("goals", "zero_beat")
    nearest: float = default_of("goals", "nearest")
    farthest: float = default_of("goals", "farthest")
    lowest: float | None = default_of("goals", "lowest")
    highest: float | None = default_of("goals", "highest")
    even_from: float = default_of("goals", "even_from")
    even_to: float = default_of("goals", "even_to")
    unevenness: float | None = default_of("goals", "unevenness")
    good_builds: float = default_of("goals", "good_builds")


@dataclass(frozen=True, slots=True)
class Design:
    """A whole design. None where a part is not there: no `cabinet`; no `branch`, the antenna directly on the tank; no
    `circuit`, the oscillators by their resonance alone; no `transistor`, the circuit's with its default values; no
    `volume_antenna` (then neither `volume` nor `volume_response`), the volume hand a plain gain.
    """

    variable: VariableSection
    reference: ReferenceSection
    about: About = field(default_factory=About)
    antenna: AntennaSection = field(default_factory=AntennaSection)
    player: PlayerSection = field(default_factory=PlayerSection)
    tuning: TuningSection = field(default_factory=TuningSection)
    coupling: CouplingSection = field(default_factory=CouplingSection)
    detector: DetectorSection = field(default_factory=DetectorSection)
    tone: ToneSection = field(default_factory=ToneSection)
    cabinet: CabinetSection | None = None
    branch: BranchSection | None = None
    circuit: CircuitSection | None = None
    transistor: TransistorSection | None = None
    volume_antenna: VolumeAntennaSection | None = None
    volume: VolumeSection | None = None
    volume_response: VolumeResponseSection | None = None
    tolerances: TolerancesSection | None = None
    temperature: TemperatureSection | None = None
    goals: GoalsSection | None = None

    def __post_init__(self) -> None:
        faults = cross_faults(sections_of(self))
        if faults:
            raise DesignError("\n".join(f"{place}: {fault}" for place, fault in faults))

    @property
    def name(self) -> str:
        """The design's name."""
        return self.about.name

    @property
    def law(self) -> str:
        """ "circuit": the oscillators are solved with all their parts; "lossless": by their resonance alone."""
        return self.tuning.law or ("lossless" if self.circuit is None else "circuit")

    @property
    def circuit_amplitudes(self) -> bool:
        """Whether the detector gets the amplitudes that the oscillators deliver, not those written down."""
        return (self.detector.amplitudes or ("circuit" if self.law == "circuit" else "given")) == "circuit"


SECTION_TYPES: dict[str, type[Any]] = {
    kind.section: kind
    for kind in (
        About,
        AntennaSection,
        CabinetSection,
        PlayerSection,
        VariableSection,
        BranchSection,
        ReferenceSection,
        CircuitSection,
        TransistorSection,
        TuningSection,
        CouplingSection,
        DetectorSection,
        ToneSection,
        VolumeAntennaSection,
        VolumeSection,
        VolumeResponseSection,
        TolerancesSection,
        TemperatureSection,
        GoalsSection,
    )
}


def field_of_section(section: str) -> str:
    """The field of `Design` that holds a section."""
    return "about" if section == "design" else section


def sections_of(design: Design) -> dict[str, dict[str, Any] | None]:
    """The design as plain dictionaries: section -> key -> value, None for a part that is not there."""
    result: dict[str, dict[str, Any] | None] = {}
    for section in SECTION_TYPES:
        part = getattr(design, field_of_section(section))
        result[section] = None if part is None else {entry.name: getattr(part, entry.name) for entry in fields(part)}
    return result
