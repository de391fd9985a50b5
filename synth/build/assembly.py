"""From a design to the pieces of its instrument: tanks, branch, detector, volume antenna."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Final, cast

from models.branch.antenna_branch import DIRECT, SeriesInductor, preferred_mode
from models.branch.choke_chain import pi_equivalent
from models.branch.modes import mode_frequencies
from models.branch.tapped_coil import branch_from_tap, seen_from_tap
from models.detector.diode import DiodeLoad
from models.detector.memoryless import Detector
from models.hand.antennas import (
    AnyAntenna,
    AnyVolumeAntenna,
    LoopAntenna,
    PlateAntenna,
    Position,
    RingAntenna,
    RodAntenna,
    TelescopicAntenna,
    VolumePlate,
    VolumeRod,
    WireAntenna,
)
from models.hand.capacitance_curve import CapacitanceCurve
from models.hand.earthing import Earthing, tank_tie
from models.hand.player_sizes import Build, Person, adult, build_of, scaled_child
from models.hand.scene import Approach, Bystander, Cabinet, PlayerBody, Room, Scene, Table, Wall, board
from models.tank import Tank, required_capacitance
from models.volume.loudness import GainStage, PeakRectifier
from models.volume.volume_antenna import VolumeAntenna
from synth.build.circuit_assembly import TunedPair, resonance_of, tank_of, tap_of
from synth.build.notices import margin_notice, out_of_reach_notice, trimmer_notice, volume_notices
from synth.designs.quantity import format_quantity
from synth.designs.sections import Design
from synth.errors import DesignError, at_place

#: The keys that the models' names of sizes are written as; of the antennas by form where they differ.
SCENE_KEYS: Final[Mapping[str, str]] = {
    **dict.fromkeys(("stand_distance", "hand_height", "opening", "percentile", "stature"), "player.{}"),
    **dict.fromkeys(("shoulder_height", "upper_arm", "forearm", "hand_length", "hand_breadth"), "player.{}"),
    **{"base_height": "antenna.{}", "lean": "player.{}", "approach": "player.{}", "body_capacitance": "player.{}"},
    **{"height": "volume_antenna.{}", "offset": "volume_antenna.{}", "acromial_height": "player.shoulder_height"},
    **{"top": "room.table", "distance": "room.wall", "x": "room.bystander_forward", "y": "room.bystander_side"},
}
ANTENNA_KEYS: Final[Mapping[str, Mapping[str, str]]] = {
    "wire": {"end_x": "end_forward", "end_y": "end_side"},
    "telescopic": {"lengths": "section_lengths", "diameters": "section_diameters"},
    "plate": {"width": "plate_width", "length": "plate_length", "thickness": "plate_thickness"},
    "ring": {"diameter": "ring_diameter", "tube_diameter": "diameter"},
}


def scene_fault(
    design: Design, error: ValueError, section: str = "", keys: Mapping[str, str] = SCENE_KEYS
) -> DesignError:
    """What is wrong with a scene, as "FILE: key: what and remedy".

    A message of the models begins with the name, or the names, of what must be otherwise: those become keys, of
    `section` where one is given.
    """
    if isinstance(error, DesignError):
        return error
    text = str(error)
    names = re.match(r"\w+(?: and \w+)*(?= (?:must|leaves|is|let) )", text)
    found = [] if names is None else names[0].split(" and ")
    if names is None or not (section or all(name in keys for name in found)):
        remedy = "make player.stand_distance larger, or the antenna smaller"
        return DesignError(f"{design.place}: {section or 'antenna, cabinet and player'}: {text}; {remedy}")
    paths = [f"{section}.{keys.get(name, name)}" if section else keys[name].format(name) for name in found]
    return DesignError(f"{design.place}: {', '.join(paths)}:{text[names.end() :]}")


def scene_of(design: Design) -> Scene:
    """The conductors of the field. Raises DesignError where the parts do not fit together.

    Without a cabinet the common is a board where it is not bonded; bonded, what it adds to the antenna is part of the
    antenna stray.
    """
    player, box, common = design.player, design.cabinet, design.common
    lying = None if common_capacitance(design) == math.inf else common
    try:
        antenna = antenna_of(design)
    except ValueError as error:
        raise scene_fault(design, error, "antenna", ANTENNA_KEYS.get(design.antenna.form, {})) from error
    try:
        return Scene(
            antenna=antenna,
            cabinet=(
                Cabinet(box.width, box.depth, box.height, box.gap)
                if box is not None
                else None
                if lying is None
                else board(lying.board_width, lying.board_depth, lying.board_gap)
            ),
            player=PlayerBody(
                player.stand_distance,
                player.hand_height,
                cast(Approach, player.approach),
                lean=player.lean,
                build=player_build(design),
                opening=player.opening,
            ),
            ring=ring_of(design),
            room=room_of(design),
        )
    except ValueError as error:
        raise scene_fault(design, error) from error


def room_of(design: Design) -> Room:
    """What stands about."""
    part = design.room
    if part is None:
        return Room()
    there = part.bystander_side is not None
    return Room(
        bystander=Bystander(part.bystander_forward, part.bystander_side or 0.0) if there else None,
        wall=None if part.wall is None else Wall(part.wall),
        table=None if part.table is None else Table(part.table),
        earth_plane=part.floor == "conducting",
    )


def player_build(design: Design) -> Build:
    """The player's sizes: rounded ones, or those of measured adults, a scaled child, and the player's own lengths."""
    part = design.player
    if part.size == "typical":
        return Build()
    person = cast(Person, part.size)
    sizes = scaled_child(part.stature) if person == "child" else adult(person, 100.0 * part.percentile)
    own = {
        "acromial_height": part.shoulder_height,
        "upper_arm": part.upper_arm,
        "forearm": part.forearm,
        "hand_length": part.hand_length,
        "hand_breadth": part.hand_breadth,
    }
    return build_of(
        replace(sizes, **{name: value for name, value in own.items() if value is not None}), part.stance == "seated"
    )


def antenna_of(design: Design) -> AnyAntenna:
    """The pitch antenna. Raises ValueError where its sizes do not fit together."""
    part = design.antenna
    lean, position = math.radians(part.lean), cast(Position, part.position)
    if part.form == "telescopic":
        return TelescopicAntenna(part.section_lengths, part.section_diameters, part.base_height, lean)
    if part.form == "wire":
        return WireAntenna(part.end_forward, part.end_side, part.end_height, part.diameter, part.base_height)
    if part.form == "plate":
        return PlateAntenna(part.plate_width, part.plate_length, part.plate_thickness, position, part.base_height)
    if part.form == "ring":
        return RingAntenna(part.ring_diameter, part.diameter, position, part.base_height)
    return RodAntenna(part.length, part.diameter, part.base_height, lean)


def ring_of(design: Design) -> AnyVolumeAntenna | None:
    """The volume antenna; None for a design without one. Raises DesignError where its sizes do not fit together."""
    part = design.volume_antenna
    if part is None:
        return None
    try:
        if part.form == "plate":
            return VolumePlate(part.plate_width, part.plate_length, part.plate_thickness, part.height, part.offset)
        if part.form == "rod":
            return VolumeRod(part.rod_length, part.tube_diameter, part.height, part.offset)
        return LoopAntenna(part.diameter, part.tube_diameter, part.height, part.offset)
    except ValueError as error:
        raise scene_fault(
            design, error, "volume_antenna", ANTENNA_KEYS["plate"] if part.form == "plate" else {}
        ) from error


def common_capacitance(design: Design) -> float:
    """Of the circuit's common to earth beside the field, F; infinite: bonded, also where the design does not say."""
    given = design.common.to_earth
    return math.inf if given is None else given


def earthing_of(design: Design) -> Earthing:
    """What joins player and common to earth beside the field."""
    return Earthing(design.player.body_capacitance, common_capacitance(design))


def branch_tie(angular_frequency: float, tank: Tank, branch: SeriesInductor, stray: float) -> float:
    """Capacitance, F, that antenna stray, branch and tank together count as at omega, rad/s; may be negative.

    tank: as seen from the branch. C_branch - 1 / (omega^2 L_branch) in series with that of the tank, losses neglected.
    """
    behind = tank_tie(angular_frequency, tank.inductance, tank.total_capacitance)
    if branch.direct:
        return stray + behind
    own = tank_tie(angular_frequency, branch.inductance, branch.self_capacitance)
    return math.inf if own + behind == 0.0 else stray + own * behind / (own + behind)


def lossless_pair(
    design: Design, tanks: tuple[Tank, Tank], branch: SeriesInductor, capacitance: float, distance: float
) -> TunedPair:
    """Both oscillators by their resonance alone; see `TunedPair`. `tanks`: variable and reference with their trimmers
    as written. Antenna F (stray included), zero beat m.
    """
    variable, reference = seen_from_tap(tanks[0], tap_of(design)), tanks[1]
    mode = design.tuning.mode if design.tuning.mode != "auto" else preferred_mode(variable, branch, capacitance)
    notices: tuple[str, ...] = ()
    if design.tuning.zero_beat is not None:
        target = variable_frequency(variable, branch, capacitance, mode)
        reference, notices = tuned_reference(reference, target, distance)
    return TunedPair(variable, reference, mode, reference.frequency, notices)


def tank_in(design: Design, which: str) -> Tank:
    """The resonance of the "reference", "variable" or "volume" oscillator, its trimmer as written; with a [circuit] the
    parts around the tank are counted, without one they are part of the section's stray.
    """
    return tank_of(getattr(design, which)) if design.circuit is None else resonance_of(design, which)


def wired(design: Design) -> Design:
    """The design with a chain of chokes as the one coil, and the strays at its ends, that equal it.

    At the frequency of the reference's tank; see `models.branch.choke_chain`. Of a tapped coil the tank end's stray
    counts as the tap's voltage does. Raises DesignError where no coil equals the chain.
    """
    part = design.branch
    if part is None or part.chokes <= 1.0:
        return design
    chokes, frequency = round(part.chokes), tank_in(design, "reference").frequency
    try:
        one = pi_equivalent(
            part.inductance / chokes, part.self_capacitance * chokes, part.joint_stray, frequency, chokes
        )
    except ValueError as error:
        raise DesignError(
            f"{design.place}: branch.chokes: {error}; state a larger branch.self_capacitance or a smaller "
            "branch.joint_stray"
        ) from error
    stray, ratio = float(one.end_stray), 1.0 if design.variable.tap == 1.0 else tap_of(design).ratio
    try:
        coil = replace(part, inductance=float(one.inductance), self_capacitance=float(one.self_capacitance), chokes=1.0)
        return replace(
            design,
            branch=coil,
            antenna=replace(design.antenna, stray=design.antenna.stray + stray),
            variable=replace(design.variable, stray=design.variable.stray + stray * ratio**2),
        )
    except DesignError as error:
        raise at_place(design.place, error, "[branch] as one coil with stray at its ends: ") from error


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
        raise at_place(design.place, error, "[branch] at variable.tap: ") from error


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
    fixed = float(required_capacitance(reference.inductance, target)) - reference.board_stray - middle
    return end, (out_of_reach_notice(end.frequency, target, distance, fixed, reference.capacitance),)


def variable_frequency(tank: Tank, branch: SeriesInductor, capacitance: float, mode: str) -> float:
    """Frequency of the variable oscillator, Hz, with this antenna capacitance (F)."""
    inductance, own = branch.inductance, branch.self_capacitance
    low, high = mode_frequencies(tank.inductance, tank.total_capacitance, inductance, capacitance, own)
    return float(high if mode == "high" else low)


def no_volume_antenna(design: Design) -> str:
    """What to say where one is asked for and the design has none."""
    return f"{design.place}: has no volume antenna; add [volume_antenna], [volume] and [volume_response]"


def assemble_volume(design: Design, tank: Tank, curve: CapacitanceCurve) -> tuple[VolumeAntenna, tuple[str, ...]]:
    """The volume antenna of `design` with its oscillator's `tank` and the ring's `curve`, and what to know of it.

    With volume_response.full_height the trimmer is set for full volume at that height; where that cannot be, it stays
    as given and a notice says why. Raises DesignError for a design without a volume antenna.
    """
    antenna, response = design.volume_antenna, design.volume_response
    if antenna is None or response is None:
        raise DesignError(no_volume_antenna(design))
    volume = VolumeAntenna(
        curve=curve,
        tank=tank,
        resonator=Tank(response.inductance, response.capacitance, quality_factor=response.quality_factor),
        rectifier=PeakRectifier(
            response.amplitude, response.diode_drop, response.detector_resistance, response.detector_capacitance
        ),
        stage=GainStage(response.threshold, response.full),
        ring_stray=antenna.stray,
    )
    if response.full_height is None:
        return volume, volume_notices(volume)
    if response.full_height > curve.farthest:
        wanted = f"volume_response.full_height = {format_quantity(response.full_height, 'm')}"
        raise DesignError(
            f"{design.place}: {wanted}: the player's hand is at most {curve.farthest:.2f} m above the volume antenna; "
            "choose a lower height, or put the antenna lower (volume_antenna.height)"
        )
    needed, least, most = volume.trimmer_for_full_at(response.full_height), tank.trimmer_minimum, tank.trimmer_maximum
    if needed is None or not least <= needed <= most or least == most:
        why = trimmer_notice(volume, needed, response.full_height)
        return volume, (why, *(text for text in volume_notices(volume) if text != why))
    tuned = replace(volume, tank=tank.with_trimmer((needed - least) / (most - least)))
    return tuned, volume_notices(tuned)
