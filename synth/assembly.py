"""From a design to an instrument ready to play: tanks, branch, oscillator mode, the reference tuned by its trimmer."""

from __future__ import annotations

from dataclasses import dataclass

from models.antenna_branch import SeriesInductor, mode_frequencies, preferred_mode
from models.capacitance_curve import CapacitanceCurve
from models.detector import Detector
from models.diode_detector import DiodeLoad
from models.injection import OutputCoupling, effective_capacitance, lock_range
from models.instrument import Instrument
from models.scene import Cabinet, Player, RodAntenna, Scene
from models.tank import Tank, required_capacitance
from models.volume_antenna import VolumeAntenna
from synth.designs.sections import Design, ReferenceSection, VariableSection, VolumeSection
from synth.errors import DesignError
from synth.quantity import format_quantity
from synth.volume_assembly import assemble_volume

TRIMMER_MARGIN = 0.05  # of the trimmer's turn that should be left at either end


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

    With tuning.zero_beat the reference's trimmer is set for silence at that distance; where it cannot get there it
    stays at the nearer end and a notice says what is missing. With tuning.mode "auto" the oscillator takes the mode
    that starts first. Raises DesignError where the zero beat lies outside the field.
    """
    variable, reference = tank_of(design.variable), tank_of(design.reference)
    branch = branch_of(design)
    zero_beat = design.tuning.zero_beat
    distance = curve.farthest if zero_beat is None else _within(curve, zero_beat)
    capacitance = float(curve.capacitance(distance)) + design.antenna.stray
    mode = design.tuning.mode if design.tuning.mode != "auto" else preferred_mode(variable, branch, capacitance)
    notices: tuple[str, ...] = ()
    if zero_beat is not None:
        target = _variable_frequency(variable, branch, capacitance, mode)
        reference, notices = tuned_reference(reference, target, distance)
    tone = design.tone
    instrument = Instrument(
        curve=curve,
        variable_tank=variable,
        reference_frequency=reference.frequency,
        branch=branch,
        antenna_stray=design.antenna.stray,
        mode=mode,
        lock_range=lock_range_of(design, variable, reference, branch, capacitance, mode),
        detector=detector_of(design),
        tone_low_pass=tone.low_pass,
        dc_block=tone.dc_block,
        level=tone.level,
    )
    notices += instrument.warnings()
    if loop_curve is None or design.volume is None:
        return Assembly(instrument, reference, notices)
    volume, remarks = assemble_volume(design, tank_of(design.volume), loop_curve)
    return Assembly(instrument, reference, notices + remarks, volume)


def tank_of(section: VariableSection | ReferenceSection | VolumeSection) -> Tank:
    """The tank that a section describes, its trimmer as given."""
    return Tank(
        inductance=section.inductance,
        capacitance=section.capacitance,
        stray=section.stray,
        trimmer_minimum=section.trimmer_minimum,
        trimmer_maximum=section.trimmer_maximum,
        trimmer_setting=section.trimmer,
        quality_factor=section.quality_factor,
    )


def branch_of(design: Design) -> SeriesInductor | None:
    """The series inductor of a design, or None."""
    part = design.branch
    return None if part is None else SeriesInductor(part.inductance, part.quality_factor, part.self_capacitance)


def detector_of(design: Design) -> Detector:
    """The detector of a design. Its radio frequency, for the ripple, is the reference's with the trimmer as written."""
    part = design.detector
    if part.kind != "diode":
        return Detector(part.kind, part.amplitude_ratio, part.drive)
    diode = DiodeLoad(
        resistance=part.load_resistance,
        capacitance=part.load_capacitance,
        saturation_current=part.saturation_current,
        emission_factor=part.emission_factor,
        source_resistance=part.source_resistance,
        radio_frequency=tank_of(design.reference).frequency,
    )
    return Detector(part.kind, part.amplitude_ratio, part.drive, part.amplitude, diode)


def lock_range_of(
    design: Design, variable: Tank, reference: Tank, branch: SeriesInductor | None, capacitance: float, mode: str
) -> float:
    """The lock range as given, Hz, or computed from the output resistors, with `capacitance` (F) at the antenna.

    detector.amplitude_ratio is taken as variable over reference at the common node, where each arrives in inverse
    proportion to its resistor; so at the oscillators' outputs it is that times the ratio of the resistors.
    """
    part = design.coupling
    if part.lock_range is not None:
        return part.lock_range
    parts = OutputCoupling(
        part.reference_resistor, part.variable_resistor, part.node_resistance, part.node_capacitance
    )
    seen = effective_capacitance(variable, branch, capacitance, mode)
    ratio = design.detector.amplitude_ratio * part.variable_resistor / part.reference_resistor
    return lock_range(parts, reference.frequency, reference.total_capacitance, seen, ratio)


def tuned_reference(reference: Tank, target: float, distance: float) -> tuple[Tank, tuple[str, ...]]:
    """The reference with its trimmer set for `target` (Hz), or at its nearer end, and what to say about it.

    `distance` (m) is only named in the notices.
    """
    lowest, highest = reference.trimmer_range()
    place = f"zero beat at {format_quantity(distance, 'm')}"
    if lowest <= target <= highest:
        tuned = reference.with_trimmer(reference.setting_for(target))
        setting = tuned.trimmer_setting
        if TRIMMER_MARGIN <= setting <= 1.0 - TRIMMER_MARGIN:
            return tuned, ()
        room = 100.0 * min(setting, 1.0 - setting)
        return tuned, (f"the reference's trimmer gives {place} only {room:.1f} % of its turn from its end: "
                       "little is left for drift and tolerances",)  # fmt: skip
    end = reference.with_trimmer(1.0 if target < lowest else 0.0)
    miss = end.frequency - target
    side = "above" if miss > 0.0 else "below"
    notice = (
        f"the reference's trimmer cannot reach {place}: at its end it leaves the reference "
        f"{format_quantity(abs(miss), 'Hz')} {side} the {format_quantity(target, 'Hz', 6)} of the variable oscillator"
    )
    return end, (notice + "; " + _capacitor_remedy(reference, target),)


def _capacitor_remedy(reference: Tank, target: float) -> str:
    """Which fixed capacitor brings the reference to `target` (Hz) with its trimmer in the middle."""
    middle = 0.5 * (reference.trimmer_minimum + reference.trimmer_maximum)
    fixed = float(required_capacitance(reference.inductance, target)) - reference.stray - middle
    now = format_quantity(reference.capacitance, "F")
    if fixed <= 0.0:
        return f"no reference.capacitance does it (now {now}): choose a smaller reference.inductance"
    needed = format_quantity(fixed, "F")
    return f"reference.capacitance of {needed} (now {now}) brings it there with the trimmer in the middle"


def _variable_frequency(tank: Tank, branch: SeriesInductor | None, capacitance: float, mode: str) -> float:
    """Frequency of the variable oscillator, Hz, with this antenna capacitance (F)."""
    inductance, own = (0.0, 0.0) if branch is None else (branch.inductance, branch.self_capacitance)
    low, high = mode_frequencies(tank.inductance, tank.total_capacitance, inductance, capacitance, own)
    return float(high if mode == "high" else low)


def _within(curve: CapacitanceCurve, distance: float) -> float:
    if not curve.nearest <= distance <= curve.farthest:
        limits = f"{format_quantity(curve.nearest, 'm')} to {format_quantity(curve.farthest, 'm')}"
        raise DesignError(f"tuning.zero_beat = {format_quantity(distance, 'm')}: the hand field reaches from {limits}")
    return distance
