"""From a design to an instrument ready to play: tanks, branch, oscillator mode, the reference tuned by its trimmer."""

from __future__ import annotations

from dataclasses import dataclass

from models.branch.antenna_branch import DIRECT, SeriesInductor, mode_frequencies, preferred_mode
from models.branch.tapped_coil import branch_from_tap, seen_from_tap
from models.detector.diode import DiodeLoad
from models.detector.memoryless import Detector
from models.hand.capacitance_curve import CapacitanceCurve
from models.hand.scene import Cabinet, Player, RodAntenna, Scene
from models.injection import OutputCoupling, effective_capacitance, lock_range
from models.instrument import Instrument
from models.tank import Tank, required_capacitance
from models.volume.volume_antenna import VolumeAntenna
from synth.build.circuit_assembly import TunedPair, circuit_pair, resonance_of, tap_of
from synth.build.tuning_notices import margin_notice, out_of_reach_notice
from synth.build.volume_assembly import assemble_volume
from synth.designs.quantity import format_quantity
from synth.designs.sections import Design, ReferenceSection, VariableSection, VolumeSection
from synth.errors import DesignError

STRONG_COUPLING = 0.3  # of half the tanks' bandwidth: beyond, a computed lock range is rough


@dataclass(frozen=True, slots=True)
class Assembly:
    """A design put together: the instrument, the reference's tank with its trimmer set, and what to know of it.

    `volume` is None where the volume hand is a plain gain.
    """

    instrument: Instrument
    reference: Tank
    notices: tuple[str, ...]
    volume: VolumeAntenna | None = None


def scene_of(design: Design) -> Scene:
    """What the antenna's capacitance depends on. Raises DesignError where the parts do not fit together."""
    antenna, player, box = design.antenna, design.player, design.cabinet
    try:
        return Scene(
            antenna=RodAntenna(antenna.length, antenna.diameter, antenna.base_height),
            cabinet=None if box is None else Cabinet(box.width, box.depth, box.height, box.gap),
            player=Player(player.body_capacitance, player.stand_distance, player.hand_height),
        )
    except ValueError as error:
        raise DesignError(f"{design.name}: antenna, cabinet and player do not fit together: {error}") from error


def assemble(design: Design, curve: CapacitanceCurve, loop_curve: CapacitanceCurve | None = None) -> Assembly:
    """The instrument of `design` in the hand field `curve`, with its volume antenna in the field `loop_curve`.

    Without `loop_curve` the volume antenna is left out, as if the design had none.

    With tuning.law "circuit" both oscillators are solved as circuits (`circuit_assembly`), else by their resonance.
    With tuning.zero_beat the reference's trimmer is set for silence at that distance; where it cannot get there it
    stays at the nearer end and a notice says what is missing. With tuning.mode "auto" the oscillator takes the mode
    that starts first. Raises DesignError where the zero beat lies outside the field.
    """
    branch = branch_of(design)
    zero_beat = design.tuning.zero_beat
    distance = curve.farthest if zero_beat is None else _within(curve, zero_beat)
    capacitance = float(curve.capacitance(distance)) + design.antenna.stray
    if design.law == "circuit":
        pair = circuit_pair(design, curve, branch, capacitance, distance)
    else:
        pair = lossless_pair(design, branch, capacitance, distance)
    locked, coupled = lock_range_of(design, pair, branch, capacitance)
    tone = design.tone
    try:
        instrument = Instrument(
            curve=curve,
            variable_tank=pair.variable,
            reference_frequency=pair.reference_frequency,
            branch=branch,
            antenna_stray=design.antenna.stray,
            mode=pair.mode,
            lock_range=locked,
            detector=detector_of(design, pair.reference_frequency),
            tone_low_pass=tone.low_pass,
            dc_block=tone.dc_block,
            level=tone.level,
            variable_law=pair.law,
            reference_amplitude=pair.node_amplitude if design.circuit_amplitudes else None,
            tap_ratio=tap_of(design).ratio,
        )
        for end in (curve.nearest, curve.farthest):
            instrument.detector_at(end)
    except ValueError as error:
        raise DesignError(f"{design.name}: the detector cannot take what it is given: {error}") from error
    notices = pair.notices + coupled + instrument.warnings()
    if loop_curve is None or design.volume is None:
        return Assembly(instrument, pair.reference, notices)
    volume, remarks = assemble_volume(design, tank_in(design, "volume"), loop_curve)
    return Assembly(instrument, pair.reference, notices + remarks, volume)


def lossless_pair(design: Design, branch: SeriesInductor, capacitance: float, distance: float) -> TunedPair:
    """Both oscillators by their resonance alone; see `TunedPair`. Antenna F (stray included), zero beat m."""
    variable, reference = seen_from_tap(tank_in(design, "variable"), tap_of(design)), tank_in(design, "reference")
    mode = design.tuning.mode if design.tuning.mode != "auto" else preferred_mode(variable, branch, capacitance)
    notices: tuple[str, ...] = ()
    if design.tuning.zero_beat is not None:
        target = _variable_frequency(variable, branch, capacitance, mode)
        reference, notices = tuned_reference(reference, target, distance)
    coupling = design.coupling
    ratio = design.detector.amplitude_ratio * coupling.variable_resistor / coupling.reference_resistor
    return TunedPair(variable, reference, mode, reference.frequency, ratio, notices)


def tank_in(design: Design, which: str) -> Tank:
    """The resonance of the "reference", "variable" or "volume" oscillator, its trimmer as written; with a [circuit] the
    parts around the tank are counted, without one they are part of the section's stray.
    """
    return tank_of(getattr(design, which)) if design.circuit is None else resonance_of(design, which)


def tank_of(section: VariableSection | ReferenceSection | VolumeSection) -> Tank:
    """The tank that a section describes, its trimmer as given."""
    return Tank(
        inductance=section.inductance,
        capacitance=section.capacitance,
        stray=section.stray + section.self_capacitance,
        trimmer_minimum=section.trimmer_minimum,
        trimmer_maximum=section.trimmer_maximum,
        trimmer_setting=section.trimmer,
        quality_factor=section.quality_factor,
    )


def branch_of(design: Design) -> SeriesInductor:
    """The series inductor of a design, or none (`DIRECT`); at a tap of the coil with the coil's leakage in it."""
    part = design.branch
    if part is None:
        return DIRECT
    branch = SeriesInductor(part.inductance, part.quality_factor, part.self_capacitance)
    if design.variable.tap == 1.0:
        return branch
    try:
        return branch_from_tap(branch, tank_in(design, "variable"), tap_of(design))
    except ValueError as error:
        raise DesignError(f"{design.name}: [branch] at variable.tap: {error}") from error


def detector_of(design: Design, radio_frequency: float) -> Detector:
    """The detector of a design, with the `radio_frequency`, Hz, that leaves a ripple."""
    part = design.detector
    if part.kind != "diode":
        return Detector(part.kind, part.amplitude_ratio, part.drive)
    diode = DiodeLoad(
        resistance=part.load_resistance,
        capacitance=part.load_capacitance,
        saturation_current=part.saturation_current,
        emission_factor=part.emission_factor,
        source_resistance=part.source_resistance,
        radio_frequency=radio_frequency,
    )
    return Detector(part.kind, part.amplitude_ratio, part.drive, part.amplitude, diode)


def lock_range_of(
    design: Design, pair: TunedPair, branch: SeriesInductor, capacitance: float
) -> tuple[float, tuple[str, ...]]:
    """The lock range as given, Hz, or computed from the output resistors, with `capacitance` (F) at the antenna.

    Second, what to say about it: nothing, or that the coupling is too strong for the formula.

    Without a solved circuit, detector.amplitude_ratio is taken as variable over reference at the common node, where
    each arrives in inverse proportion to its resistor; so at the outputs it is that times the ratio of the resistors.
    """
    part = design.coupling
    if part.lock_range is not None:
        return part.lock_range, ()
    parts = OutputCoupling(part.reference_resistor, part.variable_resistor, part.node_resistance, part.node_capacitance)
    variable, reference, frequency = pair.variable, pair.reference, pair.reference_frequency
    seen = effective_capacitance(variable, branch, capacitance, pair.mode) * tap_of(design).ratio ** 2
    found = lock_range(parts, frequency, reference.total_capacitance, seen, pair.output_ratio)
    bandwidth = 0.5 * frequency / max(variable.quality_factor, reference.quality_factor)
    if found <= STRONG_COUPLING * bandwidth:
        return found, ()
    return found, (
        f"the computed lock range, {format_quantity(found, 'Hz')}, is not small against half the bandwidth of the "
        f"tanks, {format_quantity(bandwidth, 'Hz')}: take it as rough, and use larger output resistors or buffers",
    )


def tuned_reference(reference: Tank, target: float, distance: float) -> tuple[Tank, tuple[str, ...]]:
    """The reference with its trimmer set for `target` (Hz), or at its nearer end, and what to say about it.

    `distance` (m) is only named in the notices.
    """
    lowest, highest = reference.trimmer_range()
    if lowest <= target <= highest:
        tuned = reference.with_trimmer(reference.setting_for(target))
        return tuned, margin_notice(tuned.trimmer_setting, distance)
    end = reference.with_trimmer(1.0 if target < lowest else 0.0)
    middle = 0.5 * (reference.trimmer_minimum + reference.trimmer_maximum)
    fixed = float(required_capacitance(reference.inductance, target)) - reference.stray - middle
    return end, (out_of_reach_notice(end.frequency, target, distance, fixed, reference.capacitance),)


def _variable_frequency(tank: Tank, branch: SeriesInductor, capacitance: float, mode: str) -> float:
    """Frequency of the variable oscillator, Hz, with this antenna capacitance (F)."""
    inductance, own = branch.inductance, branch.self_capacitance
    low, high = mode_frequencies(tank.inductance, tank.total_capacitance, inductance, capacitance, own)
    return float(high if mode == "high" else low)


def _within(curve: CapacitanceCurve, distance: float) -> float:
    if not curve.nearest <= distance <= curve.farthest:
        limits = f"{format_quantity(curve.nearest, 'm')} to {format_quantity(curve.farthest, 'm')}"
        raise DesignError(f"tuning.zero_beat = {format_quantity(distance, 'm')}: the hand field reaches from {limits}")
    return distance
