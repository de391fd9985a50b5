"""The sections of a design that say how it is tuned and how it sounds: tuning, detector, tone, volume."""

from __future__ import annotations

from models.detector.memoryless import DETECTORS
from synth.designs.part_rows import Rows
from synth.designs.schema import SectionValues, choice, design_section, quantity, rows


@design_section("tuning", "How the instrument is set up before playing.")
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


@design_section(
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


@design_section("tone", "From the detector to the output.")
class ToneSection(SectionValues):
    """Filters, Hz, and level, 0 to 1 of full scale."""

    low_pass: float = quantity("corner of the filter behind the detector", ("Hz", 100.0, 20000.0), default=8000.0)
    dc_block: float = quantity("corner of the output's coupling capacitor", ("Hz", 0.1, 100.0), default=10.0)
    level: float = quantity("peak of the loudest tone, of full scale", ("fraction", 0.0, 1.0), default=0.5)


@design_section(
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
